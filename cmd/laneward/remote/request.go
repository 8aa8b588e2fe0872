package remote

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	"github.com/google/uuid"

	"laneward/cmd/laneward/lines"
	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/service/advice"
	"laneward/service/line"
	"laneward/service/motion"
	"laneward/service/tenpin"
)

// lineFlags are what every command that asks a server for lines has.
type lineFlags struct {
	squadFlags
	terminal.FormatFlag
	wornFlags
	Athlete string `arg:"" optional:"" help:"The athlete, by name or id; an athlete's own when left out. With --film, what to call whoever bowls."`
	Pattern string `required:"" xor:"film" placeholder:"NAME" help:"The oil pattern, by name or id: one with a load table or a film map."`
	Film    string `required:"" xor:"film" placeholder:"FILE" help:"The film in a file instead, with no server: a load table as CSV, or a film map as JSON in oil units or CSV in microlitres; - for stdin."`
	Ball    string `placeholder:"NAME" help:"The ball, by its name in the athlete's arsenal or by id; a typical one when left out. With --film, what to call it."`
	lines.DeliveryFlags
	lines.OwnFlags

	MuDry      *float64          `name:"mu-dry" field:"mu_dry" placeholder:"MU" help:"Friction of the dry lane at a slip of 5 m/s; ${mu_dry} when left out. This and the next five: fits to practice, not measurements."`
	MuOil      *float64          `name:"mu-oil" field:"mu_oil" placeholder:"MU" help:"Friction under endless oil; ${mu_oil} when left out."`
	Q0         *float64          `name:"q0" field:"q0" placeholder:"UNITS" help:"Film over which the friction falls by the factor e, in oil units; ${q0} when left out."`
	ShareThick *float64          `name:"share-thick" field:"share_thick" placeholder:"SHARE" help:"Share of the friction that falls slower, over --q-thick; ${share_thick} when left out."`
	QThick     *float64          `name:"q-thick" field:"q_thick" placeholder:"UNITS" help:"Film over which that share falls by the factor e, in oil units; ${q_thick} when left out."`
	SlipMPS    *motion.SlipScale `name:"slip-mps" field:"slip_mps" placeholder:"M/S" help:"Slip speed over which friction falls, in metres a second, or none; ${slip_mps} when left out."`

	PocketBoards *span `field:"board_low,board_high" placeholder:"LOW-HIGH" help:"The pocket's boards at the pins, ${pocket_boards} when left out."`
	PocketAngles *span `field:"angle_low_deg,angle_high_deg" placeholder:"LOW-HIGH" help:"The pocket's entry angles in degrees, ${pocket_angles} when left out."`
}

// wornFlags say how the film has been worn.
type wornFlags struct {
	WornBy    string `placeholder:"SESSION" help:"Plan on the film as it is after this session's shots, by name, day or id."`
	WornShots int    `field:"shots" placeholder:"SHOTS" help:"On the film after so many shots: the session's first ones, or the athlete's own along the best line."`
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
func (f lineFlags) friction() *motion.Friction {
	law := motion.NominalFriction()
	if f.SlipMPS != nil {
		law.SlipMPS = *f.SlipMPS
	}
	law.MuDry, law.MuOil, law.Q0 = or(f.MuDry, law.MuDry), or(f.MuOil, law.MuOil), or(f.Q0, law.Q0)
	law.ShareThick, law.QThick = or(f.ShareThick, law.ShareThick), or(f.QThick, law.QThick)
	if law == motion.NominalFriction() {
		return nil
	}
	return &law
}

// frictionRequest is a law as a request has it; nil for the nominal one.
func frictionRequest(law *motion.Friction) *openapi.Friction {
	if law == nil {
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
func or[T any](given *T, otherwise T) T {
	if given != nil {
		return *given
	}
	return otherwise
}

// pocket is the default pocket but for what is given; nil when nothing is.
func (f lineFlags) pocket() *line.Pocket {
	if f.PocketBoards == nil && f.PocketAngles == nil {
		return nil
	}
	pocket := line.DefaultPocket()
	pocket.Name = ""
	if f.PocketBoards != nil {
		pocket.BoardLow, pocket.BoardHigh = f.PocketBoards.low, f.PocketBoards.high
	}
	if f.PocketAngles != nil {
		pocket.AngleLowDeg, pocket.AngleHighDeg = f.PocketAngles.low, f.PocketAngles.high
	}
	return &pocket
}

// pocketRequest is a pocket as a request has it; nil for the default one.
func pocketRequest(pocket *line.Pocket) *openapi.Pocket {
	if pocket == nil {
		return nil
	}
	return &openapi.Pocket{
		BoardLow:     pocket.BoardLow,
		BoardHigh:    pocket.BoardHigh,
		AngleLowDeg:  pocket.AngleLowDeg,
		AngleHighDeg: pocket.AngleHighDeg,
	}
}

// sparesRequest is what is known of an athlete's spares as a request has it; nil for nothing.
func sparesRequest(own advice.OwnSpares) *openapi.OwnSpares {
	if own == nil {
		return nil
	}
	asked := &openapi.OwnSpares{}
	for class, place := range map[tenpin.SpareClass]**openapi.Conversions{
		tenpin.SpareSingle:  &asked.Single,
		tenpin.SpareClose:   &asked.Close,
		tenpin.SpareCluster: &asked.Cluster,
		tenpin.SpareHeadPin: &asked.HeadPin,
		tenpin.SpareWashout: &asked.Washout,
		tenpin.SpareSplit:   &asked.Split,
		tenpin.SpareRack:    &asked.Rack,
	} {
		if of, known := own[class]; known {
			*place = &openapi.Conversions{Share: of.Share}
			if of.Share == nil {
				(*place).Converted, (*place).Tries = &of.Converted, &of.Tries
			}
		}
	}
	return asked
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
	asked = openapi.PlanSubject{
		AthleteID:     athlete,
		Friction:      frictionRequest(f.friction()),
		Pocket:        pocketRequest(f.pocket()),
		ScatterBoards: f.ScatterBoards,
		Spares:        sparesRequest(f.Spares.Own()),
	}
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
