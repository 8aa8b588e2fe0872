package line

import (
	"context"
	"testing"

	"laneward/service/motion"
)

func TestMap(t *testing.T) {
	request, s := prepared(t, usual(t, "house_like.json"))
	grid := DefaultGrid()
	if len(grid.LaydownBoards) != 33 || len(grid.LaunchAnglesDeg) != 91 {
		t.Fatalf("%d x %d aims", len(grid.LaydownBoards), len(grid.LaunchAnglesDeg))
	}
	missMap, err := Map(context.Background(), request, grid, nil)
	if err != nil {
		t.Fatal(err)
	}
	hits := map[Hit]int{}
	for i, row := range missMap.Cells {
		for j, cell := range row {
			hits[cell.Hit]++
			if (i+j)%40 != 0 {
				continue
			}
			aim := Aim{grid.LaydownBoards[i], grid.LaunchAnglesDeg[j]}
			value := s.score(aim, request.Athlete.Scatter.draws(missMap.Draws))
			typical := s.typical(aim)
			want := Cell{
				s.pocket.hit(typical), typical.PinBoard, typical.EntryAngleDeg,
				value.Pins, value.PocketShare, value.GutterShare,
			}
			if cell != want {
				t.Fatalf("cell of %+v: %+v, want %+v", aim, cell, want)
			}
		}
	}
	if hits[HitPocket] == 0 || hits[HitGutter] == 0 || hits[HitCrossover] == 0 {
		t.Errorf("hits on the map: %v", hits)
	}
}

func TestHits(t *testing.T) {
	pocket := DefaultPocket()
	at := func(board, angle float64) motion.Outcome {
		return motion.Outcome{PinBoard: board, EntryAngleDeg: angle}
	}
	for _, c := range []struct {
		outcome motion.Outcome
		want    Hit
	}{
		{at(17.5, 5), HitPocket},
		{at(16.5, 3), HitPocket},
		{at(18.5, 8), HitPocket},
		{at(17.5, 2.9), HitFlat},
		{at(17.5, 8.1), HitSteep},
		{at(16.4, 5), HitLight},
		{at(13.8, 5), HitLight}, // 6.28 boards: the ball still touches the head pin
		{at(13.7, 5), HitOutside},
		{at(18.6, 5), HitHigh},
		{at(20.1, 5), HitCrossover},
		{at(26.2, 5), HitCrossover},
		{at(26.4, 5), HitInside},
		{motion.Outcome{Gutter: true}, HitGutter},
		{motion.Outcome{Short: true}, HitShort},
	} {
		if got := pocket.hit(c.outcome); got != c.want {
			t.Errorf("board %g at %g deg: %s, want %s", c.outcome.PinBoard, c.outcome.EntryAngleDeg, got, c.want)
		}
	}
}
