package remote

import (
	"context"
	"fmt"
	"strconv"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

type leavesCommand struct {
	squadFlags
	Drill   string `placeholder:"NAME" help:"The shots that count for this drill, those that kept it against those that broke it."`
	Athlete string `placeholder:"NAME" help:"Only this athlete."`
	Session string `placeholder:"NAME" help:"Only the shots of this session, by name, day or id."`
	Lane    *int   `placeholder:"NUMBER" help:"Only shots on this lane."`
}

func (leavesCommand) Help() string {
	return `What did first balls leave, and does it say where the ball hits? Name an athlete, a session or a drill.

    odds    how many times higher the odds of such a leave are where the drill was broken, with the 95 % interval

A left-hander's leaves are turned to a right-hander's side. What leaves say is common practice, not measured, so a leave weighs little: watching the ball says more.

Examples:

    laneward leaves --athlete Rhea
    laneward leaves --drill "Play inside" --session 2026-11-20 --lane 7`
}

// Run prints what was left.
func (c *leavesCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Drill == "" && c.Athlete == "" && c.Session == "" {
		return terminal.Usage("whose leaves? Name them, for example --athlete Rhea or --session 2026-11-20")
	}
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	query := openapi.GetLeavesParams{Lane: c.Lane}
	for _, named := range []struct {
		kind client.Kind
		text string
		id   **uuid.UUID
	}{
		{client.Drill, c.Drill, &query.DrillID},
		{client.Athlete, c.Athlete, &query.AthleteID},
		{client.Session, c.Session, &query.SessionID},
	} {
		if *named.id, err = conn.findID(ctx, named.kind, named.text); err != nil {
			return err
		}
	}
	leaves, err := conn.Leaves(ctx, conn.squad, query)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(leaves.JSON)
	}
	if err := conn.PrintTable(leavesTable(leaves.Value)); err != nil || conn.Quiet {
		return err
	}
	return conn.Print("\n" + conn.Paragraph(leaves.Value.Reading, ""))
}

func timesOf(ratio float64) string {
	if ratio < 1 {
		return fmt.Sprintf("%.2f", ratio)
	}
	return fmt.Sprintf("%.1f", ratio)
}

func leavesTable(leaves openapi.Leaves) *terminal.Table {
	if leaves.Kept == nil {
		list := terminal.NewTable("leave", "shots>")
		for _, row := range leaves.Groups {
			list.Add(row.Label, strconv.Itoa(row.Shots))
		}
		return list
	}
	list := terminal.NewTable("leave", "shots>", "kept>", "broken>", "odds>", "95 %>")
	for _, row := range leaves.Groups {
		odds, interval := "too few", ""
		if row.Odds != nil {
			odds, interval = timesOf(row.Odds.Ratio), timesOf(row.Odds.Low)+"-"+timesOf(row.Odds.High)
		}
		list.Add(
			row.Label,
			strconv.Itoa(row.Shots),
			fmt.Sprintf("%d of %d", *row.Kept, *leaves.Kept),
			fmt.Sprintf("%d of %d", *row.Broken, *leaves.Broken),
			odds,
			interval,
		)
	}
	return list
}
