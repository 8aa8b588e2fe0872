package remote

import (
	"context"
	"reflect"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/service/lane"
	"laneward/service/shot"
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
				"--session and --athlete pick out a shot: leave them out for other kinds",
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
	if text == "" || text[0] < '0' || text[0] > '9' || place.Session == "" {
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
	var all, found []openapi.Shot
	for thrown, err := range c.Shots(ctx, c.squad, session.ID) {
		if err != nil {
			return client.Record{}, err
		}
		if athlete == nil || *athlete == thrown.Value.AthleteID {
			all = append(all, thrown.Value)
		}
	}
	numbers := shot.Numbers(
		all,
		func(s openapi.Shot) (uuid.UUID, int, uuid.UUID) { return s.AthleteID, s.Order, *s.ID },
	)
	for i, number := range numbers {
		if number == strings.ToLower(text) {
			found = append(found, all[i])
		}
	}
	switch len(found) {
	case 0:
		return client.Record{}, terminal.NotFound("there is no shot %s in %s", text, place.Session)
	case 1:
		return c.Get(ctx, c.squad, client.Shot, *found[0].ID)
	}
	return client.Record{}, terminal.Usage(
		"%d athletes have a shot %s in %s: say which with --athlete",
		len(found),
		text,
		place.Session,
	)
}

func viewShot(ctx context.Context, names *book, record client.Record) ([]field, error) {
	s, err := client.Decode[shot.Shot](record)
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
	}{
		{client.Athlete, &s.AthleteID},
		{client.Session, &s.SessionID},
		{client.Ball, s.BallID},
		{client.Drill, s.DrillID},
	} {
		name, err := names.name(ctx, parent.kind, parent.id)
		if err != nil {
			return nil, err
		}
		fields = append(fields, field{name: string(parent.kind), value: name})
	}
	for _, m := range shot.Measures() {
		if v, known := m.Get(&s); known {
			fields = append(fields, field{name: strings.ToLower(m.Label), value: m.Text(v)})
		}
	}
	return append(
		fields,
		field{name: "gutter", value: string(s.Gutter)},
		field{name: "standing", value: pins(s.Standing)},
		field{name: "track", value: track(s.Track)},
		field{name: "source", value: s.Source}, field{name: "note", value: s.Note}), nil
}

// pins writes the pins left standing.
func pins(standing *lane.PinSet) string {
	if standing == nil {
		return ""
	}
	return standing.String()
}

func track(points []shot.TrackPoint) string {
	texts := make([]string, len(points))
	for i, p := range points {
		texts[i] = terminal.Number(&p.Board) + " at " + terminal.Number(&p.Ft) + " ft"
	}
	return strings.Join(texts, ", ")
}

type shotFlags struct {
	Ball         string   `field:"ball_id" ref:"ball" placeholder:"NAME" help:"The ball, out of the athlete's arsenal."`
	Drill        string   `field:"drill_id" ref:"drill" placeholder:"NAME" help:"The drill it was thrown for."`
	Laydown      *float64 `field:"laydown_board" placeholder:"BOARD" help:"Board at the foul line."`
	Arrows       *float64 `field:"arrows_board" placeholder:"BOARD" help:"Board at the arrows."`
	Breakpoint   *float64 `field:"breakpoint_board" placeholder:"BOARD" help:"Board where the path is outermost."`
	BreakpointAt *float64 `field:"breakpoint_ft" placeholder:"FT" help:"Distance where the path is outermost."`
	Entry        *float64 `field:"entry_board" placeholder:"BOARD" help:"Board at the head pin."`
	EntryAngle   *float64 `field:"entry_angle_deg" placeholder:"DEG" help:"Angle at the head pin."`
	LaunchAngle  *float64 `field:"launch_angle_deg" placeholder:"DEG" help:"Angle at the foul line."`
	Speed        *float64 `field:"speed_mph" placeholder:"MPH" help:"Ball speed at launch."`
	RevRate      *float64 `field:"rev_rate_rpm" placeholder:"RPM" help:"Rev rate at launch."`
	Rotation     *float64 `field:"rotation_deg" placeholder:"DEG" help:"Axis rotation at launch."`
	Tilt         *float64 `field:"tilt_deg" placeholder:"DEG" help:"Axis tilt at launch."`
	Lane         *int     `field:"lane" placeholder:"LANE" help:"Number of the lane."`
	Game         *int     `field:"game" placeholder:"GAME" help:"The game of the block, 1 and up."`
	Frame        *int     `field:"frame" placeholder:"FRAME" help:"The frame, 1 to 10."`
	Delivery     *int     `field:"delivery" placeholder:"N" help:"The delivery of the frame, 1 to 3."`
	AimLaydown   *float64 `field:"aim_laydown_board" placeholder:"BOARD" help:"Board at the foul line that was meant."`
	AimAngle     *float64 `field:"aim_launch_angle_deg" placeholder:"DEG" help:"Launch angle that was meant."`
	ArrowsAt     *float64 `field:"arrows_ft" placeholder:"FT" help:"Distance at which the board at the arrows was read; 15 when not given."`
	Gutter       *string  `field:"gutter" enum:"right,left" placeholder:"SIDE" help:"right or left: the gutter that the ball fell into, as seen from the foul line."`
	Standing     pinsLeft `field:"standing" placeholder:"PINS" help:"Pins left standing, such as 4-9, or strike."`
	Note         string   `field:"note" placeholder:"TEXT" help:"Anything else."`
}

// pinsLeft are pins as a person types them.
type pinsLeft string

func (p pinsLeft) resolve(context.Context, *squadConnection) (any, error) {
	standing, err := lane.ParsePins(string(p))
	if err != nil {
		return nil, terminal.Usage("--standing: %w", err)
	}
	return standing, nil
}

type editShotCommand struct {
	changeFlags
	ofSession
	Fields shotFlags `embed:""`
}

func (editShotCommand) Help() string {
	return `A shot is named by its id, or by its number and the session. Only the flags you give change the record.

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
	changed, err := conn.change(ctx, old, c.Clear, reflect.ValueOf(*c))
	if err != nil {
		return err
	}
	return conn.Done(changed.ID, changed.JSON, "Changed shot %s.", c.Old)
}
