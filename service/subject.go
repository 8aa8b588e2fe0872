package service

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/lane"
	"laneward/service/line"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/shot"
)

// LineQuery asks where one athlete should play a pattern. Nil and 0 stand for what is usual, and
// the answer says what that was.
type LineQuery struct {
	Athlete  uuid.UUID
	Ball     *uuid.UUID
	Pattern  uuid.UUID
	Friction *motion.Friction
	Pocket   *line.Pocket
	// Worn plans on the film as shots have left it; nil on the fresh one.
	Worn *WornBy
	// Lines is how many are wanted, Draws how many scattered shots score an aim in the search.
	Lines, Draws int
}

// LineSubject is what a line was computed for, and everything that was taken for granted.
type LineSubject struct {
	Athlete  SubjectAthlete  `json:"athlete"`
	Ball     SubjectBall     `json:"ball"`
	Pattern  SubjectPattern  `json:"pattern"`
	Release  SubjectRelease  `json:"release"`
	Friction SubjectFriction `json:"friction"`
	Pocket   line.Pocket     `json:"pocket"`
	Scatter  SubjectScatter  `json:"scatter"`
	Wear     *WearReport     `json:"wear,omitempty"`
	// Assumptions are sentences, for whoever reads the answer.
	Assumptions []string `json:"assumptions"`
}

// SubjectAthlete is who bowls.
type SubjectAthlete struct {
	ID   uuid.UUID `json:"athlete_id"`
	Name string    `json:"name"`
	Side lane.Side `json:"side"`
}

// SubjectBall is the ball as the motion takes it; ID and Name are of a stored one.
type SubjectBall struct {
	ID          *uuid.UUID `json:"ball_id,omitempty"`
	Name        string     `json:"name"`
	RadiusIn    float64    `json:"radius_in"`
	GyrationIn  float64    `json:"gyration_in"`
	SurfaceGrit float64    `json:"surface_grit,omitempty"` // 0 when not known
}

// SubjectPattern is the film that is played, worn if that was asked for.
type SubjectPattern struct {
	ID       uuid.UUID `json:"pattern_id"`
	Name     string    `json:"name"`
	LengthFt float64   `json:"length_ft"`
	VolumeUL float64   `json:"volume_ul"`
	Ratio    oil.Ratio `json:"ratio"`
	Class    oil.Class `json:"class"`
}

// SubjectRelease is the athlete's usual delivery, but for where and at what angle it is laid down.
type SubjectRelease struct {
	SpeedMPH          float64 `json:"speed_mph"`
	RevRateRPM        float64 `json:"rev_rate_rpm"`
	RotationDeg       float64 `json:"rotation_deg"`
	TiltDeg           float64 `json:"tilt_deg"`
	SlideOffsetBoards float64 `json:"slide_offset_boards"`
}

// SubjectFriction is the friction law, and its q0 for this ball's surface. Q0 are oil units.
type SubjectFriction struct {
	motion.Friction
	Q0OnSurface float64 `json:"q0_on_surface"`
}

// SubjectScatter is one standard deviation of each miss, and how each came about from the athlete's
// stored shots.
type SubjectScatter struct {
	ArrowsBoards           float64                `json:"arrows_boards"`
	LaunchAngleDeg         float64                `json:"launch_angle_deg"`
	SpeedMPH               float64                `json:"speed_mph"`
	RevRateRPM             float64                `json:"rev_rate_rpm"`
	ArrowsAngleCorrelation float64                `json:"arrows_angle_correlation"`
	Shots                  int                    `json:"shots"` // stored shots that were looked at
	Measures               []line.MeasureEstimate `json:"measures"`
}

// Usual values of an athlete of whom nothing is known (common practice, no source).
const (
	usualSpeedMPH    = 17.0
	usualRevRPM      = 300.0
	usualRotationDeg = 45.0
	usualTiltDeg     = 12.0
	usualSlideOffset = 6.0
)

// maxScatterShots is how many of an athlete's latest shots tell of the scatter: it changes over the
// months, and a thousand pairs settle it.
const maxScatterShots = 2000

// subject is a line's subject on its way: what is told, and what is computed with.
type subject struct {
	told    LineSubject
	request line.Request
	worn    *WornBy // still to be worn by the athlete's own shots
	pattern *PatternRecord
}

func (s *subject) assume(format string, values ...any) {
	s.told.Assumptions = append(s.told.Assumptions, fmt.Sprintf(format, values...))
}

