package remote

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

type compareCommand struct {
	lineFlags
	offline.PictureFlags
	AgainstPattern string `placeholder:"NAME"    help:"Side B is on this pattern."`
	AgainstAthlete string `placeholder:"NAME"    help:"Side B is this athlete."`
	AgainstBall    string `placeholder:"NAME"    help:"Side B is thrown with this ball, by its name in the arsenal of side B's athlete or by id."`
	AgainstWornBy  string `placeholder:"SESSION" help:"Side B is on the film after this session's shots."`
	AgainstFresh   bool   `                      help:"Side B is on the fresh film."`
	Lines          *int   `field:"lines" placeholder:"N"       help:"How many lines of each side, 1 to 20; 5 when left out."`
}

func (compareCommand) Help() string {
	return `The best lines of two sides, and what each one's first line is worth on the other side: one athlete on two patterns, two athletes or two balls on one, or a fresh film and a worn one. Everything not named is the same on both sides.

Examples:

    laneward compare Rhea --pattern "Long flat" --against-pattern House
    laneward compare Rhea --pattern "Long flat" --against-athlete Max --png both.png
    laneward compare Rhea --pattern "Long flat" --worn-by 2026-11-20 --against-fresh`
}

// Run prints a comparison.
func (c *compareCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	subject, err := c.subject(ctx, conn)
	if err != nil {
		return err
	}
	request := openapi.ComparisonRequest{
		Subject: subject,
		Lines:   c.Lines,
	}
	if request.Against, err = c.against(ctx, conn, subject); err != nil {
		return err
	}
	progress, done := conn.following()
	both, err := conn.Compare(ctx, conn.squad, request, progress)
	done()
	if err != nil {
		return inFlags(err, *c)
	}
	if conn.JSON {
		err = conn.PrintJSON(both.JSON)
	} else {
		err = conn.printComparison(both.Value)
	}
	if err != nil {
		return err
	}
	return conn.drawings(ctx, c.PictureFlags, request)
}

func (c *compareCommand) against(
	ctx context.Context,
	conn *squadConnection,
	subject openapi.PlanSubject,
) (against openapi.Against, err error) {
	var faults [4]error
	against.PatternID, faults[0] = conn.findID(ctx, client.Pattern, c.AgainstPattern)
	against.AthleteID, faults[1] = conn.findID(ctx, client.Athlete, c.AgainstAthlete)
	whose := subject.AthleteID
	if against.AthleteID != nil {
		whose = *against.AthleteID
	}
	against.BallID, faults[2] = conn.ballOf(ctx, whose, c.AgainstBall)
	against.Worn, faults[3] = wornFlags{WornBy: c.AgainstWornBy}.worn(ctx, conn)
	if c.AgainstFresh {
		against.Fresh = &c.AgainstFresh
	}
	return against, errors.Join(faults[:]...)
}

func (c *squadConnection) printComparison(both openapi.LineComparison) error {
	var b strings.Builder
	for _, side := range []struct {
		name    string
		plan    openapi.Plan
		other   string
		carried *openapi.CarriedLine
	}{{"A", both.A, "B", both.BOnA}, {"B", both.B, "A", both.AOnB}} {
		if !c.Quiet {
			fmt.Fprintf(&b, "%s: %s", side.name, subjectHeading(side.plan.Subject))
		}
		if len(side.plan.Lines) > 0 {
			b.WriteString(lineTable(side.plan.Lines).Text(c.Width(), c.Colourful()))
		} else {
			b.WriteString(terminal.Word(side.plan.Note) + "\n")
		}
		if side.carried != nil && !c.Quiet {
			fmt.Fprintf(
				&b,
				"\nThe line of %s here: %.1f pins a frame, %s of the shots reach the pocket, the typical delivery ends %s.\n",
				side.other,
				side.carried.Pins,
				terminal.Percent(side.carried.PocketShare),
				hitText(side.carried.Hit, side.carried.PinBoard, side.carried.EntryAngleDeg),
			)
		}
		b.WriteString("\n")
	}
	b.WriteString(both.Summary + "\n")
	if !c.Quiet {
		b.WriteString(assumedText(both.A.Subject, both.B.Subject))
	}
	return c.Print(b.String())
}

