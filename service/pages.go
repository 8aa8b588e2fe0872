package service

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/advice"
	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/picture"
	"laneward/service/record"
)

// What the pages show and no single record holds: a drill with every athlete's lane, a session's
// lanes, a pattern's film.

// LaneScore is how well one athlete keeps a drill, and their lane: what the drill's board rule
// allows and the judged shots over it. The lane has neither title nor caption, and no width.
type LaneScore struct {
	Score
	Lane picture.Lane
}

// DrillLanes is [Service.Adherence] with each athlete's lane.
func (s *Service) DrillLanes(
	ctx context.Context,
	user, squad uuid.UUID,
	query DrillQuery,
) (asked *record.Drill, lanes []LaneScore, err error) {
	err = s.judge(ctx, user, func() error {
		tasks, err := s.readTasks(ctx, user, squad, query)
		if err != nil {
			return err
		}
		asked = tasks.drill
		for _, task := range tasks.athletes {
			score, judged := task.judge(tasks.drill.Drill())
			lane := advice.DrawDrill(tasks.drill, task.athlete.Side, judged)
			lanes = append(lanes, LaneScore{Score: score, Lane: lane})
		}
		return ctx.Err()
	})
	return asked, lanes, err
}

// SessionLanes draws each athlete's shots of a session, athletes in order of their names.
func (s *Service) SessionLanes(
	ctx context.Context,
	user, squad, session uuid.UUID,
) (lanes []advice.SessionLane, err error) {
	err = s.judge(ctx, user, func() error {
		var pattern *record.Pattern
		var shots []*record.Shot
		var athletes []stored
		err := s.readSquad(ctx, user, squad, func(w *work) error {
			found, err := w.get(ctx, record.KindSession, session)
			if err != nil {
				return err
			}
			if pattern, err = w.patternOf(ctx, found.(*record.Session).PatternID); err != nil {
				return err
			}
			if shots, err = w.allShotsOf(ctx, session); err != nil {
				return err
			}
			athletes, err = stores[record.KindAthlete].byIDs(ctx, w.Tx, squad, throwersOf(shots), w.athlete)
			return err
		})
		if err != nil {
			return err
		}
		lanes, err = drawLanes(athletes, shots, pattern)
		return err
	})
	return lanes, err
}

// patternOf is the pattern under a session's shots; nil when the session names none.
func (w *work) patternOf(ctx context.Context, id *uuid.UUID) (*record.Pattern, error) {
	if id == nil {
		return nil, nil //nolint:nilnil // nothing is known to lie there
	}
	found, err := w.get(ctx, record.KindPattern, *id)
	if err != nil {
		return nil, err
	}
	return found.(*record.Pattern), nil
}

// throwersOf lists whose shots they are.
func throwersOf(shots []*record.Shot) (ids []uuid.UUID) {
	known := make(map[uuid.UUID]bool)
	for _, s := range shots {
		if !known[s.AthleteID] {
			known[s.AthleteID] = true
			ids = append(ids, s.AthleteID)
		}
	}
	return ids
}

func drawLanes(athletes []stored, shots []*record.Shot, pattern *record.Pattern) ([]advice.SessionLane, error) {
	film, err := filmOf(pattern)
	if err != nil {
		return nil, err
	}
	byAthlete := make(map[uuid.UUID][]*record.Shot)
	for _, s := range shots {
		byAthlete[s.AthleteID] = append(byAthlete[s.AthleteID], s)
	}
	lanes := make([]advice.SessionLane, len(athletes))
	for i, one := range athletes {
		lanes[i] = advice.DrawSession(one.Record.(*record.Athlete), byAthlete[one.Key()], film)
	}
	slices.SortFunc(lanes, func(a, b advice.SessionLane) int { return compareNames(a.Athlete, b.Athlete) })
	return lanes, nil
}

// filmOf is the oil of a pattern; nil when there is none, or one without a film.
func filmOf(pattern *record.Pattern) (*picture.Film, error) {
	if pattern == nil {
		return nil, nil //nolint:nilnil // nothing is known to lie there
	}
	film, err := advice.FilmOf(pattern)
	if err != nil || film == nil {
		return nil, err
	}
	return &picture.Film{UL: film.UL}, nil
}

