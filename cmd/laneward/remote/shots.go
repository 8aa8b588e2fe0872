package remote

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

// ofSession says in which session a shot is to be found by its number.
type ofSession struct {
	Session string `placeholder:"NAME" help:"For a shot: the session it was bowled in, by name, day or id."`
	Athlete string `placeholder:"NAME" help:"For a shot: who bowled it, when several bowled in the session."`
}

// findIn is find that knows shots too.
func (c *squadConnection) findIn(
	ctx context.Context,
	kind client.Kind,
	text string,
	place ofSession,
) (client.Record, error) {
	if kind != client.Shot {
		if place != (ofSession{}) {
			return client.Record{}, terminal.Usage(
				"--session and --athlete tell which shot is meant: leave them out, for this is no shot",
			)
		}
		return c.find(ctx, kind, text)
	}
	return c.findShot(ctx, text, place)
}

// findShot finds a shot by its id, or by its number in a session.
func (c *squadConnection) findShot(ctx context.Context, text string, place ofSession) (client.Record, error) {
	if _, err := uuid.Parse(text); err == nil {
		return c.find(ctx, client.Shot, text)
	}
	order, err := strconv.Atoi(text)
	if err != nil || place.Session == "" {
		return client.Record{}, terminal.Usage(
			"name a shot by its id, or by its number and the session: shot 4 --session 2026-11-20",
		)
	}
	session, err := c.find(ctx, client.Session, place.Session)
	if err != nil {
		return client.Record{}, err
	}
	athlete, err := c.findID(ctx, client.Athlete, place.Athlete)
	if err != nil {
		return client.Record{}, err
	}
	var found []openapi.Shot
	for shot, err := range c.Shots(ctx, c.squad, session.ID) {
		if err != nil {
			return client.Record{}, err
		}
		if shot.Value.Order == order && (athlete == nil || *athlete == shot.Value.AthleteID) {
			found = append(found, shot.Value)
		}
	}
	switch len(found) {
	case 0:
		return client.Record{}, terminal.NotFound("there is no shot %d in %s", order, place.Session)
	case 1:
		return c.Get(ctx, c.squad, client.Shot, *found[0].ID)
	}
	return client.Record{}, terminal.Usage(
		"%d athletes have a shot %d in %s: say which with --athlete",
		len(found),
		order,
		place.Session,
	)
}

func viewShot(ctx context.Context, names *book, record client.Record) ([]field, error) {
	s, err := client.Decode[openapi.Shot](record)
	if err != nil {
		return nil, err
	}
	fields := []field{
		{name: "shot", value: strconv.Itoa(s.Order)},
		{name: "time", value: names.connection.Env.ClockTime(s.Time)},
	}
	for _, parent := range []struct {
		kind client.Kind
		id   *uuid.UUID
	}{{client.Athlete, &s.AthleteID}, {client.Session, &s.SessionID}, {client.Ball, s.BallID}, {client.Drill, s.DrillID}} {
		name, err := names.name(ctx, parent.kind, parent.id)
		if err != nil {
			return nil, err
		}
		fields = append(fields, field{name: string(parent.kind), value: name})
	}
	for _, m := range shotMeasures(&s) {
		fields = append(fields, field{name: m.name, value: m.text()})
	}
	return append(fields, field{name: "standing", value: pins(s.Standing)}, field{name: "track", value: track(s.Track)},
		field{name: "source", value: terminal.Word(s.Source)}, field{name: "note", value: terminal.Word(s.Note)}), nil
}

// shotMeasure is one measured number of a shot.
type shotMeasure struct {
	name, unit string
	value      **float64
}

// text writes the measure as it is said: board 10.5, 17 mph.
func (m shotMeasure) text() string {
	if *m.value != nil && m.unit == "board" {
		return "board " + terminal.Number(*m.value)
	}
	return terminal.WithUnit(*m.value, m.unit)
}

func shotMeasures(s *openapi.Shot) []shotMeasure {
	return []shotMeasure{
		{"laydown", "board", &s.LaydownBoard},
		{"arrows", "board", &s.ArrowsBoard},
		{"breakpoint", "board", &s.BreakpointBoard},
		{"breakpoint at", "ft", &s.BreakpointFt},
		{"entry", "board", &s.EntryBoard},
		{"entry angle", "deg", &s.EntryAngleDeg},
		{"launch angle", "deg", &s.LaunchAngleDeg},
		{"speed", "mph", &s.SpeedMPH},
		{"rev rate", "rpm", &s.RevRateRPM},
		{"rotation", "deg", &s.RotationDeg},
		{"tilt", "deg", &s.TiltDeg},
	}
}

