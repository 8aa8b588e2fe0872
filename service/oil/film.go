// Package oil turns a pattern's load table into the oil film on the lane, measures that film, and
// wears it down shot by shot.
//
// Boards here are the lane's own: x counts from the right gutter, board 1 is the right edge whoever
// bowls. Distances are feet from the foul line. Amounts are microlitres; film thickness is in oil
// units.
package oil

import (
	"fmt"
	"math"

	"laneward/service/lane"
)

// Rows is the number of one-foot rows of a film: row j covers j to j+1 ft.
const Rows = 60

// The oil unit: 1 unit is 0.0167 mL of oil per square foot (from memory; a film of 0.18
// micrometres), which is 1.4809 microlitres on one board of one foot.
const (
	UnitMLPerSquareFoot = 0.0167
	UnitULPerBoardFoot  = UnitMLPerSquareFoot * 1000 * lane.BoardWidthIn / 12
)

// MaxCellUL and MaxVolumeUL are sanity limits of our own: no lane is dressed with a tenth of it.
// They catch a wrong unit.
const (
	MaxCellUL   = 1000.0
	MaxVolumeUL = 500000.0
)

// Film is the oil on a lane: UL[board-1][row] is what lies on one board of one foot, in
// microlitres.
type Film struct {
	Name string
	// LengthFt is the pattern's stated length; wear does not change it. [Film.OiledFt] is where the
	// film ends.
	LengthFt float64
	UL       [lane.Boards][Rows]float64
}

// UnitsAt reads the film at x boards from the right gutter and ft feet from the foul line, in oil
// units: bilinear between the cell centres (board b, foot j + 0.5), clamped at the edges.
func (f *Film) UnitsAt(x, ft float64) float64 {
	col, across := cell(x-1, lane.Boards)
	row, along := cell(ft-0.5, Rows)
	near, far := &f.UL[col], &f.UL[col+1]
	atNear := near[row] + along*(near[row+1]-near[row])
	atFar := far[row] + along*(far[row+1]-far[row])
	return (atNear + across*(atFar-atNear)) / UnitULPerBoardFoot
}

// cell splits a position on n equally spaced nodes into the interval's first node and the share of
// the way to the next, clamped.
func cell(position float64, n int) (first int, share float64) {
	if !(position > 0) { // also not a number
		return 0, 0
	}
	if position >= float64(n-1) {
		return n - 2, 1
	}
	first = int(position)
	return first, position - float64(first)
}

// Units returns cell [board-1][row] in oil units.
func (f *Film) Units(board, row int) float64 { return f.UL[board-1][row] / UnitULPerBoardFoot }

// VolumeUL is all oil on the lane in microlitres.
func (f *Film) VolumeUL() float64 {
	total := 0.0
	for _, volume := range f.BoardUL() {
		total += volume
	}
	return total
}

// BoardUL is the volume on each board in microlitres; index board-1.
func (f *Film) BoardUL() [lane.Boards]float64 {
	var volumes [lane.Boards]float64
	for b := range f.UL {
		for _, amount := range f.UL[b] {
			volumes[b] += amount
		}
	}
	return volumes
}

// FootUL is the volume on each foot of the lane in microlitres; index j is j to j+1 ft.
func (f *Film) FootUL() [Rows]float64 {
	var volumes [Rows]float64
	for b := range f.UL {
		for j, amount := range f.UL[b] {
			volumes[j] += amount
		}
	}
	return volumes
}

// OiledFt is the far end of the last foot on which some board carries at least minUnits oil units;
// 0 when none does.
func (f *Film) OiledFt(minUnits float64) float64 {
	for j := Rows - 1; j >= 0; j-- {
		for b := range f.UL {
			if amount := f.UL[b][j]; amount > 0 && amount/UnitULPerBoardFoot >= minUnits {
				return float64(j + 1)
			}
		}
	}
	return 0
}

// Mirror returns the film as a left-hander meets it: board b and board 40-b change places.
func (f *Film) Mirror() *Film {
	mirror := *f
	for b := range f.UL {
		mirror.UL[b] = f.UL[lane.Boards-1-b]
	}
	return &mirror
}

// spread lets each board keep half of its oil and give a quarter to either neighbour; what would
// leave the lane stays on its edge board, so that the volume is kept. The machine's tips lay a
// board each, and its buffer brush swings to and fro over about that width (common practice, no
// source).
func (f *Film) spread() {
	laid := f.UL
	const last = lane.Boards - 1
	for b := range f.UL {
		right, left := max(b-1, 0), min(b+1, last)
		for row := range f.UL[b] {
			f.UL[b][row] = laid[b][row]/2 + laid[right][row]/4 + laid[left][row]/4
		}
	}
}

// WithEdges returns the film as paths are to be planned on it: an edge board (1 or 39) that holds
// less than its neighbour is read as the neighbour. Load tables end a board short of the gutter for
// the machine's sake, and a ball does not turn back from a bare strip as from a wall. It holds more
// oil than was laid: volumes and ratios belong to the film itself.
func (f *Film) WithEdges() *Film {
	even := *f
	const last = lane.Boards - 1
	for row := range Rows {
		even.UL[0][row] = max(f.UL[0][row], f.UL[1][row])
		even.UL[last][row] = max(f.UL[last][row], f.UL[last-1][row])
	}
	return &even
}

// Validate returns [Faults] that name every cell which cannot be oil (not a number, negative, or
// over [MaxCellUL]), a length outside the lane, and a volume over [MaxVolumeUL]; nil when there is
// none. A fault's row is the board.
func (f *Film) Validate() error {
	var faults Faults
	if !(f.LengthFt >= 0 && f.LengthFt <= lane.LengthFt) {
		faults = append(
			faults,
			Fault{Column: "length_ft", Reason: fmt.Sprintf("%g ft is not on the lane: write 0 to 60", f.LengthFt)},
		)
	}
	for b := range f.UL {
		for j, amount := range f.UL[b] {
			if reason := cellFault(amount); reason != "" {
				faults = append(faults, Fault{Row: b + 1, Column: fmt.Sprintf("foot %d to %d", j, j+1), Reason: reason})
			}
		}
	}
	if volume := f.VolumeUL(); len(faults) == 0 && volume > MaxVolumeUL {
		faults = append(
			faults,
			Fault{Column: "film", Reason: fmt.Sprintf("%.0f mL is too much for a lane: check the unit", volume/1000)},
		)
	}
	return faults.orNil()
}

func cellFault(amountUL float64) string {
	switch {
	case math.IsNaN(amountUL) || math.IsInf(amountUL, 0):
		return "the oil is not a finite number"
	case amountUL < 0:
		return fmt.Sprintf("negative oil (%.4g microlitres)", amountUL)
	case amountUL > MaxCellUL:
		return fmt.Sprintf(
			"%.4g microlitres on one board of one foot is absurd (limit %g): check the unit",
			amountUL,
			MaxCellUL,
		)
	}
	return ""
}
