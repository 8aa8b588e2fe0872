package lines

import (
	"cmp"
	"errors"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
	"laneward/service/lane"
	"laneward/service/motion"
)

// DeliveryFlags are how an athlete who is not stored bowls, with which ball. What is left out is
// assumed, and the answer says what.
type DeliveryFlags struct {
	Side       *string  `enum:"right,left" placeholder:"SIDE" help:"With --film: the hand that bowls, right or left; right when left out."`
	MPH        *float64 `name:"mph" placeholder:"MPH" help:"With --film: the athlete's speed at launch."`
	RPM        *float64 `name:"rpm" placeholder:"RPM" help:"With --film: their rev rate."`
	RotDeg     *float64 `placeholder:"DEG" help:"With --film: their axis rotation, from the ball's heading."`
	TiltDeg    *float64 `placeholder:"DEG" help:"With --film: their axis tilt."`
	SlideBoard *float64 `name:"slide-boards" placeholder:"BOARDS" help:"With --film: how far inside the laydown their sliding foot ends."`
	GyrationIn *float64 `placeholder:"IN" help:"With --film: the ball's radius of gyration in inches."`
	Grit       *int32   `placeholder:"GRIT" help:"With --film: the grit of the ball's surface."`
}

// OwnFlags are what a person knows of an athlete that no record holds.
type OwnFlags struct {
	ScatterBoards *float64 `field:"scatter_boards" placeholder:"BOARDS" help:"The athlete's scatter at the arrows, one standard deviation; that of the launch angle goes with it. When left out, estimated from stored shots, else a practised league bowler's."`
	Spares        *Spares  `placeholder:"LEAVE=RATE,..." help:"How the athlete converts leaves: shares or counts, such as single=27/30,split=20%. The leaves: ${spares}. A practised league bowler's rate where left out."`
}

// Delivery is an athlete who is not stored, with a ball.
type Delivery struct {
	DeliveryFlags
	OwnFlags
	Name, Ball string // what to call them; "" for none
}

// Over returns d, and of other what d leaves out.
func (d Delivery) Over(other Delivery) Delivery {
	return Delivery{
		DeliveryFlags: DeliveryFlags{
			Side:       cmp.Or(d.Side, other.Side),
			MPH:        cmp.Or(d.MPH, other.MPH),
			RPM:        cmp.Or(d.RPM, other.RPM),
			RotDeg:     cmp.Or(d.RotDeg, other.RotDeg),
			TiltDeg:    cmp.Or(d.TiltDeg, other.TiltDeg),
			SlideBoard: cmp.Or(d.SlideBoard, other.SlideBoard),
			GyrationIn: cmp.Or(d.GyrationIn, other.GyrationIn),
			Grit:       cmp.Or(d.Grit, other.Grit),
		},
		OwnFlags: OwnFlags{
			ScatterBoards: cmp.Or(d.ScatterBoards, other.ScatterBoards),
			Spares:        cmp.Or(d.Spares, other.Spares),
		},
		Name: cmp.Or(d.Name, other.Name),
		Ball: cmp.Or(d.Ball, other.Ball),
	}
}

// check returns the faults of the flags as a wrong usage; prefix is that of their names.
func (d Delivery) check(prefix string) error {
	or := func(given *float64, otherwise float64) float64 {
		if given != nil {
			return *given
		}
		return otherwise
	}
	release := motion.Release{
		LaydownBoard: lane.CentreBoard,
		SpeedMPH:     or(d.MPH, 17), // any that is right
		RevRPM:       or(d.RPM, 0),
		RotationDeg:  or(d.RotDeg, 0),
		TiltDeg:      or(d.TiltDeg, 0),
	}
	ball := motion.DefaultBall()
	ball.GyrationIn = or(d.GyrationIn, ball.GyrationIn)
	if d.Grit != nil {
		ball.SurfaceGrit = float64(*d.Grit)
	}
	var wrong []string
	var told func(err error)
	told = func(err error) {
		var out *motion.RangeError
		switch joined, many := err.(interface{ Unwrap() []error }); {
		case err == nil:
		case many:
			for _, one := range joined.Unwrap() {
				told(one)
			}
		case errors.As(err, &out):
			wrong = append(wrong, "--"+prefix+flagOf[out.Name]+" "+out.Detail())
		default:
			wrong = append(wrong, err.Error())
		}
	}
	told(errors.Join(release.Validate(), ball.Validate()))
	slide := or(d.SlideBoard, 0)
	if !(slide >= -mostSlide && slide <= mostSlide) {
		told(&motion.RangeError{Name: "slide", Value: slide, Low: -mostSlide, High: mostSlide})
	}
	for _, fault := range (advice.Against{ScatterBoards: d.ScatterBoards, Spares: d.Spares.Own()}).Faults() {
		wrong = append(wrong, "--"+prefix+ownFlag(fault.Pointer)+" "+fault.Detail)
	}
	if len(wrong) > 0 {
		return terminal.Usage("%s", strings.Join(wrong, "; "))
	}
	return nil
}

// mostSlide is how many boards the sliding foot may end from the laydown.
const mostSlide = 20.0

// flagOf are the flags by the names of what they set.
var flagOf = map[string]string{
	"speed_mph":    "mph",
	"rev_rpm":      "rpm",
	"rotation_deg": "rot-deg",
	"tilt_deg":     "tilt-deg",
	"slide":        "slide-boards",
	"gyration_in":  "gyration-in",
	"surface_grit": "grit",
}

// ownFlag is the flag that sets what is at a pointer of a request.
func ownFlag(pointer string) string {
	_, place, _ := strings.Cut(strings.TrimPrefix(pointer, "/"), "/")
	if class, spare := strings.CutPrefix(place, "spares/"); spare {
		return "spares: " + class
	}
	return strings.ReplaceAll(place, "_", "-")
}
