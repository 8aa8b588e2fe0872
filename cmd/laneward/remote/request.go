package remote

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	"github.com/google/uuid"

	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/service/line"
	"laneward/service/motion"
)

// lineFlags are what every command that asks a server for lines has.
type lineFlags struct {
	squadFlags
	wornFlags
	Athlete string `arg:"" optional:"" help:"The athlete, by name or id; an athlete's own when left out."`
	Pattern string `required:"" placeholder:"NAME" help:"The oil pattern, by name or id: one with a load table or a film map."`
	Ball    string `placeholder:"NAME" help:"The ball, by its name in the athlete's arsenal or by id; a typical one when left out."`

	MuDry      *float64          `name:"mu-dry" placeholder:"MU" help:"Friction of the dry lane at a slip of 5 m/s; ${mu_dry} when left out. This and the next five: fits to practice, not measurements."`
	MuOil      *float64          `name:"mu-oil" placeholder:"MU" help:"Friction under endless oil; ${mu_oil} when left out."`
	Q0         *float64          `name:"q0" placeholder:"UNITS" help:"Film over which the friction falls by the factor e, in oil units; ${q0} when left out."`
	ShareThick *float64          `name:"share-thick" placeholder:"SHARE" help:"Share of the friction that falls slower, over --q-thick; ${share_thick} when left out."`
	QThick     *float64          `name:"q-thick" placeholder:"UNITS" help:"Film over which that share falls by the factor e, in oil units; ${q_thick} when left out."`
	SlipMPS    *motion.SlipScale `name:"slip-mps" placeholder:"M/S" help:"Slip speed over which friction falls, in metres a second, or none; ${slip_mps} when left out."`

	PocketBoards *span `placeholder:"LOW-HIGH" help:"The pocket's boards at the pins, ${pocket_boards} when left out."`
	PocketAngles *span `placeholder:"LOW-HIGH" help:"The pocket's entry angles in degrees, ${pocket_angles} when left out."`
}

// wornFlags say how the film has been worn.
type wornFlags struct {
	WornBy    string `placeholder:"SESSION" help:"Plan on the film as it is after this session's shots, by name, day or id."`
	WornShots int    `placeholder:"SHOTS" help:"On the film after so many shots: the session's first ones, or the athlete's own along the best line."`
}

// span is a range on a command line.
type span struct{ low, high float64 }

// UnmarshalText reads LOW-HIGH or LOW:HIGH, such as 16.5-18.5.
func (s *span) UnmarshalText(text []byte) error {
	cut := strings.LastIndexAny(string(text), "-:")
	if cut > 0 {
		low, lowErr := strconv.ParseFloat(string(text[:cut]), 64)
		high, highErr := strconv.ParseFloat(string(text[cut+1:]), 64)
		if lowErr == nil && highErr == nil && low < high {
			s.low, s.high = low, high
			return nil
		}
	}
	return fmt.Errorf("%q is not a range: write the smaller and the larger number, such as 16.5-18.5", text)
}

// friction is the nominal law but for what is given; nil when nothing is.
func (f lineFlags) friction() *openapi.Friction {
	law := motion.NominalFriction()
	if f.SlipMPS != nil {
		law.SlipMPS = *f.SlipMPS
	}
	law.MuDry, law.MuOil, law.Q0 = or(f.MuDry, law.MuDry), or(f.MuOil, law.MuOil), or(f.Q0, law.Q0)
	law.ShareThick, law.QThick = or(f.ShareThick, law.ShareThick), or(f.QThick, law.QThick)
	if law == motion.NominalFriction() {
		return nil
	}
	asked := &openapi.Friction{
		MuDry:      law.MuDry,
		MuOil:      law.MuOil,
		Q0:         law.Q0,
		ShareThick: &law.ShareThick,
		QThick:     &law.QThick,
	}
	if law.SlipMPS != 0 {
		asked.SlipMps = (*float64)(&law.SlipMPS)
	}
	return asked
}

// Defaults are the values that the help of commands names.
func Defaults() kong.Vars {
	pocket := line.DefaultPocket()
	return kong.Vars{
		"default_server": defaultServer,
		"pocket_boards":  fmt.Sprintf("%g-%g", pocket.BoardLow, pocket.BoardHigh),
		"pocket_angles":  fmt.Sprintf("%g-%g", pocket.AngleLowDeg, pocket.AngleHighDeg),
	}
}

// or is what was given, else something else.
func or(given *float64, otherwise float64) float64 {
	if given != nil {
		return *given
	}
	return otherwise
}