// subject reads all that a query is about. Whoever may not see a part of it is told that there is
// none.
func (w *work) subject(ctx context.Context, query LineQuery) (*subject, error) {
	if query.Worn != nil {
		if wrong := query.Worn.faults(); len(wrong) > 0 {
			return nil, InvalidError(wrong)
		}
	}
	found, err := w.get(ctx, KindAthlete, query.Athlete)
	if err != nil {
		return nil, err
	}
	s := &subject{request: line.Request{Lines: query.Lines, Draws: query.Draws, Pocket: line.DefaultPocket()}}
	s.takeAthlete(found.(*AthleteRecord))
	if err := w.takeBall(ctx, s, query); err != nil {
		return nil, err
	}
	s.takeFriction(query.Friction)
	if query.Pocket != nil {
		s.request.Pocket = *query.Pocket
	} else {
		s.assume(
			"The pocket is taken to be board %g to %g at %g to %g degrees: our choice.",
			s.request.Pocket.BoardLow,
			s.request.Pocket.BoardHigh,
			s.request.Pocket.AngleLowDeg,
			s.request.Pocket.AngleHighDeg,
		)
	}
	s.told.Pocket = s.request.Pocket
	if err := w.takeScatter(ctx, s, query.Athlete); err != nil {
		return nil, err
	}
	if err := w.takeFilm(ctx, s, query); err != nil {
		return nil, err
	}
	s.assume(
		"The ball is a rigid sphere on a level lane, without flare: the model says where it goes, not what it is worth at the pins.",
	)
	return s, nil
}

func (s *subject) takeAthlete(a *AthleteRecord) {
	s.told.Athlete = SubjectAthlete{ID: a.ID, Name: a.Name, Side: a.Side}
	known := func(value *float64, usual float64, name, unit string) float64 {
		if value != nil {
			return *value
		}
		s.assume("The %s of %s is not known: %g %s is assumed (common practice, no source).", name, a.Name, usual, unit)
		return usual
	}
	r := SubjectRelease{
		SpeedMPH: known(
			a.SpeedMPH,
			usualSpeedMPH,
			"speed",
			"mph",
		),
		RevRateRPM: known(a.RevRateRPM, usualRevRPM, "rev rate", "rpm"),
		RotationDeg: known(
			a.RotationDeg,
			usualRotationDeg,
			"axis rotation",
			"degrees",
		),
		TiltDeg:           known(a.TiltDeg, usualTiltDeg, "axis tilt", "degrees"),
		SlideOffsetBoards: known(a.SlideOffset, usualSlideOffset, "slide offset", "boards"),
	}
	s.told.Release = r
	s.request.Athlete = line.Athlete{
		Side:              a.Side,
		SpeedMPH:          r.SpeedMPH,
		RevRPM:            r.RevRateRPM,
		RotationDeg:       r.RotationDeg,
		TiltDeg:           r.TiltDeg,
		SlideOffsetBoards: r.SlideOffsetBoards,
	}
}

func (w *work) takeBall(ctx context.Context, s *subject, query LineQuery) error {
	ball := motion.DefaultBall()
	told := SubjectBall{Name: "a usual ball"}
	if query.Ball == nil {
		s.assume(
			"No ball is named: a radius of gyration of %g in and a surface of 2000 grit are assumed.",
			ball.GyrationIn,
		)
	} else {
		found, err := w.get(ctx, KindBall, *query.Ball)
		if err != nil {
			return err
		}
		b := found.(*BallRecord)
		told.ID, told.Name = query.Ball, b.Name
		if b.AthleteID != query.Athlete {
			s.assume("The ball %q is another athlete's.", b.Name)
		}
		if b.RGIn != nil {
			ball.GyrationIn = *b.RGIn
		} else {
			s.assume("The radius of gyration of %q is not known: %g in is assumed.", b.Name, ball.GyrationIn)
		}
		if b.SurfaceGrit != nil {
			ball.SurfaceGrit = float64(*b.SurfaceGrit)
			s.assume("How the surface of %g grit changes the friction is assumed, not measured.", ball.SurfaceGrit)
		} else {
			s.assume("The surface of %q is not known: 2000 grit is assumed.", b.Name)
		}
	}
	told.RadiusIn, told.GyrationIn, told.SurfaceGrit = ball.RadiusIn, ball.GyrationIn, ball.SurfaceGrit
	s.told.Ball, s.request.Ball = told, ball
	return nil
}

func (s *subject) takeFriction(given *motion.Friction) {
	friction := motion.NominalFriction()
	if given != nil {
		friction = *given
	} else {
		s.assume(
			"The friction is nominal (mu_dry %g, mu_oil %g, q0 %g): fitted so that paths look right, not measured on this lane. Probe shots tell better.",
			friction.MuDry,
			friction.MuOil,
			friction.Q0,
		)
	}
	s.request.Friction = friction
	s.told.Friction = SubjectFriction{Friction: friction, Q0OnSurface: friction.OnSurface(s.request.Ball).Q0}
}

