package tenpin

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// What the shapes were drawn to say (common practice, no source).
func TestStrikeChance(t *testing.T) {
	carry := DefaultCarry()
	own := func(board, angle float64) float64 { return carry.flush(Arrival{board, angle}) }
	for _, c := range []struct {
		board, angle, want, tolerance float64
	}{
		{17.5, 7, 0.90, 0.01},
		{17.5, 6, 0.87, 0.01},
		{17.5, 3, 0.55, 0.01},
		{17.5, 0, 0, 0.001},
		{30, 6, 0, 0.001},
	} {
		if got := own(c.board, c.angle); math.Abs(got-c.want) > c.tolerance {
			t.Errorf("board %g at %g degrees strikes with chance %.3f, want %.2f", c.board, c.angle, got, c.want)
		}
	}
	for angle := 3.0; angle <= 6; angle++ {
		for _, board := range []float64{17, 18} {
			if lost := own(17.5, angle) - own(board, angle); math.Abs(lost-0.10) > 0.04 {
				t.Errorf("board %g at %g degrees costs %.3f", board, angle, lost)
			}
		}
	}
	best, at := 0.0, Arrival{}
	for board := 10.0; board <= 30; board += 0.25 {
		for angle := 0.0; angle <= 12; angle += 0.25 {
			if chance := own(board, angle); chance > best {
				best, at = chance, Arrival{board, angle}
			}
		}
	}
	if at.Board != 17.5 || math.Abs(at.EntryAngleDeg-7) > 0.5 {
		t.Errorf("most strikes at %+v", at)
	}
}

func TestChancesSumToOne(t *testing.T) {
	carry := DefaultCarry()
	rapid.Check(t, func(t *rapid.T) {
		at := Arrival{rapid.Float64Range(0.5, 39.5).Draw(t, "board"), rapid.Float64Range(-5, 15).Draw(t, "angle")}
		chances := carry.Chances(at)
		sum := chances.Strike
		for _, leave := range chances.Leaves {
			if !(leave.Chance >= 0) {
				t.Fatalf("%s has chance %g", leave.Leave, leave.Chance)
			}
			sum += leave.Chance
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("the chances sum to %.15f", sum)
		}
		spares := DefaultSpares()
		worth, byHand := carry.Worth(at, spares), StrikePins*chances.Strike
		for _, leave := range chances.Leaves {
			rate := spares.Rate(leave.Leave)
			byHand += leave.Chance * (rate*SparePins + (1-rate)*OpenPins)
		}
		if math.Abs(worth.Pins-byHand) > 1e-9 || math.Abs(worth.Strike-chances.Strike) > 1e-12 {
			t.Fatalf("worth %+v, by hand %g pins and %g strikes", worth, byHand, chances.Strike)
		}
	})
}

// A ball that touches the head pin does not leave it standing, and one that passes it does.
func TestHeadPinFallsWhereTheBallTouchesIt(t *testing.T) {
	carry, spares := DefaultCarry(), DefaultSpares()
	for _, c := range []struct{ board, low, high float64 }{
		{12.7, 0.99, 1},
		{13.72, 0.45, 0.55}, // 20 less ball and pin, 6.28 boards
		{14.5, 0, 0.03},
		{20, 0, 1e-9},
		{25.5, 0, 0.03},
		{26.28, 0.45, 0.55},
		{27.3, 0.99, 1},
	} {
		for _, angle := range []float64{2, 4.5, 7} {
			if got := carry.Worth(Arrival{c.board, angle}, spares).HeadPin; got < c.low || got > c.high {
				t.Errorf("board %g at %g degrees leaves the head pin with chance %.3f", c.board, angle, got)
			}
		}
	}
}

