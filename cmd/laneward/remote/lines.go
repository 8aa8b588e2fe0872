package remote

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
)

type planCommand struct {
	lineFlags
	offline.PictureFlags
	Lines  *int            `field:"lines" placeholder:"N"     help:"How many lines, 1 to 20; 5 when left out."`
	Draws  *int            `field:"draws" placeholder:"N"     help:"How many scattered shots score an aim in the search; 192 when left out."`
	Assign int             `placeholder:"RANK"  help:"Store the drill that keeps the athlete on the line of this rank, and assign it; --json then prints these two."`
	Reps   *int            `field:"reps" placeholder:"SHOTS" help:"How many shots that drill asks for; 30 when left out."`
	Pass   *terminal.Share `field:"pass_share" placeholder:"SHARE" help:"The share of them that should keep it; what aiming perfectly would keep when left out."`
	From   *terminal.Day   `field:"assigned_on" placeholder:"DAY"   help:"The first day that counts for that drill; today when left out."`
	Due    *terminal.Day   `field:"due_on" placeholder:"DAY"   help:"The last day that counts for that drill; without it there is no end."`
	Called string          `placeholder:"NAME"  help:"What to call that drill."`
}

func (planCommand) Help() string {
	return `Where should this athlete play this pattern? Lines ranked by the pins a frame they are worth: the mean over the athlete's own scatter, estimated from the stored shots, and over what the lane may be. Lines that cannot be told apart are equal, and the closest to how the athlete plays comes first. What is not known is assumed; the assumptions are listed below the table.

    feet, target   where the sliding foot ends, and the board at the arrows
    launch         degrees from straight down the lane, positive toward the strong-side gutter
    breakpoint     the outermost board and its distance
    pins/frame     expected pins a frame and their standard error; = marks lines that cannot be told apart
    pocket, head pin, split, gutter
                   shares of the scattered shots: in the pocket, head pin left standing, split left, in the gutter
    room           boards a miss at the arrows may go outside and inside, still in the pocket
    drill          the drill that keeps the athlete on the line, and what aiming perfectly would keep of it

Examples:

    laneward plan Rhea --pattern "Long flat" --ball "dull solid"
    laneward plan Rhea --pattern "Long flat" --worn-by 2026-11-20 --png lines.png
    laneward plan Rhea --pattern "Long flat" --assign 1 --due 2026-12-04`
}

// Run prints the lines, and assigns one if that was asked for.
func (c *planCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	subject, err := c.subject(ctx, conn)
	if err != nil {
		return err
	}
	request := openapi.PlanRequest{Subject: subject, Lines: c.Lines, Draws: c.Draws}
	progress, done := conn.following()
	plan, err := conn.Plan(ctx, conn.squad, request, progress)
	done()
	if err != nil {
		return inFlags(err, *c)
	}
	if conn.JSON && c.Assign == 0 {
		err = conn.PrintJSON(plan.JSON)
	} else if !conn.JSON {
		err = conn.printPlan(plan.Value)
	}
	if err != nil {
		return err
	}
	if err := conn.drawings(ctx, c.PictureFlags, request); err != nil {
		return err
	}
	if c.Assign == 0 {
		return nil
	}
	return c.assign(ctx, conn, subject, plan.Value.Lines)
}

// assign stores the drill of a line and gives it to the athlete.
func (c *planCommand) assign(
	ctx context.Context,
	conn *squadConnection,
	subject openapi.PlanSubject,
	lines []openapi.PlannedLine,
) error {
	if c.Assign < 1 || c.Assign > len(lines) {
		return terminal.Usage("there is no line of rank %d to assign: there are %d", c.Assign, len(lines))
	}
	line := lines[c.Assign-1]
	wanted := openapi.LineDrillRequest{
		Subject:        subject,
		LaydownBoard:   line.LaydownBoard,
		LaunchAngleDeg: line.LaunchAngleDeg,
		Reps:           c.Reps,
		AssignedOn:     dateOf(c.From),
		DueOn:          dateOf(c.Due),
		Name:           optional(c.Called),
	}
	if c.Pass != nil {
		pass := float64(*c.Pass)
		wanted.PassShare = &pass
	}
	stored, err := conn.AssignLine(ctx, conn.squad, wanted)
	if err != nil {
		return inFlags(err, *c)
	}
	drill := stored.Value.Drill
	if drill.ID == nil {
		return fmt.Errorf("the server stored the drill without an id")
	}
	return conn.Done(
		*drill.ID,
		stored.JSON,
		"\nAssigned from %s%s: %s",
		stored.Value.Assignment.AssignedOn,
		until(stored.Value.Assignment.DueOn),
		drillHeading(drill),
	)
}

