package drill

import (
	"fmt"
	"math"
	"strings"

	"laneward/service/lane"
)

// The limits of a drill.
const (
	MaxRules     = 20
	MaxReps      = 10_000
	MaxSet       = 50 // balls or leaves of one rule
	MinPassShare = 0.05
	MaxDecimals  = 3 // of a bound or a distance
)

// Fault is one thing wrong with a rule or drill: a JSON pointer to it, and what to do about it.
type Fault struct {
	Pointer string
	Detail  string
}

// Faults is every fault found, never empty when it is an error.
type Faults []Fault

// Error writes the faults in one line.
func (f Faults) Error() string {
	parts := make([]string, len(f))
	for i, fault := range f {
		parts[i] = fault.Pointer + ": " + fault.Detail
	}
	return strings.Join(parts, "; ")
}

func (f *Faults) add(pointer, format string, args ...any) {
	*f = append(*f, Fault{pointer, fmt.Sprintf(format, args...)})
}

func (f Faults) orNil() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

// Validate returns nil, or a [Faults] with everything that is wrong, pointers from the rule's root.
func (r Rule) Validate() error { return r.faults("").orNil() }

// Validate returns nil, or a [Faults] with everything that is wrong, pointers from the drill's
// root.
func (d Drill) Validate() error {
	var f Faults
	if len(d.Rules) < 1 || len(d.Rules) > MaxRules {
		f.add("/rules", "a drill has 1 to %d rules, not %d", MaxRules, len(d.Rules))
	}
	if d.Reps < 1 || d.Reps > MaxReps {
		f.add("/reps", "ask for 1 to %d shots, not %d", MaxReps, d.Reps)
	}
	if !(d.PassShare >= MinPassShare && d.PassShare <= 1) {
		f.add(
			"/pass_share",
			"the share to keep lies between %v and 1, such as 0.8 for 80 %%, not %v",
			MinPassShare,
			d.PassShare,
		)
	}
	for i, r := range d.Rules {
		pointer := fmt.Sprintf("/rules/%d", i)
		own := r.faults(pointer)
		f = append(f, own...)
		if len(own) > 0 {
			continue
		}
		for j, earlier := range d.Rules[:i] {
			if r.clashes(earlier) {
				f.add(pointer, "no shot can keep this rule and rule %d: change or drop one of them", j+1)
			}
		}
	}
	return f.orNil()
}

// clashes reports whether two rules bound the same number and have at most an edge in common.
func (r Rule) clashes(other Rule) bool {
	if _, numeric := r.subject().
		quantity(); !numeric || r.Measure != other.Measure || r.Of != other.Of ||
		r.At != other.At {
		return false
	}
	if !sameNumber(r.AtFt, other.AtFt) || !sameNumber(r.PastFt, other.PastFt) {
		return false
	}
	low, high := r.Edges()
	otherLow, otherHigh := other.Edges()
	return math.Max(low, otherLow) >= math.Min(high, otherHigh)
}

func sameNumber(a, b *float64) bool {
	return (a == nil) == (b == nil) && (a == nil || *a == *b)
}

func (r Rule) faults(root string) Faults {
	var f Faults
	if r.Measure == Move {
		if _, ok := r.Of.quantity(); !ok || r.Of == BreakpointDistance {
			f.add(
				root+"/of",
				"say what moves: board, launch_angle, entry_angle, speed, rev_rate, rotation or tilt, not %q",
				r.Of,
			)
			return f
		}
	} else if r.Of != "" {
		f.add(root+"/of", "only a move has it: leave it out")
	}
	q, numeric := r.subject().quantity()
	switch {
	case numeric:
		r.boundFaults(&f, root, q)
	case r.Measure == Ball || r.Measure == Leave || r.Measure == Split:
		if r.Min != nil || r.Max != nil {
			f.add(root, "a %s has no bounds: leave min and max out", r.Measure)
		}
	default:
		f.add(
			root+"/measure",
			"%q is not a measure: write board, breakpoint_distance, launch_angle, entry_angle, speed, rev_rate, rotation, tilt, "+
				"ball, leave, split or move",
			r.Measure,
		)
		return f
	}
	r.placeFaults(&f, root)
	r.setFaults(&f, root)
	return f
}

