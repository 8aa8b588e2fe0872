package remote

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client"
)

type showCommand struct {
	squadFlags
	ofSession
	Kind recordKind `arg:"" predict:"kinds" help:"athlete, ball, pattern, session, drill, assignment or shot."`
	Name string     `arg:"" help:"Its name or id; a session also answers to its day, a shot of a --session to its number."`
}

func (showCommand) Help() string {
	return `Examples:

    laneward show athlete Rhea
    laneward show drill "Play inside" --json
    laneward show shot 4 --session 2026-11-20`
}

// Run shows one record.
func (c *showCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	record, err := conn.findIn(ctx, client.Kind(c.Kind), c.Name, c.ofSession)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(record.JSON)
	}
	fields, err := views[record.Kind](ctx, conn.book, record)
	if err != nil {
		return err
	}
	fields = append(
		fields,
		field{name: "id", value: record.ID.String()},
		field{name: "revision", value: strconv.FormatInt(record.Rev, 10)},
	)
	var b strings.Builder
	for _, f := range fields {
		if f.value != "" {
			fmt.Fprintf(&b, "%-18s%s\n", f.name, f.value)
		}
	}
	return conn.Print(b.String())
}

type deleteCommand struct {
	squadFlags
	WithShots bool `help:"Of a session: delete all its shots with it."`
	ofSession
	Kind recordKind `arg:"" predict:"kinds" help:"athlete, ball, pattern, session, drill, assignment or shot."`
	Name string     `arg:"" help:"Its name or id; a session also answers to its day, a shot of a --session to its number."`
}

func (deleteCommand) Help() string {
	return `A record that others refer to is not deleted: a session with shots, a drill that is assigned. Delete those first.

Examples:

    laneward delete ball "Old pearl"
    laneward delete session 2026-11-20
    laneward delete session 2026-11-20 --with-shots
    laneward delete shot 4 --session 2026-11-20 --athlete Rhea`
}

// Run deletes one record.
func (c *deleteCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	record, err := conn.findIn(ctx, client.Kind(c.Kind), c.Name, c.ofSession)
	if err != nil {
		return err
	}
	remove, what := conn.Delete, ""
	if c.WithShots {
		if record.Kind != client.Session {
			return terminal.Usage("--with-shots is for sessions: nothing else has shots of its own")
		}
		remove, what = conn.DeleteSession, " and its shots"
	}
	err = remove(ctx, conn.squad, record)
	if record.Kind == client.Session && client.CodeOf(err) == client.Conflict {
		return &client.Error{
			Code:   client.Conflict,
			Detail: "the session still has shots: add --with-shots, or delete them first",
		}
	}
	if err != nil {
		return err
	}
	conn.Say("Deleted %s %s%s.", c.Kind, c.Name, what)
	return nil
}
