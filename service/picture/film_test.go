package picture

import (
	"math"
	"strings"
	"testing"

	"laneward/service/lane"
)

// TestFilmIsTheLanesOwn puts oil on board 1 from the right gutter: it is drawn at the right edge
// for both hands, at the foul line, one cell large.
func TestFilmIsTheLanesOwn(t *testing.T) {
	film := &Film{}
	film.UL[0][0] = 10
	for _, side := range []lane.Side{lane.Right, lane.Left} {
		scene := mustScene(t, Lane{Side: side, Film: film})
		edges := laneEdges(t, scene)
		unit := (edges[1] - edges[0]) / lane.Boards
		var found Rects
		for _, e := range scene.Elements {
			if r, ok := e.Shape.(Rects); ok && e.Layer == LayerFilm {
				found = append(found, r...)
			}
		}
		if len(found) != 1 || found[0].X+found[0].W != edges[1] || found[0].W != unit || found[0].H != unit {
			t.Errorf("%s-hander: the cell is drawn as %+v on a lane from %g to %g", side, found, edges[0], edges[1])
		}
	}
}

func TestFilmLevels(t *testing.T) {
	film := &Film{}
	for _, test := range []struct {
		ul, top float64
		want    int
	}{{0, 50, 0}, {0.04, 50, 0}, {0.06, 50, 1}, {25, 50, 8}, {25.1, 50, 9}, {50, 50, 16}, {80, 50, 16}, {0, 0, 0}} {
		if got := film.level(test.ul, test.top); got != test.want {
			t.Errorf("level of %g of %g is %d, want %d", test.ul, test.top, got, test.want)
		}
	}
}

// TestFilmLegendUnit converts 37.0225 microlitres per board-foot: 25 units of 1.4809 (rounded)
// each.
func TestFilmLegendUnit(t *testing.T) {
	if math.Abs(ULPerOilUnit-1.4809) > 5e-5 {
		t.Errorf("one oil unit is %g microlitres per board-foot, want 1.4809", ULPerOilUnit)
	}
	film := &Film{Unit: OilUnits}
	film.UL[19][0] = 37.0225
	scene := mustScene(t, Lane{Side: lane.Right, Film: film})
	if want := "at most 25 oil units"; !strings.Contains(scene.Desc, want) {
		t.Errorf("description %q lacks %q", scene.Desc, want)
	}
}

// TestDryLaneHasALegend draws a film without any oil.
func TestDryLaneHasALegend(t *testing.T) {
	scene := mustScene(t, Lane{Side: lane.Right, Film: &Film{}})
	checkSVG(t, scene)
	if !strings.Contains(string(scene.SVG()), ">none<") {
		t.Error("the legend of a dry lane lacks its swatch")
	}
}
