package api

import (
	"context"
	"net/http"

	"laneward/openapi"
	"laneward/service"
	"laneward/service/advice"
	"laneward/service/line"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/record"
	"laneward/service/tenpin"
)

// queryOf is what all requests for lines have in common.
func queryOf(s openapi.PlanSubject) advice.Query {
	query := advice.Query{
		Athlete:       s.AthleteID,
		Ball:          s.BallID,
		Pattern:       s.PatternID,
		Worn:          wornOf(s.Worn),
		ScatterBoards: s.ScatterBoards,
		Spares:        sparesOf(s.Spares),
	}
	if f := s.Friction; f != nil {
		query.Friction = &motion.Friction{
			MuDry:      f.MuDry,
			MuOil:      f.MuOil,
			Q0:         f.Q0,
			ShareThick: number(f.ShareThick),
			QThick:     number(f.QThick),
			SlipMPS:    motion.SlipScale(number(f.SlipMps)),
		}
	}
	if p := s.Pocket; p != nil {
		query.Pocket = &line.Pocket{
			Name:         text(p.Name),
			BoardLow:     p.BoardLow,
			BoardHigh:    p.BoardHigh,
			AngleLowDeg:  p.AngleLowDeg,
			AngleHighDeg: p.AngleHighDeg,
		}
	}
	return query
}

// sparesOf is what a request says of how the athlete converts spares; nil for nothing.
func sparesOf(s *openapi.OwnSpares) advice.OwnSpares {
	if s == nil {
		return nil
	}
	own := make(advice.OwnSpares)
	for class, of := range map[tenpin.SpareClass]*openapi.Conversions{
		tenpin.SpareSingle:  s.Single,
		tenpin.SpareClose:   s.Close,
		tenpin.SpareCluster: s.Cluster,
		tenpin.SpareHeadPin: s.HeadPin,
		tenpin.SpareWashout: s.Washout,
		tenpin.SpareSplit:   s.Split,
		tenpin.SpareRack:    s.Rack,
	} {
		if of != nil {
			own[class] = tenpin.Conversions{Share: of.Share, Converted: whole(of.Converted), Tries: whole(of.Tries)}
		}
	}
	return own
}

func wornOf(w *openapi.WornBy) *advice.WornBy {
	if w == nil {
		return nil
	}
	return &advice.WornBy{
		Session:        w.SessionID,
		Athlete:        w.AthleteID,
		Ball:           w.BallID,
		Shots:          whole(w.Shots),
		LaydownBoard:   w.LaydownBoard,
		LaunchAngleDeg: w.LaunchAngleDeg,
	}
}

func (h *handlers) LayOil(_ context.Context, r openapi.LayOilRequestObject) (openapi.LayOilResponseObject, error) {
	given := advice.OilQuery{Name: text(r.Body.Name)}
	if r.Body.LengthFt != nil {
		given.LengthFt = *r.Body.LengthFt
	}
	if r.Body.Film != nil {
		given.Film = *r.Body.Film
	}
	if r.Body.Loads != nil {
		for _, l := range *r.Body.Loads {
			given.Loads = append(given.Loads, oil.Load{
				Direction: oil.Direction(
					l.Direction,
				),
				FromBoard:  l.FromBoard,
				ToBoard:    l.ToBoard,
				Count:      l.Count,
				ULPerBoard: l.UlPerBoard,
				StartFt:    l.StartFt,
				EndFt:      l.EndFt,
			})
		}
	}
	report, err := advice.LayOil(given)
	return filmReply{report}, err
}

// filmReply answers with a film, whose JSON is the contract's.
type filmReply struct{ report advice.FilmReport }

func (r filmReply) VisitLayOilResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r.report)
}

func (r filmReply) VisitGetFilmResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r.report)
}

// wornQuery is how a film is worn by the query of an address; nil for not at all.
func wornQuery(p openapi.GetFilmParams) *advice.WornBy {
	if p == (openapi.GetFilmParams{}) {
		return nil
	}
	return &advice.WornBy{Session: p.SessionID, Athlete: p.AthleteID, Ball: p.BallID, Shots: whole(p.Shots)}
}

func (h *handlers) GetFilm(ctx context.Context, r openapi.GetFilmRequestObject) (openapi.GetFilmResponseObject, error) {
	film, err := h.service.PatternFilm(ctx, userOf(ctx), r.SquadID, r.PatternID, wornQuery(r.Params))
	if err != nil {
		return nil, err
	}
	return filmReply{film.Report}, nil
}

