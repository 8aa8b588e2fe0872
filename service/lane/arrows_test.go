package lane_test

import (
	"testing"

	"laneward/service/lane"
)

// Distances from memory, with low confidence; makers differ.
func TestArrows(t *testing.T) {
	arrows := lane.DefaultArrows()
	for board, want := range map[float64]float64{
		5: 12.5, 35: 12.5, 10: 13.6, 30: 13.6, 15: 14.7, 25: 14.7, 20: 15.8, 12.5: 14.15, 1: 12.5, 39: 12.5,
	} {
		near(t, "distance of the arrows", arrows.Ft(board), want, 1e-9)
	}
}
