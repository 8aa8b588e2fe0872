package advice

import (
	"fmt"
	"math"

	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/picture"
	"laneward/service/record"
	"laneward/service/shot"
)

// JudgedShot is one shot of an athlete and what the drill says of it.
type JudgedShot struct {
	Shot      *record.Shot
	Judgement drill.ShotJudgement
}

// DrawDrill draws the judged shots over what the drill's board rule allows, without words.
func DrawDrill(record *record.Drill, side lane.Side, judged []JudgedShot) picture.Lane {
	drawn := picture.Lane{Side: side}
	at := boardRule(record.Rules)
	if at >= 0 {
		drawn.Corridors = []picture.Corridor{corridorOf(record.Rules[at], record.Sentences[at], judged)}
	}
	for _, one := range judged {
		if mark, ok := markOf(one, record.Rules, at); ok {
			drawn.Shots = append(drawn.Shots, mark)
		}
	}
	return drawn
}

// boardRule is the index of the first rule on a board, -1 when there is none.
func boardRule(rules []drill.Rule) int {
	for i, rule := range rules {
		if rule.Measure == drill.Board {
			return i
		}
	}
	return -1
}

// corridorOf is what a board rule allows. A rule at the breakpoint holds over the distances at
// which the shots had theirs.
func corridorOf(rule drill.Rule, sentence string, judged []JudgedShot) picture.Corridor {
	low, high := rule.Edges()
	fromFt, toFt := reachOf(rule, judged)
	return picture.Corridor{
		FromBoard: math.Max(
			low,
			lane.MinBoard,
		),
		ToBoard:  math.Min(high, lane.MaxBoard),
		FromFt:   fromFt,
		ToFt:     toFt,
		Sentence: sentence,
	}
}

// The distances a breakpoint mostly lies at; used where no shot says (common practice, no source).
const (
	usualBreakpointFromFt = 36.0
	usualBreakpointToFt   = 46.0
)

func reachOf(rule drill.Rule, judged []JudgedShot) (fromFt, toFt float64) {
	if rule.PastFt != nil {
		return *rule.PastFt, lane.LengthFt
	}
	if rule.At != drill.Breakpoint {
		ft := placeFt(rule, nil)
		return ft, ft
	}
	fromFt, toFt = math.Inf(1), math.Inf(-1)
	for _, one := range judged {
		if ft := one.Shot.BreakpointFt; ft != nil {
			fromFt, toFt = math.Min(fromFt, *ft), math.Max(toFt, *ft)
		}
	}
	if math.IsInf(fromFt, 1) {
		return usualBreakpointFromFt, usualBreakpointToFt
	}
	return fromFt, toFt
}

// placeFt is how far down the lane a board rule looks at a shot.
func placeFt(rule drill.Rule, s *shot.Shot) float64 {
	switch {
	case rule.AtFt != nil:
		return *rule.AtFt
	case rule.PastFt != nil:
		return *rule.PastFt
	case rule.At == drill.Laydown:
		return 0
	case rule.At == drill.Arrows:
		return lane.ArrowsFt
	case rule.At == drill.Entry:
		return lane.LengthFt
	case s != nil && s.BreakpointFt != nil:
		return *s.BreakpointFt
	}
	return (usualBreakpointFromFt + usualBreakpointToFt) / 2
}

// markOf places a judged shot; ok is false when there is no board to place it at.
func markOf(one JudgedShot, rules []drill.Rule, at int) (mark picture.Mark, ok bool) {
	rule, verdict := drill.Rule{At: drill.Breakpoint}, one.Judgement.Verdict
	board := one.Shot.BreakpointBoard
	if at >= 0 {
		// The corridor is that rule's, so the mark says what became of it, whatever the drill's
		// other rules say.
		rule, verdict, board = rules[at], one.Judgement.Rules[at].Verdict, nil
		if judged := one.Judgement.Rules[at]; judged.Basis != "" {
			board = &judged.Value
		}
	}
	if board == nil {
		return mark, false
	}
	mark = picture.Mark{Board: *board, Ft: placeFt(rule, &one.Shot.Shot), Verdict: picture.Verdict(verdict)}
	mark.Label = fmt.Sprintf("shot %d: board %.4g, %s", one.Shot.Order, *board, verdict)
	return mark, true
}
