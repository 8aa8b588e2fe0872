package remote

import (
	"context"
	"errors"

	"laneward/cmd/laneward/lines"
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
	AgainstFilm    string `placeholder:"FILE"    help:"With --film: side B is on this film."`
	Other          struct {
		lines.DeliveryFlags
		lines.OwnFlags
	} `embed:"" prefix:"against-"`
	Lines *int `field:"lines" placeholder:"N"       help:"How many lines of each side, 1 to 20; 5 when left out."`
}

func (compareCommand) Help() string {
	return `The best lines of two sides, and what each one's first line is worth on the other side: one athlete on two patterns, two athletes or two balls on one, or a fresh film and a worn one. Everything not named is the same on both sides.

With --film it needs no server: side B is on --against-film, or is another athlete by the flags that begin with --against-; what is left out is as on side A.

The columns of --format csv, a row a line: on and line_of, the side it is played on and whose line it is, then ` + lines.LineColumns + `. A line carried over has only what is computed of it.

Examples:

    laneward compare Rhea --pattern "Long flat" --against-pattern House
    laneward compare Rhea --pattern "Long flat" --against-athlete Max --png both.png
    laneward compare Rhea --pattern "Long flat" --worn-by 2026-11-20 --against-fresh
    laneward compare --film long.csv --mph 17 --rpm 320 --against-film house.csv
    laneward compare Rhea --film long.csv --mph 17 --against-athlete Max --against-side left --against-mph 15.5`
}

// Run prints a comparison.
func (c *compareCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Film != "" {
		return c.onFiles(ctx, env)
	}
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
	if err := lines.Comparison.PrintReceived(conn.Console, c.FormatFlag, both.JSON); err != nil {
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
	against.ScatterBoards, against.Spares = c.Other.ScatterBoards, sparesRequest(c.Other.Spares.Own())
	return against, errors.Join(faults[:]...)
}

type missmapCommand struct {
	lineFlags
	offline.PictureFlags
	Laydowns    *span    `field:"laydown_from_board,laydown_to_board" placeholder:"FROM-TO" help:"The boards at the foul line, 5-37 when left out."`
	LaydownStep *float64 `field:"laydown_step_boards" placeholder:"BOARDS"  help:"Their step; 1 when left out."`
	Angles      *span    `field:"angle_from_deg,angle_to_deg" placeholder:"FROM:TO" help:"The launch angles in degrees, -1:8 when left out."`
	AngleStep   *float64 `field:"angle_step_deg" placeholder:"DEG"     help:"Their step; 0.1 when left out."`
	Draws       *int     `field:"draws" placeholder:"N"       help:"How many scattered shots score an aim; 128 when left out."`
}

func (missmapCommand) Help() string {
	return `What every aim does, laydown by launch angle. The table has the best angle from each laydown board, the angles that keep at least half as many shots in the pocket, and what becomes of the shots; the whole map is in the picture, in the JSON, and in --format csv, a row an aim with the columns ` + lines.CellColumns + `.

Examples:

    laneward missmap Rhea --pattern "Long flat" --png map.png
    laneward missmap Rhea --pattern "Long flat" --laydowns 10-30 --angles 0:5 --json
    laneward missmap --film long.csv --side left --mph 17 --rpm 320 --png map.png`
}

// Run prints a miss map.
func (c *missmapCommand) Run(ctx context.Context, env terminal.Environment) error {
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
	if err := lines.MissMap.PrintReceived(conn.Console, c.FormatFlag, mapped.JSON); err != nil {
		return err
	}
	return conn.drawings(ctx, c.PictureFlags, request)
}
