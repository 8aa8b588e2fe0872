package drill

import (
	"math"

	"laneward/service/lane"
	"laneward/service/shot"
)

// Basis is where a judged value comes from.
type Basis string

// A value is as it was measured, or estimated from measured points of the path before and after it.
const (
	Measured  Basis = "measured"
	Estimated Basis = "estimated"
)

// reading is a value of one measure with its standard error, or the reason why there is none (then
// basis is "").
type reading struct {
	value, standardError float64
	basis                Basis
	reason               string
}

// Assumptions of the estimates of a board that was not measured. Common practice, no source.
const (
	// maxBend is the sharpest bend taken for a ball's path, boards per foot squared: friction 0.2
	// at 17 mph with the slip fully sideways, mu g / v^2 = 0.0104 per ft, is 0.117.
	maxBend = 0.12
	// breakpointGapFt is how far from the outermost known point its neighbours may lie for a
	// breakpoint to be read off.
	breakpointGapFt = 10
	// breakpointRise is how far, in boards, the path has to come back inside on both sides of its
	// outermost point, so that an error of reading is not taken for the turn.
	breakpointRise = 1
)

// knot is a known point of the path; slope is the path's direction there in boards per foot, NaN
// where it is not known, and slopeSE its standard error.
type knot struct{ ft, board, slope, slopeSE float64 }

// knots calls yield with every known point of the path, the named ones before the track.
func knots(s *shot.Shot, yield func(knot)) {
	if s.LaydownBoard != nil {
		k := knot{0, *s.LaydownBoard, math.NaN(), 0}
		if s.LaunchAngleDeg != nil {
			k.slope, k.slopeSE = -lane.BoardsPerFoot(
				*s.LaunchAngleDeg,
			), lane.BoardsPerFoot(
				StandardError(LaunchAngle, s),
			)
		}
		yield(k)
	}
	if s.ArrowsBoard != nil {
		yield(knot{lane.ArrowsFt, *s.ArrowsBoard, math.NaN(), 0})
	}
	if s.BreakpointBoard != nil && s.BreakpointFt != nil {
		yield(knot{*s.BreakpointFt, *s.BreakpointBoard, 0, 0})
	}
	if s.EntryBoard != nil {
		k := knot{lane.LengthFt, *s.EntryBoard, math.NaN(), 0}
		if s.EntryAngleDeg != nil {
			k.slope, k.slopeSE = lane.BoardsPerFoot(*s.EntryAngleDeg), lane.BoardsPerFoot(StandardError(EntryAngle, s))
		}
		yield(k)
	}
	for _, p := range s.Track {
		yield(knot{p.Ft, p.Board, math.NaN(), 0})
	}
}

// gutterBall reports whether a shot ended in the gutter, and the distance from which nothing more
// was seen of it on the lane, feet. It did when it is marked so, when a board off the lane was
// recorded, or when all ten pins were left and no board past the arrows was.
func gutterBall(s *shot.Shot) (seenFt float64, ok bool) {
	past, fell := s.BreakpointBoard != nil, s.Gutter != ""
	if past {
		fell = fell || !lane.OnLane(*s.BreakpointBoard)
	}
	knots(s, func(k knot) {
		if !lane.OnLane(k.board) {
			fell = true
			return
		}
		seenFt = math.Max(seenFt, k.ft)
		past = past || k.ft > lane.ArrowsFt
	})
	return seenFt, fell || s.Standing != nil && *s.Standing == lane.FullRack && !past
}

// lostInGutter reports whether a rule on the ball's path, for which nothing was measured, looks at
// a shot past the last point where it was seen before the gutter took it.
func (r Rule) lostInGutter(s *shot.Shot) bool {
	seenFt, ok := gutterBall(s)
	if !ok {
		return false
	}
	switch {
	case r.Measure == EntryAngle || r.Measure == BreakpointDistance || r.PastFt != nil:
		return true
	case r.Measure != Board:
		return false
	case r.At == Breakpoint || r.At == Entry:
		return true
	case r.At == Arrows:
		return seenFt < lane.ArrowsFt
	case r.AtFt != nil:
		turned := s.BreakpointBoard != nil && s.BreakpointFt == nil // seen, but its distance is not recorded
		return seenFt < *r.AtFt && !turned
	}
	return false
}

