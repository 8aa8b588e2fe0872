package remote

import (
	"bytes"
	"context"
	"fmt"
	"strings"

	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/service/oil"
)

type athleteFlags struct {
	Side        *string       `field:"side" enum:"right,left" placeholder:"SIDE" help:"right or left: the hand that bowls."`
	Speed       *float64      `field:"speed_mph" placeholder:"MPH" help:"Typical speed at launch."`
	RevRate     *float64      `field:"rev_rate_rpm" placeholder:"RPM" help:"Typical rev rate."`
	Rotation    *float64      `field:"rotation_deg" placeholder:"DEG" help:"Axis rotation."`
	Tilt        *float64      `field:"tilt_deg" placeholder:"DEG" help:"Axis tilt."`
	SlideOffset *float64      `field:"slide_offset" placeholder:"BOARDS" help:"From the laydown to the slide foot, positive inside."`
	Born        *terminal.Day `field:"born_on" placeholder:"DAY" help:"Day of birth."`
	Guardian    string        `field:"guardian_name" placeholder:"NAME" help:"Guardian of a minor; for coaches."`
	Consent     *terminal.Day `field:"guardian_consent" placeholder:"DAY" help:"The day the guardian consented; for coaches."`
	Note        string        `field:"note" placeholder:"TEXT" help:"Anything else."`
}

func (athleteFlags) kind() client.Kind { return client.Athlete }

func (athleteFlags) help() (add, edit string) {
	return `Examples:

    laneward add athlete Rhea --side right --speed 17.5 --rev-rate 320
    laneward add athlete --file rhea.json`, `.

Example:

    laneward edit athlete Rhea --speed 18`
}

func (f athleteFlags) start(*squadConnection) (fields, error) {
	if f.Side == nil {
		return nil, terminal.Usage("add --side right or --side left: the hand that bowls")
	}
	return fields{}, nil
}

type ballFlags struct {
	Athlete      string   `field:"athlete_id" ref:"athlete" placeholder:"NAME" help:"Whose ball it is."`
	Weight       *float64 `field:"weight_lb" placeholder:"LB" help:"Pounds, at most 16."`
	RG           *float64 `field:"rg_in" name:"rg" placeholder:"IN" help:"Radius of gyration, inches."`
	Differential *float64 `field:"differential_in" placeholder:"IN" help:"Differential of the radius of gyration, inches."`
	Cover        *string  `field:"cover" enum:"plastic,urethane,solid,hybrid,pearl" placeholder:"COVER" help:"plastic, urethane, solid, hybrid or pearl."`
	Grit         *int     `field:"surface_grit" placeholder:"GRIT" help:"Last surface preparation, 100 to 10000."`
	Retired      *bool    `field:"retired" help:"No longer in the arsenal."`
	Note         string   `field:"note" placeholder:"TEXT" help:"Anything else."`
}

func (ballFlags) kind() client.Kind { return client.Ball }

func (ballFlags) help() (add, edit string) {
	return `An athlete who adds a ball need not say whose it is.

Examples:

    laneward add ball "Blue solid" --athlete Rhea --weight 15 --rg 2.5 --differential 0.045 --cover solid --grit 2000
    laneward add ball --file ball.json`, `.

Examples:

    laneward edit ball "Blue solid" --grit 1000
    laneward edit ball "Old pearl" --retired`
}

func (f ballFlags) start(conn *squadConnection) (fields, error) {
	switch {
	case f.Athlete == "" && conn.athlete == nil:
		return nil, terminal.Usage("add --athlete NAME: whose ball it is")
	case f.Weight == nil:
		return nil, terminal.Usage("add --weight LB")
	}
	return conn.ofOwn(), nil
}

// ofOwn are the fields of a record that is an athlete's own when an athlete creates it.
func (c *squadConnection) ofOwn() fields {
	if c.athlete == nil {
		return fields{}
	}
	return fields{"athlete_id": *c.athlete}
}

type patternFlags struct {
	Length *float64  `field:"length_ft" placeholder:"FT" help:"Length of the pattern in feet."`
	Loads  loadsFile `field:"loads" drops:"film" placeholder:"FILE" help:"The load table as CSV, - for stdin: columns direction, from_board, to_board, count, ul_per_board, start_ft, end_ft."`
	Note   string    `field:"note" placeholder:"TEXT" help:"Anything else."`
}

// loadsFile is the name of a file that holds a load table.
type loadsFile string

func (f loadsFile) resolve(_ context.Context, conn *squadConnection) (any, error) {
	text, err := conn.Env.ReadInput(string(f))
	if err != nil {
		return nil, err
	}
	table, err := oil.ReadTableCSV("", bytes.NewReader(text))
	if err != nil {
		return nil, offline.InFile(string(f), err)
	}
	return table.Loads, nil
}

func (patternFlags) kind() client.Kind { return client.Pattern }

func (patternFlags) help() (add, edit string) {
	return `Examples:

    laneward add pattern "Long flat" --length 45
    laneward add pattern "Long flat" --length 45 --loads loads.csv
    laneward add pattern --file pattern.json`, `.

Example:

    laneward edit pattern "Long flat" --loads loads.csv`
}

