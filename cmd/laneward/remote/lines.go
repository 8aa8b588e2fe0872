package remote

import (
	"context"
	"fmt"

	"laneward/cmd/laneward/lines"
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
	return `Where should this athlete play this pattern? Lines ranked by the pins a frame they are worth: the mean over the athlete's own scatter, estimated from the stored shots, and over what the lane may be. Lines that cannot be told apart are equal, and of those the closest to how the athlete plays comes first, allowing for what each is worth. What is not known is assumed; the assumptions are listed below the table.

    feet, target   where the sliding foot ends, and the board at the arrows
    launch         degrees from straight down the lane, positive toward the strong-side gutter
    breakpoint     the outermost board and its distance
    pins/frame     expected pins a frame and their standard error; = marks lines that cannot be told apart
    pocket, head pin, split, gutter
                   shares of the scattered shots: in the pocket, head pin left standing, split left, in the gutter
    room           boards a miss at the arrows may go outside and inside, still in the pocket
    drill          the drill that keeps the athlete on the line, and what aiming perfectly would keep of it

With --film it needs no server: the film is in a file, and the athlete and the ball are as the flags say.

The columns of --format csv, a row a line: ` + lines.LineColumns + `. Drill is the sentence of the drill, kept_share what aiming perfectly would keep of it.

Examples:

    laneward plan Rhea --pattern "Long flat" --ball "dull solid"
    laneward plan Rhea --pattern "Long flat" --worn-by 2026-11-20 --png lines.png
    laneward plan Rhea --pattern "Long flat" --assign 1 --due 2026-12-04
    laneward plan --film loads.csv --side left --mph 17 --rpm 320 --scatter-boards 1.5 --spares single=27/30`
}

// Run prints the lines, and assigns one if that was asked for.
func (c *planCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Film != "" {
		return c.onFile(ctx, env)
	}
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
	if !conn.JSON || c.Assign == 0 {
		if err := lines.Plan.PrintReceived(conn.Console, c.FormatFlag, plan.JSON); err != nil {
			return err
		}
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
	planned []openapi.PlannedLine,
) error {
	if c.Assign < 1 || c.Assign > len(planned) {
		return terminal.Usage("there is no line of rank %d to assign: there are %d", c.Assign, len(planned))
	}
	line := planned[c.Assign-1]
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

type lineCommand struct {
	lineFlags
	offline.PictureFlags
	Laydown float64 `field:"laydown_board" required:"" placeholder:"BOARD" help:"The board at the foul line."`
	Launch  float64 `field:"launch_angle_deg" required:"" placeholder:"DEG"   help:"The launch angle, positive toward the strong-side gutter."`
}

func (lineCommand) Help() string {
	return `One line worked out, good or not: what the typical delivery does, and what misses of 1 to 5 boards at the arrows do.

The columns of --format csv, one row: ` + lines.LineColumns + `. The misses are in the JSON.

Examples:

    laneward line Rhea --pattern "Long flat" --laydown 24 --launch 1.9 --png line.png
    laneward line --film loads.csv --mph 17 --rpm 320 --laydown 24 --launch 1.9`
}

// Run prints one line.
func (c *lineCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Film != "" {
		return c.onFile(ctx, env)
	}
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
	if err := lines.Study.PrintReceived(conn.Console, c.FormatFlag, study.JSON); err != nil {
		return err
	}
	return conn.drawings(ctx, c.PictureFlags, request)
}
