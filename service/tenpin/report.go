package tenpin

import (
	"fmt"
	"strings"

	"laneward/service/lane"
	"laneward/service/trend"
)

// LeaveTable counts what was left in all, and by the shots that kept a drill and those that broke
// it; a shot that could not be judged is in the first alone.
type LeaveTable struct {
	All, Kept, Broken Tally
}

// Add counts what a first ball at a full rack left, turned to a right-hander's side. kept is nil
// where nothing was judged.
func (t *LeaveTable) Add(standing lane.PinSet, kept *bool) {
	t.All.Add(standing)
	switch {
	case kept == nil:
	case *kept:
		t.Kept.Add(standing)
	default:
		t.Broken.Add(standing)
	}
}

// leastMargin is how many shots both margins of a table of two by two must have before odds are
// told (common practice, no source).
const leastMargin = 5

// LeaveReport is a table of leaves as the contract's JSON has it.
type LeaveReport struct {
	Reading string       `json:"reading"`
	Shots   int          `json:"shots"`
	Strikes int          `json:"strikes"`
	Hits    LeaveReading `json:"hits"`
	// Bits is how much one leave says of where the ball hit, WatchedBits how much the entry board
	// does, read by eye and by a sensor.
	Bits        float64     `json:"bits"`
	WatchedBits WatchedBits `json:"watched_bits"`
	Kept        *int        `json:"kept,omitempty"`   // shots judged kept; absent without a drill
	Broken      *int        `json:"broken,omitempty"` // shots judged broken
	Groups      []GroupRow  `json:"groups"`
}

// WatchedBits is how much a reading of the entry board says.
type WatchedBits struct {
	Eye    float64 `json:"eye"`
	Sensor float64 `json:"sensor"`
}

// GroupRow is how often one group of leaves was left.
type GroupRow struct {
	Group  Group  `json:"group"`
	Label  string `json:"label"`
	Shots  int    `json:"shots"`
	Kept   *int   `json:"kept,omitempty"`
	Broken *int   `json:"broken,omitempty"`
	// Odds is how many times higher the odds of such a leave are where the drill was broken; absent
	// while there are too few shots.
	Odds *trend.OddsRatio `json:"odds,omitempty"`
}

// Label is the group as a table names it, with examples for a right-hander.
func (g Group) Label() string {
	switch g {
	case GroupCorner:
		return "corner pin: 10, 7, 8"
	case GroupLight:
		return "light: 5, 2-8"
	case GroupHigh:
		return "high: 4, 6-10"
	case GroupSplit:
		return "split"
	case GroupHeadOutside:
		return "head pin, passed outside: 1-2-10"
	case GroupHeadInside:
		return "head pin, passed inside: 1-3-6"
	}
	return "other"
}

// eyeSE and sensorSE are the errors of a read entry board, boards, for what watching is compared by.
const eyeSE, sensorSE = 0.7, 0.2

// Report writes the table. judged is whether the shots were judged by a drill.
func (w LeaveWeights) Report(t LeaveTable, judged bool) LeaveReport {
	report := LeaveReport{
		Shots:       t.All.Shots(),
		Strikes:     t.All.Strikes,
		Hits:        w.Read(t.All),
		Bits:        w.Bits(),
		WatchedBits: WatchedBits{w.WatchedBits(eyeSE), w.WatchedBits(sensorSE)},
	}
	kept, broken := t.Kept.Shots(), t.Broken.Shots()
	if judged {
		report.Kept, report.Broken = &kept, &broken
	}
	for _, group := range Groups() {
		row := GroupRow{Group: group, Label: group.Label(), Shots: t.All.Leaves[group]}
		if judged {
			k, b := t.Kept.Leaves[group], t.Broken.Leaves[group]
			row.Kept, row.Broken = &k, &b
			if min(kept, broken, k+b, kept+broken-k-b) >= leastMargin {
				odds := trend.Odds(b, broken, k, kept, trend.Z95)
				row.Odds = &odds
			}
		}
		report.Groups = append(report.Groups, row)
	}
	report.Reading = w.words(t.All, report)
	return report
}

// words says what the leaves say, and how little.
func (w LeaveWeights) words(t Tally, report LeaveReport) string {
	if report.Shots == 0 {
		return "No shots have their pins recorded."
	}
	said := fmt.Sprintf("%d strikes and %d leaves.", t.Strikes, t.Left())
	switch hits := report.Hits; {
	case hits.Hits == HitsLight:
		said += fmt.Sprintf(" They say light: %s likelier if the ball hits a board outside of flush.", times(hits.Light))
	case hits.Hits == HitsHigh:
		said += fmt.Sprintf(" They say high: %s likelier if the ball hits a board inside of flush.", times(hits.High))
	case hits.Hits == HitsFlush:
		said += " They say flush: neither light nor high."
	case t.Left() < w.doubt.Least:
		said += fmt.Sprintf(" Too few to say light or high: that takes %d leaves.", w.doubt.Least)
	default:
		said += " They do not say whether the ball hits light or high."
	}
	return said + sided(report.Groups) + fmt.Sprintf(" One leave says %.1f bits of where the ball hit; watching it says %.1f by eye.",
		report.Bits, report.WatchedBits.Eye)
}

// times writes how many times, which is told only so far.
func times(ratio float64) string {
	if ratio > 0.999*mostTimes {
		return "more than 1,000 times"
	}
	return fmt.Sprintf("%.0f times", ratio)
}

// sided names the groups that are left more often, and less often, when the drill is broken.
func sided(rows []GroupRow) (said string) {
	var more, less []string
	for _, row := range rows {
		name, _, _ := strings.Cut(row.Label, ":")
		switch {
		case row.Odds == nil || row.Odds.Contains(1):
		case row.Odds.Ratio > 1:
			more = append(more, name)
		default:
			less = append(less, name)
		}
	}
	if len(more) > 0 {
		said += fmt.Sprintf(" Left more often when the drill is broken: %s.", strings.Join(more, "; "))
	}
	if len(less) > 0 {
		said += fmt.Sprintf(" Left less often: %s.", strings.Join(less, "; "))
	}
	return said
}
