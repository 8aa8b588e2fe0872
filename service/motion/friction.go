package motion

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// Friction is the law
//
//	mu(q, u) = [MuOil + (MuDry - MuOil) ((1 - s) exp(-q/Q0) + s exp(-q/QThick))] (u_c + 5) / (u_c + u)
//
// for a film of q oil units and a contact that slips at u metres a second; s is ShareThick and u_c
// is SlipMPS. The second exponential makes thick oil count: with the first alone, all films of more
// than a few units are the same. The last factor lets friction rise as the slip dies (the falling
// part of a Stribeck curve; Andersson et al. 2007 for the form), and is 1 at a slip of 5 m/s, an
// ordinary delivery at the foul line.
type Friction struct {
	MuDry      float64   `json:"mu_dry"` // on dry boards, at a slip of 5 m/s
	MuOil      float64   `json:"mu_oil"` // under endless oil, at a slip of 5 m/s
	Q0         float64   `json:"q0"`     // oil units
	ShareThick float64   `json:"share_thick"`
	QThick     float64   `json:"q_thick"` // oil units; not used when ShareThick is 0
	SlipMPS    SlipScale `json:"slip_mps,omitzero"`
}

// SlipScale is u_c, the slip speed in metres a second over which friction falls; 0 means a
// friction that does not depend on the slip, and is left out of JSON.
type SlipScale float64

// noSlip is how a person writes a friction that does not depend on the slip.
const noSlip = "none"

// UnmarshalText reads a number of metres a second above 0, or none.
func (s *SlipScale) UnmarshalText(text []byte) error {
	if string(text) == noSlip {
		*s = 0
		return nil
	}
	value, err := strconv.ParseFloat(string(text), 64)
	if err != nil || value == 0 {
		return fmt.Errorf("%q is not a slip speed: write metres a second, such as 3, or none", text)
	}
	*s = SlipScale(value)
	return nil
}

func (s SlipScale) String() string {
	if s == 0 {
		return noSlip
	}
	return strconv.FormatFloat(float64(s), 'g', -1, 64)
}

// UnmarshalJSON reads a number.
func (s *SlipScale) UnmarshalJSON(data []byte) error { return s.UnmarshalText(data) }

// referenceSlipMPS is the slip at which MuDry and MuOil hold.
const referenceSlipMPS = 5

// NominalFriction is the law that is used unless another is given. ITS CONSTANTS ARE FITS TO
// COMMON PRACTICE, NOT MEASUREMENTS: lines that enter at 4.5 degrees leave the oil where the rule
// "exit board = length - 31" says, straight balls end where they are seen to, and worn oil hooks
// earlier by as much as athletes move. No measurement of a bowling ball's friction by slip speed
// could be found.
func NominalFriction() Friction {
	return Friction{MuDry: 0.171, MuOil: 0.0007, Q0: 0.9, ShareThick: 0.06, QThick: 10, SlipMPS: 3}
}

// Validate reports every parameter that is not a friction, joined into one error.
func (f Friction) Validate() error {
	faults := []error{
		inRange("mu_dry", f.MuDry, 0, 2),
		inRange("mu_oil", f.MuOil, 0, 2),
		inRange("q0", f.Q0, 1e-6, 1000),
		inRange("share_thick", f.ShareThick, 0, 1),
	}
	if f.ShareThick != 0 {
		faults = append(faults, inRange("q_thick", f.QThick, 1e-6, 1000))
	}
	if f.SlipMPS != 0 && inRange("", float64(f.SlipMPS), 0.1, 1000) != nil {
		faults = append(faults, fmt.Errorf("slip_mps %v is out of range: write 0.1 to 1000, or none", f.SlipMPS))
	}
	return errors.Join(faults...)
}

// Film is the coefficient on a film of q oil units at a slip of 5 m/s.
func (f Friction) Film(q float64) float64 {
	reach := (1 - f.ShareThick) * math.Exp(-q/f.Q0)
	if f.ShareThick != 0 {
		reach += f.ShareThick * math.Exp(-q/f.QThick)
	}
	return f.MuOil + (f.MuDry-f.MuOil)*reach
}

// Mu is the coefficient on a film of q oil units under a contact that slips at slipMPS.
func (f Friction) Mu(q, slipMPS float64) float64 { return f.Film(q) * f.SlipMPS.factor(slipMPS) }

// factor is what the slip makes of the friction.
func (s SlipScale) factor(slipMPS float64) float64 {
	if s == 0 {
		return 1
	}
	return (float64(s) + referenceSlipMPS) / (float64(s) + slipMPS)
}

// OnSurface scales the friction for a ball's surface grit. THIS IS AN ASSUMPTION, no source gives
// numbers: federation research names surface roughness as the strongest variable
// (bowlingthismonth.com, surface management), and a rougher cover reaches through a thicker film,
// so q0 grows as (2000/grit)^0.25, kept within 0.6 to 1.7. A grit of 2000, or 0 (not known),
// changes nothing.
func (f Friction) OnSurface(ball Ball) Friction {
	if ball.SurfaceGrit > 0 {
		f.Q0 *= min(max(math.Pow(2000/ball.SurfaceGrit, 0.25), 0.6), 1.7)
	}
	return f
}
