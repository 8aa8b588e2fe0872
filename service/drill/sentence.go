package drill

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/google/uuid"

	"laneward/service/lane"
)

// BallNames gives a squad's balls the names that sentences use. It may be nil: sentences then use
// the ids.
type BallNames map[uuid.UUID]string

// Sentence writes the rule as one English sentence, without a full stop; [Read] with the same names
// reads it back to an equal rule. The rule must be valid. A ball is written by its name in
// quotation marks, or by its id when it has no name of its own, or one that cannot be written
// between quotation marks.
func (r Rule) Sentence(names BallNames) string {
	switch r.Measure {
	case Ball:
		return ballSentence(r.Balls, names)
	case Leave:
		return leaveSentence(r.Leaves)
	case Split:
		return "Leave no split"
	case Move:
		return r.moveSentence()
	case Board:
		return "Keep the ball " + boardBounds(r.Min, r.Max) + " " + r.place()
	}
	q, _ := r.Measure.quantity()
	return "Keep the " + q.name + " " + bounds(r.Min, r.Max, q.unit)
}

// leaveSentence names the leaves, and a left-hander's where they differ.
func leaveSentence(leaves []lane.PinSet) string {
	named := func(leave lane.PinSet) string { return "the " + leave.String() }
	own, other := listOr(leaves, named), listOr(Rule{Leaves: leaves}.Mirror().Leaves, named)
	if own == other {
		return "Do not leave " + own
	}
	return "Do not leave " + own + " (left-handed: " + other + ")"
}

func (r Rule) place() string {
	switch {
	case r.AtFt != nil:
		return "at " + number(*r.AtFt) + " ft"
	case r.PastFt != nil:
		return "past " + number(*r.PastFt) + " ft"
	}
	switch r.At {
	case Laydown:
		return "at the foul line"
	case Entry:
		return "at the head pin"
	}
	return "at the " + string(r.At)
}

func boardBounds(low, high *float64) string {
	switch {
	case high == nil:
		return "at board " + number(*low) + " or inside"
	case low == nil:
		return "at board " + number(*high) + " or outside"
	case *low == *high:
		return "on board " + number(*low)
	}
	return "between boards " + number(*low) + " and " + number(*high)
}

func bounds(low, high *float64, unit string) string {
	switch {
	case high == nil:
		return "at " + number(*low) + " " + unit + " or more"
	case low == nil:
		return "at " + number(*high) + " " + unit + " or less"
	}
	return "between " + number(*low) + " and " + number(*high) + " " + unit
}

// moveSentence writes a change: "Move at least 2 boards inside at the foul line from the shot
// before", "Change the speed by no more than 0.5 mph up from the shot before", and "within" where
// the change may go as far either way.
func (r Rule) moveSentence() string {
	const against = " from the shot before"
	inBoards := r.Of == Board
	q, _ := r.Of.quantity()
	if r.Min != nil && r.Max != nil && *r.Min == -*r.Max {
		what := "Keep the " + q.name
		where := ""
		if inBoards {
			what, where = "Stay", " "+r.place()
		}
		return what + " within " + amount(*r.Max, q.unit) + " of the shot before" + where
	}
	if inBoards {
		return "Move " + moveBounds(r.Min, r.Max, q.unit, "inside", "outside") + " " + r.place() + against
	}
	return "Change the " + q.name + " by " + moveBounds(r.Min, r.Max, q.unit, "up", "down") + against
}

// moveBounds writes bounds on a signed change as amounts with a direction each.
func moveBounds(low, high *float64, unit, up, down string) string {
	directed := func(change float64) string {
		if change < 0 {
			return amount(-change, unit) + " " + down
		}
		return amount(change, unit) + " " + up
	}
	switch {
	case high == nil && *low >= 0:
		return "at least " + directed(*low)
	case high == nil:
		return "no more than " + directed(*low)
	case low == nil && *high >= 0:
		return "no more than " + directed(*high)
	case low == nil:
		return "at least " + directed(*high)
	case *low == *high:
		return directed(*low)
	case *low >= 0:
		return "between " + number(*low) + " and " + directed(*high)
	case *high < 0:
		return "between " + number(-*high) + " and " + directed(*low)
	}
	return "between " + directed(*low) + " and " + directed(*high)
}

