package reading

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"laneward/service/lane"
)

func mustRead(t testing.TB, setting Setting, throws []Throw) *Read {
	t.Helper()
	read, err := New(setting, throws)
	if err != nil {
		t.Fatal(err)
	}
	return read
}

// good are shots without gross errors.
func good(e foreignErrors) foreignErrors {
	e.grossShare = 0
	return e
}

func TestNoShotsLeaveThePrior(t *testing.T) {
	setting := newForeign(1).setting()
	read, prior := mustRead(t, setting, nil), setting.Prior()
	if diff := cmp.Diff(prior.Mean, read.Mean, cmpopts.EquateApprox(0, 1e-12)); diff != "" {
		t.Errorf("mean (-prior +read):\n%s", diff)
	}
	if diff := cmp.Diff(prior.Covariance.v, read.Covariance.v, cmpopts.EquateApprox(1e-9, 1e-12)); diff != "" {
		t.Errorf("covariance (-prior +read):\n%s", diff)
	}
	if got := read.Knows(0, Aim{18, 1}); got != TooFew {
		t.Errorf("nothing was thrown, and a line is known %q", got)
	}
}

func TestMoreShotsNarrow(t *testing.T) {
	l := newForeign(2)
	throws, aim := l.probes(20, good(byEye)), Aim{18, 1}
	before := math.Inf(1)
	for _, n := range []int{0, 2, 6, 12, 20} {
		se := mustRead(t, l.setting(), throws[:n]).Exactly(0, aim, 0).EntrySE
		if se >= before {
			t.Errorf("after %d shots the entry is known to %.2f boards, before to %.2f", n, se, before)
		}
		before = se
	}
}

// The order of shots does not matter.
func TestOrderOfShots(t *testing.T) {
	l := newForeign(4)
	throws := l.probes(8, byEye)
	a := mustRead(t, l.setting(), throws)
	slices.Reverse(throws)
	b := mustRead(t, l.setting(), throws)
	if diff := cmp.Diff(a.Mean, b.Mean, cmpopts.EquateApprox(0, 1e-6)); diff != "" {
		t.Errorf("(-forward +backward):\n%s", diff)
	}
}

// One shot more, read by itself on top of the read so far, comes near to reading all again.
func TestUpdate(t *testing.T) {
	for number := range 6 {
		l := newForeign(number)
		throws := l.probes(12, good(byEye))
		read := mustRead(t, l.setting(), throws[:8])
		for _, throw := range throws[8:] {
			next, err := read.Update(throw)
			if err != nil {
				t.Fatal(err)
			}
			read = next
		}
		all := mustRead(t, l.setting(), throws)
		if len(read.Throws) != len(throws) {
			t.Errorf("lane %d: %d shots are weighed", number, len(read.Throws))
		}
		for _, aim := range ladder {
			step, whole := read.Exactly(0, aim, 0), all.Exactly(0, aim, 0)
			if math.Abs(step.EntryBoard-whole.EntryBoard) > 0.5*whole.EntrySE || math.Abs(step.EntrySE/whole.EntrySE-1) > 0.3 {
				t.Errorf("lane %d, %v: %.2f +- %.2f by steps, %.2f +- %.2f at once",
					number, aim, step.EntryBoard, step.EntrySE, whole.EntryBoard, whole.EntrySE)
			}
		}
	}
}

// A left-hander's shots on the mirrored film read as a right-hander's.
func TestReadMirrors(t *testing.T) {
	l := newForeign(5)
	throws := l.probes(8, byEye)
	right := l.setting()
	left := right
	left.Film, left.Side = right.Film.Mirror(), lane.Left
	a, b := mustRead(t, right, throws), mustRead(t, left, throws)
	if diff := cmp.Diff(a.Mean, b.Mean, cmpopts.EquateApprox(0, 1e-9)); diff != "" {
		t.Errorf("(-right +left):\n%s", diff)
	}
	if a.Bounds(0) != b.Bounds(0) {
		t.Errorf("out of bounds: %+v right, %+v left", a.Bounds(0), b.Bounds(0))
	}
}

// A reading far off is seen as one, whichever it is, and hardly moves the read.
func TestBadReadings(t *testing.T) {
	for _, field := range []string{"breakpoint_board", "entry_board", "arrows_board", "laydown_board"} {
		t.Run(field, func(t *testing.T) {
			l := newForeign(6)
			throws := l.probes(8, good(bySensor))
			clean := mustRead(t, l.setting(), throws)
			bad := throws[3].Shot
			wrong := map[string]**float64{
				"breakpoint_board": &bad.BreakpointBoard, "entry_board": &bad.EntryBoard,
				"arrows_board": &bad.ArrowsBoard, "laydown_board": &bad.LaydownBoard,
			}[field]
			value := **wrong + 6
			*wrong = &value
			throws[3].Shot = bad
			read := mustRead(t, l.setting(), throws)
			weight := read.Throws[3].Weight * read.Throws[3].Readings[field]
			if weight > 0.3 {
				t.Errorf("it still counts for %.2f: %+v", weight, read.Throws[3])
			}
			for i, one := range read.Throws {
				if i != 3 && one.Weight < 0.4 {
					t.Errorf("shot %d is doubted instead: %+v", i+1, one)
				}
			}
			for _, aim := range ladder {
				a, b := clean.Exactly(0, aim, 0), read.Exactly(0, aim, 0)
				if math.Abs(a.EntryBoard-b.EntryBoard) > 1.5*a.EntrySE {
					t.Errorf("%v: %.2f with it, %.2f +- %.2f before", aim, b.EntryBoard, a.EntryBoard, a.EntrySE)
				}
			}
		})
	}
}

