package line

import (
	"fmt"
	"testing"

	"laneward/service/lane"
	"laneward/service/oil"
)

// houseSheets are invented load tables of the kind that centres lay for the public, most of the oil
// in the middle and steps from board 8 to 12.
func houseSheets(lengthFt float64) (oiled, bare oil.Table) {
	load := func(direction oil.Direction, fromBoard, count int, startFt, endFt float64) oil.Load {
		return oil.Load{
			Direction: direction, FromBoard: fromBoard, ToBoard: 2*lane.CentreBoard - fromBoard,
			Count: count, ULPerBoard: 45, StartFt: startFt, EndFt: endFt,
		}
	}
	oiled = oil.Table{Name: "some oil outside all the way", Loads: []oil.Load{
		load(oil.Out, 2, 2, 0, lengthFt-4),
		load(oil.Out, 8, 2, 0, lengthFt-10),
		load(oil.Out, 10, 4, 0, lengthFt-5),
		load(oil.Out, 12, 2, 0, lengthFt-2),
		load(oil.Back, 11, 4, 4, lengthFt-3),
		load(oil.Back, 9, 2, 2, lengthFt-6),
		load(oil.Back, 2, 1, 0, lengthFt),
	}}
	bare = oil.Table{Name: "bare outside past the heads", Loads: []oil.Load{
		load(oil.Out, 2, 2, 0, 18),
		load(oil.Out, 11, 9, 0, lengthFt-4),
		load(oil.Back, 9, 6, 2, lengthFt),
	}}
	return oiled, bare
}

// leaguers are invented athletes as leagues have them.
func leaguers() []Athlete {
	leaguer := func(mph, rpm, rotation, tilt float64) Athlete {
		return Athlete{
			Side: lane.Right, SpeedMPH: mph, RevRPM: rpm, RotationDeg: rotation, TiltDeg: tilt,
			SlideOffsetBoards: 6, Scatter: AssumedScatter(),
		}
	}
	return []Athlete{leaguer(16.5, 320, 45, 12), leaguer(16, 260, 40, 10), leaguer(17, 350, 50, 12)}
}

// Would a coach stand there? On a fresh house pattern with some oil outside the target lies about the
// second arrow and the breakpoint near board 5 or 6; where nothing lies outside past the heads, the
// ball must stay in the oil longer, and both lie some boards farther inside (common practice, no
// source). What is called equal to the first line comes into the pocket as it does, and three shots in
// four at least take the head pin.
func TestHousePatterns(t *testing.T) {
	for _, lengthFt := range some([]float64{37, 41}, []float64{35, 37, 39, 41}) {
		oiled, bare := houseSheets(lengthFt)
		for _, sheet := range []struct {
			table                                          oil.Table
			firstTarget, lastTarget, firstBreak, lastBreak float64
		}{{oiled, 7.5, 15.5, 3.5, 10}, {bare, 11, 18, 5, 10}} {
			film, err := sheet.table.Film()
			if err != nil {
				t.Fatal(err)
			}
			for i, athlete := range leaguers() {
				where := fmt.Sprintf("%s, %g ft, athlete %d", sheet.table.Name, lengthFt, i)
				plan := find(t, freshLanes(film, athlete))
				if len(plan.Lines) == 0 {
					t.Fatalf("%s: %s", where, plan.Note)
				}
				first := plan.Lines[0]
				if target := first.TargetBoard; target < sheet.firstTarget || target > sheet.lastTarget {
					t.Errorf("%s: the target is board %.1f", where, target)
				}
				if board := first.Path.BreakpointBoard; board < sheet.firstBreak || board > sheet.lastBreak {
					t.Errorf("%s: the breakpoint is board %.1f", where, board)
				}
				if first.HeadPinShare > 0.25 || first.SplitShare > 0.2 || first.GutterShare > 0.1 {
					t.Errorf("%s: %+v", where, first.Value)
				}
				for _, line := range plan.Lines {
					if line.Equal && !DefaultPocket().holds(line.Path.Outcome) {
						t.Errorf("%s: line %d is equal and arrives at board %.1f", where, line.Rank, line.Path.PinBoard)
					}
				}
				t.Logf("%s: feet %.1f, target %.1f, breakpoint %.1f, head pin %.0f %%, split %.0f %%",
					where, first.FeetBoard, first.TargetBoard, first.Path.BreakpointBoard,
					100*first.HeadPinShare, 100*first.SplitShare)
			}
		}
	}
}
