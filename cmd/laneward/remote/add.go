package remote

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

type addCommand struct {
	Athlete addAthleteCommand `cmd:"" help:"Add an athlete."`
	Ball    addBallCommand    `cmd:"" help:"Add a ball to an athlete's arsenal."`
	Pattern addPatternCommand `cmd:"" help:"Add an oil pattern."`
	Session addSessionCommand `cmd:"" help:"Add a practice session or a block."`
	Drill   addDrillCommand   `cmd:"" help:"Add a drill, its rules typed as sentences."`
}

// newFlags are what adding any kind of record has.
type newFlags struct {
	squadFlags
	File string `placeholder:"FILE" help:"Take the record from a JSON file, - for stdin; flags go before what it says."`
	Name string `arg:"" optional:"" help:"Its name; left out when the file has it."`
}

// addRecord stores a new record: what the file says, then what fill makes of it.
func addRecord[T any](
	ctx context.Context,
	env terminal.Environment,
	f newFlags,
	kind client.Kind,
	fill func(*squadConnection, *T) error,
) error {
	conn, err := f.enter(ctx, env)
	if err != nil {
		return err
	}
	var value T
	if f.File != "" {
		if err := readRecord(env, f.File, &value); err != nil {
			return err
		}
	} else if f.Name == "" {
		return terminal.Usage("say its name, or name a file with --file")
	}
	if err := fill(conn, &value); err != nil {
		return err
	}
	record, err := conn.Create(ctx, conn.squad, kind, value)
	if err != nil {
		return err
	}
	name, err := record.Name()
	if err != nil {
		return err
	}
	return conn.Done(record.ID, record.JSON, "Added %s %s.", kind, name)
}

