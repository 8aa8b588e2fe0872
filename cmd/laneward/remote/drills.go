package remote

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"

	openapitypes "github.com/oapi-codegen/runtime/types"

	"laneward/openapi"
	"laneward/openapi/client"
)

type drillFlags struct {
	Sentence []string        `sep:"none" placeholder:"TEXT" help:"A rule in words, such as \"keep the ball at board 10 or inside\"; repeat it for more rules."`
	Reps     *int            `placeholder:"SHOTS" help:"How many shots are asked for."`
	Pass     *terminal.Share `placeholder:"SHARE" help:"The share of them that should keep the rules, such as 80%."`
	Pattern  string          `placeholder:"NAME" help:"The oil pattern it is for."`
	Note     string          `placeholder:"TEXT" help:"Anything else."`
}

func (f drillFlags) fill(ctx context.Context, conn *squadConnection, d *openapi.Drill) error {
	if len(f.Sentence) > 0 {
		rules, err := conn.readSentences(ctx, f.Sentence)
		if err != nil {
			return err
		}
		d.Rules = rules
	}
	if f.Reps != nil {
		d.Reps = *f.Reps
	}
	if f.Pass != nil {
		d.PassShare = float64(*f.Pass)
	}
	pattern, err := conn.findID(ctx, client.Pattern, f.Pattern)
	if err != nil {
		return err
	}
	set(&d.PatternID, pattern)
	setWord(&d.Note, f.Note)
	return nil
}

// readSentences has the server read rules from sentences, and tells what was read.
func (c *squadConnection) readSentences(ctx context.Context, sentences []string) ([]openapi.Rule, error) {
	rules := make([]openapi.Rule, len(sentences))
	for i, sentence := range sentences {
		read, err := c.ReadSentence(ctx, c.squad, sentence)
		if err != nil {
			return nil, err
		}
		c.Say("Read as: %s.", read.Value.Sentence)
		rules[i] = read.Value.Rule
	}
	return rules, nil
}

type addDrillCommand struct {
	newFlags
	drillFlags
	DryRun bool `help:"Show how the sentences are read, and store nothing."`
}

func (addDrillCommand) Help() string {
	return `The server reads each sentence as a rule and writes it back: what it writes is what will be judged. A shot keeps the drill when it keeps all its rules.

Examples:

    laneward add drill "Play inside" --sentence "keep the ball at board 10 or inside" --reps 30 --pass 80%
    laneward add drill --dry-run --sentence "speed between 16 and 17 mph"
    laneward add drill --file drill.json`
}

// Run adds a drill.
func (c *addDrillCommand) Run(ctx context.Context, env terminal.Environment) error {
	switch {
	case c.DryRun && len(c.Sentence) == 0:
		return terminal.Usage("--dry-run shows how a --sentence is read: give one")
	case c.DryRun:
		conn, err := c.enter(ctx, env)
		if err != nil {
			return err
		}
		return conn.printReading(ctx, c.Sentence)
	case c.File == "" && (len(c.Sentence) == 0 || c.Reps == nil || c.Pass == nil):
		return terminal.Usage(
			"a drill needs at least one --sentence, how many shots with --reps, and the share to keep it with --pass",
		)
	}
	return addRecord(ctx, env, c.newFlags, client.Drill, func(conn *squadConnection, d *openapi.Drill) error {
		named(&d.Name, c.Name)
		return c.fill(ctx, conn, d)
	})
}

// printReading prints what the server reads from sentences.
func (c *squadConnection) printReading(ctx context.Context, sentences []string) error {
	for _, sentence := range sentences {
		read, err := c.ReadSentence(ctx, c.squad, sentence)
		if err != nil {
			return err
		}
		if c.JSON {
			err = c.PrintJSON(read.JSON)
		} else {
			err = c.Print(read.Value.Sentence + "\n")
		}
		if err != nil {
			return err
		}
	}
	return nil
}

type editDrillCommand struct {
	changeFlags
	renameFlags
	drillFlags
}

func (editDrillCommand) Help() string {
	return `Only what you give is changed; sentences take the place of all rules there were.

Example:

    laneward edit drill "Play inside" --pass 70%`
}

// Run changes a drill.
func (c *editDrillCommand) Run(ctx context.Context, env terminal.Environment) error {
	return editRecord(ctx, env, c.changeFlags, client.Drill, func(conn *squadConnection, d *openapi.Drill) error {
		named(&d.Name, c.Rename)
		d.Sentences = nil // the server writes them anew
		return c.fill(ctx, conn, d)
	})
}

