package remote

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"

	openapitypes "github.com/oapi-codegen/runtime/types"

	"laneward/openapi"
	"laneward/openapi/client"
)

type assignCommand struct {
	squadFlags
	Drill string        `arg:"" help:"The drill, by name or id."`
	To    []string      `sep:"none" placeholder:"NAME" xor:"whom" required:"" help:"An athlete; repeat it for more."`
	All   bool          `xor:"whom" required:"" help:"Every athlete of the squad."`
	From  *terminal.Day `placeholder:"DAY" help:"The first day that counts; today by default."`
	Due   *terminal.Day `placeholder:"DAY" help:"The last day that counts; without it there is no end."`
	Note  string        `placeholder:"TEXT" help:"Anything else."`
}

func (assignCommand) Help() string {
	return `Shots that were thrown for the drill, or for no drill in particular, count in sessions from the first day to the last. Athletes who already have the same assignment are skipped, so the command is safe to run again.

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
	request := openapi.AssignRequest{AssignedOn: env.Today(), DueOn: dateOf(c.Due), Note: optional(c.Note)}
	if c.From != nil {
		request.AssignedOn = c.From.Date
	}
	if request.DueOn != nil && request.DueOn.Before(request.AssignedOn.Time) {
		return terminal.Usage(
			"the last day, %s, is before the first, %s: set --due or --from",
			request.DueOn,
			request.AssignedOn,
		)
	}
	names, ids := make(map[uuid.UUID]string), make([]uuid.UUID, len(athletes))
	for i, athlete := range athletes {
		ids[i] = athlete.ID
		if names[athlete.ID], err = athlete.Name(); err != nil {
			return err
		}
	}
	if !c.All {
		request.AthleteIds = &ids
	}
	given, err := conn.Assign(ctx, conn.squad, drill.ID, request)
	if err != nil {
		return err
	}
	return conn.showAssigned(given.Value, names)
}

// showAssigned says who was given a drill, and who held it before.
func (c *squadConnection) showAssigned(given openapi.AssignedDrill, names map[uuid.UUID]string) error {
	for _, one := range given.Assignments {
		a, says := one.Assignment, "%[1]s has %[2]s already, from %[3]s%[4]s."
		if one.Created {
			says = "Assigned %[2]s to %[1]s, from %[3]s%[4]s."
		}
		record, err := json.Marshal(a)
		if err != nil {
			return fmt.Errorf("write the assignment: %w", err)
		}
		err = c.Done(a.ID, record, says, names[a.AthleteID], given.Drill.Name, a.AssignedOn, until(a.DueOn))
		if err != nil {
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

// dateOf returns a day as the contract has it, nil for none.
func dateOf(d *terminal.Day) *openapitypes.Date {
	if d == nil {
		return nil
	}
	return &d.Date
}

// optional returns a text, nil for "".
func optional(text string) *string {
	if text == "" {
		return nil
	}
	return &text
}

func until(due *openapitypes.Date) string {
	if due == nil {
		return ""
	}
	return " to " + due.String()
}

// scope is what a score is of.
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
