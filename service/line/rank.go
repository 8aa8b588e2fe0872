package line

import (
	"cmp"
	"math"
	"slices"
)

// Two lines are different when they lie this far apart in laydown or in angle.
const (
	apartBoards = 2.5
	apartDeg    = 0.75
)

func (a Aim) near(b Aim) bool {
	return math.Abs(a.LaydownBoard-b.LaydownBoard) < apartBoards &&
		math.Abs(a.LaunchAngleDeg-b.LaunchAngleDeg) < apartDeg
}

// ranked is a candidate in its place.
type ranked struct {
	candidate
	behind, behindError float64 // pins a frame behind the best one, whichever is ranked first
	// equal: it cannot be distinguished from the best one, nor can another one of those picked.
	equal bool
}

// lessSure is by how much a line's standard error may exceed the best one's for the line to be put
// before it. Our choice.
const lessSure = 1.5

// mayReplace reports whether a line that is worth no more than the best may be put before it.
func (c candidate) mayReplace(best candidate) bool {
	return c.equal(best.tally) && c.StandardError <= lessSure*best.StandardError
}

// rank picks up to n different lines from candidates, best first in value. Of those that cannot be
// distinguished from the best, the one nearest to how the athlete plays is ranked first: the model
// is not sure enough to move anybody for less. But none is put before the best whose worth hangs
// more on how the lane lies: along the gutter nothing can be told from anything. Then come the
// equal lines by how near they are, then the rest by value.
func (s *search) rank(scored []candidate, n int) []ranked {
	if len(scored) == 0 {
		return nil
	}
	best := scored[0]
	distance := func(c candidate) float64 { return s.distance(c.aim) }
	first := slices.MinFunc(scored, func(a, b candidate) int {
		switch equalA, equalB := a.mayReplace(best), b.mayReplace(best); {
		case equalA && !equalB:
			return -1
		case equalB && !equalA:
			return 1
		case equalA:
			return cmp.Or(cmp.Compare(distance(a), distance(b)), byValue(a, b))
		}
		return byValue(a, b)
	})
	var picked []ranked
	for _, c := range append([]candidate{first}, scored...) {
		if len(picked) == n {
			break
		}
		if !slices.ContainsFunc(picked, func(p ranked) bool { return p.aim.near(c.aim) }) {
			behind, behindError := c.behind(best.tally)
			picked = append(picked, ranked{c, behind, behindError, c.equal(best.tally)})
		}
	}
	if !slices.ContainsFunc(picked[1:], func(p ranked) bool { return p.equal }) {
		picked[0].equal = false // nothing else in the list is as good
	}
	slices.SortStableFunc(picked[1:], func(a, b ranked) int {
		switch {
		case a.equal && !b.equal:
			return -1
		case b.equal && !a.equal:
			return 1
		case a.equal:
			return cmp.Compare(distance(a.candidate), distance(b.candidate))
		}
		return cmp.Compare(a.behind, b.behind)
	})
	return picked
}

// distance is how far an aim lies from where the athlete plays already, or else from how they play,
// in deviations.
func (s *search) distance(aim Aim) float64 {
	if from := s.request.Stay; from != nil {
		return math.Hypot(
			(aim.LaunchAngleDeg-from.LaunchAngleDeg)/leastDeviationDeg,
			(aim.arrowsBoard()-from.arrowsBoard())/leastDeviationBoards,
		)
	}
	habit := s.athlete.Habit
	if habit.Like == nil {
		return math.Abs(aim.LaunchAngleDeg-s.athlete.launchAngleDeg(s.ball)) / habit.LaunchWidthDeg
	}
	return math.Hypot(
		(aim.LaunchAngleDeg-habit.Like.LaunchAngleDeg.Median)/habit.Like.LaunchAngleDeg.Deviation,
		(aim.arrowsBoard()-habit.Like.ArrowsBoard.Median)/habit.Like.ArrowsBoard.Deviation,
	)
}
