package picture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"laneward/service/lane"
)

// TestLeftHandersLaneIsTheMirrorImage draws one description for both hands, oil and pins reflected,
// and asks for the reflected drawing with upright texts, and for the same words and places around
// it.
func TestLeftHandersLaneIsTheMirrorImage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		right := randomLane(t)
		left := right
		left.Side = lane.Left
		if right.Film != nil {
			film := *right.Film
			for b := range film.UL {
				film.UL[b] = right.Film.UL[lane.Boards-1-b]
			}
			left.Film = &film
		}
		if right.Standing != nil {
			mirrored := right.Standing.Mirror()
			left.Standing = &mirrored
		}
		a, b := mustScene(t, right), mustScene(t, left)
		if a.Width != b.Width || a.Height != b.Height {
			t.Fatalf("sizes differ: %g x %g and %g x %g", a.Width, a.Height, b.Width, b.Height)
		}
		sum := laneEdges(t, a)[0] + laneEdges(t, b)[1]
		if diff := gocmp.Diff(strokes(reflect(a, sum)), strokes(b)); diff != "" {
			t.Fatalf("not the mirror image (-reflected right +left):\n%s", diff)
		}
	})
}

// TestMissMapMirrors does the same for the miss map, cell for cell.
func TestMissMapMirrors(t *testing.T) {
	a, b := mustScene(t, demoMissMap(lane.Right)), mustScene(t, demoMissMap(lane.Left))
	if diff := gocmp.Diff(strokes(reflect(a, a.Width)), strokes(b)); diff != "" {
		t.Errorf("not the mirror image (-reflected right +left):\n%s", diff)
	}
}

func mustScene(t interface{ Fatalf(string, ...any) }, p interface{ Scene() (Scene, error) }) Scene {
	scene, err := p.Scene()
	if err != nil {
		t.Fatalf("scene: %v", err)
	}
	return scene
}

// laneEdges finds the left and right edge of the bare lane.
func laneEdges(t interface{ Fatalf(string, ...any) }, s Scene) [2]float64 {
	for _, e := range s.Elements {
		if r, ok := e.Shape.(Rects); ok && e.Fill == maple && e.Layer == LayerLane {
			return [2]float64{r[0].X, r[0].X + r[0].W}
		}
	}
	t.Fatalf("no lane is drawn")
	return [2]float64{}
}

func reflect(s Scene, sum float64) Scene {
	mirrored := s
	mirrored.Elements = nil
	for _, e := range s.Elements {
		if e.Layer.mirrored() {
			e.Shape = e.Shape.(mirrorable).mirror(sum)
		}
		mirrored.Elements = append(mirrored.Elements, e)
	}
	return mirrored
}

// strokes breaks a scene into sorted lines of text, one a cell, line, disc or word, so that the
// order of drawing does not count; numbers are compared to the last bit. Signs in the legend are
// left out: they point as on the lane. What a pin or an axis is called depends on the hand, so
// there only the place counts.
func strokes(s Scene) []string {
	var all []string
	for _, e := range s.Elements {
		paint := fmt.Sprintf("%s %v %v %v ", e.Layer, e.Fill, e.Stroke, e.StrokeWidth)
		switch v := e.Shape.(type) {
		case Text:
			word := v.Value
			if e.Layer == LayerPins || strings.HasSuffix(word, " gutter") {
				word = "?"
			}
			all = append(
				all,
				fmt.Sprintf("%stext %v %v %v %v %s %s", paint, v.X, v.Y, v.Size, math.Abs(v.TurnDeg), v.Anchor, word),
			)
		case Circle:
			all = append(all, fmt.Sprintf("%sdisc %v %v %v", paint, v.X, v.Y, v.R))
		case Rect:
			if e.Layer.mirrored() {
				all = append(all, fmt.Sprintf("%srect %v %v %v %v", paint, v.X, v.Y, v.W, v.H))
			}
		case Rects:
			all = append(all, columns(paint, v)...)
		case Poly:
			if !e.Layer.mirrored() {
				continue
			}
			for _, line := range v.Lines {
				var corners []string
				for _, p := range line {
					corners = append(corners, fmt.Sprintf("%v %v", p.X, p.Y))
				}
				slices.Sort(corners)
				all = append(all, paint+strings.Join(corners, ", "))
			}
		}
	}
	slices.Sort(all)
	return all
}

