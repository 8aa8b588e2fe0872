package remote

import (
	"context"
	"fmt"
	"os"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client"
)

type exportCommand struct {
	squadFlags
	Athlete string `arg:"" help:"Whose data, by name or id."`
	Output  string `short:"o" placeholder:"FILE" help:"File to write, readable by you alone; without it the zip goes to standard output."`
}

func (exportCommand) Help() string {
	return `A zip of JSON, and of CSV for the shots, with the versions that were replaced. For a coach, and for the athlete.

Examples:

    laneward export Rhea -o rhea.zip`
}

// Run writes the athlete's data as a zip.
func (c *exportCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Output == "" && terminal.File(env.Stdout) != nil {
		return terminal.Usage("use -o FILE: a zip cannot be printed")
	}
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	athlete, err := conn.find(ctx, client.Athlete, c.Athlete)
	if err != nil {
		return err
	}
	data, err := conn.Export(ctx, conn.squad, athlete.ID)
	if err != nil {
		return err
	}
	if c.Output == "" {
		return conn.Print(string(data))
	}
	if err := os.WriteFile(c.Output, data, 0o600); err != nil {
		return fmt.Errorf("write the export: %w", err)
	}
	conn.Say("Wrote %s.", c.Output)
	return nil
}

type eraseCommand struct {
	squadFlags
	Athlete string `arg:"" help:"Whose data, by name or id."`
	Confirm string `required:"" placeholder:"NAME" help:"The athlete's whole name, to be sure that it is meant."`
}

func (eraseCommand) Help() string {
	return `Removes the athlete, their shots, sessions, balls, assignments and membership, and what the history says of
them. Nothing brings it back: export first. Devices drop their copies with their next sync. For a coach.

Examples:

    laneward erase Rhea --confirm "Rhea Marlowe"`
}

// Run erases an athlete.
func (c *eraseCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	athlete, err := conn.find(ctx, client.Athlete, c.Athlete)
	if err != nil {
		return err
	}
	erased, err := conn.Erase(ctx, conn.squad, athlete.ID, c.Confirm)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(erased.JSON)
	}
	conn.Say("Erased %s: %d records.", c.Confirm, erased.Value.Records)
	return nil
}
