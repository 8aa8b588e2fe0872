package line

import (
	"math"
	"slices"

	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/shot"
)

// Usual is what an athlete's stored shots show of one number: the median and the deviation.
type Usual struct {
	Median    float64 `json:"median"`
	Deviation float64 `json:"deviation"`
}

// Habit is how an athlete plays, as their stored shots show it. The zero value means
// [AssumedHabit].
type Habit struct {
	// LaunchAngleDeg and LaunchWidthDeg are the middle and the half width of the launch angles that
	// the athlete's scatter is known for.
	LaunchAngleDeg float64 `json:"launch_angle_deg"`
	LaunchWidthDeg float64 `json:"launch_width_deg"`
	// Like is how the athlete plays patterns of about this length; nil when no shot on one is
	// stored.
	Like  *Played `json:"like,omitempty"`
	Shots int     `json:"shots"` // stored shots with a launch angle
}

// Played is where an athlete plays: launch angle and the board at the arrows (15 ft).
type Played struct {
	LaunchAngleDeg Usual `json:"launch_angle_deg"`
	ArrowsBoard    Usual `json:"arrows_board"`
	Shots          int   `json:"shots"`
}

// AssumedHabit is launch angles of 1.2 degrees, give or take 1: common practice, no source.
func AssumedHabit() Habit { return Habit{LaunchAngleDeg: 1.2, LaunchWidthDeg: 1} }

// habitWeight is how many shots the assumed habit counts for. Our choice.
const habitWeight = 10

// Deviations under these come from how few targets were tried, not from how set an athlete is.
const (
	leastWidthDeg        = 0.5
	leastDeviationDeg    = 0.25
	leastDeviationBoards = 1.0
)

// EstimateHabit estimates how an athlete plays from stored shots; like reports whether a shot was
// on a pattern of about the length that is to be played. Few shots leave the launch angles near
// [AssumedHabit].
func EstimateHabit(shots []shot.Shot, like func(*shot.Shot) bool) Habit {
	var angles, likeAngles, likeBoards readings
	for i := range shots {
		s := &shots[i]
		if s.LaunchAngleDeg == nil {
			continue
		}
		angles.take(drill.LaunchAngle, s, *s.LaunchAngleDeg)
		if s.ArrowsBoard != nil && like(s) {
			likeAngles.take(drill.LaunchAngle, s, *s.LaunchAngleDeg)
			likeBoards.take(drill.Board, s, *s.ArrowsBoard)
		}
	}
	habit := AssumedHabit()
	if n := float64(len(angles.values)); n > 0 {
		own := angles.usual(0)
		habit.Shots = len(angles.values)
		habit.LaunchAngleDeg = (habitWeight*habit.LaunchAngleDeg + n*own.Median) / (habitWeight + n)
		width := max(2*own.Deviation, leastWidthDeg)
		habit.LaunchWidthDeg = (habitWeight*habit.LaunchWidthDeg + n*width) / (habitWeight + n)
	}
	if n := len(likeAngles.values); n > 0 {
		habit.Like = &Played{
			LaunchAngleDeg: likeAngles.usual(leastDeviationDeg),
			ArrowsBoard:    likeBoards.usual(leastDeviationBoards),
			Shots:          n,
		}
	}
	return habit
}

// readings are what shots show of one number, and the sum of the squares of their errors.
type readings struct {
	values []float64
	errors float64
}

func (r *readings) take(measure drill.Measure, s *shot.Shot, value float64) {
	r.values = append(r.values, value)
	r.errors += square(drill.StandardError(measure, s))
}

// usual is the median, and 1.4826 times the median distance from it (a normal deviation) with the
// errors of the readings taken out, at least so much.
func (r *readings) usual(least float64) Usual {
	middle := median(r.values)
	distances := make([]float64, len(r.values))
	for i, value := range r.values {
		distances[i] = math.Abs(value - middle)
	}
	seen := square(1.4826 * median(distances))
	return Usual{middle, max(math.Sqrt(max(seen-r.errors/float64(len(r.values)), 0)), least)}
}

func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// growthPerDeg is by how much scatter grows a degree beyond the launch angles that it is known for:
// an athlete who never turns the feet so far misses by more when doing so. Common practice, no
// source.
const growthPerDeg = 0.6

// growth is the factor of the scatter at a launch angle.
func (h Habit) growth(angleDeg float64) float64 {
	return 1 + growthPerDeg*max(0, math.Abs(angleDeg-h.LaunchAngleDeg)-h.LaunchWidthDeg)
}

// finishedEntryDeg is the entry angle that is left to a ball that has finished turning, of which
// the rest of the turn is the launch angle. Our choice: an athlete of 17.2 mph, 330 rpm, rotation
// 50 and tilt 12 degrees launches at 1.2 degrees with it.
const finishedEntryDeg = 5.2

// launchAngleDeg is the launch angle to be expected of an athlete of whom no shot on a pattern like
// this one is stored. How much a ball turns in all follows from its release, whatever the oil; who
// turns it more sends it farther out, and one who throws it faster plays straighter. It stays
// within the angles that the athlete's scatter is known for.
func (a Athlete) launchAngleDeg(ball motion.Ball) float64 {
	expected := ball.TurnDeg(a.release(Aim{LaydownBoard: lane.CentreBoard})) - finishedEntryDeg
	from, width := a.Habit.LaunchAngleDeg, a.Habit.LaunchWidthDeg
	return min(max(expected, from-width), from+width)
}