func (f patternFlags) start(*squadConnection) (fields, error) {
	if f.Length == nil {
		return nil, terminal.Usage("add --length FT")
	}
	return fields{}, nil
}

type sessionFlags struct {
	Date    *terminal.Day `field:"date" placeholder:"DAY" help:"The day, such as 2026-11-20; a new session defaults to today."`
	Kind    *string       `field:"kind" enum:"practice,block" placeholder:"KIND" help:"practice (the default for a new session) or block, a run of tournament games."`
	Centre  string        `field:"centre" placeholder:"NAME" help:"Where."`
	Lanes   []int         `field:"lanes" placeholder:"LANE" help:"Lane numbers, such as 11,12."`
	Pattern string        `field:"pattern_id" ref:"pattern" placeholder:"NAME" help:"The oil pattern."`
	Athlete string        `field:"athlete_id" ref:"athlete" placeholder:"NAME" help:"Whose session it is; without it the squad shares it."`
	Note    string        `field:"note" placeholder:"TEXT" help:"Anything else."`
}

func (sessionFlags) kind() client.Kind { return client.Session }

func (sessionFlags) help() (add, edit string) {
	return `Examples:

    laneward add session Practice --athlete Rhea --pattern "Long flat"
    laneward add session "Block 1" --kind block --date 2026-11-28 --lanes 11,12`, `. A session also answers to its day.

Example:

    laneward edit session 2026-11-20 --pattern "Long flat"`
}

func (f sessionFlags) start(conn *squadConnection) (fields, error) {
	record := conn.ofOwn()
	record["date"], record["kind"] = conn.Env.Today(), "practice"
	return record, nil
}

type drillFlags struct {
	Sentence sentences       `field:"rules" sep:"none" placeholder:"TEXT" help:"A rule in words, such as \"keep the ball at board 10 or inside\"; repeat it for more rules."`
	Reps     *int            `field:"reps" placeholder:"SHOTS" help:"How many shots are asked for."`
	Pass     *terminal.Share `field:"pass_share" placeholder:"SHARE" help:"The share of them that should keep the rules, such as 80%."`
	Pattern  string          `field:"pattern_id" ref:"pattern" placeholder:"NAME" help:"The oil pattern it is for."`
	Note     string          `field:"note" placeholder:"TEXT" help:"Anything else."`
}

// sentences are rules in words.
type sentences []string

// resolve has the server read the rules, and says what was read.
func (s sentences) resolve(ctx context.Context, conn *squadConnection) (any, error) {
	var rules []any
	for _, sentence := range s {
		read, err := conn.ReadSentence(ctx, conn.squad, sentence)
		if err != nil {
			return nil, err
		}
		conn.Say("Read as: %s.", readWords(read.Value))
		for _, rule := range read.Value.Rules {
			rules = append(rules, rule)
		}
	}
	return rules, nil
}

// readWords writes back what a sentence was read as, and how many shots it asks for itself.
func readWords(read openapi.ReadRule) string {
	words := strings.Join(read.Sentences, "; ")
	if read.Reps != nil {
		words += fmt.Sprintf(" (it asks for --reps %d", *read.Reps)
		if read.PassShare != nil {
			words += " --pass " + terminal.Percent(*read.PassShare)
		}
		words += ")"
	} else if read.PassShare != nil {
		words += " (it asks for --pass " + terminal.Percent(*read.PassShare) + ")"
	}
	return words
}

func (drillFlags) kind() client.Kind { return client.Drill }

func (drillFlags) help() (add, edit string) {
	return `The server reads each sentence as a rule and writes it back: what it writes is what will be judged. A shot keeps the drill when it keeps all its rules.

Examples:

    laneward add drill "Play inside" --sentence "keep the ball at board 10 or inside" --reps 30 --pass 80%
    laneward add drill --dry-run --sentence "speed between 16 and 17 mph"
    laneward add drill --file drill.json`, `; sentences take the place of all rules there were.

Example:

    laneward edit drill "Play inside" --pass 70%`
}

func (f drillFlags) start(*squadConnection) (fields, error) {
	if len(f.Sentence) == 0 || f.Reps == nil || f.Pass == nil {
		return nil, terminal.Usage(
			"a drill needs at least one --sentence, how many shots with --reps, and the share to keep it with --pass",
		)
	}
	return fields{}, nil
}

type addDrillCommand struct {
	add[drillFlags]
	DryRun bool `help:"Show how the sentences are read, and store nothing."`
}

// Run adds a drill, or shows how its sentences are read.
func (c *addDrillCommand) Run(ctx context.Context, env terminal.Environment) error {
	if !c.DryRun {
		return c.add.Run(ctx, env)
	}
	if len(c.Fields.Sentence) == 0 {
		return terminal.Usage("--dry-run shows how a --sentence is read: give one")
	}
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	for _, sentence := range c.Fields.Sentence {
		read, err := conn.ReadSentence(ctx, conn.squad, sentence)
		if err != nil {
			return err
		}
		if conn.JSON {
			err = conn.PrintJSON(read.JSON)
		} else {
			err = conn.Print(fmt.Sprintln(readWords(read.Value)))
		}
		if err != nil {
			return err
		}
	}
	return nil
}