// takeScatter estimates the athlete's scatter from the latest stored shots.
func (w *work) takeScatter(ctx context.Context, s *subject, athlete uuid.UUID) error {
	found, err := w.RecentShotsOfAthlete(
		ctx,
		db.RecentShotsOfAthleteParams{SquadID: w.squad, AthleteID: athlete, MaxRows: maxScatterShots},
	)
	if err != nil {
		return err
	}
	shots := make([]shot.Shot, len(found))
	for i, row := range found {
		shots[i] = shot.Shot{
			ID:             row.ID,
			SessionID:      row.SessionID,
			BallID:         row.BallID,
			Order:          int(row.ShotOrder),
			ArrowsBoard:    row.ArrowsBoard,
			LaunchAngleDeg: row.LaunchAngleDeg,
			SpeedMPH:       row.SpeedMPH,
			RevRateRPM:     row.RevRateRPM,
			Errors: shot.StandardErrors{
				Board:      row.BoardSE,
				AngleDeg:   row.AngleSEDeg,
				SpeedMPH:   row.SpeedSEMPH,
				RevRateRPM: row.RevRateSERPM,
			},
		}
	}
	estimate := line.EstimateScatter(shots)
	s.request.Athlete.Scatter = estimate.Scatter
	measures := estimate.Measures
	most := 0
	for i := range measures {
		most = max(most, measures[i].Pairs)
		if measures[i].Name == "rev_rpm" {
			measures[i].Name = "rev_rate_rpm" // the contract's word
		}
	}
	s.told.Scatter = SubjectScatter{
		ArrowsBoards:           estimate.Scatter.ArrowsBoards,
		LaunchAngleDeg:         estimate.Scatter.LaunchAngleDeg,
		SpeedMPH:               estimate.Scatter.SpeedMPH,
		RevRateRPM:             estimate.Scatter.RevRPM,
		ArrowsAngleCorrelation: estimate.Scatter.ArrowsAngleCorrelation,
		Shots:                  len(shots),
		Measures:               measures,
	}
	if most == 0 {
		s.assume(
			"No stored shots of %s tell how much they scatter: that of a practised league bowler is assumed (common practice, no source).",
			s.told.Athlete.Name,
		)
		return nil
	}
	s.assume(
		"How much the shots of %s scatter is estimated from pairs of consecutive stored shots (the latest %d shots, up to %d pairs), and drawn toward a practised "+
			"league bowler's where pairs are few.",
		s.told.Athlete.Name,
		len(shots),
		most,
	)
	return nil
}

func (w *work) takeFilm(ctx context.Context, s *subject, query LineQuery) error {
	found, err := w.get(ctx, KindPattern, query.Pattern)
	if err != nil {
		return err
	}
	s.pattern = found.(*PatternRecord)
	film, err := filmOfPattern(s.pattern)
	if err != nil {
		return err
	}
	s.setFilm(film)
	switch {
	case query.Worn == nil:
		s.assume("The film is fresh, as the load table or the film map has it.")
	case query.Worn.Session != nil:
		worn, report, notes, err := w.wornBySession(ctx, film, *query.Worn, query.Pattern)
		if err != nil {
			return err
		}
		s.setFilm(worn)
		s.told.Wear = report
		s.told.Assumptions = append(s.told.Assumptions, notes...)
	default:
		s.worn = query.Worn
	}
	return nil
}

func (s *subject) setFilm(film *oil.Film) {
	s.request.Film = film
	report := ReportFilm(film)
	s.told.Pattern = SubjectPattern{
		ID:       s.pattern.ID,
		Name:     s.pattern.Name,
		LengthFt: film.LengthFt,
		VolumeUL: report.VolumeUL,
		Ratio:    report.Ratios[0],
		Class:    report.Class,
	}
}

// wearByOwn wears the film by shots of the athlete's own, if that was asked for: along the line
// given, else along the best one on the fresh film.
func (s *subject) wearByOwn(ctx context.Context) error {
	if s.worn == nil {
		return nil
	}
	aim, along := s.worn.aim(), "the line asked for"
	if aim == nil {
		fresh, err := line.Find(ctx, s.request, nil)
		if err != nil {
			return err
		}
		if len(fresh.Lines) == 0 {
			return fail(
				Conflict,
				"no line is found on the fresh film, so no shots can wear it: give worn a line of its own (%s)",
				fresh.Note,
			)
		}
		aim, along = &fresh.Lines[0].Aim, "the best line on the fresh film"
	}
	paths, err := line.Throws(s.request, *aim, s.worn.Shots)
	if err != nil {
		return err
	}
	tracks := make([]oil.Track, 0, len(paths))
	for _, path := range paths {
		if len(path.Stations) > 1 {
			tracks = append(tracks, path.Track(s.request.Athlete.Side))
		}
	}
	film, report, err := wearDown(s.request.Film, tracks)
	if err != nil {
		return err
	}
	report.PassesLeftOut = s.worn.Shots - len(tracks)
	s.setFilm(film)
	s.told.Wear = report
	by := fmt.Sprintf(
		"shots of %s as they scatter along %s: laydown %.1f, %.2f degrees",
		s.told.Athlete.Name,
		along,
		aim.LaydownBoard,
		aim.LaunchAngleDeg,
	)
	s.told.Assumptions = append(s.told.Assumptions, wearNotes(report, by)...)
	s.assume("The shots that wear the film run as on the fresh one.")
	return nil
}