type assignCommand struct {
	squadFlags
	Drill string        `arg:"" help:"The drill, by name or id."`
	To    []string      `sep:"none" placeholder:"NAME" xor:"whom" required:"" help:"An athlete; repeat it for more."`
	All   bool          `xor:"whom" required:"" help:"Every athlete of the squad."`
	From  *terminal.Day `placeholder:"DAY" help:"The first day that counts; today unless told otherwise."`
	Due   *terminal.Day `placeholder:"DAY" help:"The last day that counts; without it there is no end."`
	Note  string        `placeholder:"TEXT" help:"Anything else."`
}

func (assignCommand) Help() string {
	return `Shots that were thrown for the drill, or for no drill in particular, count in sessions from the first day to the last. Whoever has the same assignment already is passed over, so that the command can be run again.

Examples:

    laneward assign "Play inside" --to Rhea --to Max --due 2026-12-04
    laneward assign "Play inside" --all --from 2026-11-20`
}

// Run assigns a drill.
func (c *assignCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	drill, err := conn.find(ctx, client.Drill, c.Drill)
	if err != nil {
		return err
	}
	athletes, err := conn.assignees(ctx, c.To)
	if err != nil {
		return err
	}
	wanted := openapi.Assignment{DrillID: drill.ID, AssignedOn: env.Today(), DueOn: dateOf(c.Due)}
	if c.From != nil {
		wanted.AssignedOn = c.From.Date
	}
	setWord(&wanted.Note, c.Note)
	held, err := conn.All(ctx, conn.squad, client.Assignment)
	if err != nil {
		return err
	}
	for _, athlete := range athletes {
		wanted.AthleteID = athlete.ID
		if err := conn.assign(ctx, drill, athlete, wanted, held); err != nil {
			return err
		}
	}
	return nil
}

// assignees are the athletes named, or all when none is. All names are looked up before anything is
// done.
func (c *squadConnection) assignees(ctx context.Context, names []string) ([]client.Record, error) {
	all, err := c.All(ctx, c.squad, client.Athlete)
	if err != nil || len(names) == 0 {
		return all, err
	}
	chosen := make([]client.Record, len(names))
	for i, name := range names {
		if chosen[i], err = client.Pick(all, client.Athlete, name); err != nil {
			return nil, err
		}
	}
	return chosen, nil
}

func (c *squadConnection) assign(
	ctx context.Context,
	drill, athlete client.Record,
	wanted openapi.Assignment,
	held []client.Record,
) error {
	drillName, err := drill.Name()
	if err != nil {
		return err
	}
	athleteName, err := athlete.Name()
	if err != nil {
		return err
	}
	for _, record := range held {
		existing, err := client.Decode[openapi.Assignment](record)
		if err != nil {
			return err
		}
		if existing.DrillID == wanted.DrillID && existing.AthleteID == wanted.AthleteID &&
			existing.AssignedOn.Equal(wanted.AssignedOn.Time) &&
			sameDay(existing.DueOn, wanted.DueOn) {
			return c.Done(
				record.ID,
				record.JSON,
				"%s has %s already, from %s%s.",
				athleteName,
				drillName,
				wanted.AssignedOn,
				until(wanted.DueOn),
			)
		}
	}
	record, err := c.Create(ctx, c.squad, client.Assignment, wanted)
	if err != nil {
		return fmt.Errorf("%s: %w", athleteName, err)
	}
	return c.Done(
		record.ID,
		record.JSON,
		"Assigned %s to %s, from %s%s.",
		drillName,
		athleteName,
		wanted.AssignedOn,
		until(wanted.DueOn),
	)
}

func sameDay(a, b *openapitypes.Date) bool {
	return a == nil && b == nil || a != nil && b != nil && a.Equal(b.Time)
}

func until(due *openapitypes.Date) string {
	if due == nil {
		return ""
	}
	return " to " + due.String()
}

// scope is what a score is asked of.
type scope struct {
	drill            client.Record
	athlete, session *uuid.UUID
}

func (c *squadConnection) scope(ctx context.Context, drill, athlete, session string) (found scope, err error) {
	if found.drill, err = c.find(ctx, client.Drill, drill); err != nil {
		return found, err
	}
	if found.athlete, err = c.findID(ctx, client.Athlete, athlete); err != nil {
		return found, err
	}
	found.session, err = c.findID(ctx, client.Session, session)
	return found, err
}