// allShotsOf reads a session's shots by athlete and order.
func (w *work) allShotsOf(ctx context.Context, session uuid.UUID) ([]*record.Shot, error) {
	return w.shotsOf(ctx, session, maxDrillShots)
}

func (w *work) shotsOf(ctx context.Context, session uuid.UUID, limit int32) ([]*record.Shot, error) {
	found, err := w.ShotsOfSession(
		ctx,
		db.ShotsOfSessionParams{SquadID: w.squad, SessionID: session, Athlete: w.athlete, MaxRows: limit},
	)
	if err != nil {
		return nil, err
	}
	shots := make([]*record.Shot, len(found))
	for i, row := range found {
		rec, _, err := shotOf(row)
		if err != nil {
			return nil, err
		}
		shots[i] = rec.(*record.Shot)
	}
	return shots, nil
}

// Pattern returns a pattern with its film; the film is nil when neither a load table nor a film map
// is known.
func (s *Service) Pattern(
	ctx context.Context,
	user, squad, id uuid.UUID,
) (rec *record.Pattern, film *oil.Film, err error) {
	found, err := s.Get(ctx, user, squad, record.KindPattern, id)
	if err != nil {
		return nil, nil, err
	}
	rec = found.(*record.Pattern)
	film, err = advice.FilmOf(rec)
	return rec, film, err
}

// sessionShots reads the shots of a session that may wear a film, and looks up the athlete and the
// ball they are narrowed to.
func (w *work) sessionShots(ctx context.Context, by advice.WornBy) (*advice.SessionShots, error) {
	found, err := w.get(ctx, record.KindSession, *by.Session)
	if err != nil {
		return nil, err
	}
	session := found.(*record.Session)
	if by.Athlete != nil {
		if _, err := w.get(ctx, record.KindAthlete, *by.Athlete); err != nil {
			return nil, err
		}
	}
	if by.Ball != nil {
		if _, err := w.get(ctx, record.KindBall, *by.Ball); err != nil {
			return nil, err
		}
	}
	shots, err := w.allShotsOf(ctx, session.ID)
	if err != nil {
		return nil, err
	}
	sides, err := w.sidesOf(ctx, shots)
	partial := w.athlete != nil && session.AthleteID == nil
	return &advice.SessionShots{Session: session, Shots: shots, Sides: sides, Partial: partial}, err
}

func (w *work) sidesOf(ctx context.Context, shots []*record.Shot) (map[uuid.UUID]lane.Side, error) {
	sides := make(map[uuid.UUID]lane.Side)
	var ids []uuid.UUID
	for _, s := range shots {
		if _, known := sides[s.AthleteID]; !known {
			sides[s.AthleteID] = lane.Right
			ids = append(ids, s.AthleteID)
		}
	}
	found, err := stores[record.KindAthlete].byIDs(ctx, w.Tx, w.squad, ids, w.athlete)
	for _, one := range found {
		sides[one.Key()] = one.Record.(*record.Athlete).Side
	}
	return sides, err
}

// DrillPicture draws the lane as one athlete sees it: what the drill's board rule allows, and the
// judged shots over it. A drill without a board rule shows the shots at their breakpoint.
func (s *Service) DrillPicture(
	ctx context.Context,
	user, squad uuid.UUID,
	query DrillQuery,
	widthPx int,
) (picture.Scene, error) {
	var scene picture.Scene
	err := s.judge(ctx, user, func() error {
		scores, judged, err := s.judgements(ctx, user, squad, query)
		if err != nil {
			return err
		}
		athlete, record := scores.Scores[0].Athlete, scores.Drill
		drawn := advice.DrawDrill(record, athlete.Side, judged)
		drawn.Title, drawn.WidthPx = athlete.Name+": "+record.Name, widthPx
		drawn.Caption = scores.Scores[0].Adherence.Reading
		if scene, err = drawn.Scene(); err != nil {
			return fmt.Errorf("draw drill %s for athlete %s: %w", record.ID, athlete.ID, err)
		}
		return nil
	})
	return scene, err
}
