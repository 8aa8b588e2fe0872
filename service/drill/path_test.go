package drill

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/shot"
)

func TestBoardAtADistance(t *testing.T) {
	exact := shot.StandardErrors{Board: ptr(0.0)}
	cases := map[string]struct {
		shot    shot.Shot
		rule    Rule
		basis   Basis
		value   float64
		atMost  float64 // of the standard error
		atLeast float64
	}{
		"track point there": {
			shot.Shot{Track: []shot.TrackPoint{{Ft: 30, Board: 9}, {Ft: 38, Board: 8}}, Errors: exact},
			Rule{Measure: Board, AtFt: ptr(38.0), Min: ptr(8.0)},
			Measured, 8, 0, 0,
		},
		"named place goes before the track": {
			shot.Shot{ArrowsBoard: ptr(14.0), Track: []shot.TrackPoint{{Ft: 15, Board: 13}}, Errors: exact},
			Rule{Measure: Board, AtFt: ptr(15.0), Min: ptr(8.0)},
			Measured, 14, 0, 0,
		},
		// Linear between (15, 14) and (45, 8): 11 at 30 ft. Without another point the bend is 0.12
		// * 15 * 15 / 2 = 13.5 boards.
		"two points alone": {
			shot.Shot{Track: []shot.TrackPoint{{Ft: 15, Board: 14}, {Ft: 45, Board: 8}}, Errors: exact},
			Rule{Measure: Board, AtFt: ptr(30.0), Min: ptr(8.0)},
			Estimated, 11, 13.5 / math.Sqrt(3), 13.5 / math.Sqrt(3),
		},
		// The breakpoint's tangent puts the path at 8 at 38 ft, the chord at 8 + 6 * 4/27 = 8.889.
		"before a breakpoint": {
			shot.Shot{ArrowsBoard: ptr(14.0), BreakpointBoard: ptr(8.0), BreakpointFt: ptr(42.0), Errors: exact},
			Rule{Measure: Board, AtFt: ptr(38.0), Min: ptr(8.0)},
			Estimated, 8.8889, 0.8889 / math.Sqrt(3), 0.8888 / math.Sqrt(3),
		},
		// Points on one line: no bend is possible between them.
		"straight on both sides": {
			shot.Shot{
				Track: []shot.TrackPoint{
					{Ft: 0, Board: 20},
					{Ft: 10, Board: 18},
					{Ft: 20, Board: 16},
					{Ft: 30, Board: 14},
				},
				Errors: exact,
			},
			Rule{Measure: Board, AtFt: ptr(15.0), Min: ptr(8.0)},
			Estimated,
			17,
			1e-9,
			0,
		},
		"arrows from the track": {
			shot.Shot{Track: []shot.TrackPoint{{Ft: 14, Board: 15}, {Ft: 16, Board: 14.6}}, Errors: exact},
			Rule{Measure: Board, At: Arrows, Min: ptr(8.0)},
			Estimated, 14.8, 0.05, 0.03,
		},
		// Half way between two points read with error 0.3 each: 0.3 / sqrt 2, and the bend.
		"error of the points": {
			shot.Shot{Track: []shot.TrackPoint{{Ft: 14, Board: 15}, {Ft: 16, Board: 14.6}}, Source: "sensor"},
			Rule{Measure: Board, At: Arrows, Min: ptr(8.0)},
			Estimated, 14.8, 0.22, 0.3 / math.Sqrt2,
		},
		// The line through 14 and 15 ft is too short to say much at 30 ft: its error joins its
		// offset, and the bend stays the greatest.
		"a line from points close together": {
			shot.Shot{
				Track:  []shot.TrackPoint{{Ft: 14, Board: 14.2}, {Ft: 15, Board: 14}, {Ft: 45, Board: 8}},
				Source: "eye",
			},
			Rule{Measure: Board, AtFt: ptr(30.0), Min: ptr(8.0)},
			Estimated,
			11,
			7.83,
			7.82,
		},
		"breakpoint board from its distance": {
			shot.Shot{
				BreakpointFt: ptr(40.0),
				Track:        []shot.TrackPoint{{Ft: 38, Board: 8.2}, {Ft: 42, Board: 8}},
				Errors:       exact,
			},
			Rule{Measure: Board, At: Breakpoint, Min: ptr(8.0)},
			Estimated,
			8.1,
			0.15,
			0,
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			j := c.rule.Judge(&c.shot, nil)
			if j.Basis != c.basis {
				t.Fatalf("got %+v, want it %s", j, c.basis)
			}
			near(t, "board", j.Value, c.value, 1e-4)
			if j.StandardError > c.atMost+1e-9 || j.StandardError < c.atLeast-1e-9 {
				t.Errorf("standard error %v, want %v to %v", j.StandardError, c.atLeast, c.atMost)
			}
		})
	}
}