func hitText(hit openapi.Hit, pinBoard, entryAngleDeg float64) string {
	if pinBoard == 0 {
		return string(hit)
	}
	return fmt.Sprintf("at board %.1f and %.1f degrees (%s)", pinBoard, entryAngleDeg, hit)
}

type missmapCommand struct {
	lineFlags
	offline.PictureFlags
	Laydowns    *span    `placeholder:"FROM-TO" help:"The boards at the foul line, 5-37 when left out."`
	LaydownStep *float64 `field:"laydown_step_boards" placeholder:"BOARDS"  help:"Their step; 1 when left out."`
	Angles      *span    `placeholder:"FROM:TO" help:"The launch angles in degrees, -1:8 when left out."`
	AngleStep   *float64 `field:"angle_step_deg" placeholder:"DEG"     help:"Their step; 0.1 when left out."`
	Draws       *int     `field:"draws" placeholder:"N"       help:"How many scattered shots score an aim; 128 when left out."`
}

func (missmapCommand) Help() string {
	return `What every aim does, laydown by launch angle. The table has the best angle from each laydown board, the angles that keep at least half as many shots in the pocket, and what becomes of the shots; the whole map is in the picture and in the JSON.

Examples:

    laneward missmap Rhea --pattern "Long flat" --png map.png
    laneward missmap Rhea --pattern "Long flat" --laydowns 10-30 --angles 0:5 --json`
}

// Run prints a miss map.
func (c *missmapCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	subject, err := c.subject(ctx, conn)
	if err != nil {
		return err
	}
	request := openapi.MissMapRequest{
		Subject: subject,
		Draws:   c.Draws,
		Grid:    &openapi.Grid{LaydownStepBoards: c.LaydownStep, AngleStepDeg: c.AngleStep},
	}
	if c.Laydowns != nil {
		request.Grid.LaydownFromBoard, request.Grid.LaydownToBoard = &c.Laydowns.low, &c.Laydowns.high
	}
	if c.Angles != nil {
		request.Grid.AngleFromDeg, request.Grid.AngleToDeg = &c.Angles.low, &c.Angles.high
	}
	progress, done := conn.following()
	mapped, err := conn.MissMap(ctx, conn.squad, request, progress)
	done()
	if err != nil {
		return inFlags(err, *c)
	}
	if conn.JSON {
		err = conn.PrintJSON(mapped.JSON)
	} else {
		err = conn.printMissMap(mapped.Value)
	}
	if err != nil {
		return err
	}
	return conn.drawings(ctx, c.PictureFlags, request)
}

func (c *squadConnection) printMissMap(m openapi.MissMap) error {
	list := terminal.NewTable(
		"laydown>",
		"best angle>",
		"pins/frame>",
		"pocket>",
		"gutter>",
		"typical delivery",
		"half as good from>",
		"to>",
	)
	for i, laydown := range m.Grid.LaydownBoards {
		best := 0
		for j, cell := range m.Cells[i] {
			if cell.PocketShare > m.Cells[i][best].PocketShare {
				best = j
			}
		}
		cell := m.Cells[i][best]
		if cell.PocketShare == 0 {
			list.Add(terminal.Decimals(laydown, 1), "", "", terminal.Percent(0), "", "", "", "")
			continue
		}
		from, to := best, best
		for from > 0 && m.Cells[i][from-1].PocketShare >= cell.PocketShare/2 {
			from--
		}
		for to+1 < len(m.Cells[i]) && m.Cells[i][to+1].PocketShare >= cell.PocketShare/2 {
			to++
		}
		angle := func(j int) string { return terminal.Decimals(m.Grid.LaunchAnglesDeg[j], 1) + " deg" }
		list.Add(
			terminal.Decimals(laydown, 1),
			angle(best),
			terminal.Decimals(cell.Pins, 1),
			terminal.Percent(cell.PocketShare),
			terminal.Percent(cell.GutterShare),
			hitText(cell.Hit, cell.PinBoard, cell.EntryAngleDeg),
			angle(from),
			angle(to),
		)
	}
	text := list.Text(c.Width(), c.Colourful())
	if c.Quiet {
		return c.Print(text)
	}
	best := ""
	if len(m.Lines) > 0 {
		best = "\nThe best lines:\n" + lineTable(m.Lines).Text(c.Width(), c.Colourful())
	}
	return c.Print(subjectHeading(m.Subject) + text + best + assumedText(m.Subject))
}
