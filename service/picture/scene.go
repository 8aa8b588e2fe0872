// Package picture draws the lane: film map, ball paths, shots over a corridor, the miss map, the
// spread of a release and the adherence bar.
//
// A picture is built in two steps. A plain description ([Lane], [MissMap], [Adherence])
// is checked and laid out into a [Scene]; the scene is then written as SVG text or as PNG. Both
// writers draw the same elements, so the API, the pages and the command line show the same picture.
// Output is deterministic: the same input gives the same bytes of SVG.
//
// Boards are counted as the athlete counts them, 1 at their own strong-side gutter, and a
// left-hander's lane is the exact mirror image of a right-hander's. Oil is the lane's own: a [Film]
// counts boards from the right gutter whoever bowls.
//
// Meaning never hangs on colour alone: verdicts differ by shape, paths by dash and letter, the
// adherence bar by hatching and length.
package picture

import (
	"fmt"
	"math"
)

// Scene is a laid-out picture: elements in drawing order, in px of a Width x Height canvas with y
// down.
type Scene struct {
	Width, Height float64
	Title         string // what the picture shows, in a few words: read out by a screen reader
	Desc          string // what can be seen in it, in a few sentences
	Elements      []Element
}

// Layer says what an element belongs to. The layers of the lane itself mirror for a left-hander;
// the frame (titles, legends) does not.
type Layer string

// The layers, in no fixed drawing order.
const (
	LayerFrame    Layer = "frame"
	LayerLegend   Layer = "legend"
	LayerLane     Layer = "lane"
	LayerFilm     Layer = "film"
	LayerCorridor Layer = "corridor"
	LayerSpread   Layer = "spread"
	LayerPaths    Layer = "paths"
	LayerShots    Layer = "shots"
	LayerLabels   Layer = "labels"
	LayerPins     Layer = "pins"
)

// Element is one drawn thing. A zero Fill or Stroke colour (alpha 0) is not drawn.
type Element struct {
	Layer       Layer
	Shape       Shape
	Fill        Colour
	Stroke      Colour
	StrokeWidth float64   // px
	Dash        []float64 // px on, px off, ...; empty for a solid line
	Tip         string    // shown by a browser when the pointer rests on the element
}

// Shape is the geometry of an element: [Rects], [Circle], [Poly] or [Text].
type Shape interface {
	// snapped rounds the shape's x coordinates by snap.
	snapped() Shape
}

// XY is a point of the canvas in px, y down.
type XY struct{ X, Y float64 }

// Rect is an upright rectangle in px; Radius rounds its corners.
type Rect struct{ X, Y, W, H, Radius float64 }

// Rects is a set of rectangles painted as one, edges not smoothed, so that neighbours meet without
// a seam.
type Rects []Rect

// Circle is a disc in px.
type Circle struct{ X, Y, R float64 }

// Poly is one or more lines, or polygons when Closed, filled by the nonzero rule.
type Poly struct {
	Lines  [][]XY
	Closed bool
}

// Anchor says which part of a text lies at its point.
type Anchor string

// The three anchors.
const (
	Start  Anchor = "start"
	Middle Anchor = "middle"
	End    Anchor = "end"
)

// Text is one line of text: baseline point in px, font size in px, turned by TurnDeg degrees
// clockwise about the point.
type Text struct {
	X, Y    float64
	Size    float64
	Bold    bool
	Anchor  Anchor
	TurnDeg float64
	Value   string
}

// overlaps reports whether two rectangles share area.
func (r Rect) overlaps(other Rect) bool {
	return r.X < other.X+other.W && other.X < r.X+r.W && r.Y < other.Y+other.H && other.Y < r.Y+r.H
}

// add appends an element, its x coordinates snapped.
func (s *Scene) add(e Element) {
	e.Shape = e.Shape.snapped()
	s.Elements = append(s.Elements, e)
}

// snap rounds an x coordinate or a width to 1/1024 px. Sums of such numbers are exact, so the two
// hands' pictures mirror each other to the last bit.
func snap(px float64) float64 { return math.RoundToEven(px*1024) / 1024 }

func (r Rect) snapped() Shape {
	r.X, r.W = snap(r.X), snap(r.W)
	return r
}

func (r Rects) snapped() Shape {
	out := make(Rects, len(r))
	for i, rect := range r {
		out[i] = rect.snapped().(Rect)
	}
	return out
}

func (c Circle) snapped() Shape {
	c.X = snap(c.X)
	return c
}

func (p Poly) snapped() Shape {
	lines := make([][]XY, len(p.Lines))
	for i, line := range p.Lines {
		lines[i] = make([]XY, len(line))
		for j, point := range line {
			lines[i][j] = XY{snap(point.X), point.Y}
		}
	}
	p.Lines = lines
	return p
}

func (t Text) snapped() Shape {
	t.X = snap(t.X)
	return t
}

// The widths a picture may be asked for, in px; zero means DefaultWidthPx, a phone's. From
// WideWidthPx on the legend is beside the lane.
const (
	MinWidthPx     = 320
	DefaultWidthPx = 390
	WideWidthPx    = 640
	MaxWidthPx     = 1600
)

func checkWidth(widthPx int) (float64, error) {
	if widthPx == 0 {
		return DefaultWidthPx, nil
	}
	if widthPx < MinWidthPx || widthPx > MaxWidthPx {
		return 0, fmt.Errorf(
			"a picture %d px wide cannot be drawn: give %d to %d px, or 0 for %d",
			widthPx,
			MinWidthPx,
			MaxWidthPx,
			DefaultWidthPx,
		)
	}
	return float64(widthPx), nil
}