func TestBoardUnknownWithoutPointsOnBothSides(t *testing.T) {
	rule := Rule{Measure: Board, AtFt: ptr(38.0), Min: ptr(8.0)}
	checkUnknown(t, rule, &shot.Shot{LaydownBoard: ptr(20.0), ArrowsBoard: ptr(14.0)}, nil)
	checkUnknown(t, rule, &shot.Shot{EntryBoard: ptr(17.0)}, nil)
	checkUnknown(
		t,
		rule,
		&shot.Shot{ArrowsBoard: ptr(14.0), BreakpointBoard: ptr(8.0)},
		nil,
	) // a breakpoint at no distance
	checkUnknown(t, Rule{Measure: Board, At: Laydown, Min: ptr(8.0)},
		&shot.Shot{ArrowsBoard: ptr(14.0), EntryBoard: ptr(17.0)}, nil)
	checkUnknown(t, Rule{Measure: Board, At: Entry, Min: ptr(8.0)},
		&shot.Shot{ArrowsBoard: ptr(14.0), Track: []shot.TrackPoint{{Ft: 55, Board: 15}}}, nil)
}

// path is a made-up ball path in three parts, skid, hook and roll: straight, then a parabola, then
// straight again.
type path struct{ laydown, slope, hookFt, rollFt, curvature float64 }

func (p path) board(ft float64) float64 {
	hook := min(max(ft-p.hookFt, 0), p.rollFt-p.hookFt)
	roll := max(ft-p.rollFt, 0)
	return p.laydown + p.slope*ft + p.curvature*(hook*hook/2+roll*(p.rollFt-p.hookFt))
}

// breakpoint is where the parabola turns, if it does.
func (p path) breakpoint() (ft float64, ok bool) {
	ft = p.hookFt - p.slope/p.curvature
	return ft, p.slope < 0 && ft < p.rollFt
}

func anyPath(t *rapid.T) path {
	p := path{
		laydown: rapid.Float64Range(10, 30).Draw(t, "laydown"),
		slope:   rapid.Float64Range(-0.6, 0.1).Draw(t, "slope"),
		hookFt: rapid.Float64Range(5, 40).
			Draw(t, "hook"),
		curvature: rapid.Float64Range(0.005, 0.115).Draw(t, "curvature"),
	}
	p.rollFt = rapid.Float64Range(p.hookFt+1, 60).Draw(t, "roll")
	return p
}

// For any path that curves one way, and no more than a ball does, read without error: the true
// board lies within the greatest bend, which is the standard error times sqrt 3.
func TestEstimateHoldsThePath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPath(t)
		s := shot.Shot{Errors: shot.StandardErrors{Board: ptr(0.0), AngleDeg: ptr(0.0)}}
		if rapid.Bool().Draw(t, "laydown known") {
			s.LaydownBoard = ptr(p.board(0))
			s.LaunchAngleDeg = ptr(-lane.AngleDeg(p.slope))
		}
		if rapid.Bool().Draw(t, "arrows known") {
			s.ArrowsBoard = ptr(p.board(15))
		}
		if ft, ok := p.breakpoint(); ok && rapid.Bool().Draw(t, "breakpoint known") {
			s.BreakpointFt, s.BreakpointBoard = &ft, ptr(p.board(ft))
		}
		if rapid.Bool().Draw(t, "entry known") {
			s.EntryBoard = ptr(p.board(60))
			s.EntryAngleDeg = ptr(lane.AngleDeg(p.slope + p.curvature*(p.rollFt-p.hookFt)))
		}
		for _, tenths := range rapid.SliceOfN(rapid.IntRange(0, 600), 0, 8).Draw(t, "track") {
			ft := float64(tenths) / 10
			s.Track = append(s.Track, shot.TrackPoint{Ft: ft, Board: p.board(ft)})
		}
		ft := rapid.Float64Range(0, 60).Draw(t, "ft")
		estimate := boardAt(ft, &s)
		if estimate.basis == "" {
			t.Skip("not known on both sides")
		}
		if off := math.Abs(estimate.value - p.board(ft)); off > estimate.standardError*math.Sqrt(3)+1e-9 {
			t.Fatalf(
				"estimate %v is %v off the path, more than its bend %v",
				estimate.value,
				off,
				estimate.standardError*math.Sqrt(3),
			)
		}
	})
}

