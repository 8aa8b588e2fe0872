package tenpin

import "laneward/service/lane"

// Pins a frame that the first ball's fate is worth, the bonus of ordinary neighbours included:
// common practice, no source. By traditional scoring a strike is 10 and two more balls, a spare 10
// and one.
const (
	StrikePins = 21.0
	SparePins  = 15.5
	OpenPins   = 8.5
	GutterPins = 4.0
)

// Worth is what a ball is expected to bring.
type Worth struct {
	Pins    float64 // a frame
	Strike  float64 // chance of a strike
	Split   float64 // chance of a split
	HeadPin float64 // chance that the head pin is still standing
}

// Gutter is the worth of a ball that never reaches the pins.
func Gutter() Worth { return Worth{Pins: GutterPins, HeadPin: 1} }

// Worths is what any arrival is worth to one athlete, prepared for many of them. It does not
// change, and may be used by many goroutines at once.
type Worths struct{ cells []Worth }

// The grid of Worths. Between its points the worth is read bilinearly: within 0.03 pins of
// [Carry.Worth].
const (
	perBoard     = 10
	perDeg       = 5
	lastBoard    = 40
	lastAngleDeg = 12
	columns      = lastAngleDeg*perDeg + 1
	rows         = lastBoard*perBoard + 1
)

// NewWorths prepares the worth of all arrivals for an athlete who converts leaves at these rates.
func NewWorths(carry Carry, spares Spares) *Worths {
	kinds := carry.kinds(spares)
	w := &Worths{cells: make([]Worth, 0, rows*columns)}
	for row := range rows {
		for column := range columns {
			at := Arrival{float64(row) / perBoard, float64(column) / perDeg}
			w.cells = append(w.cells, carry.worth(at, kinds))
		}
	}
	return w
}

// At returns the worth of an arrival; angles outside 0 to 12 degrees count as those.
func (w *Worths) At(at Arrival) Worth {
	row := min(max(at.Board, 0), lastBoard) * perBoard
	column := min(max(at.EntryAngleDeg, 0), lastAngleDeg) * perDeg
	r, c := min(int(row), rows-2), min(int(column), columns-2)
	row -= float64(r)
	column -= float64(c)
	near, far := w.cells[r*columns+c:], w.cells[(r+1)*columns+c:]
	return mix(row, mix(column, near[0], near[1]), mix(column, far[0], far[1]))
}

func mix(share float64, a, b Worth) Worth {
	return Worth{
		Pins:    a.Pins + share*(b.Pins-a.Pins),
		Strike:  a.Strike + share*(b.Strike-a.Strike),
		Split:   a.Split + share*(b.Split-a.Split),
		HeadPin: a.HeadPin + share*(b.HeadPin-a.HeadPin),
	}
}

// Worth is what an arrival brings an athlete who converts leaves at these rates.
func (c Carry) Worth(at Arrival, spares Spares) Worth { return c.worth(at, c.kinds(spares)) }

// kinds are the worths of the leaves of c.Leaves, and last of c.Rest.
func (c Carry) kinds(spares Spares) []Worth {
	of := func(leave lane.PinSet) Worth {
		if leave.Strike() {
			return Worth{Pins: StrikePins, Strike: 1}
		}
		rate := spares.Rate(leave)
		worth := Worth{Pins: SparePins*rate + OpenPins*(1-rate)}
		if Split(leave) {
			worth.Split = 1
		}
		if leave.Has(1) {
			worth.HeadPin = 1
		}
		return worth
	}
	kinds := make([]Worth, 0, len(c.Leaves)+1)
	for _, shape := range c.Leaves {
		kinds = append(kinds, of(shape.Leave))
	}
	return append(kinds, of(c.Rest))
}

func (c Carry) worth(at Arrival, kinds []Worth) Worth {
	var sum Worth
	for i, share := range c.shares(at) {
		sum.Pins += share * kinds[i].Pins
		sum.Strike += share * kinds[i].Strike
		sum.Split += share * kinds[i].Split
		sum.HeadPin += share * kinds[i].HeadPin
	}
	return mix(c.flush(at), sum, Worth{Pins: StrikePins, Strike: 1})
}
