// Package drill holds what a coach asks of an athlete's shots: rules, their wording, the judgement
// of each shot, and the adherence of a log of shots to a drill.
//
// Boards are counted as the athlete counts them, 1 at their own strong-side gutter, so nothing here
// depends on the athlete's side. "Inside" is toward the larger board, "outside" toward the smaller.
// Board N is the strip from N-0.5 to N+0.5: a whole-number bound includes its whole strip ("board
// 10 or inside" is a position of 9.5 or more), a decimal bound is that exact position, and a
// whole-board reading means the centre of its strip.
package drill

import (
	"math"

	"github.com/google/uuid"

	"laneward/service/lane"
)

// Measure is what a rule looks at.
type Measure string

// The measures. Board takes a place, Ball and Leave take a set, Split takes nothing, Move takes the
// measure that moved; the rest take bounds only.
const (
	Board              Measure = "board"               // boards, at a place or a distance
	LaunchAngle        Measure = "launch_angle"        // degrees, positive toward the strong-side gutter
	EntryAngle         Measure = "entry_angle"         // degrees, positive toward the inside
	Speed              Measure = "speed"               // mph at launch
	RevRate            Measure = "rev_rate"            // rpm
	Rotation           Measure = "rotation"            // degrees of axis rotation
	Tilt               Measure = "tilt"                // degrees of axis tilt
	BreakpointDistance Measure = "breakpoint_distance" // feet from the foul line to where the path is outermost
	Ball               Measure = "ball"                // the ball thrown is one of Balls
	Leave              Measure = "leave"               // the pins left are none of Leaves
	Split              Measure = "split"               // the pins left are not a split by the rule book
	Move               Measure = "move"                // change of the measure Of against the shot before; boards count positive toward the inside
)

// Place is a named spot of the ball's path.
type Place string

// The named places: the foul line (0 ft), the arrows (15 ft), where the path is outermost, and the
// head pin (60 ft).
const (
	Laydown    Place = "laydown"
	Arrows     Place = "arrows"
	Breakpoint Place = "breakpoint"
	Entry      Place = "entry"
)

// Rule is one condition of a drill. In JSON it is flat, and what does not belong to its measure is
// left out:
//
//	{"measure":"board","at":"breakpoint","min":10}
//	{"measure":"board","at_ft":38.5,"min":8,"max":12}
//	{"measure":"board","past_ft":40,"min":10}
//	{"measure":"breakpoint_distance","min":43,"max":46}
//	{"measure":"speed","min":16.5,"max":18}
//	{"measure":"ball","balls":["01890a5d-ac96-774b-bcce-b302099a8057"]}
//	{"measure":"leave","leaves":[[7,10],[10]]}
//	{"measure":"move","of":"board","at":"laydown","min":2,"max":3}
//
// Board takes exactly one of At, AtFt and PastFt, Move of Board one of the first two. Numeric
// measures take Min, Max or both, in the measure's unit. Leaves are those of a right-hander, as
// boards are the athlete's own: for a left-hander they mean their mirror image; see [Drill.For].
type Rule struct {
	Measure Measure       `json:"measure"`
	Of      Measure       `json:"of,omitempty"`
	At      Place         `json:"at,omitempty"`
	AtFt    *float64      `json:"at_ft,omitempty"`   // feet from the foul line, 0 to 60
	PastFt  *float64      `json:"past_ft,omitempty"` // the whole path from there to the pins
	Min     *float64      `json:"min,omitempty"`
	Max     *float64      `json:"max,omitempty"`
	Balls   []uuid.UUID   `json:"balls,omitempty"`
	Leaves  []lane.PinSet `json:"leaves,omitempty"`
}

// Drill is a set of rules that all have to be kept, how many shots are asked for, and the share of
// them that should be kept.
type Drill struct {
	Rules     []Rule  `json:"rules"`
	Reps      int     `json:"reps"`
	PassShare float64 `json:"pass_share"` // 0.8 is 80 %
}

// quantity describes a numeric measure: its unit in words, the range a bound may lie in, and its
// name in a sentence.
type quantity struct {
	unit      string
	low, high float64
	name      string
}

// quantity returns the description of a numeric measure; ok is false for ball, leave, split, move
// and what is not a measure. The ranges only catch typing mistakes (common practice, no source).
func (m Measure) quantity() (q quantity, ok bool) {
	switch m {
	case Board:
		return quantity{"boards", lane.MinBoard, lane.MaxBoard, "board"}, true
	case LaunchAngle:
		return quantity{"degrees", -15, 15, "launch angle"}, true
	case EntryAngle:
		return quantity{"degrees", -15, 15, "entry angle"}, true
	case Speed:
		return quantity{"mph", 1, 40, "speed"}, true
	case RevRate:
		return quantity{"rpm", 0, 1000, "rev rate"}, true
	case Rotation:
		return quantity{"degrees", -180, 180, "axis rotation"}, true
	case Tilt:
		return quantity{"degrees", -90, 90, "axis tilt"}, true
	case BreakpointDistance:
		return quantity{"ft", 0, lane.LengthFt, "breakpoint"}, true
	}
	return quantity{}, false
}

// Unit returns the unit of the rule's bounds and margins: boards, degrees, mph or rpm; "" for ball
// and leave.
func (r Rule) Unit() string {
	q, _ := r.subject().quantity()
	return q.unit
}

// subject is the measure the bounds are in: what moved, for a move.
func (r Rule) subject() Measure {
	if r.Measure == Move {
		return r.Of
	}
	return r.Measure
}

// Edges returns the range a value has to lie in, ends included, infinite where the rule is open. In
// boards a whole-number bound is the far edge of its strip, half a board beyond the number; every
// other bound is exact.
func (r Rule) Edges() (low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	inBoards := r.subject() == Board
	if r.Min != nil {
		low = *r.Min
		if inBoards && low == math.Trunc(low) {
			low -= 0.5
		}
	}
	if r.Max != nil {
		high = *r.Max
		if inBoards && high == math.Trunc(high) {
			high += 0.5
		}
	}
	return low, high
}

// Mirror returns the rule for an athlete of the other side: the leaves change to their mirror
// image, and all else stays, because boards and angles are counted from the athlete's own side
// already.
func (r Rule) Mirror() Rule {
	if r.Leaves == nil {
		return r
	}
	mirrored := make([]lane.PinSet, len(r.Leaves))
	for i, leave := range r.Leaves {
		mirrored[i] = leave.Mirror()
	}
	r.Leaves = mirrored
	return r
}

// For returns the drill as it is judged for an athlete of this side, by the real pins on the deck.
func (d Drill) For(side lane.Side) Drill {
	if side != lane.Left {
		return d
	}
	rules := make([]Rule, len(d.Rules))
	for i, rule := range d.Rules {
		rules[i] = rule.Mirror()
	}
	d.Rules = rules
	return d
}