// boardOf returns the board a rule with this place or distance looks at.
func boardOf(at Place, atFt *float64, s *shot.Shot) reading {
	switch at {
	case Laydown:
		return measuredOrAt(s.LaydownBoard, 0, "no laydown board was recorded", s)
	case Arrows:
		return measuredOrAt(s.ArrowsBoard, lane.ArrowsFt,
			"no board at the arrows was recorded, nor the path on both sides of them", s)
	case Entry:
		return measuredOrAt(s.EntryBoard, lane.LengthFt, "no entry board was recorded", s)
	case Breakpoint:
		if s.BreakpointBoard == nil && s.BreakpointFt == nil {
			return outermost(s)
		}
		var ft float64
		if s.BreakpointFt != nil {
			ft = *s.BreakpointFt
		}
		return measuredOrAt(
			s.BreakpointBoard,
			ft,
			"no breakpoint board was recorded, nor the path on both sides of its distance",
			s,
		)
	}
	if atFt == nil {
		return reading{reason: "the rule names no place on the lane"}
	}
	return measuredOrAt(nil, *atFt, "the path was not recorded on both sides of that distance", s)
}

// boardPast reads the point of the path from a distance to the pins that comes nearest to breaking
// the rule: the outermost for a lower bound, the innermost for an upper one. A measured point that
// breaks it decides; else the point has to be known: the outermost from the breakpoint, or where
// that lies before the distance from the board there, the innermost from the boards at both ends.
func (r Rule) boardPast(s *shot.Shot) reading {
	low, high := r.Edges()
	se := StandardError(Board, s)
	at := boardAt(*r.PastFt, s)
	seen := at
	worst := func(value reading) {
		if seen.basis == "" || math.Min(value.value-low, high-value.value) < math.Min(seen.value-low, high-seen.value) {
			seen = value
		}
	}
	knots(s, func(k knot) {
		if k.ft >= *r.PastFt {
			worst(reading{value: k.board, standardError: se, basis: Measured})
		}
	})
	if seen.basis != "" && math.Min(seen.value-low, high-seen.value) < 0 {
		return seen
	}
	turned := s.BreakpointBoard != nil && s.BreakpointFt != nil
	outerKnown := turned && (*s.BreakpointFt >= *r.PastFt || at.basis != "")
	innerKnown := at.basis != "" && s.EntryBoard != nil
	if r.Min != nil && !outerKnown || r.Max != nil && !innerKnown {
		return reading{reason: "the path past that distance was not recorded"}
	}
	return seen
}

func measuredOrAt(board *float64, ft float64, reason string, s *shot.Shot) reading {
	if board != nil {
		return reading{value: *board, standardError: StandardError(Board, s), basis: Measured}
	}
	r := boardAt(ft, s)
	if r.basis == "" {
		r.reason = reason
	}
	return r
}

// boardAt reads the board at a distance: a known point there, else the straight line between the
// nearest known points before and after it. The estimate's standard error joins that of the two
// points, carried through the line, with what the path may bend between them; see [bend].
func boardAt(ft float64, s *shot.Shot) reading {
	unset := knot{math.NaN(), 0, math.NaN(), 0}
	before, beforeThat, after, afterThat := unset, unset, unset, unset
	here, known := 0.0, false
	knots(s, func(k knot) {
		switch {
		case k.ft == ft:
			if !known {
				here, known = k.board, true
			}
		case k.ft < ft:
			nearer(&before, &beforeThat, k, ft)
		case k.ft > ft:
			nearer(&after, &afterThat, k, ft)
		}
	})
	se := StandardError(Board, s)
	if known {
		return reading{value: here, standardError: se, basis: Measured}
	}
	if math.IsNaN(before.ft) || math.IsNaN(after.ft) {
		return reading{}
	}
	share := (ft - before.ft) / (after.ft - before.ft)
	chord := before.board + share*(after.board-before.board)
	carried := se * math.Hypot(1-share, share)
	// An offset spread evenly between none and the greatest has the root mean square greatest /
	// sqrt 3.
	bent := bend(ft, chord, se, [2][2]knot{{beforeThat, before}, {afterThat, after}}) / math.Sqrt(3)
	return reading{value: chord, standardError: math.Hypot(carried, bent), basis: Estimated}
}

