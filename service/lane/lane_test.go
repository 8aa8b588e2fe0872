package lane_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"laneward/service/lane"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// Source: United States tenpin federation's figures as relayed at
// topendsports.com/sport/tenpin/dimensions.htm: width 41 1/2 in +- 1/2, head pin 60 ft from the
// foul line +- 1/2 in; 39 boards of about 1.07 in (2.73 cm): DOI 10.1177/17479541241306543.
func TestLaneMeasures(t *testing.T) {
	near(t, "width in inches", lane.WidthIn, 41.5, 0.5)
	near(t, "length in feet", lane.LengthFt, 60, 0.5/12)
	near(t, "a board in inches", lane.BoardWidthIn, 1.07, 0.01)
	near(t, "a board in centimetres", lane.BoardWidthM*100, 2.73, 0.03)
	near(t, "lane centre in inches", (lane.CentreBoard-0.5)*lane.BoardWidthIn, 20.75, 1e-12)
}

// The pins stand 12 in apart on an equilateral triangle (same source; R. F. Foster, Complete Hoyle,
// "Ten Pins"). The boards and feet are recomputed from that spacing.
func TestPinPositions(t *testing.T) {
	for _, c := range []struct {
		pin       int
		board, ft float64
	}{
		{1, 20, 60},
		{2, 25.64, 60.866},
		{3, 14.36, 60.866},
		{4, 31.28, 61.732},
		{5, 20, 61.732},
		{6, 8.72, 61.732},
		{7, 36.92, 62.598},
		{8, 25.64, 62.598},
		{9, 14.36, 62.598},
		{10, 3.08, 62.598},
	} {
		x, ft := lane.PinPosition(c.pin)
		near(t, "board of a pin", x, c.board, 0.005)
		near(t, "distance of a pin", ft, c.ft, 0.0005)
	}
}

func TestNeighbouringPinsStandTwelveInchesApart(t *testing.T) {
	for _, pair := range [][2]int{{1, 2}, {1, 3}, {2, 3}, {2, 4}, {2, 5}, {3, 5}, {3, 6}, {4, 7}, {5, 8}, {5, 9}, {6, 9}, {6, 10}, {7, 8}, {9, 10}} {
		x1, ft1 := lane.PinPosition(pair[0])
		x2, ft2 := lane.PinPosition(pair[1])
		near(t, "spacing", math.Hypot((x1-x2)*lane.BoardWidthIn, (ft1-ft2)*12), 12, 1e-9)
	}
}

// From the foul line to the pit is 62 ft 10 3/16 in, and the last row stands 3 in before it
// (Foster); a corner pin's spot is 2 1/2 to 3 in from the edge (the federation's figures, relayed).
func TestBackRowAgainstPitAndEdge(t *testing.T) {
	x, ft := lane.PinPosition(10)
	near(t, "from the back row to the pit in inches", 62*12+10+3.0/16-ft*12, 3, 0.02)
	fromEdge := (x - lane.MinBoard) * lane.BoardWidthIn
	if fromEdge < 2.5 || fromEdge > 3 {
		t.Errorf("the corner pin stands %v in from the edge", fromEdge)
	}
}

func TestPinPositionPanics(t *testing.T) {
	for _, pin := range []int{0, 11, -1} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("there is a pin %d", pin)
				}
			}()
			lane.PinPosition(pin)
		}()
	}
}

// 6 degrees is 1.185 boards a foot, and the straightest line from edge to pocket 1.101 degrees
// (both recomputed).
func TestAngles(t *testing.T) {
	near(t, "6 degrees in boards a foot", lane.BoardsPerFoot(6), 1.185, 0.0005)
	near(t, "1.185 boards a foot in degrees", lane.AngleDeg(1.185), 6, 0.003)
	rapid.Check(t, func(t *rapid.T) {
		angle := rapid.Float64Range(-60, 60).Draw(t, "angle")
		if back := lane.AngleDeg(lane.BoardsPerFoot(angle)); math.Abs(back-angle) > 1e-9 {
			t.Fatalf("%v comes back as %v", angle, back)
		}
	})
}