// columns names what rectangles of one colour cover as upright strips 1 px wide, since the mirror
// image may be joined from other rectangles. All lie on whole px.
func columns(paint string, rects Rects) []string {
	spans := map[float64][][2]float64{}
	for _, r := range rects {
		for x := r.X; x < r.X+r.W; x++ {
			spans[x] = append(spans[x], [2]float64{r.Y, r.Y + r.H})
		}
	}
	var all []string
	for x, list := range spans {
		slices.SortFunc(list, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
		joined := list[:1]
		for _, span := range list[1:] {
			if last := &joined[len(joined)-1]; last[1] == span[0] {
				last[1] = span[1]
			} else {
				joined = append(joined, span)
			}
		}
		all = append(all, fmt.Sprintf("%scolumn %v %v", paint, x, joined))
	}
	return all
}

// randomLane draws a valid description for a right-hander.
func randomLane(t *rapid.T) Lane {
	board := rapid.Float64Range(lane.MinBoard, lane.MaxBoard)
	ft := rapid.Float64Range(0, lane.LengthFt)
	l := Lane{
		Side:    lane.Right,
		Title:   "Random",
		WidthPx: rapid.SampledFrom([]int{0, MinWidthPx, 500, 900}).Draw(t, "width"),
	}
	if rapid.Bool().Draw(t, "film") {
		l.Film = &Film{}
		for b := range l.Film.UL {
			height := rapid.Float64Range(0, 60).Draw(t, "film")
			for f := range 40 {
				l.Film.UL[b][f] = height * (1 - float64(f)/50)
			}
		}
	}
	for range rapid.IntRange(0, 2).Draw(t, "corridors") {
		b, f := board.Draw(t, "corridor board"), ft.Draw(t, "corridor ft")
		l.Corridors = append(l.Corridors, Corridor{
			FromBoard: min(
				b,
				39,
			),
			ToBoard:  lane.MaxBoard,
			FromFt:   f,
			ToFt:     min(f+rapid.Float64Range(0, 20).Draw(t, "long"), 60),
			Sentence: "Stay inside",
		})
	}
	for range rapid.IntRange(0, 3).Draw(t, "paths") {
		path := Path{Label: "line", Emphasis: rapid.Bool().Draw(t, "chosen")}
		for f := 0.0; f <= 60; f += 10 {
			path.Points = append(path.Points, Point{Board: rapid.Float64Range(-3, 43).Draw(t, "path"), Ft: f})
		}
		l.Paths = append(l.Paths, path)
	}
	for range rapid.IntRange(0, 6).Draw(t, "shots") {
		l.Shots = append(l.Shots, Mark{
			Board: rapid.Float64Range(-5, 45).Draw(t, "shot"), Ft: ft.Draw(t, "shot ft"),
			Verdict: rapid.SampledFrom([]Verdict{NoVerdict, Kept, Broken, Unknown}).Draw(t, "verdict"),
		})
	}
	for range rapid.IntRange(0, 3).Draw(t, "breakpoints") {
		l.Breakpoints = append(
			l.Breakpoints,
			Breakpoint{Board: board.Draw(t, "breakpoint"), Ft: ft.Draw(t, "breakpoint ft")},
		)
	}
	if rapid.Bool().Draw(t, "spread") {
		l.Spreads = []Spread{
			{
				MeanX: board.Draw(t, "mean"),
				MeanY: ft.Draw(t, "mean ft"),
				VarX:  4,
				VarY:  9,
				CovXY: rapid.Float64Range(-6, 6).Draw(t, "cov"),
			},
		}
	}
	if rapid.Bool().Draw(t, "leave") {
		standing := lane.PinSet(rapid.Uint16Range(0, 1<<10-1).Draw(t, "pins"))
		l.Standing = &standing
	}
	return l
}

// mirrored reports whether the layer is part of the lane and so changes hands with the athlete.
func (l Layer) mirrored() bool { return l != LayerFrame && l != LayerLegend }

// mirrorable is a shape that can be reflected in the vertical line x -> sum - x.
type mirrorable interface{ mirror(sum float64) Shape }

func (r Rect) mirror(sum float64) Shape {
	r.X = sum - r.X - r.W
	return r
}

func (r Rects) mirror(sum float64) Shape {
	mirrored := make(Rects, len(r))
	for i, rect := range r {
		mirrored[i] = rect.mirror(sum).(Rect)
	}
	return mirrored
}

func (c Circle) mirror(sum float64) Shape {
	c.X = sum - c.X
	return c
}

func (p Poly) mirror(sum float64) Shape {
	lines := make([][]XY, len(p.Lines))
	for i, line := range p.Lines {
		lines[i] = make([]XY, len(line))
		for j, point := range line {
			lines[i][j] = XY{sum - point.X, point.Y}
		}
	}
	p.Lines = lines
	return p
}

// mirror keeps a text upright: it moves, and start and end change places.
func (t Text) mirror(sum float64) Shape {
	t.X = sum - t.X
	switch t.Anchor {
	case Start:
		t.Anchor = End
	case End:
		t.Anchor = Start
	case Middle:
	}
	return t
}
