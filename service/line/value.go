package line

import (
	"math"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/tenpin"
)

// scorer runs one athlete's deliveries over the prepared lanes of a request.
type scorer struct {
	athlete Athlete
	ball    motion.Ball
	pocket  Pocket
	// reach is the window that a line's typical delivery has to come into: the pocket, or its
	// boards at a smaller angle where nothing that can be played enters steeply enough.
	reach  Pocket
	arrows lane.Arrows
	worths *tenpin.Worths
	// What the lane is taken to be, for the typical delivery: the request's own film.
	table   *motion.Table
	surface motion.Surface
	lanes   []preparedLane
}

// preparedLane is what a lane may be, and what the athlete's release may be there.
type preparedLane struct {
	table    *motion.Table
	athlete  Athlete
	weight   float64
	pinShift func(breakpointBoard float64) float64 // nil for none
}

// run is what becomes of a delivery on the lane.
func (on *preparedLane) run(ball motion.Ball, release motion.Release) motion.Outcome {
	outcome := on.table.Run(ball, release)
	if on.pinShift != nil && outcome.Reaches() {
		outcome.PinBoard += on.pinShift(outcome.BreakpointBoard)
	}
	return outcome
}

func newScorer(request Request) (*scorer, error) {
	friction := request.Friction.OnSurface(request.Ball)
	film := request.Film.WithEdges()
	table, err := motion.NewTable(film, friction, request.Athlete.Side)
	if err != nil {
		return nil, err
	}
	s := &scorer{
		athlete: request.Athlete, ball: request.Ball, arrows: request.Arrows,
		pocket: request.Pocket, reach: request.Pocket,
		worths: tenpin.NewWorths(*request.Carry, *request.Spares), table: table,
		surface: motion.FilmSurface(film, friction, request.Athlete.Side),
	}
	s.lanes, err = s.prepareLanes(request)
	return s, err
}

// typical is the typical delivery along an aim, on the lane as the request has it.
func (s *scorer) typical(aim Aim) motion.Outcome { return s.table.Run(s.ball, s.athlete.release(aim)) }

// Value is what a line is worth: the mean over the athlete's scatter and over what the lane may be.
// Shares are of all deliveries, and sum to 1 at most.
type Value struct {
	// Pins is the expected pins a frame, StandardError that of Pins.
	Pins          float64 `json:"pins"`
	StandardError float64 `json:"standard_error"`
	PocketShare   float64 `json:"pocket_share"`
	StrikeShare   float64 `json:"strike_share"`
	SplitShare    float64 `json:"split_share"`
	// HeadPinShare is the share after which the head pin is still standing, the ball having reached
	// the pins.
	HeadPinShare float64 `json:"head_pin_share"`
	GutterShare  float64 `json:"gutter_share"`
	Shots        int     `json:"scored_shots"` // deliveries drawn
}

// asGiven is the share of the misses that come into the pocket on the lane as the request has it.
func (s *scorer) asGiven(aim Aim, misses []miss) float64 {
	grown, release := s.athlete.Habit.growth(aim.LaunchAngleDeg), s.athlete.release(aim)
	kept := 0
	for _, one := range misses {
		if s.pocket.holds(s.table.Run(s.ball, one.scaled(grown).apply(release))) {
			kept++
		}
	}
	return float64(kept) / float64(len(misses))
}

// tally is the value of a line and what its standard error follows from: the means of pins by
// block, each of the weight beside it. The blocks of all lines hold the same deliveries on the same
// lanes.
type tally struct {
	Value
	blocks []block // those of the first lane first
	lanes  int
}

type block struct{ pins, weight float64 }

// score runs the misses along an aim. Each lane takes every so many pairs of opposite misses, so
// that all of them together are one even sample.
func (s *scorer) score(aim Aim, misses []miss) tally {
	var sum tally
	grown := s.athlete.Habit.growth(aim.LaunchAngleDeg)
	blocks := make([]block, 0, len(misses)/2)
	for l := range s.lanes {
		on := &s.lanes[l]
		release := on.athlete.release(aim)
		pairs := len(misses) / 2 / len(s.lanes)
		share := on.weight / float64(2*pairs)
		for k := range pairs {
			pins := 0.0
			for _, one := range misses[2*(k*len(s.lanes)+l):][:2] {
				outcome := on.run(s.ball, one.scaled(grown).apply(release))
				pins += s.add(&sum.Value, outcome, share)
			}
			blocks = append(blocks, block{pins / 2, on.weight / float64(pairs)})
		}
	}
	sum.blocks = blocks
	sum.lanes = len(s.lanes)
	sum.StandardError = standardError(blocks, sum.lanes)
	return sum
}

// add counts one delivery with its weight, and returns its pins.
func (s *scorer) add(v *Value, outcome motion.Outcome, share float64) float64 {
	v.Shots++
	worth := tenpin.Gutter()
	if outcome.Reaches() {
		worth = s.worths.At(tenpin.Arrival{Board: outcome.PinBoard, EntryAngleDeg: outcome.EntryAngleDeg})
		v.HeadPinShare += share * worth.HeadPin
	} else {
		v.GutterShare += share
	}
	if s.pocket.holds(outcome) {
		v.PocketShare += share
	}
	v.Pins += share * worth.Pins
	v.StrikeShare += share * worth.Strike
	v.SplitShare += share * worth.Split
	return worth.Pins
}

// standardError is that of the weighted mean of blocks. Where lanes are drawn, two opposite ones are
// one draw, and its error is that of so few draws of what the lane may be: how the deliveries on
// them scatter is a part of it. With a lane or two, which are given and not drawn, it is that of the
// deliveries alone.
func standardError(blocks []block, lanes int) float64 {
	each := len(blocks) / lanes
	if lanes <= 2 {
		variance := 0.0
		for l := range lanes {
			variance += meanVariance(blocks[l*each : (l+1)*each])
		}
		return math.Sqrt(variance)
	}
	draws := make([]block, (lanes+1)/2)
	for i, b := range blocks {
		draw := &draws[i/(2*each)]
		draw.pins += b.weight * b.pins
		draw.weight += b.weight
	}
	for i := range draws {
		draws[i].pins /= draws[i].weight
	}
	return math.Sqrt(meanVariance(draws))
}

// meanVariance is the variance of what independent blocks add to a weighted mean.
func meanVariance(blocks []block) float64 {
	n := float64(len(blocks))
	mean, weight, squares := 0.0, 0.0, 0.0
	for _, b := range blocks {
		mean += b.weight * b.pins
		weight += b.weight
	}
	mean /= weight
	for _, b := range blocks {
		squares += square(b.weight * (b.pins - mean))
	}
	return squares * n / max(n-1, 1)
}

// behind is how many pins a frame t is worth less than other, and the standard error of that
// difference: smaller than those of the two, for both threw the same deliveries.
func (t tally) behind(other tally) (pins, standardErr float64) {
	differences := make([]block, len(t.blocks))
	for i := range t.blocks {
		differences[i] = block{other.blocks[i].pins - t.blocks[i].pins, t.blocks[i].weight}
	}
	return other.Pins - t.Pins, standardError(differences, t.lanes)
}

// equalPins is the difference under which two lines are equal, whatever its standard error: the
// motion law and the carry are fits, and say no more. Our choice.
const equalPins = 0.15

// equalWithin is the difference under which two lines are equal, given its standard error.
func equalWithin(standardErr float64) float64 { return max(2*standardErr, equalPins) }

// equal reports whether t cannot be distinguished from other, which is worth more.
func (t tally) equal(other tally) bool {
	pins, standardErr := t.behind(other)
	return pins < equalWithin(standardErr)
}