func amount(value float64, unit string) string {
	if value == 1 {
		unit = strings.TrimSuffix(unit, "s") // 1 board, 1 degree
	}
	return number(value) + " " + unit
}

// number writes a number with the decimals it has and no more.
func number(value float64) string {
	if value == 0 {
		value = 0 // a negative zero is written without its sign
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}

func ballSentence(balls []uuid.UUID, names BallNames) string {
	owners := names.owners()
	written := listOr(balls, func(ball uuid.UUID) string {
		name := names[ball]
		if quotable(name) && len(owners[foldName(name)]) == 1 {
			return `"` + name + `"`
		}
		return ball.String()
	})
	if len(balls) == 1 {
		return "Use the ball " + written
	}
	return "Use one of the balls " + written
}

// owners lists the balls by folded name, so that a name two balls share is seen.
func (n BallNames) owners() map[string][]uuid.UUID {
	owners := make(map[string][]uuid.UUID, len(n))
	for ball, name := range n {
		key := foldName(name)
		owners[key] = append(owners[key], ball)
	}
	return owners
}

// foldName is a name without regard to case and to the number of spaces.
func foldName(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), " ")) }

// maxNameLength keeps a sentence readable; a longer name gives way to the id.
const maxNameLength = 60

// quotable reports whether a name can be written between quotation marks and read back.
func quotable(name string) bool {
	if foldName(name) == "" || len(name) > maxNameLength {
		return false
	}
	if _, isID := asID(foldName(name)); isID {
		return false
	}
	for _, r := range name {
		if isQuote(r) || !unicode.IsPrint(r) {
			return false
		}
	}
	return true
}

func isQuote(r rune) bool { return r == '"' || r == '“' || r == '”' || r == '„' }

// listOr joins items as "a", "a or b", "a, b or c".
func listOr[T any](items []T, write func(T) string) string {
	var b strings.Builder
	for i, item := range items {
		switch {
		case i == 0:
		case i == len(items)-1:
			b.WriteString(" or ")
		default:
			b.WriteString(", ")
		}
		b.WriteString(write(item))
	}
	return b.String()
}

// Examples are sentences that [Read] reads, one of each kind, for a person who needs to see how a
// rule is written.
func Examples() []string {
	at := func(v float64) *float64 { return &v }
	rules := []Rule{
		{Measure: Board, At: Breakpoint, Min: at(10)},
		{Measure: Board, At: Arrows, Min: at(8), Max: at(12)},
		{Measure: Board, AtFt: at(38), Max: at(12)},
		{Measure: Board, PastFt: at(40), Min: at(10)},
		{Measure: BreakpointDistance, Min: at(43), Max: at(46)},
		{Measure: Speed, Min: at(17)},
		{Measure: LaunchAngle, Max: at(1.5)},
		{Measure: Leave, Leaves: []lane.PinSet{1<<6 | 1<<9, 1 << 9}},
		{Measure: Split},
		{Measure: Move, Of: Board, At: Laydown, Min: at(2)},
		{Measure: Move, Of: Speed, Min: at(-0.5), Max: at(0.5)},
	}
	sentences := make([]string, 0, len(rules)+1)
	for _, r := range rules {
		sentences = append(sentences, r.Sentence(nil))
	}
	return append(
		sentences,
		`Use the ball "Name of the ball"`,
		"Keep the ball on board 15 at the arrows and on board 8 at the breakpoint",
		"Keep the ball at board 10 or inside, at least 20 of 30",
	)
}

// nearest returns the three examples that share the most words with a text in plain form, the
// earlier ones where they share as many.
func nearest(text string) []string {
	written := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(` ,;:"`, r) })
	shared := func(example string) (n int) {
		for _, word := range strings.Fields(plain(example)) {
			if slices.Contains(written, word) && !commonWords[word] {
				n++
			}
		}
		return n
	}
	examples := Examples()
	slices.SortStableFunc(examples, func(a, b string) int { return cmp.Compare(shared(b), shared(a)) })
	return examples[:3]
}

// commonWords stand in rules of every kind, and tell none from another.
var commonWords = map[string]bool{
	"keep": true, "the": true, "ball": true, "at": true, "or": true, "and": true, "board": true, "boards": true,
	"of": true, "10": true, "on": true, "it": true,
}
