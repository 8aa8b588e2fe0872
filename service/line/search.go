package line

import (
	"cmp"
	"context"
	"math"
	"slices"

	"laneward/service/lane"
	"laneward/service/motion"
)

// Where a line may be played. Common practice, no source: the approach carries a foot up to about
// board 38, and a target outside board 3 (the outermost dot's) cannot be aimed at.
const (
	lastFeetBoard = 38.0
	firstTarget   = 3.0
	lastTarget    = 37.0
	firstLaydown  = 3.0
	lastLaydown   = 37.0
	firstAngleDeg = -2.0
	lastAngleDeg  = 8.0
	angleStepDeg  = 0.125
	coarseLaydown = 1.0
	fineLaydown   = 0.5
	refineDraws   = 768
	finalDraws    = 1536
	refineWithin  = 0.6 // pins a frame behind the best: what the coarse draws may be wrong by, and more
	finalWithin   = 0.3
	sameAngleDeg  = 0.25
)

// search looks for one request's lines.
type search struct {
	*scorer
	request  Request
	progress func(Progress)
	// What the coarse search saw, for the note of a plan without lines.
	reached  int
	steepest float64
	back     []cameBack
}

// cameBack is an aim whose typical delivery comes back to the pocket's boards or farther, and the
// outermost board it visits.
type cameBack struct {
	aim        Aim
	breakpoint float64
}

// playable reports whether the athlete can stand where an aim asks, see its target, and comes into
// the pocket, or where that is asked for flat on its boards, with the typical delivery.
func (s *search) playable(aim Aim) bool {
	feet, target := aim.LaydownBoard+s.athlete.SlideOffsetBoards, aim.arrowsBoard()
	return feet >= lane.MinBoard && feet <= lastFeetBoard && target >= firstTarget && target <= lastTarget &&
		lane.OnLane(aim.LaydownBoard) && s.reach.holds(s.typical(aim))
}

// arrowsBoard is where an aim crosses 15 ft, were it straight; it has hardly begun to turn there.
func (a Aim) arrowsBoard() float64 {
	return a.LaydownBoard - lane.ArrowsFt*lane.BoardsPerFoot(a.LaunchAngleDeg)
}

// parts are the places in the pocket, as shares of its width, that a typical delivery is aimed at.
var (
	coarseParts = []float64{0.5}
	fineParts   = []float64{0.25, 0.5, 0.75}
)

// aims returns the playable aims from these laydowns: for each, the launch angles that bring the
// typical delivery to some parts of the pocket's boards.
func (s *search) aims(ctx context.Context, laydowns, parts []float64) ([]Aim, error) {
	angles := steps(firstAngleDeg, angleStepDeg, int((lastAngleDeg-firstAngleDeg)/angleStepDeg)+1)
	found, outcomes := make([][]Aim, len(laydowns)), make([][]motion.Outcome, len(laydowns))
	err := spread(ctx, len(laydowns), func(i int) {
		row := make([]motion.Outcome, len(angles))
		for j, angleDeg := range angles {
			row[j] = s.typical(Aim{laydowns[i], angleDeg})
			for _, part := range parts {
				if j == 0 {
					continue
				}
				board := s.pocket.BoardLow + part*(s.pocket.BoardHigh-s.pocket.BoardLow)
				if aim, ok := s.reaching(board, laydowns[i], angles[j-1], angleDeg, row[j-1], row[j]); ok {
					found[i] = append(found[i], aim)
				}
			}
		}
		outcomes[i] = row
	}, nil)
	if err != nil {
		return nil, err
	}
	for i, row := range outcomes {
		for j, o := range row {
			if !o.Reaches() {
				continue
			}
			s.reached++
			s.steepest = max(s.steepest, o.EntryAngleDeg)
			if o.PinBoard >= s.pocket.BoardLow {
				s.back = append(s.back, cameBack{Aim{laydowns[i], angles[j]}, o.BreakpointBoard})
			}
		}
	}
	return slices.DeleteFunc(slices.Concat(found...), func(aim Aim) bool { return !s.playable(aim) }), nil
}

// reaching finds the angle between two at which the typical delivery arrives at a board.
func (s *search) reaching(target, laydown, lowDeg, highDeg float64, low, high motion.Outcome) (Aim, bool) {
	if !low.Reaches() || !high.Reaches() || (low.PinBoard < target) == (high.PinBoard < target) {
		return Aim{}, false
	}
	for range 8 {
		middleDeg := (lowDeg + highDeg) / 2
		o := s.typical(Aim{laydown, middleDeg})
		if (o.PinBoard < target) == (low.PinBoard < target) {
			lowDeg = middleDeg
		} else {
			highDeg = middleDeg
		}
	}
	return Aim{laydown, (lowDeg + highDeg) / 2}, true
}

// candidate is a playable aim and its value.
type candidate struct {
	aim Aim
	tally
}

// score scores the aims by n draws of the scatter, best first.
func (s *search) candidates(ctx context.Context, stage string, aims []Aim, n int) ([]candidate, error) {
	misses := s.athlete.Scatter.draws(s.request.evenDraws(n))
	scored := make([]candidate, len(aims))
	err := spread(ctx, len(aims), func(i int) {
		scored[i] = candidate{aims[i], s.score(aims[i], misses)}
	}, func(finished int) {
		if finished%16 == 0 || finished == len(aims) {
			s.progress(Progress{Stage: stage, Done: finished, Total: len(aims)})
		}
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(scored, byValue)
	return scored, nil
}

func byValue(a, b candidate) int {
	return cmp.Or(
		cmp.Compare(b.Pins, a.Pins),
		cmp.Compare(a.aim.LaydownBoard, b.aim.LaydownBoard),
		cmp.Compare(a.aim.LaunchAngleDeg, b.aim.LaunchAngleDeg),
	)
}

// notFarBehind keeps the aims that are worth at most this many pins less than the best.
func notFarBehind(scored []candidate, pins float64) []candidate {
	n := 0
	for n < len(scored) && scored[n].Pins >= scored[0].Pins-pins {
		n++
	}
	return scored[:n]
}

// laydownsOf returns the fine laydowns about the given aims.
func laydownsOf(of []candidate) []float64 {
	var laydowns []float64
	for _, c := range of {
		for _, move := range []float64{-fineLaydown, 0, fineLaydown} {
			if at := math.Round((c.aim.LaydownBoard+move)*2) / 2; lane.OnLane(at) {
				laydowns = append(laydowns, at)
			}
		}
	}
	slices.Sort(laydowns)
	return slices.Compact(laydowns)
}

// settle keeps one aim of those that lie within a quarter of a degree from the same feet: the one
// whose typical delivery arrives nearest to the middle of the pocket, unless another is known to be
// better. What is left is sorted by value.
func (s *search) settle(scored []candidate) []candidate {
	offCentre := func(c candidate) float64 {
		return math.Abs(s.typical(c.aim).PinBoard - (s.pocket.BoardLow+s.pocket.BoardHigh)/2)
	}
	var kept []candidate
	for _, c := range scored { // the best first
		same := slices.IndexFunc(kept, func(k candidate) bool {
			return k.aim.LaydownBoard == c.aim.LaydownBoard &&
				math.Abs(k.aim.LaunchAngleDeg-c.aim.LaunchAngleDeg) < sameAngleDeg
		})
		switch {
		case same < 0:
			kept = append(kept, c)
		case c.equal(kept[same].tally) && offCentre(c) < offCentre(kept[same]):
			kept[same] = c
		}
	}
	slices.SortStableFunc(kept, byValue)
	return kept
}