// readRecord reads a record as the contract has it, and refuses what the contract does not know.
func readRecord(env terminal.Environment, path string, into any) error {
	text, err := env.ReadInput(path)
	if err != nil {
		return err
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(into); err != nil {
		return fmt.Errorf("%s is not a record in JSON: %w", path, err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return fmt.Errorf("%s holds more than one record: add them one by one", path)
	}
	return nil
}

// named takes over a name that was given.
func named(field *openapi.Name, given string) {
	if given != "" {
		*field = given
	}
}

type athleteFlags struct {
	Side        *string       `enum:"right,left" placeholder:"SIDE" help:"right or left: the hand that bowls."`
	Speed       *float64      `placeholder:"MPH" help:"Typical speed at launch."`
	RevRate     *float64      `placeholder:"RPM" help:"Typical rev rate."`
	Rotation    *float64      `placeholder:"DEG" help:"Axis rotation."`
	Tilt        *float64      `placeholder:"DEG" help:"Axis tilt."`
	SlideOffset *float64      `placeholder:"BOARDS" help:"From the laydown to the slide foot, positive inside."`
	Born        *terminal.Day `placeholder:"DAY" help:"Day of birth."`
	Guardian    string        `placeholder:"NAME" help:"Guardian of a minor."`
	Consent     *terminal.Day `placeholder:"DAY" help:"The day the guardian consented."`
	Note        string        `placeholder:"TEXT" help:"Anything else."`
}

func (f athleteFlags) fill(a *openapi.Athlete) {
	if f.Side != nil {
		a.Side = openapi.AthleteSide(*f.Side)
	}
	set(&a.SpeedMPH, f.Speed)
	set(&a.RevRateRPM, f.RevRate)
	set(&a.RotationDeg, f.Rotation)
	set(&a.TiltDeg, f.Tilt)
	set(&a.SlideOffset, f.SlideOffset)
	set(&a.BornOn, dateOf(f.Born))
	setWord(&a.GuardianName, f.Guardian)
	set(&a.GuardianConsent, dateOf(f.Consent))
	setWord(&a.Note, f.Note)
}

type addAthleteCommand struct {
	newFlags
	athleteFlags
}

func (addAthleteCommand) Help() string {
	return `Examples:

    laneward add athlete Rhea --side right --speed 17.5 --rev-rate 320
    laneward add athlete --file rhea.json`
}

// Run adds an athlete.
func (c *addAthleteCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.File == "" && c.Side == nil {
		return terminal.Usage("say which hand bowls: --side right or --side left")
	}
	return addRecord(ctx, env, c.newFlags, client.Athlete, func(_ *squadConnection, a *openapi.Athlete) error {
		named(&a.Name, c.Name)
		c.fill(a)
		return nil
	})
}

type editAthleteCommand struct {
	changeFlags
	renameFlags
	athleteFlags
}

func (editAthleteCommand) Help() string {
	return `Only what you give is changed.

Example:

    laneward edit athlete Rhea --speed 18`
}

// Run changes an athlete.
func (c *editAthleteCommand) Run(ctx context.Context, env terminal.Environment) error {
	return editRecord(ctx, env, c.changeFlags, client.Athlete, func(_ *squadConnection, a *openapi.Athlete) error {
		named(&a.Name, c.Rename)
		c.fill(a)
		return nil
	})
}

type ballFlags struct {
	Athlete      string   `placeholder:"NAME" help:"Whose ball it is."`
	Weight       *float64 `placeholder:"LB" help:"Pounds, at most 16."`
	RG           *float64 `name:"rg" placeholder:"IN" help:"Radius of gyration, inches."`
	Differential *float64 `placeholder:"IN" help:"Differential of the radius of gyration, inches."`
	Cover        *string  `enum:"plastic,urethane,solid,hybrid,pearl" placeholder:"COVER" help:"plastic, urethane, solid, hybrid or pearl."`
	Grit         *int     `placeholder:"GRIT" help:"Last surface preparation, 100 to 10000."`
	Retired      *bool    `help:"No longer in the arsenal."`
	Note         string   `placeholder:"TEXT" help:"Anything else."`
}

func (f ballFlags) fill(ctx context.Context, conn *squadConnection, b *openapi.Ball) error {
	athlete, err := conn.findID(ctx, client.Athlete, f.Athlete)
	if err != nil {
		return err
	}
	if athlete != nil {
		b.AthleteID = *athlete
	}
	if f.Weight != nil {
		b.WeightLb = *f.Weight
	}
	set(&b.RgIn, f.RG)
	set(&b.DifferentialIn, f.Differential)
	set(&b.Cover, (*openapi.BallCover)(f.Cover))
	set(&b.SurfaceGrit, f.Grit)
	set(&b.Retired, f.Retired)
	setWord(&b.Note, f.Note)
	return nil
}

type addBallCommand struct {
	newFlags
	ballFlags
}

func (addBallCommand) Help() string {
	return `An athlete who adds a ball need not say whose it is.

Examples:

    laneward add ball "Blue solid" --athlete Rhea --weight 15 --rg 2.5 --differential 0.045 --cover solid --grit 2000
    laneward add ball --file ball.json`
}

// Run adds a ball.
func (c *addBallCommand) Run(ctx context.Context, env terminal.Environment) error {
	return addRecord(ctx, env, c.newFlags, client.Ball, func(conn *squadConnection, b *openapi.Ball) error {
		if c.File == "" {
			if c.Athlete == "" && conn.athlete == nil {
				return terminal.Usage("say whose ball it is with --athlete NAME")
			}
			if c.Weight == nil {
				return terminal.Usage("say what it weighs with --weight LB")
			}
			if conn.athlete != nil {
				b.AthleteID = *conn.athlete
			}
		}
		named(&b.Name, c.Name)
		return c.fill(ctx, conn, b)
	})
}

type editBallCommand struct {
	changeFlags
	renameFlags
	ballFlags
}

func (editBallCommand) Help() string {
	return `Only what you give is changed.

Examples:

    laneward edit ball "Blue solid" --grit 1000
    laneward edit ball "Old pearl" --retired`
}

// Run changes a ball.
func (c *editBallCommand) Run(ctx context.Context, env terminal.Environment) error {
	return editRecord(ctx, env, c.changeFlags, client.Ball, func(conn *squadConnection, b *openapi.Ball) error {
		named(&b.Name, c.Rename)
		return c.fill(ctx, conn, b)
	})
}

type sessionFlags struct {
	Date    *terminal.Day `placeholder:"DAY" help:"The day, such as 2026-11-20; a new session is today's unless told otherwise."`
	Kind    *string       `enum:"practice,block" placeholder:"KIND" help:"practice (what a new session is unless told otherwise) or block, a run of tournament games."`
	Centre  string        `placeholder:"NAME" help:"Where."`
	Lanes   []int         `placeholder:"LANE" help:"Lane numbers, such as 11,12."`
	Pattern string        `placeholder:"NAME" help:"The oil pattern."`
	Athlete string        `placeholder:"NAME" help:"Whose session it is; without it the squad shares it."`
	Note    string        `placeholder:"TEXT" help:"Anything else."`
}

func (f sessionFlags) fill(ctx context.Context, conn *squadConnection, s *openapi.Session) error {
	if f.Date != nil {
		s.Date = f.Date.Date
	}
	if f.Kind != nil {
		s.Kind = openapi.SessionKind(*f.Kind)
	}
	setWord(&s.Centre, f.Centre)
	if len(f.Lanes) > 0 {
		s.Lanes = &f.Lanes
	}
	pattern, err := conn.findID(ctx, client.Pattern, f.Pattern)
	if err != nil {
		return err
	}
	set(&s.PatternID, pattern)
	athlete, err := conn.findID(ctx, client.Athlete, f.Athlete)
	if err != nil {
		return err
	}
	set(&s.AthleteID, athlete)
	setWord(&s.Note, f.Note)
	return nil
}

type addSessionCommand struct {
	newFlags
	sessionFlags
}

func (addSessionCommand) Help() string {
	return `Examples:

    laneward add session Practice --athlete Rhea --pattern "Long flat"
    laneward add session "Block 1" --kind block --date 2026-11-28 --lanes 11,12`
}

// Run adds a session.
func (c *addSessionCommand) Run(ctx context.Context, env terminal.Environment) error {
	return addRecord(ctx, env, c.newFlags, client.Session, func(conn *squadConnection, s *openapi.Session) error {
		if c.File == "" {
			s.Date, s.Kind = env.Today(), openapi.Practice
			s.AthleteID = conn.athlete // an athlete's own session
		}
		named(&s.Name, c.Name)
		return c.fill(ctx, conn, s)
	})
}

type editSessionCommand struct {
	changeFlags
	renameFlags
	sessionFlags
}

func (editSessionCommand) Help() string {
	return `Only what you give is changed. A session also answers to its day.

Example:

    laneward edit session 2026-11-20 --pattern "Long flat"`
}

// Run changes a session.
func (c *editSessionCommand) Run(ctx context.Context, env terminal.Environment) error {
	return editRecord(ctx, env, c.changeFlags, client.Session, func(conn *squadConnection, s *openapi.Session) error {
		named(&s.Name, c.Rename)
		return c.fill(ctx, conn, s)
	})
}
