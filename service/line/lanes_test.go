package line

import (
	"testing"

	"laneward/service/lane"
	"laneward/service/oil"
)

func TestBareEdgesAreReadAsTheirNeighbours(t *testing.T) {
	film := &oil.Film{LengthFt: 40}
	for b := 1; b < lane.Boards-1; b++ {
		film.UL[b][10], film.UL[b][20], film.UL[b][30] = 8, 8, 8
	}
	film.UL[0][20], film.UL[lane.Boards-1][20] = 2, 6
	read := withoutBareEdges(film)
	for _, c := range []struct {
		board, row int
		want       float64
	}{{0, 10, 8}, {0, 20, 8}, {0, 50, 0}, {38, 30, 8}, {38, 20, 6}, {1, 10, 8}} {
		if got := read.UL[c.board][c.row]; got != c.want {
			t.Errorf("board %d, foot %d: %g, want %g", c.board+1, c.row, got, c.want)
		}
	}
	if film.UL[0][10] != 0 {
		t.Error("the film itself changed")
	}
}

// Sheets leave boards 1 and 39 out. No best line runs along the gutter for it.
func TestNoLineAlongTheGutter(t *testing.T) {
	lengths := []float64{40, 41, 42, 43, 44, 45, 46, 47, 48, 50}
	if !long() {
		lengths = []float64{40, 44, 47}
	}
	for i, lengthFt := range lengths {
		table := oil.Table{Name: "invented sheet", Loads: []oil.Load{
			{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 4, ULPerBoard: 80, StartFt: 0, EndFt: lengthFt - 12},
			{Direction: oil.Back, FromBoard: 2, ToBoard: 38, Count: 3, ULPerBoard: 80, StartFt: 8, EndFt: lengthFt},
			{
				Direction:  oil.Back,
				FromBoard:  8 + i%4,
				ToBoard:    32 - i%4,
				Count:      1 + i%3,
				ULPerBoard: 80,
				StartFt:    4,
				EndFt:      lengthFt - 5,
			},
		}}
		film, err := table.Film()
		if err != nil {
			t.Fatal(err)
		}
		plan := find(t, freshLanes(film, athletes()[i%len(athletes())]))
		if len(plan.Lines) == 0 {
			t.Fatalf("%g ft: %s", lengthFt, plan.Note)
		}
		if best := plan.Lines[0]; best.Path.BreakpointBoard < 3 {
			t.Errorf("%g ft: the best line has its breakpoint at %.1f", lengthFt, best.Path.BreakpointBoard)
		}
		for _, line := range plan.Lines {
			for _, station := range line.Path.Stations {
				if station.Ft >= 30 && station.Board < plan.OutOfBoundsBoard-0.01 {
					t.Errorf(
						"%g ft: line %d is at board %.1f at %g ft, out of bounds is %.1f",
						lengthFt, line.Rank, station.Board, station.Ft, plan.OutOfBoundsBoard,
					)
				}
			}
		}
	}
}
