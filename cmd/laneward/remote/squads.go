package remote

import (
	"context"
	"fmt"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

func (c Connection) printSquads(squads []openapi.MySquad, ids bool) error {
	list := terminal.NewTable("squad", "role", "id")
	for _, squad := range squads {
		id := ""
		if ids {
			id = squad.SquadID.String()
		}
		list.Add(squad.Name, string(squad.Role), id)
	}
	return c.PrintTable(list)
}

type squadsCommand struct {
	Flags
}

func (squadsCommand) Help() string {
	return `The squads you are in, with your role in each.

Example:

    laneward squads`
}

// Run lists the user's squads.
func (c *squadsCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	me, err := conn.Me(ctx)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(me.JSON)
	}
	if len(me.Value.Squads) == 0 {
		conn.Say(
			"You are not in a squad yet: create one with laneward squad create NAME, or join one with laneward join CODE.",
		)
	}
	return conn.printSquads(me.Value.Squads, true)
}

type squadCommand struct {
	Create  squadCreateCommand  `cmd:"" help:"Create a squad; you become its coach."`
	Devices squadDevicesCommand `cmd:"" help:"List when each member's device last synced."`
	Usage   squadUsageCommand   `cmd:"" help:"Show how many records the squad has and may have."`
}

type squadUsageCommand struct {
	squadFlags
}

func (squadUsageCommand) Help() string {
	return `Records are shots, sessions, athletes, balls, patterns, drills and assignments. A full squad stores nothing new; changes and deletions go on, and what a device could not send stays on it. Deleting sessions that nobody needs any more makes room, and whoever runs the server can give more.

Example:

    laneward squad usage`
}

// Run shows how much of its quota the squad has used.
func (c *squadUsageCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	usage, err := conn.Usage(ctx, conn.squad)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(usage.JSON)
	}
	return conn.Print(UsageWords(usage.Value) + "\n")
}

// UsageWords say how much of its quota a squad has used, and what to do about it.
func UsageWords(u openapi.Usage) string {
	switch {
	case u.Quota == nil:
		return fmt.Sprintf("The squad has %s, and may have any number.", terminal.Things(int(u.Records), "record"))
	case u.Full:
		return fmt.Sprintf("The squad is full: it has %d of %d records, so nothing new is stored. "+
			"Delete sessions that nobody needs any more, or ask whoever runs the server for more room.", u.Records, *u.Quota)
	case u.Near:
		return fmt.Sprintf("The squad is nearly full: it has %d of %d records. "+
			"Delete sessions that nobody needs any more, or ask whoever runs the server for more room.", u.Records, *u.Quota)
	}
	return fmt.Sprintf("The squad has %d of %d records.", u.Records, *u.Quota)
}

type squadDevicesCommand struct {
	squadFlags
	Athlete string `placeholder:"NAME" help:"Only this athlete's devices."`
}

func (squadDevicesCommand) Help() string {
	return `When each signed-in device of the members last had everything of the squad, to some minutes. What was logged on a device since then, and not sent, is on that device alone. Athletes see their own devices.

Examples:

    laneward squad devices
    laneward squad devices --athlete Rhea`
}

// Run lists when each device last synced.
func (c *squadDevicesCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	athlete, err := conn.findID(ctx, client.Athlete, c.Athlete)
	if err != nil {
		return err
	}
	list, err := conn.Devices(ctx, conn.squad, athlete)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(list.JSON)
	}
	if len(list.Value.Items) == 0 {
		conn.Say("No device has synced yet.")
		return nil
	}
	table := terminal.NewTable("member", "device", "last synced")
	for _, one := range list.Value.Items {
		table.Add(one.Name, one.Device, env.ClockTime(one.SyncedAt))
	}
	return conn.PrintTable(table)
}

type squadCreateCommand struct {
	Flags
	Name string `arg:"" help:"The squad's name."`
}

func (squadCreateCommand) Help() string {
	return `Example:

    laneward squad create "Tuesday squad"`
}

// Run creates a squad.
func (c *squadCreateCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	squad, err := conn.CreateSquad(ctx, c.Name)
	if err != nil {
		return err
	}
	return conn.Done(squad.Value.ID, squad.JSON, "Created the squad %s; you are its coach.", squad.Value.Name)
}

type joinCommand struct {
	Flags
	Code string `arg:"" help:"The one-time code of an invitation; spaces, hyphens and case do not matter."`
}

func (joinCommand) Help() string {
	return `A coach makes a code with laneward invite.

Example:

    laneward join K7QF-2MBD-...`
}

// Run joins a squad.
func (c *joinCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	member, err := conn.Join(ctx, c.Code)
	if err != nil {
		return err
	}
	me, err := conn.Me(ctx)
	if err != nil {
		return err
	}
	name := ""
	for _, squad := range me.Value.Squads {
		if member.Value.SquadID != nil && squad.SquadID == *member.Value.SquadID {
			name = squad.Name
		}
	}
	return conn.Done(member.Value.ID, member.JSON, "You are in %s now, as %s.", name, member.Value.Role)
}

type inviteCommand struct {
	squadFlags
	Role    string `enum:"coach,athlete,analyst" default:"athlete" help:"coach, athlete or analyst (${default})."`
	Athlete string `placeholder:"NAME" help:"Which of the squad's athletes the invited one is; needed for that role."`
}

func (inviteCommand) Help() string {
	return `Prints a one-time code, good for seven days. Anyone who has it can join with laneward join CODE, so give it to that person only.

Examples:

    laneward invite --athlete Rhea
    laneward invite --role coach`
}

// Run creates an invitation.
func (c *inviteCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	if c.Role == string(openapi.RoleAthlete) && c.Athlete == "" {
		return terminal.Usage(
			"say which athlete the invited one is with --athlete NAME, or invite another role with --role coach or --role analyst",
		)
	}
	athlete, err := conn.findID(ctx, client.Athlete, c.Athlete)
	if err != nil {
		return err
	}
	made, err := conn.Invite(ctx, conn.squad, openapi.Role(c.Role), athlete)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(made.JSON)
	}
	if made.Value.Code == nil {
		return fmt.Errorf("the server created an invitation without a code: withdraw it and try again")
	}
	conn.Say(
		"Good once, until %s. Anyone with this code joins as %s with: laneward join CODE",
		env.Local(made.Value.ExpiresAt).Format("2006-01-02 15:04"),
		c.Role,
	)
	return conn.Print(*made.Value.Code + "\n")
}