// nearer keeps the two known points nearest to ft on one side of it; of several at one distance the
// first counts.
func nearer(nearest, next *knot, k knot, ft float64) {
	gap := math.Abs(k.ft - ft)
	switch {
	case math.IsNaN(nearest.ft) || gap < math.Abs(nearest.ft-ft):
		*nearest, *next = k, *nearest
	case k.ft != nearest.ft && (math.IsNaN(next.ft) || gap < math.Abs(next.ft-ft)):
		*next = k
	}
}

// bend bounds how far the path may lie from the chord between two known points, the inner one of
// each pair. A ball curves one way only, so between the points its path lies on one side of the
// chord, and no further from it than the path's lines into the first point and out of the second,
// prolonged; a line's own standard error is added. Where neither line is known, or known well, the
// sharpest bend that is taken for a ball bounds it.
func bend(ft, chord, boardSE float64, pairs [2][2]knot) float64 {
	bound := maxBend * math.Abs((ft-pairs[0][1].ft)*(pairs[1][1].ft-ft)) / 2
	for _, pair := range pairs {
		outer, inner := pair[0], pair[1]
		slope, slopeSE := inner.slope, inner.slopeSE
		if math.IsNaN(slope) {
			slope = (inner.board - outer.board) / (inner.ft - outer.ft) // NaN without an outer point
			slopeSE = math.Sqrt2 * boardSE / math.Abs(inner.ft-outer.ft)
		}
		away := ft - inner.ft
		offset := math.Abs(chord-inner.board-slope*away) + slopeSE*math.Abs(away)
		if offset < bound { // false for NaN
			bound = offset
		}
	}
	return bound
}

// outermost estimates the breakpoint of a shot that recorded none from the known points of its
// path: the lowest point of the parabola through the outermost point and its neighbours. It gives
// one only when both neighbours are near and the path comes back inside on both sides. The standard
// error joins that of a reading with the depth of the parabola below the point. Where a path was
// read at many points the outermost is also the one most wrongly read, so the estimate leans
// outside by about one error.
func outermost(s *shot.Shot) reading {
	const reason = "no breakpoint board was recorded, and the path does not show where it was outermost"
	out := knot{ft: math.NaN(), board: math.Inf(1)}
	knots(s, func(k knot) {
		if k.board < out.board {
			out = k
		}
	})
	unset := knot{ft: math.NaN()}
	before, after, far := unset, unset, unset
	riseBefore, riseAfter := false, false
	knots(s, func(k knot) {
		switch {
		case k.ft < out.ft:
			nearer(&before, &far, k, out.ft)
			riseBefore = riseBefore || k.board >= out.board+breakpointRise
		case k.ft > out.ft:
			nearer(&after, &far, k, out.ft)
			riseAfter = riseAfter || k.board >= out.board+breakpointRise
		}
	})
	if !riseBefore || !riseAfter || out.ft-before.ft > breakpointGapFt || after.ft-out.ft > breakpointGapFt {
		return reading{reason: reason}
	}
	depth := depthBelow(before, out, after)
	return reading{
		value:         out.board - depth,
		standardError: math.Hypot(StandardError(Board, s), depth),
		basis:         Estimated,
	}
}

// depthBelow returns how far the lowest point of the parabola through three points lies below the
// middle and lowest one, boards.
func depthBelow(before, middle, after knot) float64 {
	left := (middle.board - before.board) / (middle.ft - before.ft)
	right := (after.board - middle.board) / (after.ft - middle.ft)
	curvature := (right - left) / (after.ft - before.ft) // half the second derivative
	if curvature <= 0 {
		return 0
	}
	slope := left + curvature*(middle.ft-before.ft) // at the middle point
	return slope * slope / (4 * curvature)
}
