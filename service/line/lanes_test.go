package line

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"laneward/service/lane"
	"laneward/service/oil"
)

// A ball does not turn back from a bare strip along the gutter as from a wall: a film with bare
// edge boards is planned as one that is oiled there.
func TestBareEdgesAreReadAsTheirNeighbours(t *testing.T) {
	bare := usual(t, "flat_long.json")
	bare.Film.UL[0], bare.Film.UL[lane.Boards-1] = [oil.Rows]float64{}, [oil.Rows]float64{}
	oiled := bare
	oiled.Film = bare.Film.WithEdges()
	bare.Lanes = []Lane{{Film: bare.Film, Friction: bare.Friction, Weight: 1, RevFactor: 1}}
	oiled.Lanes = []Lane{{Film: oiled.Film, Friction: bare.Friction, Weight: 1, RevFactor: 1}}
	bare.Draws, oiled.Draws = 32, 32
	if diff := cmp.Diff(find(t, oiled), find(t, bare)); diff != "" {
		t.Errorf("(-oiled +bare):\n%s", diff)
	}
	alongTheGutter := Aim{LaydownBoard: 2.5, LaunchAngleDeg: 0.3}
	before, err := Throws(bare, alongTheGutter, 8)
	if err != nil {
		t.Fatal(err)
	}
	after, err := Throws(oiled, alongTheGutter, 8)
	if err != nil || !cmp.Equal(before, after) {
		t.Errorf("thrown along the gutter: %v, or the paths differ", err)
	}
	if bare.Film.UL[0][10] != 0 {
		t.Error("the film itself changed")
	}
}

// Sheets leave boards 1 and 39 out. No best line runs along the gutter for it.
func TestNoLineAlongTheGutter(t *testing.T) {
	for i, lengthFt := range []float64{40, 41, 42, 43, 44, 45, 46, 47, 48, 50} {
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