func (h *handlers) GetFilmPicture(
	ctx context.Context,
	r openapi.GetFilmPictureRequestObject,
) (openapi.GetFilmPictureResponseObject, error) {
	p := r.Params
	worn := wornQuery(
		openapi.GetFilmParams{SessionID: p.SessionID, AthleteID: p.AthleteID, BallID: p.BallID, Shots: p.Shots},
	)
	film, err := h.service.PatternFilm(ctx, userOf(ctx), r.SquadID, r.PatternID, worn)
	if err != nil {
		return nil, err
	}
	scene, err := film.Picture(widthOf(p.WidthPx))
	return sceneReply{scene: scene, media: mediaSVG}, err
}

func (h *handlers) PlanLines(
	ctx context.Context,
	r openapi.PlanLinesRequestObject,
) (openapi.PlanLinesResponseObject, error) {
	query := queryOf(r.Body.Subject)
	query.Lines, query.Draws = whole(r.Body.Lines), whole(r.Body.Draws)
	return computed(
		ctx,
		r.Params.WidthPx,
		func(ctx context.Context, progress advice.Progress) (*advice.Plan, error) {
			return h.service.PlanLines(ctx, userOf(ctx), r.SquadID, query, progress)
		},
	)
}

func (h *handlers) CompareLines(
	ctx context.Context,
	r openapi.CompareLinesRequestObject,
) (openapi.CompareLinesResponseObject, error) {
	query := queryOf(r.Body.Subject)
	query.Lines, query.Draws = whole(r.Body.Lines), whole(r.Body.Draws)
	a := r.Body.Against
	against := advice.Against{
		Athlete: a.AthleteID,
		Ball:    a.BallID,
		Pattern: a.PatternID,
		Worn:    wornOf(a.Worn),
		Fresh:   a.Fresh != nil && *a.Fresh,

		ScatterBoards: a.ScatterBoards,
		Spares:        sparesOf(a.Spares),
	}
	return computed(
		ctx,
		r.Params.WidthPx,
		func(ctx context.Context, progress advice.Progress) (*advice.Comparison, error) {
			return h.service.CompareLines(ctx, userOf(ctx), r.SquadID, query, against, progress)
		},
	)
}

func (h *handlers) MapMisses(
	ctx context.Context,
	r openapi.MapMissesRequestObject,
) (openapi.MapMissesResponseObject, error) {
	query := queryOf(r.Body.Subject)
	query.Lines, query.Draws = whole(r.Body.Lines), whole(r.Body.Draws)
	var grid advice.GridQuery
	if g := r.Body.Grid; g != nil {
		grid = advice.GridQuery{
			LaydownFrom: g.LaydownFromBoard, LaydownTo: g.LaydownToBoard, LaydownStep: g.LaydownStepBoards,
			AngleFrom: g.AngleFromDeg, AngleTo: g.AngleToDeg, AngleStep: g.AngleStepDeg,
		}
	}
	return computed(
		ctx,
		r.Params.WidthPx,
		func(ctx context.Context, progress advice.Progress) (*advice.MissMap, error) {
			return h.service.MapMisses(ctx, userOf(ctx), r.SquadID, query, grid, progress)
		},
	)
}

func (h *handlers) StudyLine(
	ctx context.Context,
	r openapi.StudyLineRequestObject,
) (openapi.StudyLineResponseObject, error) {
	query := queryOf(r.Body.Subject)
	aim := line.Aim{LaydownBoard: r.Body.LaydownBoard, LaunchAngleDeg: r.Body.LaunchAngleDeg}
	return computed(
		ctx,
		r.Params.WidthPx,
		func(ctx context.Context, _ advice.Progress) (*advice.Study, error) {
			return h.service.StudyLine(ctx, userOf(ctx), r.SquadID, query, aim)
		},
	)
}

func (h *handlers) AssignLine(
	ctx context.Context,
	r openapi.AssignLineRequestObject,
) (openapi.AssignLineResponseObject, error) {
	query := queryOf(r.Body.Subject)
	asked := service.LineAssignment{
		ID:   r.Body.ID,
		Aim:  line.Aim{LaydownBoard: r.Body.LaydownBoard, LaunchAngleDeg: r.Body.LaunchAngleDeg},
		Name: text(r.Body.Name),
		Reps: int32(whole(r.Body.Reps)), //nolint:gosec // the contract allows 1000

		AssignedOn: dayOf(r.Body.AssignedOn),
		DueOn:      dayOf(r.Body.DueOn),
	}
	if r.Body.PassShare != nil {
		asked.PassShare = *r.Body.PassShare
	}
	d, a, created, err := h.service.AssignLine(ctx, userOf(ctx), r.SquadID, query, asked)
	return lineDrillReply{Drill: d, Assignment: a, created: created}, err
}

type lineDrillReply struct {
	Drill      *record.Drill      `json:"drill"`
	Assignment *record.Assignment `json:"assignment"`
	created    bool
}

func (r lineDrillReply) VisitAssignLineResponse(w http.ResponseWriter) error {
	if r.created {
		return writeJSON(w, http.StatusCreated, r)
	}
	return writeJSON(w, http.StatusOK, r)
}
