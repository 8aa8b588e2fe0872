package picture

import (
	"math"
	"testing"

	"laneward/service/lane"
)

func TestJoin(t *testing.T) {
	one, err := Lane{Side: lane.Right, Title: "One", Film: demoFilm(), Paths: demoPaths()}.Scene()
	if err != nil {
		t.Fatal(err)
	}
	other, err := demoMissMap(lane.Left).Scene()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name          string
		beside        bool
		width, height float64
	}{
		{"beside", true, one.Width + other.Width, math.Max(one.Height, other.Height)},
		{"below", false, math.Max(one.Width, other.Width), one.Height + other.Height},
	} {
		joined := Join("Both", c.beside, one, other)
		if joined.Width != c.width || joined.Height != c.height ||
			len(joined.Elements) != len(one.Elements)+len(other.Elements) {
			t.Errorf("%s: %g x %g with %d elements", c.name, joined.Width, joined.Height, len(joined.Elements))
		}
		if _, err := joined.Image(0.25); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		// Moved back, the second scene is what it was.
		dx, dy := one.Width, 0.0
		if !c.beside {
			dx, dy = 0, one.Height
		}
		back := other
		back.Elements = nil
		for _, element := range joined.Elements[len(one.Elements):] {
			element.Shape = moved(element.Shape, -dx, -dy)
			back.Elements = append(back.Elements, element)
		}
		if string(back.SVG()) != string(other.SVG()) {
			t.Errorf("%s: the second scene changed", c.name)
		}
	}
}