func (c *squadConnection) printPlan(plan openapi.Plan) error {
	if !c.Quiet {
		if err := c.Print(subjectHeading(plan.Subject)); err != nil {
			return err
		}
	}
	if len(plan.Lines) == 0 {
		text := terminal.Word(plan.Note) + "\n"
		if !c.Quiet {
			text += assumedText(plan.Subject)
		}
		return c.Print(text)
	}
	if err := c.PrintTable(lineTable(plan.Lines)); err != nil {
		return err
	}
	if c.Quiet {
		return nil
	}
	var b strings.Builder
	b.WriteString("\n")
	if plan.Ties != nil {
		fmt.Fprintf(&b, "%s\n", *plan.Ties)
	}
	for _, line := range plan.Lines {
		fmt.Fprintf(&b, "%d: %s\n", line.Rank, line.Reason)
	}
	if plan.OutOfBoundsBoard > 0 {
		fmt.Fprintf(
			&b,
			"Beyond 30 ft a ball outside board %.1f does not come back.\n",
			plan.OutOfBoundsBoard,
		)
	}
	return c.Print(b.String() + assumedText(plan.Subject))
}

func lineTable(lines []openapi.PlannedLine) *terminal.Table {
	list := terminal.NewTable(
		"rank>",
		"feet>",
		"target>",
		"laydown>",
		"launch>",
		"breakpoint>",
		"entry>",
		"pins/frame>",
		"pocket>",
		"head pin>",
		"split>",
		"gutter>",
		"room>",
		"drill",
	)
	for _, line := range lines {
		list.Add(
			strconv.Itoa(line.Rank)+equalMark(line),
			terminal.Decimals(line.FeetBoard, 1),
			terminal.Decimals(line.TargetBoard, 1),
			terminal.Decimals(line.LaydownBoard, 1),
			terminal.Decimals(line.LaunchAngleDeg, 2)+" deg",
			breakpointText(line),
			fmt.Sprintf("%.1f, %.1f deg", line.Path.PinBoard, line.Path.EntryAngleDeg),
			fmt.Sprintf("%.1f +- %.1f", line.Pins, line.StandardError),
			terminal.Percent(line.PocketShare),
			terminal.Percent(line.HeadPinShare),
			terminal.Percent(line.SplitShare),
			terminal.Percent(line.GutterShare),
			fmt.Sprintf("%g / %g", line.RoomOutsideBoards, line.RoomInsideBoards),
			drillText(line),
		)
	}
	return list
}

// equalMark marks the lines that cannot be distinguished from one another.
func equalMark(line openapi.PlannedLine) string {
	if line.Equal {
		return "="
	}
	return ""
}

func breakpointText(line openapi.PlannedLine) string {
	if line.Breakpoint == nil {
		return "none"
	}
	return fmt.Sprintf("%.1f at %.0f ft", line.Breakpoint.Board, line.Breakpoint.Ft)
}

// drillText is the drill of a line, and what aiming perfectly would keep of it.
func drillText(line openapi.PlannedLine) string {
	if line.Drill == nil {
		return "none: the typical delivery misses the pocket's boards"
	}
	return fmt.Sprintf(
		"%s (aiming perfectly keeps %s)",
		line.Drill.Sentences[0],
		terminal.Percent(line.Drill.KeptShare),
	)
}