func track(points *[]openapi.TrackPoint) string {
	if points == nil {
		return ""
	}
	texts := make([]string, len(*points))
	for i, p := range *points {
		texts[i] = terminal.Number(&p.Board) + " at " + terminal.Number(&p.Ft) + " ft"
	}
	return strings.Join(texts, ", ")
}

type shotFlags struct {
	Ball         string   `placeholder:"NAME" help:"The ball, out of the athlete's arsenal."`
	Drill        string   `placeholder:"NAME" help:"The drill it was thrown for."`
	Laydown      *float64 `placeholder:"BOARD" help:"Board at the foul line."`
	Arrows       *float64 `placeholder:"BOARD" help:"Board at the arrows."`
	Breakpoint   *float64 `placeholder:"BOARD" help:"Board where the path is outermost."`
	BreakpointAt *float64 `placeholder:"FT" help:"Distance where the path is outermost."`
	Entry        *float64 `placeholder:"BOARD" help:"Board at the head pin."`
	EntryAngle   *float64 `placeholder:"DEG" help:"Angle at the head pin."`
	LaunchAngle  *float64 `placeholder:"DEG" help:"Angle at the foul line."`
	Speed        *float64 `placeholder:"MPH" help:"Ball speed at launch."`
	RevRate      *float64 `placeholder:"RPM" help:"Rev rate at launch."`
	Rotation     *float64 `placeholder:"DEG" help:"Axis rotation at launch."`
	Tilt         *float64 `placeholder:"DEG" help:"Axis tilt at launch."`
	Standing     *string  `placeholder:"PINS" help:"Pins left standing, such as 4-9, or strike."`
	Note         string   `placeholder:"TEXT" help:"Anything else."`
}

func (f shotFlags) fill(ctx context.Context, conn *squadConnection, s *openapi.Shot) error {
	drill, err := conn.findID(ctx, client.Drill, f.Drill)
	if err != nil {
		return err
	}
	set(&s.DrillID, drill)
	if f.Ball != "" {
		if s.BallID, err = conn.findBall(ctx, f.Ball, s.AthleteID); err != nil {
			return err
		}
	}
	given := []*float64{
		f.Laydown,
		f.Arrows,
		f.Breakpoint,
		f.BreakpointAt,
		f.Entry,
		f.EntryAngle,
		f.LaunchAngle,
		f.Speed,
		f.RevRate,
		f.Rotation,
		f.Tilt,
	}
	for i, m := range shotMeasures(s) {
		set(m.value, given[i])
	}
	if f.Standing != nil {
		standing, err := parsePins(*f.Standing)
		if err != nil {
			return err
		}
		s.Standing = &standing
	}
	setWord(&s.Note, f.Note)
	return nil
}

// findBall finds a ball in one athlete's arsenal: athletes may have balls of the same name.
func (c *squadConnection) findBall(ctx context.Context, text string, athlete uuid.UUID) (*uuid.UUID, error) {
	all, err := c.All(ctx, c.squad, client.Ball)
	if err != nil {
		return nil, err
	}
	var decodeErr error
	all = slices.DeleteFunc(all, func(record client.Record) bool {
		ball, err := client.Decode[openapi.Ball](record)
		decodeErr = err
		return ball.AthleteID != athlete
	})
	if decodeErr != nil {
		return nil, decodeErr
	}
	record, err := client.Pick(all, client.Ball, text)
	return &record.ID, err
}

// parsePins reads pins joined by hyphens or blanks, or strike for none. The server checks their
// numbers.
func parsePins(text string) ([]int, error) {
	standing := []int{}
	if text == "strike" {
		return standing, nil
	}
	for word := range strings.FieldsFuncSeq(text, func(r rune) bool { return r == '-' || r == ' ' }) {
		pin, err := strconv.Atoi(word)
		if err != nil {
			return nil, terminal.Usage("%q are no pins: write them as 4-9, or strike", text)
		}
		standing = append(standing, pin)
	}
	return standing, nil
}

type editShotCommand struct {
	changeFlags
	ofSession
	shotFlags
}

func (editShotCommand) Help() string {
	return `A shot is named by its id, or by its number and the session. Only what you give is changed.

Examples:

    laneward edit shot 4 --session 2026-11-20 --breakpoint 12
    laneward edit shot 4 --session 2026-11-20 --athlete Rhea --standing strike
    laneward edit shot 4 --session 2026-11-20 --clear entry_board`
}

// Run changes a shot.
func (c *editShotCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	old, err := conn.findShot(ctx, c.Old, c.ofSession)
	if err != nil {
		return err
	}
	changed, err := change(ctx, conn, old, c.Clear, func(s *openapi.Shot) error { return c.fill(ctx, conn, s) })
	if err != nil {
		return err
	}
	return conn.Done(changed.ID, changed.JSON, "Changed shot %s.", c.Old)
}
