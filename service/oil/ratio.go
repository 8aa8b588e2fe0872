package oil

import (
	"laneward/service/lane"
)

// Definition is one way to state a ratio of oil in the middle to oil outside. No federation text
// that gives the averaging rule could be found, so a ratio is worth nothing without its definition,
// and the two are kept together.
type Definition struct {
	Key    string `json:"key"`
	Text   string `json:"text"`
	Source string `json:"source"`
	Date   string `json:"date"`

	inside, outside func(board int) bool
}

// DefaultDefinition is the key of the definition used when none is asked for.
const DefaultDefinition = "inside-10"

var definitions = []Definition{
	{
		Key:  DefaultDefinition,
		Text: "mean film per board 10R to 10L over mean film per board from the gutter to board 9, both sides together",
		Source: "federation page on lane dressing: inside is about 10L-10R, outside is the gutter to about board 10 " +
			"(bowl.com/specs/systemBowling/laneDressing.aspx); which side board 10 itself belongs to is our reading",
		Date:    "2007",
		inside:  between(10, 30),
		outside: outermost(9),
	},
	{
		Key:     "board-20-over-10-and-out",
		Text:    "film on board 20 over mean film per board from the gutter to board 10, both sides together",
		Source:  "retailer's article, as relayed",
		Date:    "undated",
		inside:  between(20, 20),
		outside: outermost(10),
	},
	{
		Key:  "centre-over-outer-6",
		Text: "mean film per board 15 to 25 over mean film per board of the outer 6 boards, both sides together",
		Source: "Australian federation lane policy: centre against the outside 6 boards (totalbowling.com.au thread 3743); " +
			"boards 15 to 25 as the centre are our reading",
		Date:    "2004",
		inside:  between(15, 25),
		outside: outermost(6),
	},
	{
		Key:     "zone-18-over-3-to-7",
		Text:    "mean film per board 18R to 18L over mean film per board 3 to 7, both sides together",
		Source:  "zones of pattern sheets in the trade, from memory",
		Date:    "undated",
		inside:  between(18, 22),
		outside: func(board int) bool { b := fromEdge(board); return b >= 3 && b <= 7 },
	},
}

func between(first, last int) func(int) bool {
	return func(board int) bool { return board >= first && board <= last }
}

func outermost(boards int) func(int) bool {
	return func(board int) bool { return fromEdge(board) <= boards }
}

// fromEdge counts a board from the nearer gutter.
func fromEdge(board int) int { return min(board, lane.Boards+1-board) }

// Definitions lists the known definitions of the ratio, the default first.
func Definitions() []Definition { return append([]Definition(nil), definitions...) }

// Ratio is a ratio and what it was made of. Volumes are means per board over the rows it was taken
// from, in microlitres.
type Ratio struct {
	Definition Definition `json:"definition"`
	// Value is InsideUL over OutsideUL; 0 when OutsideDry, where no number can be given.
	Value      float64 `json:"value"`
	OutsideDry bool    `json:"outside_dry"`
	InsideUL   float64 `json:"inside_ul_per_board"`
	OutsideUL  float64 `json:"outside_ul_per_board"`
	// RightValue and LeftValue take only one side's outside; 0 where that side is dry.
	RightValue float64 `json:"right_value"`
	LeftValue  float64 `json:"left_value"`
	// FromFt and ToFt bound the rows.
	FromFt float64 `json:"from_ft"`
	ToFt   float64 `json:"to_ft"`
}

// Ratio takes the ratio over the whole length of the lane. That the sources mean the whole length,
// and not tapes, is our choice.
func (f *Film) Ratio(definition Definition) Ratio { return f.ratio(definition, 0, Rows) }

// TapeRatios takes the ratio on the foot that holds 8 ft, the middle of the film and 2 ft before
// its end: where tapes were drawn (from memory). A distance that the film does not reach is left
// out.
func (f *Film) TapeRatios(definition Definition) []Ratio {
	endFt := f.OiledFt(0)
	var ratios []Ratio
	for _, ft := range []float64{8, endFt / 2, endFt - 2} {
		if row := int(ft); ft >= 0 && ft < endFt {
			ratios = append(ratios, f.ratio(definition, row, row+1))
		}
	}
	return ratios
}