// subjectHeading says whose line it is, with what, on what.
func subjectHeading(s openapi.LineSubject) string {
	worn := ""
	if s.Wear != nil {
		worn = fmt.Sprintf(", worn by %d shots", s.Wear.Passes)
	}
	r := s.Release
	return fmt.Sprintf(
		"%s on %s (%g ft, %.1f mL, %s%s) with %s\n%s-handed, %g mph, %g rpm, rotation %g, tilt %g degrees; scatter at the arrows %.1f boards, from %d stored shots\n\n",
		s.Athlete.Name,
		s.Pattern.Name,
		s.Pattern.LengthFt,
		s.Pattern.VolumeUl/1000,
		s.Pattern.Class,
		worn,
		s.Ball.Name,
		strings.ToUpper(
			string(s.Athlete.Side[:1]),
		)+string(
			s.Athlete.Side[1:],
		),
		r.SpeedMPH,
		r.RevRateRPM,
		r.RotationDeg,
		r.TiltDeg,
		s.Scatter.ArrowsBoards,
		s.Scatter.Shots,
	)
}

// assumedText lists the assumptions, once where several subjects share one.
func assumedText(subjects ...openapi.LineSubject) string {
	var b strings.Builder
	b.WriteString("\nAssumptions:\n")
	told := make(map[string]bool)
	for _, s := range subjects {
		for _, assumption := range s.Assumptions {
			if !told[assumption] {
				fmt.Fprintf(&b, "  %s\n", assumption)
			}
			told[assumption] = true
		}
	}
	return b.String()
}

type lineCommand struct {
	lineFlags
	offline.PictureFlags
	Laydown float64 `field:"laydown_board" required:"" placeholder:"BOARD" help:"The board at the foul line."`
	Launch  float64 `field:"launch_angle_deg" required:"" placeholder:"DEG"   help:"The launch angle, positive toward the strong-side gutter."`
}

func (lineCommand) Help() string {
	return `One line worked out, good or not: what the typical delivery does, and what misses of 1 to 5 boards at the arrows do.

Example:

    laneward line Rhea --pattern "Long flat" --laydown 24 --launch 1.9 --png line.png`
}

// Run prints one line.
func (c *lineCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	subject, err := c.subject(ctx, conn)
	if err != nil {
		return err
	}
	request := openapi.PathsRequest{
		Subject:        subject,
		LaydownBoard:   c.Laydown,
		LaunchAngleDeg: c.Launch,
	}
	study, err := conn.Study(ctx, conn.squad, request)
	if err != nil {
		return inFlags(err, *c)
	}
	if conn.JSON {
		err = conn.PrintJSON(study.JSON)
	} else {
		err = conn.printStudy(study.Value)
	}
	if err != nil {
		return err
	}
	return conn.drawings(ctx, c.PictureFlags, request)
}

func (c *squadConnection) printStudy(s openapi.LineStudy) error {
	misses := terminal.NewTable("miss>", "side", "toward", "what it does", "pins>", "entry>", "outermost>")
	for _, miss := range s.Misses {
		pins, entry := "", ""
		if miss.PinBoard != 0 {
			pins, entry = terminal.Decimals(miss.PinBoard, 1), terminal.Decimals(miss.EntryAngleDeg, 1)+" deg"
		}
		misses.Add(
			strconv.Itoa(miss.Boards),
			string(miss.Side),
			string(miss.Toward),
			string(miss.Hit),
			pins,
			entry,
			terminal.Decimals(miss.BreakpointBoard, 1),
		)
	}
	text := misses.Text(c.Width(), c.Colourful())
	if c.Quiet {
		return c.Print(text)
	}
	line := openapi.PlannedLine{
		Rank:              s.Rank,
		FeetBoard:         s.FeetBoard,
		TargetBoard:       s.TargetBoard,
		LaydownBoard:      s.LaydownBoard,
		LaunchAngleDeg:    s.LaunchAngleDeg,
		Breakpoint:        s.Breakpoint,
		Path:              s.Path,
		Pins:              s.Pins,
		StandardError:     s.StandardError,
		PocketShare:       s.PocketShare,
		HeadPinShare:      s.HeadPinShare,
		SplitShare:        s.SplitShare,
		GutterShare:       s.GutterShare,
		RoomOutsideBoards: s.RoomOutsideBoards,
		RoomInsideBoards:  s.RoomInsideBoards,
		Drill:             s.Drill,
	}
	heading := subjectHeading(s.Subject) + lineTable([]openapi.PlannedLine{line}).Text(c.Width(), c.Colourful())
	return c.Print(heading + "\n" + s.Reason + "\n\n" + text + assumedText(s.Subject))
}