func TestSides(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		board := rapid.Float64Range(0, 40).Draw(t, "board")
		if lane.Right.X(board) != board {
			t.Fatal("a right-hander counts from the right gutter")
		}
		if x := lane.Left.X(board); math.Abs(x+board-40) > 1e-12 || math.Abs(lane.Left.Board(x)-board) > 1e-12 {
			t.Fatalf("board %v of a left-hander lies at %v", board, x)
		}
		if lane.OnLane(board) != lane.OnLane(lane.Left.X(board)) {
			t.Fatal("the mirror moves a ball off the lane")
		}
	})
	for text, ok := range map[string]bool{"right": true, "left": true, "": false, "Right": false, "both": false} {
		if _, err := lane.ParseSide(text); (err == nil) != ok {
			t.Errorf("side %q: %v", text, err)
		}
	}
}

// Dots and arrows lie in mirror image: board b and 40 - b (sportsfitness.win article 14469; the
// rule recomputed).
func TestDotsMirror(t *testing.T) {
	right, left := []float64{3, 5, 8, 11, 14}, []float64{37, 35, 32, 29, 26}
	for i, board := range right {
		if lane.Left.X(board) != left[i] {
			t.Errorf("board %v mirrors to %v, want %v", board, lane.Left.X(board), left[i])
		}
	}
}

func TestOnLane(t *testing.T) {
	for board, want := range map[float64]bool{0.49: false, 0.5: true, 1: true, 39.5: true, 39.51: false} {
		if lane.OnLane(board) != want {
			t.Errorf("board %v on the lane: %v", board, !want)
		}
	}
}

// There are 1,023 leaves. Each is read as it is written, mirrors to one of as many pins, and comes
// back.
func TestEveryLeave(t *testing.T) {
	for set := lane.PinSet(1); set <= lane.FullRack; set++ {
		read, err := lane.ParsePins(set.String())
		if err != nil || read != set {
			t.Fatalf("%s is read as %s: %v", set, read, err)
		}
		data, err := json.Marshal(set)
		var back lane.PinSet
		if err != nil || json.Unmarshal(data, &back) != nil || back != set {
			t.Fatalf("%s comes back from %s as %s", set, data, back)
		}
		if set.Mirror().Count() != set.Count() || set.Mirror().Mirror() != set || len(set.Numbers()) != set.Count() {
			t.Fatalf("%s mirrors to %s", set, set.Mirror())
		}
		for n := 1; n <= 10; n++ {
			x, ft := lane.PinPosition(n)
			for m := 1; m <= 10; m++ {
				if mx, mft := lane.PinPosition(
					m,
				); math.Abs(mx+x-40) < 1e-9 && math.Abs(mft-ft) < 1e-9 &&
					set.Has(n) != set.Mirror().Has(m) {
					t.Fatalf("pin %d of %s is not pin %d of its mirror", n, set, m)
				}
			}
		}
	}
}

func TestParsePins(t *testing.T) {
	for text, want := range map[string]string{
		"7-10": "7-10", "7 10": "7-10", " 7 - 10 ": "7-10", "10  7": "7-10", "10": "10",
		" Strike ": "strike", "x": "strike", "X": "strike", "none": "strike", "ALL": lane.FullRack.String(),
	} {
		if set, err := lane.ParsePins(text); err != nil || set.String() != want {
			t.Errorf("%q is read as %s, %v; want %s", text, set, err, want)
		}
	}
}

func TestPinFaults(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"no such pin":       {"7-11", "there is no pin 11"},
		"pin 0":             {"0", "write strike when none does"},
		"twice":             {"7-7", "pin 7 is named twice"},
		"every fault":       {"7-7-11-12", "pin 7 is named twice; there is no pin 11: pins are numbered 1 to 10; there is no pin 12"},
		"words":             {"seven", "is not a list of pins"},
		"empty":             {"", "is not a list of pins"},
		"half":              {"7-", "is not a list of pins"},
		"not measured":      {"-", "is not a list of pins"},
		"a day and a month": {"10-Jul", "a date that a spreadsheet made"},
		"a month first":     {"Oct-7", "a date that a spreadsheet made"},
		"a date":            {"7/10/2026", "a date that a spreadsheet made"},
	} {
		set, err := lane.ParsePins(c.text)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %q is read as %s, %v; want the error %q", name, c.text, set, err, c.want)
		}
	}
	for _, data := range []string{`"7"`, `[11]`, `[7,7]`, `[1.5]`, `7`} {
		var set lane.PinSet
		if json.Unmarshal([]byte(data), &set) == nil {
			t.Errorf("%s is read as %s", data, set)
		}
	}
	if data, err := json.Marshal(lane.PinSet(0)); err != nil || string(data) != "[]" {
		t.Errorf("a strike is written %s, %v", data, err)
	}
}