// A gutter ball, and a shot of which nothing was seen, say nothing.
func TestShotsThatSayNothing(t *testing.T) {
	l := newForeign(7)
	throws := l.probes(4, good(byEye))
	gutter, unseen := throws[0], throws[1]
	gutter.Shot.Gutter = lane.Right
	unseen.Shot.EntryBoard, unseen.Shot.BreakpointBoard = nil, nil
	a := mustRead(t, l.setting(), throws)
	b := mustRead(t, l.setting(), append(slices.Clone(throws), gutter, unseen))
	if diff := cmp.Diff(a.Mean, b.Mean, cmpopts.EquateApprox(0, 1e-9)); diff != "" {
		t.Errorf("(-without +with):\n%s", diff)
	}
	if b.Throws[4].Used || b.Throws[5].Used || !b.Throws[0].Used {
		t.Errorf("%+v", b.Throws)
	}
}

// Others' shots read the lane too, each with a release of their own; what is learnt of a hand goes
// with its athlete.
func TestOthersAndHands(t *testing.T) {
	l := newForeign(8)
	alone := l.setting()
	both := alone
	other := both.Throwers[0]
	other.Release.RevRPM *= 0.8
	both.Throwers = []Thrower{both.Throwers[0], other}
	own := l.probes(3, good(bySensor))
	l.release.RevRPM *= 0.8
	l.stated.RevRPM *= 0.8
	theirs := l.probes(12, good(bySensor))
	for i := range theirs {
		theirs[i].Thrower = 1
	}
	few, many := mustRead(t, alone, own), mustRead(t, both, append(slices.Clone(own), theirs...))
	for place := 1; place <= 3; place++ {
		if many.Covariance.sd(place) >= few.Covariance.sd(place) {
			t.Errorf("number %d of the lane is known to %.3f with others' shots, %.3f without",
				place, many.Covariance.sd(place), few.Covariance.sd(place))
		}
	}
	if a, b := few.Exactly(0, ladder[2], 0).EntrySE, many.Exactly(0, ladder[2], 0).EntrySE; b >= a {
		t.Errorf("own line known to %.2f with others' shots, %.2f without", b, a)
	}
	hand := many.Hand(1)
	if hand.RevsVar >= Spread().LogRevs*Spread().LogRevs {
		t.Errorf("nothing was learnt of the other's release: %+v", hand)
	}
	// The next day, on another lane.
	next := newForeign(9).setting()
	later := hand.After(3)
	next.Throwers[0].Hand = &later
	prior := next.Prior()
	if prior.Mean[placeRevs] != hand.LogRevs || !(prior.Covariance.at(placeRevs, placeRevs) > hand.RevsVar) {
		t.Errorf("carried over as %g, variance %g: %+v",
			prior.Mean[placeRevs], prior.Covariance.at(placeRevs, placeRevs), hand)
	}
	forgotten := hand.After(1e6)
	next.Throwers[0].Hand = &forgotten
	if prior = next.Prior(); prior.Covariance.sd(placeRevs) > Spread().LogRevs*(1+1e-9) {
		t.Errorf("a hand not seen for ages is less known than a new one: %g", prior.Covariance.sd(placeRevs))
	}
	if _, ok := prior.Covariance.cholesky(); !ok {
		t.Error("the prior is not a covariance")
	}
}

// The pair's other lane tells of this one, more of the ball than of the oil.
func TestNeighbour(t *testing.T) {
	l := newForeign(10)
	setting := l.setting()
	read := mustRead(t, setting, l.probes(12, good(bySensor)))
	setting.Neighbour = &read.Belief
	pair := mustRead(t, setting, nil)
	fresh := mustRead(t, l.setting(), nil)
	for _, aim := range ladder {
		alone, beside := fresh.Exactly(0, aim, 0).EntrySE, pair.Exactly(0, aim, 0).EntrySE
		known := read.Exactly(0, aim, 0).EntrySE
		if !(known < beside && beside < alone) {
			t.Errorf("%v: known to %.2f on the lane read, %.2f on the one beside it, %.2f elsewhere", aim, known, beside, alone)
		}
	}
	if got, want := pair.Mean[2], alike*read.Mean[2]; math.Abs(got-want) > 1e-9 {
		t.Errorf("length %g, want %g", got, want)
	}
	setting.Throwers = append(setting.Throwers, setting.Throwers[0])
	if _, err := New(setting, nil); err == nil {
		t.Error("a belief of other athletes is taken")
	}
}

