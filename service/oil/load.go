package oil

import (
	"fmt"
	"math"

	"laneward/service/lane"
)

// Direction is the way the dressing machine travels while it lays a load.
type Direction string

// The two directions: out from the foul line to the pins, back from the pins to the foul line.
const (
	Out  Direction = "out"
	Back Direction = "back"
)

// Sanity limits of our own for one load table; they catch a slipped decimal point, not an unusual
// pattern.
const (
	MaxLoads       = 200
	MaxCount       = 50
	MaxULPerBoard  = 500.0
	MaxTableVolume = 100000.0 // microlitres, several times a heavy pattern
)

// Load is one line of a load table: Count passes of the oil head over the boards FromBoard to
// ToBoard (both included, counted from the right gutter), ULPerBoard microlitres on each board in
// each pass, spread evenly from StartFt to EndFt. A load out ends beyond its start. A load back may
// name the ends in the order of travel or the nearer one first: the film is the same.
type Load struct {
	Direction  Direction `json:"direction"`
	FromBoard  int       `json:"from_board"`
	ToBoard    int       `json:"to_board"`
	Count      int       `json:"count"`
	ULPerBoard float64   `json:"ul_per_board"`
	StartFt    float64   `json:"start_ft"`
	EndFt      float64   `json:"end_ft"`
}

// BoardsCrossed is how many boards one pass covers.
func (l Load) BoardsCrossed() int { return l.ToBoard - l.FromBoard + 1 }

// VolumeUL is what the load lays in all, in microlitres.
func (l Load) VolumeUL() float64 { return float64(l.Count) * float64(l.BoardsCrossed()) * l.ULPerBoard }

// span is the stretch of lane the load covers, nearer end first.
func (l Load) span() (fromFt, toFt float64) { return min(l.StartFt, l.EndFt), max(l.StartFt, l.EndFt) }

// Table is a pattern's load table, in the order in which the machine lays it.
type Table struct {
	Name  string `json:"name"`
	Loads []Load `json:"loads"`
}

// VolumeUL is what the table lays in all, in microlitres.
func (t Table) VolumeUL() float64 {
	total := 0.0
	for _, load := range t.Loads {
		total += load.VolumeUL()
	}
	return total
}

// LengthFt is the pattern's length: the far end of the farthest load that lays oil.
func (t Table) LengthFt() float64 {
	length := 0.0
	for _, load := range t.Loads {
		if _, toFt := load.span(); load.VolumeUL() > 0 {
			length = max(length, toFt)
		}
	}
	return length
}

// Validate returns [Faults] with every fault of every row, or nil. Row 1 is the first load.
func (t Table) Validate() error {
	var faults Faults
	switch {
	case len(t.Loads) == 0:
		faults = append(faults, Fault{Column: "loads", Reason: "the table is empty: give at least one load"})
	case len(t.Loads) > MaxLoads:
		faults = append(
			faults,
			Fault{Column: "loads", Reason: fmt.Sprintf("%d loads are absurd (limit %d)", len(t.Loads), MaxLoads)},
		)
	}
	for i, load := range t.Loads {
		faults = append(faults, load.faults(i+1)...)
	}
	if len(faults) > 0 {
		return faults
	}
	switch volume := t.VolumeUL(); {
	case volume == 0:
		faults = append(
			faults,
			Fault{Column: "loads", Reason: "no load lays any oil: give a count and microlitres per board"},
		)
	case volume > MaxTableVolume:
		reason := fmt.Sprintf(
			"%.1f mL on one lane is absurd (limit %g mL): check the microlitres per board",
			volume/1000,
			MaxTableVolume/1000,
		)
		faults = append(faults, Fault{Column: "loads", Reason: reason})
	}
	return faults.orNil()
}

func (l Load) faults(row int) Faults {
	var faults Faults
	add := func(wrong bool, column, format string, values ...any) {
		if wrong {
			faults = append(faults, Fault{Row: row, Column: column, Reason: fmt.Sprintf(format, values...)})
		}
	}
	outside := func(board int) bool { return board < 1 || board > lane.Boards }
	add(l.Direction != Out && l.Direction != Back, "direction", "%q is unknown: write out or back", l.Direction)
	add(outside(l.FromBoard), "from_board", "there is no board %d: boards are 1 to %d", l.FromBoard, lane.Boards)
	add(outside(l.ToBoard), "to_board", "there is no board %d: boards are 1 to %d", l.ToBoard, lane.Boards)
	add(
		l.ToBoard < l.FromBoard,
		"to_board",
		"board %d lies before from_board %d: boards count from the right gutter, the smaller first",
		l.ToBoard,
		l.FromBoard,
	)
	add(l.Count < 0, "count", "%d passes cannot be: write 0 or more", l.Count)
	add(l.Count > MaxCount, "count", "%d passes are absurd (limit %d)", l.Count, MaxCount)
	add(!finite(l.ULPerBoard), "ul_per_board", "not a finite number")
	add(l.ULPerBoard < 0, "ul_per_board", "negative oil (%g microlitres)", l.ULPerBoard)
	add(
		l.ULPerBoard > MaxULPerBoard,
		"ul_per_board",
		"%g microlitres on a board in one pass is absurd (limit %g)",
		l.ULPerBoard,
		MaxULPerBoard,
	)
	offLane := func(ft float64) bool { return !(ft >= 0 && ft <= lane.LengthFt) }
	add(offLane(l.StartFt), "start_ft", "%g ft is not on the lane: write 0 to %g", l.StartFt, lane.LengthFt)
	add(offLane(l.EndFt), "end_ft", "%g ft is not on the lane: write 0 to %g", l.EndFt, lane.LengthFt)
	add(
		l.Direction != Back && l.EndFt < l.StartFt,
		"end_ft",
		"the load ends at %g ft, before its start at %g ft",
		l.EndFt,
		l.StartFt,
	)
	add(l.EndFt == l.StartFt, "end_ft", "the load starts and ends at %g ft: it has no length to lay oil on", l.EndFt)
	return faults
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Film lays the table's loads and returns the film, spread sideways as oil is by the buffer brush
// (see [Film.spread]). Each row of the film gets the share of a load that its foot covers of the
// load's length, so all oil of the table is on the film. The error is that of [Table.Validate].
func (t Table) Film() (*Film, error) {
	if err := t.Validate(); err != nil {
		return nil, err
	}
	film := &Film{Name: t.Name, LengthFt: t.LengthFt()}
	for _, load := range t.Loads {
		fromFt, toFt := load.span()
		perFootUL := float64(load.Count) * load.ULPerBoard / (toFt - fromFt)
		for j := int(fromFt); j < Rows && float64(j) < toFt; j++ {
			covered := min(toFt, float64(j+1)) - max(fromFt, float64(j))
			for board := load.FromBoard; board <= load.ToBoard; board++ {
				film.UL[board-1][j] += perFootUL * covered
			}
		}
	}
	film.spread()
	return film, nil
}