func (r Rule) boundFaults(f *Faults, root string, q quantity) {
	low, high := q.low, q.high
	if r.Measure == Move {
		low, high = q.low-q.high, q.high-q.low
	}
	if r.Min == nil && r.Max == nil {
		f.add(root, "give min, max or both: without a bound there is nothing to keep")
		return
	}
	sound := true
	check := func(name string, bound *float64) {
		if bound == nil {
			return
		}
		fault := ""
		switch {
		case r.Measure == Board && !lane.OnLane(*bound):
			fault = fmt.Sprintf("there is no board %v: boards run from 1 to %d, and the lane's edges are %v and %v",
				*bound, lane.Boards, lane.MinBoard, lane.MaxBoard)
		case !(*bound >= low && *bound <= high):
			fault = fmt.Sprintf("write a number from %s to %s %s, not %v", number(low), number(high), q.unit, *bound)
		case !fewDecimals(*bound):
			fault = fmt.Sprintf("write at most %d decimals, not %v", MaxDecimals, *bound)
		default:
			return
		}
		sound = false
		f.add(root+name, "%s", fault)
	}
	check("/min", r.Min)
	check("/max", r.Max)
	if r.Min == nil || r.Max == nil || !sound {
		return
	}
	lowEdge, highEdge := r.Edges()
	switch {
	case *r.Min > *r.Max:
		f.add(root+"/min", "min %s is above max %s: swap them", number(*r.Min), number(*r.Max))
	case lowEdge >= highEdge:
		f.add(root+"/min", "min and max are both %s: leave some room between them", number(*r.Min))
	}
}

func (r Rule) placeFaults(f *Faults, root string) {
	distances := []struct {
		name string
		ft   *float64
	}{{"/at_ft", r.AtFt}, {"/past_ft", r.PastFt}}
	places := 0
	if r.At != "" {
		places++
	}
	for _, d := range distances {
		if d.ft != nil {
			places++
		}
	}
	if r.subject() != Board {
		if r.At != "" {
			f.add(root+"/at", "only a board has a place: leave it out")
		}
		for _, d := range distances {
			if d.ft != nil {
				f.add(root+d.name, "only a board has a distance: leave it out")
			}
		}
		return
	}
	switch r.At {
	case "", Laydown, Arrows, Breakpoint, Entry:
	default:
		f.add(root+"/at", "%q is not a place: write breakpoint, arrows, laydown or entry", r.At)
	}
	switch {
	case places == 0:
		f.add(root+"/at", "say where: breakpoint, arrows, laydown or entry here, or a distance in at_ft or past_ft")
	case places > 1:
		f.add(root+"/at", "give one of at, at_ft and past_ft")
	}
	if r.Measure == Move && r.PastFt != nil {
		f.add(root+"/past_ft", "a move is measured at one place: write at or at_ft")
	}
	for _, d := range distances {
		switch {
		case d.ft == nil:
		case !(*d.ft >= 0 && *d.ft <= lane.LengthFt):
			f.add(root+d.name, "write a distance from 0 to %v ft, not %v", lane.LengthFt, *d.ft)
		case !fewDecimals(*d.ft):
			f.add(root+d.name, "write at most %d decimals, not %v", MaxDecimals, *d.ft)
		}
	}
}

func (r Rule) setFaults(f *Faults, root string) {
	checkSize := func(measure Measure, name string, size int) {
		switch {
		case r.Measure != measure && size > 0:
			f.add(root+name, "only the measure %s has it: leave it out", measure)
		case r.Measure == measure && (size < 1 || size > MaxSet):
			f.add(root+name, "name 1 to %d, not %d", MaxSet, size)
		}
	}
	checkSize(Ball, "/balls", len(r.Balls))
	checkSize(Leave, "/leaves", len(r.Leaves))
	for i, ball := range r.Balls {
		for _, earlier := range r.Balls[:i] {
			if ball == earlier {
				f.add(fmt.Sprintf("%s/balls/%d", root, i), "ball %s is named twice: drop one", ball)
				break
			}
		}
	}
	for i, leave := range r.Leaves {
		pointer := fmt.Sprintf("%s/leaves/%d", root, i)
		if leave == 0 || leave > lane.FullRack {
			f.add(pointer, "name the standing pins, 1 to 10: a strike is not a leave")
			continue
		}
		for _, earlier := range r.Leaves[:i] {
			if leave == earlier {
				f.add(pointer, "the leave %s is named twice: drop one", leave)
				break
			}
		}
	}
}

// fewDecimals reports whether value is written exactly with at most MaxDecimals decimals.
func fewDecimals(value float64) bool {
	const scale = 1000
	return math.Round(value*scale)/scale == value
}