// Common practice, no source: full on the head pin few balls strike and many split; crossing over is
// worth much less than the pocket, and passing the head pin less than hitting it nearly anywhere.
func TestNoseAndCrossover(t *testing.T) {
	carry, spares := DefaultCarry(), DefaultSpares()
	for _, angle := range []float64{3.5, 4.5, 6} {
		nose, pocket := carry.Worth(Arrival{20, angle}, spares), carry.Worth(Arrival{17.5, angle}, spares)
		if nose.Strike < 0.1 || nose.Strike > 0.25 || nose.Split < 0.3 || nose.Split > 0.45 {
			t.Errorf("full on the head pin at %g degrees: %+v", angle, nose)
		}
		best := Worth{}
		for board := 20.5; board <= 26; board += 0.1 {
			if over := carry.Worth(Arrival{board, angle}, spares); over.Pins > best.Pins {
				best = over
			}
		}
		if best.Strike < 0.25 || best.Strike > 0.35 || best.Pins > pocket.Pins-2 {
			t.Errorf("crossing over at %g degrees is worth %+v, the pocket %+v", angle, best, pocket)
		}
		if passed := carry.Worth(Arrival{13, angle}, spares).Pins; passed > nose.Pins {
			t.Errorf("at %g degrees passing the head pin is worth %.2f, hitting it in full %.2f", angle, passed, nose.Pins)
		}
	}
}

// Each leave is likeliest where its row says it comes from.
func TestLeavesComeFromTheirSide(t *testing.T) {
	carry := DefaultCarry()
	share := func(board float64, in Group) float64 {
		sum := 0.0
		for _, leave := range carry.Chances(Arrival{board, 5}).Leaves {
			if group, _ := GroupOf(leave.Leave); group == in {
				sum += leave.Chance
			}
		}
		return sum
	}
	for _, c := range []struct {
		group       Group
		more, fewer float64
	}{
		{GroupLight, 15.5, 19},
		{GroupHigh, 18.7, 16},
		{GroupSplit, 20, 16},
		{GroupHeadOutside, 13.5, 17.5},
		{GroupHeadInside, 24.5, 17.5},
	} {
		if a, b := share(c.more, c.group), share(c.fewer, c.group); a < 2*b {
			t.Errorf("%s has chance %.3f at board %g and %.3f at board %g", c.group, a, c.more, b, c.fewer)
		}
	}
}

func TestWorthsAgainstTheFormula(t *testing.T) {
	carry, spares := DefaultCarry(), DefaultSpares()
	worths := NewWorths(carry, spares)
	rapid.Check(t, func(t *rapid.T) {
		at := Arrival{rapid.Float64Range(0.5, 39.5).Draw(t, "board"), rapid.Float64Range(0, 12).Draw(t, "angle")}
		read, exact := worths.At(at), carry.Worth(at, spares)
		if math.Abs(read.Pins-exact.Pins) > 0.03 || math.Abs(read.Strike-exact.Strike) > 0.003 ||
			math.Abs(read.Split-exact.Split) > 0.01 || math.Abs(read.HeadPin-exact.HeadPin) > 0.01 {
			t.Fatalf("%+v: %+v read, %+v exact", at, read, exact)
		}
	})
	for _, at := range []Arrival{{-3, 5}, {45, 5}, {17.5, -4}, {17.5, 40}} {
		if pins := worths.At(at).Pins; !(pins > GutterPins && pins < StrikePins) {
			t.Errorf("%+v is worth %g", at, pins)
		}
	}
}

func TestWorthRisesWithSpares(t *testing.T) {
	carry := DefaultCarry()
	at := Arrival{17.5, 5}
	none, all := carry.Worth(at, Spares{}), carry.Worth(at, Spares{1, 1, 1, 1, 1, 1, 1})
	usual := carry.Worth(at, DefaultSpares())
	if !(none.Pins < usual.Pins && usual.Pins < all.Pins) {
		t.Errorf("%g, %g, %g pins", none.Pins, usual.Pins, all.Pins)
	}
	if want := usual.Strike*StrikePins + (1-usual.Strike)*SparePins; math.Abs(all.Pins-want) > 1e-9 {
		t.Errorf("who converts everything makes %g, by hand %g", all.Pins, want)
	}
}