func TestOutermostOfATrack(t *testing.T) {
	track := func(points ...float64) (track []shot.TrackPoint) {
		for i := 0; i < len(points); i += 2 {
			track = append(track, shot.TrackPoint{Ft: points[i], Board: points[i+1]})
		}
		return track
	}
	rule := Rule{Measure: Board, At: Breakpoint, Min: ptr(8.0)}
	// The parabola 8 + 0.02 (ft - 41)^2 read at 35, 40 and 45 ft is 8.72, 8.02, 8.32: its lowest
	// point is 8.
	j := rule.Judge(&shot.Shot{
		ArrowsBoard: ptr(14.0), Track: track(35, 8.72, 40, 8.02, 45, 8.32), EntryBoard: ptr(17.0),
		Errors: shot.StandardErrors{Board: ptr(0.0)},
	}, nil)
	if j.Basis != Estimated {
		t.Fatalf("got %+v, want it estimated", j)
	}
	near(t, "breakpoint", j.Value, 8, 1e-9)
	near(t, "standard error", j.StandardError, 0.02, 1e-9)

	for name, s := range map[string]shot.Shot{
		"still on its way out":    {ArrowsBoard: ptr(14.0), Track: track(35, 9, 40, 8)},
		"gap before":              {Track: track(20, 12, 40, 8, 45, 9, 55, 14)},
		"gap after":               {ArrowsBoard: ptr(14.0), Track: track(35, 9, 40, 8), EntryBoard: ptr(17.0)},
		"no turn but a misread":   {Track: track(30, 8.3, 35, 8.0, 40, 8.2, 45, 8.4)},
		"arrows outermost of all": {LaydownBoard: ptr(14.0), ArrowsBoard: ptr(11.0), EntryBoard: ptr(17.0)},
		"one point":               {Track: track(40, 8)},
	} {
		t.Run(name, func(t *testing.T) { checkUnknown(t, rule, &s, nil) })
	}
}

// Read every h = 5 ft without error. A turn x ft from the outermost point read lies at most maxBend
// x^2 / 2 below it, and as much is true of h - x and the neighbour, which is no lower: so both the
// turn and the parabola's lowest point are at most maxBend h^2 / 8 = 0.375 boards below the point
// read, and the estimate is off by no more.
func TestOutermostOfAnyPath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		breakpointFt := rapid.Float64Range(20, 45).Draw(t, "breakpoint")
		p := path{
			laydown: 20, slope: rapid.Float64Range(-0.4, -0.15).Draw(t, "slope"),
			curvature: rapid.Float64Range(0.02, 0.115).Draw(t, "curvature"),
			rollFt:    rapid.Float64Range(breakpointFt+3, 60).Draw(t, "roll"),
		}
		p.hookFt = breakpointFt + p.slope/p.curvature
		s := shot.Shot{Errors: shot.StandardErrors{Board: ptr(0.0)}}
		for ft := 0.0; ft <= 60; ft += 5 {
			s.Track = append(s.Track, shot.TrackPoint{Ft: ft, Board: p.board(ft)})
		}
		lowest := p.board(breakpointFt)
		if p.board(0) < lowest+1.5 || p.board(60) < lowest+1.5 {
			return // hardly a turn: it may or may not be read
		}
		estimate := outermost(&s)
		if estimate.basis != Estimated {
			t.Fatalf("a path that turns at %v ft was not read: %s", breakpointFt, estimate.reason)
		}
		if off := math.Abs(estimate.value - lowest); off > maxBend*5*5/8 {
			t.Fatalf("estimate %v is %v off", estimate.value, off)
		}
	})
}
