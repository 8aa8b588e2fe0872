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
	off   float64 // how far from how the athlete plays, see [search.off]
}

// lessSure is by how much a line's standard error may exceed the best one's for the line to be put
// before it. Our choice.
const lessSure = 1.5

// rank picks up to n different lines from candidates, best first in value. Of those that cannot be
// distinguished from the best, the one closest to how the athlete plays is ranked first: the model
// is not sure enough to move anybody for less. But none is put before the best whose worth hangs
// more on how the lane lies: along the gutter nothing can be told from anything. Then come the
// equal lines by how close they are, then the rest by value.
func (s *search) rank(scored []candidate, n int) []ranked {
	if len(scored) == 0 {
		return nil
	}
	best := scored[0]
	all := make([]ranked, len(scored))
	for i, c := range scored {
		behind, behindError := c.behind(best.tally)
		all[i] = ranked{
			candidate: c, behind: behind, behindError: behindError, equal: behind < equalWithin(behindError),
			off: s.off(c.aim, behind, behindError),
		}
	}
	first := slices.MinFunc(all, func(a, b ranked) int {
		switch mayA, mayB := a.mayComeFirst(best), b.mayComeFirst(best); {
		case mayA && !mayB:
			return -1
		case mayB && !mayA:
			return 1
		case mayA:
			return cmp.Or(cmp.Compare(a.off, b.off), byValue(a.candidate, b.candidate))
		}
		return byValue(a.candidate, b.candidate)
	})
	var picked []ranked
	for _, c := range append([]ranked{first}, all...) {
		if len(picked) == n {
			break
		}
		if !slices.ContainsFunc(picked, func(p ranked) bool { return p.aim.near(c.aim) }) {
			picked = append(picked, c)
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
			return cmp.Compare(a.off, b.off)
		}
		return cmp.Compare(a.behind, b.behind)
	})
	return picked
}

// mayComeFirst reports whether a line that is worth no more than the best may be put before it.
func (r ranked) mayComeFirst(best candidate) bool {
	return r.equal && r.StandardError <= lessSure*best.StandardError
}

// off is how far an equal line lies from how the athlete plays, in deviations, where being worth less
// counts too: a line at the limit of what is equal is as far off as one deviation. Our choice: by the
// distance alone the first line is the last of many equal ones wherever the athlete's own launch
// angles lie beyond them, and it moves when one more or one less is equal. From where the athlete
// already stands nothing but the distance counts.
func (s *search) off(aim Aim, behind, behindError float64) float64 {
	if s.request.Stay != nil {
		return s.distance(aim)
	}
	return math.Hypot(s.distance(aim), behind/equalWithin(behindError))
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
