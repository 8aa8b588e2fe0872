package advice

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/service/lane"
	"laneward/service/line"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/record"
	"laneward/service/shot"
	"laneward/service/tenpin"
)

// Query asks where one athlete should play a pattern. Nil and 0 mean the typical value, and
// the answer says what that was.
type Query struct {
	Athlete  uuid.UUID
	Ball     *uuid.UUID
	Pattern  uuid.UUID
	Friction *motion.Friction
	Pocket   *line.Pocket
	// Worn plans on the film as shots have left it; nil on the fresh one.
	Worn *WornBy
	// ScatterBoards is the athlete's scatter at the arrows, a standard deviation; nil estimates it
	// from the stored shots.
	ScatterBoards *float64
	// Spares is what is known of how the athlete converts each class of leave.
	Spares OwnSpares
	// Lines is how many are wanted, Draws how many scattered shots score an aim in the search.
	Lines, Draws int
}

// Subject is what a line was computed for, and everything that was assumed.
type Subject struct {
	Athlete  SubjectAthlete  `json:"athlete"`
	Ball     SubjectBall     `json:"ball"`
	Pattern  SubjectPattern  `json:"pattern"`
	Release  SubjectRelease  `json:"release"`
	Friction SubjectFriction `json:"friction"`
	Pocket   line.Pocket     `json:"pocket"`
	Scatter  SubjectScatter  `json:"scatter"`
	// Habit is how the athlete plays, Spares their chance to convert each class of leave, Lanes how
	// many lanes represent what is not known of this one.
	Habit  line.Habit    `json:"habit"`
	Spares tenpin.Spares `json:"spares"`
	Lanes  int           `json:"lanes"`
	Wear   *WearReport   `json:"wear,omitempty"`
	// Assumptions are sentences, for the reader of the answer.
	Assumptions []string `json:"assumptions"`
}

// SubjectAthlete is the athlete who bowls.
type SubjectAthlete struct {
	ID   uuid.UUID `json:"athlete_id"`
	Name string    `json:"name"`
	Side lane.Side `json:"side"`
}

// Unnamed is what an athlete without a name is called.
const Unnamed = "the athlete"

// Heading is the athlete's name as a heading begins with it.
func (a SubjectAthlete) Heading() string {
	if a.Name == Unnamed {
		return "The athlete"
	}
	return a.Name
}

// SubjectBall is the ball as the motion model takes it; ID and Name are of a stored one.
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

// SubjectRelease is the athlete's typical delivery, but for where and at what angle it is laid
// down.
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
	ArrowsBoards           float64 `json:"arrows_boards"`
	LaunchAngleDeg         float64 `json:"launch_angle_deg"`
	SpeedMPH               float64 `json:"speed_mph"`
	RevRateRPM             float64 `json:"rev_rate_rpm"`
	ArrowsAngleCorrelation float64 `json:"arrows_angle_correlation"`
	Shots                  int     `json:"shots"` // stored shots that were looked at
	// Stated is set where the query states the scatter at the arrows.
	Stated   bool                   `json:"stated,omitempty"`
	Measures []line.MeasureEstimate `json:"measures"`
}

// Typical values of an athlete of whom nothing is known (common practice, no source).
const (
	usualSpeedMPH    = 17.0
	usualRevRPM      = 300.0
	usualRotationDeg = 45.0
	usualTiltDeg     = 12.0
	usualSlideOffset = 6.0
)

// MaxScatterShots is how many of an athlete's latest shots the scatter is estimated from: it
// changes over the months, and a thousand pairs are enough.
const MaxScatterShots = 2000

// Records are the records that a query is about: what its planner is made of.
type Records struct {
	Athlete *record.Athlete
	Ball    *record.Ball // nil when the query names none
	Pattern *record.Pattern
	// Shots are the athlete's latest, for scatter and habit: at most [MaxScatterShots]. PatternFt
	// are the lengths of the patterns of their sessions, where those are known.
	Shots     []shot.Shot
	PatternFt map[uuid.UUID]float64
	// Worn are the shots that wear the film; nil when no session does.
	Worn *SessionShots
}

// Planner computes lines for one subject.
type Planner struct {
	Subject Subject
	request line.Request
	worn    *WornBy // still to be worn by the athlete's own shots
	pattern *record.Pattern
}

// NewPlanner creates the planner of a query from the records it names.
func NewPlanner(query Query, from Records) (*Planner, error) {
	p := &Planner{
		request: line.Request{Lines: query.Lines, Draws: query.Draws, Pocket: line.DefaultPocket()},
		pattern: from.Pattern,
	}
	p.takeAthlete(from.Athlete)
	p.takeBall(from.Ball)
	p.takeFriction(query.Friction)
	p.takePocket(query.Pocket)
	p.takeScatter(query.ScatterBoards, from.Shots)
	if err := p.takeFilm(query.Worn, from.Worn); err != nil {
		return nil, err
	}
	p.takeHabit(from)
	p.takeCarry(query.Spares)
	p.assume("The ball is a rigid sphere on a level lane: the model ignores track flare.")
	return p, nil
}

func (p *Planner) assume(format string, values ...any) {
	p.Subject.Assumptions = append(p.Subject.Assumptions, fmt.Sprintf(format, values...))
}