func TestBeliefAsJSON(t *testing.T) {
	l := newForeign(11)
	read := mustRead(t, l.setting(), l.probes(4, byEye))
	text, err := json.Marshal(read.Belief)
	if err != nil {
		t.Fatal(err)
	}
	var back Belief
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(read.Covariance.v, back.Covariance.v); diff != "" || !slices.Equal(read.Mean, back.Mean) {
		t.Errorf("(-kept +read again):\n%s", diff)
	}
	again, err := Resume(l.setting(), back)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := again.Exactly(0, ladder[1], 0), read.Exactly(0, ladder[1], 0); got != want {
		t.Errorf("taken up again it forecasts %+v, before %+v", got, want)
	}
	if _, err := Resume(l.setting(), Belief{}); err == nil {
		t.Error("a belief of nothing is taken up")
	}
	if err := json.Unmarshal([]byte(`{"covariance":[[1,2],[3]]}`), &back); err == nil {
		t.Error("a covariance that is not square is taken")
	}
}

// The lanes for the planner have the read's mean, and over many of them its spread.
func TestLanesStandForTheRead(t *testing.T) {
	l := newForeign(12)
	read := mustRead(t, l.setting(), l.probes(6, byEye))
	states := read.Lanes(400, 0)
	if !cmp.Equal(states, read.Lanes(400, 0)) {
		t.Fatal("the draws are not the same every time")
	}
	mean := read.State(0)
	mean.each(func(number int, value *float64) {
		sum, squares := 0.0, 0.0
		for _, state := range states {
			state.each(func(at int, v *float64) {
				if at == number {
					sum += *v
					squares += (*v - *value) * (*v - *value)
				}
			})
		}
		n := float64(len(states))
		if math.Abs(sum/n-*value) > 1e-9 {
			t.Errorf("number %d: mean %g, read %g", number, sum/n, *value)
		}
		if share := math.Sqrt(squares/n) / read.Covariance.sd(number); math.Abs(share-1) > 0.2 {
			t.Errorf("number %d: %.2f times the read's deviation", number, share)
		}
	})
}

func TestSettingsThatCannotBe(t *testing.T) {
	for name, spoil := range map[string]func(*Setting){
		"no film":     func(s *Setting) { s.Film = nil },
		"no athlete":  func(s *Setting) { s.Throwers = nil },
		"no side":     func(s *Setting) { s.Side = "" },
		"no speed":    func(s *Setting) { s.Throwers[0].Release.SpeedMPH = 0 },
		"no friction": func(s *Setting) { s.Friction.Q0 = 0 },
	} {
		setting := newForeign(1).setting()
		spoil(&setting)
		if _, err := New(setting, nil); err == nil {
			t.Errorf("%s: it is read", name)
		}
	}
	if _, err := New(newForeign(1).setting(), []Throw{{Thrower: 1}}); err == nil {
		t.Error("a shot of nobody is read")
	}
}

// Whatever is logged, a read is finite and its covariance is one.
func TestAnyShotsAreRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := newForeign(13)
		board := rapid.Custom(func(t *rapid.T) *float64 {
			if rapid.Bool().Draw(t, "known") {
				return new(rapid.Float64Range(0, 40).Draw(t, "board"))
			}
			return nil
		})
		throws := l.probes(rapid.IntRange(0, 6).Draw(t, "shots"), byEye)
		for i := range throws {
			s := &throws[i].Shot
			s.LaydownBoard, s.ArrowsBoard = board.Draw(t, "laydown"), board.Draw(t, "arrows")
			s.BreakpointBoard, s.EntryBoard = board.Draw(t, "breakpoint"), board.Draw(t, "entry")
			s.BreakpointFt = new(rapid.Float64Range(0, 60).Draw(t, "ft"))
			s.SpeedMPH = new(rapid.Float64Range(5, 30).Draw(t, "speed"))
			s.Errors.Board = new(rapid.Float64Range(0.01, 40).Draw(t, "error"))
		}
		read, err := New(l.setting(), throws)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range read.Mean {
			if math.IsNaN(v) || math.Abs(v) > 3.001*read.prior.Covariance.sd(i) {
				t.Fatalf("number %d is %g", i, v)
			}
		}
		if _, ok := read.Covariance.cholesky(); !ok {
			t.Fatal("the covariance is not positive")
		}
		f := read.Exactly(0, Aim{18, 1}, 0)
		if math.IsNaN(f.EntryBoard) || !(f.EntrySE > 0) {
			t.Fatalf("%+v", f)
		}
	})
}