func (f lineFlags) pocket() *openapi.Pocket {
	if f.PocketBoards == nil && f.PocketAngles == nil {
		return nil
	}
	usual := line.DefaultPocket()
	pocket := &openapi.Pocket{
		BoardLow:     usual.BoardLow,
		BoardHigh:    usual.BoardHigh,
		AngleLowDeg:  usual.AngleLowDeg,
		AngleHighDeg: usual.AngleHighDeg,
	}
	if f.PocketBoards != nil {
		pocket.BoardLow, pocket.BoardHigh = f.PocketBoards.low, f.PocketBoards.high
	}
	if f.PocketAngles != nil {
		pocket.AngleLowDeg, pocket.AngleHighDeg = f.PocketAngles.low, f.PocketAngles.high
	}
	return pocket
}

// worn reads how the film has been worn; nil for not at all.
func (f wornFlags) worn(ctx context.Context, conn *squadConnection) (*openapi.WornBy, error) {
	if f.WornBy == "" && f.WornShots == 0 {
		return nil, nil //nolint:nilnil // the film is fresh
	}
	session, err := conn.findID(ctx, client.Session, f.WornBy)
	if err != nil {
		return nil, err
	}
	worn := &openapi.WornBy{SessionID: session}
	if f.WornShots != 0 {
		worn.Shots = &f.WornShots
	}
	return worn, nil
}

// subject looks up what the flags name.
func (f lineFlags) subject(ctx context.Context, conn *squadConnection) (asked openapi.PlanSubject, err error) {
	athlete, err := conn.whom(ctx, f.Athlete)
	if err != nil {
		return asked, err
	}
	asked = openapi.PlanSubject{AthleteID: athlete, Friction: f.friction(), Pocket: f.pocket()}
	pattern, err := conn.find(ctx, client.Pattern, f.Pattern)
	if err != nil {
		return asked, err
	}
	asked.PatternID = pattern.ID
	if asked.BallID, err = conn.ballOf(ctx, athlete, f.Ball); err != nil {
		return asked, err
	}
	asked.Worn, err = f.worn(ctx, conn)
	return asked, err
}

// whom is the athlete a person means; their own when none is named.
func (c *squadConnection) whom(ctx context.Context, text string) (uuid.UUID, error) {
	if text == "" {
		if c.athlete == nil {
			return uuid.Nil, terminal.Usage("say which athlete, by name or id")
		}
		return *c.athlete, nil
	}
	record, err := c.find(ctx, client.Athlete, text)
	return record.ID, err
}

// ballOf finds a ball by its name in an athlete's arsenal, or by its id; nil for "".
func (c *squadConnection) ballOf(ctx context.Context, athlete uuid.UUID, text string) (*uuid.UUID, error) {
	if text == "" {
		return nil, nil //nolint:nilnil // no ball was named
	}
	if id, err := uuid.Parse(text); err == nil {
		return &id, nil
	}
	all, err := c.All(ctx, c.squad, client.Ball)
	if err != nil {
		return nil, err
	}
	var own []client.Record
	for _, record := range all {
		ball, err := client.Decode[openapi.Ball](record)
		if err != nil {
			return nil, err
		}
		if ball.AthleteID == athlete {
			own = append(own, record)
		}
	}
	found, err := client.Pick(own, client.Ball, text)
	return &found.ID, err
}

// stages are the stages of a computation in a person's words.
var stages = map[string]string{
	"score":       "Scoring the aims.",
	"first lines": "First lines are found.",
	"refine":      "Looking around the best.",
	"final":       "Scoring the best again.",
	"miss map":    "Mapping the aims.",
}

// following shows a person how far a computation is: on a terminal in one line that is written
// over, elsewhere a line a stage.
func (c *squadConnection) following() (progress func(client.Progress), done func()) {
	if c.Quiet {
		return nil, func() {}
	}
	screen, before := terminal.File(c.Env.Stderr), ""
	return func(p client.Progress) {
			side, stage, sided := strings.Cut(p.Stage, ": ")
			if !sided {
				side, stage = "", p.Stage
			} else {
				side = strings.ToUpper(side) + ": "
			}
			switch {
			case screen != nil:
				fmt.Fprintf(screen, "\r\x1b[K%s%s %d of %d", side, stages[stage], p.Done, p.Total)
			case p.Stage != before:
				c.Say("%s%s", side, stages[stage])
			}
			before = p.Stage
		}, func() {
			if screen != nil {
				fmt.Fprint(screen, "\r\x1b[K")
			}
		}
}

// drawings writes the pictures of what a request computes to the files that were asked for.
func (c *squadConnection) drawings(ctx context.Context, f offline.PictureFlags, request any) error {
	for _, one := range []struct{ path, media string }{{f.SVG, client.SVG}, {f.PNG, client.PNG}} {
		if one.path == "" {
			continue
		}
		drawing, err := c.Drawing(ctx, c.squad, request, one.media, f.WidthPx)
		if err != nil {
			return err
		}
		if err := c.WriteFile(one.path, drawing); err != nil {
			return err
		}
	}
	return nil
}