func (p *Planner) takeAthlete(a *record.Athlete) {
	p.Subject.Athlete = SubjectAthlete{ID: a.ID, Name: a.Name, Side: a.Side}
	known := func(value *float64, usual float64, name, unit string) float64 {
		if value != nil {
			return *value
		}
		p.assume("The %s of %s is not known: %g %s is assumed (common practice, no source).", name, a.Name, usual, unit)
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
	p.Subject.Release = r
	p.request.Athlete = line.Athlete{
		Side:              a.Side,
		SpeedMPH:          r.SpeedMPH,
		RevRPM:            r.RevRateRPM,
		RotationDeg:       r.RotationDeg,
		TiltDeg:           r.TiltDeg,
		SlideOffsetBoards: r.SlideOffsetBoards,
	}
}

func (p *Planner) takeBall(b *record.Ball) {
	ball := motion.DefaultBall()
	told := SubjectBall{Name: "a typical ball"}
	if b == nil {
		p.assume(
			"No ball is named: a radius of gyration of %g in and a surface of 2000 grit are assumed.",
			ball.GyrationIn,
		)
	} else {
		told.ID, told.Name = &b.ID, b.Name
		if b.AthleteID != p.Subject.Athlete.ID {
			p.assume("The ball %q is another athlete's.", b.Name)
		}
		if b.RGIn != nil {
			ball.GyrationIn = *b.RGIn
		} else {
			p.assume("The radius of gyration of %q is not known: %g in is assumed.", b.Name, ball.GyrationIn)
		}
		if b.SurfaceGrit != nil {
			ball.SurfaceGrit = float64(*b.SurfaceGrit)
			p.assume("How the surface of %g grit changes the friction is assumed, not measured.", ball.SurfaceGrit)
		} else {
			p.assume("The surface of %q is not known: 2000 grit is assumed.", b.Name)
		}
	}
	told.RadiusIn, told.GyrationIn, told.SurfaceGrit = ball.RadiusIn, ball.GyrationIn, ball.SurfaceGrit
	p.Subject.Ball, p.request.Ball = told, ball
}

func (p *Planner) takeFriction(given *motion.Friction) {
	friction := motion.NominalFriction()
	if given != nil {
		friction = *given
	} else {
		p.assume(
			"The friction is nominal (mu_dry %g, mu_oil %g, q0 %g, share_thick %g, q_thick %g, slip_mps %v): a fit to practice, not measured on this lane. Probe shots measure it.",
			friction.MuDry,
			friction.MuOil,
			friction.Q0,
			friction.ShareThick,
			friction.QThick,
			friction.SlipMPS,
		)
	}
	p.request.Friction = friction
	p.Subject.Friction = SubjectFriction{Friction: friction, Q0OnSurface: friction.OnSurface(p.request.Ball).Q0}
}

func (p *Planner) takePocket(given *line.Pocket) {
	if given != nil {
		p.request.Pocket = *given
	} else {
		p.assume(
			"The pocket is taken to be board %g to %g at %g to %g degrees: our choice.",
			p.request.Pocket.BoardLow,
			p.request.Pocket.BoardHigh,
			p.request.Pocket.AngleLowDeg,
			p.request.Pocket.AngleHighDeg,
		)
	}
	p.Subject.Pocket = p.request.Pocket
}

func (p *Planner) takeFilm(worn *WornBy, session *SessionShots) error {
	film, err := filmOfPattern(p.pattern)
	if err != nil {
		return err
	}
	p.setFilm(film)
	p.assume(
		"Lines are valued over %d lanes that stand for what is not known of this one: oil, friction, revolutions and rotation, and what the model leaves out (common practice, no source).",
		freshLanes,
	)
	switch {
	case worn == nil:
		p.assume("The film is fresh, as the load table or the film map has it.")
	case session != nil:
		film, report, notes, err := session.wear(film, *worn, p.pattern.ID)
		if err != nil {
			return err
		}
		p.setFilm(film)
		p.Subject.Wear = report
		p.Subject.Assumptions = append(p.Subject.Assumptions, notes...)
	default:
		p.worn = worn
	}
	return nil
}

func (p *Planner) setFilm(film *oil.Film) {
	p.request.Film = film
	p.takeLanes()
	report := ReportFilm(film)
	p.Subject.Pattern = SubjectPattern{
		ID:       p.pattern.ID,
		Name:     p.pattern.Name,
		LengthFt: film.LengthFt,
		VolumeUL: report.VolumeUL,
		Ratio:    report.Ratios[0],
		Class:    report.Class,
	}
}

// wearByOwn wears the film by shots of the athlete's own, if that was asked for: along the line
// given, else along the best one on the fresh film.
func (p *Planner) wearByOwn(ctx context.Context) error {
	if p.worn == nil {
		return nil
	}
	aim, along := p.worn.aim(), "the line asked for"
	if aim == nil {
		fresh, err := line.Find(ctx, p.request, nil)
		if err != nil {
			return faultsOf("", err)
		}
		if len(fresh.Lines) == 0 {
			return conflict(
				"no line is found on the fresh film, so no shots can wear it: give worn a line of its own (%s)",
				fresh.Note,
			)
		}
		aim, along = &fresh.Lines[0].Aim, "the best line on the fresh film"
	}
	paths, err := line.Throws(p.request, *aim, p.worn.Shots)
	if err != nil {
		return faultsOf("/subject/worn", err)
	}
	tracks := make([]oil.Track, 0, len(paths))
	for _, path := range paths {
		if len(path.Stations) > 1 {
			tracks = append(tracks, path.Track(p.request.Athlete.Side))
		}
	}
	p.request.Stay = aim
	film, report, err := wearDown(p.request.Film, tracks)
	if err != nil {
		return err
	}
	report.PassesLeftOut = p.worn.Shots - len(tracks)
	p.setFilm(film)
	p.Subject.Wear = report
	by := fmt.Sprintf(
		"shots of %s as they scatter along %s: laydown %.1f, %.2f degrees",
		p.Subject.Athlete.Name,
		along,
		aim.LaydownBoard,
		aim.LaunchAngleDeg,
	)
	p.Subject.Assumptions = append(p.Subject.Assumptions, wearNotes(report, by)...)
	p.assume("The shots that wear the film run as on the fresh one.")
	return nil
}