func (f *Film) ratio(definition Definition, fromRow, toRow int) Ratio {
	var inside, right, left mean
	for board := 1; board <= lane.Boards; board++ {
		volume := 0.0
		for _, amount := range f.UL[board-1][fromRow:toRow] {
			volume += amount
		}
		if definition.inside(board) {
			inside.add(volume)
		}
		if definition.outside(board) && board < lane.CentreBoard {
			right.add(volume)
		}
		if definition.outside(board) && board > lane.CentreBoard {
			left.add(volume)
		}
	}
	outside := mean{sum: right.sum + left.sum, n: right.n + left.n}
	return Ratio{
		Definition: definition, Value: inside.over(outside), OutsideDry: outside.sum == 0,
		InsideUL: inside.value(), OutsideUL: outside.value(),
		RightValue: inside.over(right), LeftValue: inside.over(left), FromFt: float64(fromRow), ToFt: float64(toRow),
	}
}

type mean struct {
	sum float64
	n   int
}

func (m *mean) add(v float64) { m.sum += v; m.n++ }

func (m mean) value() float64 {
	if m.n == 0 {
		return 0
	}
	return m.sum / float64(m.n)
}

func (m mean) over(other mean) float64 {
	if other.sum == 0 {
		return 0
	}
	return m.value() / other.value()
}

// Class is the class of a pattern by its ratio.
type Class string

// The classes. Unclassed is a ratio that the thresholds in use do not name.
const (
	Sport     Class = "sport"
	Challenge Class = "challenge"
	House     Class = "house"
	Unclassed Class = "unclassed"
)

// Thresholds are the ratios at which a pattern changes class; they drifted over the years, so date
// and source belong to them.
type Thresholds struct {
	Key string `json:"key"`
	// A ratio up to SportMax is sport, from HouseMin house, between them challenge where
	// NamesChallenge and else unclassed. HouseMin 0 means that the source names no house threshold.
	SportMax       float64 `json:"sport_max"`
	HouseMin       float64 `json:"house_min"`
	NamesChallenge bool    `json:"names_challenge"`
	Date           string  `json:"date"`
	Source         string  `json:"source"`
}

// DefaultThresholds is the key of the thresholds used when none are asked for.
const DefaultThresholds = "recent"

var thresholdSets = []Thresholds{
	{
		Key:            DefaultThresholds,
		SportMax:       4,
		HouseMin:       8,
		NamesChallenge: true,
		Date:           "recent, undated (read 2026-11)",
		Source:         "machine-written encyclopedia entry (grokipedia.com/page/sport_bowling): sport to 4:1, challenge 4:1 to 8:1, house from 8:1; not verified",
	},
	{
		Key:      "three-to-one",
		SportMax: 3,
		Date:     "before 2015",
		Source:   "federation's compliance spreadsheet titled 3:1 (bowl.com/Sport_Bowling/Sport_Bowling_Tools/Pattern_Calculations/)",
	},
	{
		Key:      "policy-2004",
		SportMax: 3,
		HouseMin: 4,
		Date:     "2004",
		Source:   "Australian federation lane policy: national tournaments about 2:1 to 3:1, house 4:1 to 10:1 (totalbowling.com.au thread 3743)",
	},
	{Key: "two-to-one", SportMax: 2, Date: "2000", Source: "from memory"},
}

// ThresholdSets lists the known thresholds, the default first.
func ThresholdSets() []Thresholds { return append([]Thresholds(nil), thresholdSets...) }

// Class names the class of a ratio. A film with a dry outside exceeds every ratio; a lane without
// oil is unclassed.
func (t Thresholds) Class(ratio Ratio) Class {
	switch {
	case ratio.InsideUL == 0 && ratio.OutsideUL == 0:
		return Unclassed
	case !ratio.OutsideDry && ratio.Value <= t.SportMax:
		return Sport
	case t.HouseMin > 0 && (ratio.OutsideDry || ratio.Value >= t.HouseMin):
		return House
	case t.NamesChallenge:
		return Challenge
	}
	return Unclassed
}
