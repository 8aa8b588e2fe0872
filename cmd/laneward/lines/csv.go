package lines

import (
	"strconv"
	"strings"

	"laneward/service/advice"
	"laneward/service/line"
)

// column is one column of a CSV, and how it is written of a row; "" for what there is not.
type column[Row any] struct {
	name string
	text func(row Row) string
}

// lineColumns are of a line; those of a carried line have its value and where it ends alone.
var lineColumns = []column[advice.PlannedLine]{
	{"rank", func(l advice.PlannedLine) string { return strconv.Itoa(l.Rank) }},
	{"equal", func(l advice.PlannedLine) string { return strconv.FormatBool(l.Equal) }},
	{"feet_board", func(l advice.PlannedLine) string { return number(l.FeetBoard) }},
	{"target_board", func(l advice.PlannedLine) string { return number(l.TargetBoard) }},
	{"target_ft", func(l advice.PlannedLine) string { return number(l.TargetFt) }},
	{"laydown_board", func(l advice.PlannedLine) string { return number(l.LaydownBoard) }},
	{"launch_angle_deg", func(l advice.PlannedLine) string { return number(l.LaunchAngleDeg) }},
	{"breakpoint_board", func(l advice.PlannedLine) string { return breakpointNumber(l, board) }},
	{"breakpoint_ft", func(l advice.PlannedLine) string { return breakpointNumber(l, feet) }},
	{"pin_board", func(l advice.PlannedLine) string { return atPins(l.Path.Reaches(), l.Path.PinBoard) }},
	{"entry_angle_deg", func(l advice.PlannedLine) string { return atPins(l.Path.Reaches(), l.Path.EntryAngleDeg) }},
	{"pins", func(l advice.PlannedLine) string { return number(l.Pins) }},
	{"standard_error", func(l advice.PlannedLine) string { return number(l.StandardError) }},
	{"pocket_share", func(l advice.PlannedLine) string { return number(l.PocketShare) }},
	{"strike_share", func(l advice.PlannedLine) string { return number(l.StrikeShare) }},
	{"split_share", func(l advice.PlannedLine) string { return number(l.SplitShare) }},
	{"head_pin_share", func(l advice.PlannedLine) string { return number(l.HeadPinShare) }},
	{"gutter_share", func(l advice.PlannedLine) string { return number(l.GutterShare) }},
	{"room_outside_boards", func(l advice.PlannedLine) string { return number(l.RoomOutsideBoards) }},
	{"room_inside_boards", func(l advice.PlannedLine) string { return number(l.RoomInsideBoards) }},
	{"drill", func(l advice.PlannedLine) string { return drillColumn(l, sentence) }},
	{"kept_share", func(l advice.PlannedLine) string { return drillColumn(l, keptShare) }},
}

func board(b line.Breakpoint) float64 { return b.Board }

func feet(b line.Breakpoint) float64 { return b.Ft }

func breakpointNumber(l advice.PlannedLine, of func(line.Breakpoint) float64) string {
	if l.Breakpoint == nil {
		return ""
	}
	return number(of(*l.Breakpoint))
}

func sentence(d advice.SuggestedDrill) string { return d.Sentences[0] }

func keptShare(d advice.SuggestedDrill) string { return number(d.KeptShare) }

func drillColumn(l advice.PlannedLine, of func(advice.SuggestedDrill) string) string {
	if l.Drill == nil {
		return ""
	}
	return of(*l.Drill)
}

// aimCell is one aim of a miss map and what becomes of it.
type aimCell struct {
	line.Aim
	line.Cell
}

func (c aimCell) reaches() bool { return c.Hit != line.HitGutter && c.Hit != line.HitShort }

var cellColumns = []column[aimCell]{
	{"laydown_board", func(c aimCell) string { return number(c.LaydownBoard) }},
	{"launch_angle_deg", func(c aimCell) string { return number(c.LaunchAngleDeg) }},
	{"hit", func(c aimCell) string { return string(c.Hit) }},
	{"pin_board", func(c aimCell) string { return atPins(c.reaches(), c.PinBoard) }},
	{"entry_angle_deg", func(c aimCell) string { return atPins(c.reaches(), c.EntryAngleDeg) }},
	{"pins", func(c aimCell) string { return number(c.Pins) }},
	{"pocket_share", func(c aimCell) string { return number(c.PocketShare) }},
	{"gutter_share", func(c aimCell) string { return number(c.GutterShare) }},
}

// number writes a number with nine significant digits: more than the model's own arithmetic is
// worth.
func number(v float64) string { return strconv.FormatFloat(v, 'g', 9, 64) }

// atPins writes what is measured at the pins, "" of a ball that does not reach them.
func atPins(reaches bool, v float64) string {
	if !reaches {
		return ""
	}
	return number(v)
}

func names[Row any](columns []column[Row]) []string {
	list := make([]string, len(columns))
	for i, one := range columns {
		list[i] = one.name
	}
	return list
}

func cells[Row any](columns []column[Row], row Row) []string {
	list := make([]string, len(columns))
	for i, one := range columns {
		list[i] = one.text(row)
	}
	return list
}

func planRows(plan *advice.Plan) [][]string {
	rows := [][]string{names(lineColumns)}
	for _, one := range plan.Lines {
		rows = append(rows, cells(lineColumns, one))
	}
	return rows
}

func studyRows(s *advice.Study) [][]string {
	return [][]string{names(lineColumns), cells(lineColumns, advice.PlannedLine{Line: s.Line, Drill: s.Drill})}
}

// comparisonRows has the lines of each side, and last on each side the other's first line as it
// runs there.
func comparisonRows(both *advice.Comparison) [][]string {
	rows := [][]string{append([]string{"on", "line_of"}, names(lineColumns)...)}
	sides := sidesOf(both)
	for i, side := range sides {
		for _, one := range side.plan.Lines {
			rows = append(rows, append([]string{side.name, side.name}, cells(lineColumns, one)...))
		}
		if side.carried != nil {
			from := sides[1-i].plan.Lines[0].Aim
			rows = append(rows, append([]string{side.name, side.other}, carriedCells(from, *side.carried)...))
		}
	}
	return rows
}

// carriedCells are those of a line that was carried over: nothing else of it is computed.
func carriedCells(aim line.Aim, c line.Carried) []string {
	one := advice.PlannedLine{Line: line.Line{Aim: aim, Value: c.Value}}
	one.Path.PinBoard, one.Path.EntryAngleDeg = c.PinBoard, c.EntryAngleDeg
	one.Path.Gutter, one.Path.Short = c.Hit == line.HitGutter, c.Hit == line.HitShort
	row := cells(lineColumns, one)
	for i, column := range lineColumns {
		switch column.name {
		case "rank", "equal", "feet_board", "target_board", "target_ft", "room_outside_boards", "room_inside_boards":
			row[i] = ""
		}
	}
	return row
}

func missMapRows(m *advice.MissMap) [][]string {
	rows := [][]string{names(cellColumns)}
	for i, laydown := range m.Grid.LaydownBoards {
		for j, angleDeg := range m.Grid.LaunchAnglesDeg {
			aim := line.Aim{LaydownBoard: laydown, LaunchAngleDeg: angleDeg}
			rows = append(rows, cells(cellColumns, aimCell{aim, m.Cells[i][j]}))
		}
	}
	return rows
}

// LineColumns and CellColumns are the columns of the CSVs, for the help of commands.
var (
	LineColumns = strings.Join(names(lineColumns), ", ")
	CellColumns = strings.Join(names(cellColumns), ", ")
)
