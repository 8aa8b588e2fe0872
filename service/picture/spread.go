package picture

import (
	"fmt"
	"math"
)

// Spread is a two-dimensional normal scatter, drawn as the ellipses that hold stated shares of it.
// What X and Y are is said by the picture that holds it; covariances are in their units squared.
type Spread struct {
	MeanX, MeanY      float64
	VarX, CovXY, VarY float64
	Coverage          []float64 // shares between 0 and 1, such as 0.68 and 0.95; empty means these two
	Label             string
}

var defaultCoverage = []float64{0.68, 0.95}

func (sp Spread) coverage() []float64 {
	if len(sp.Coverage) == 0 {
		return defaultCoverage
	}
	return sp.Coverage
}

func (sp Spread) check(f *faults, what string) {
	f.within(what+": mean of x", sp.MeanX, -1e6, 1e6)
	f.within(what+": mean of y", sp.MeanY, -1e6, 1e6)
	f.within(what+": covariance", sp.CovXY, -1e6, 1e6)
	f.within(what+": variance of x", sp.VarX, 0, 1e6)
	f.within(what+": variance of y", sp.VarY, 0, 1e6)
	if sp.CovXY*sp.CovXY > sp.VarX*sp.VarY*(1+1e-9) {
		f.add(
			"%s: a covariance of %g is impossible with variances %g and %g: its square may not exceed their product",
			what,
			sp.CovXY,
			sp.VarX,
			sp.VarY,
		)
	}
	for _, c := range sp.coverage() {
		if !(c > 0 && c < 1) {
			f.add("%s: coverage %g: give a share between 0 and 1, such as 0.95", what, c)
		}
	}
}

// Ellipse returns steps points of the ellipse that holds a share (0 to 1) of a two-dimensional
// normal scatter, as x, y pairs in its units. The squared radius is -2 ln(1 - share): the
// chi-square quantile with two degrees of freedom, which has this closed form (5.991 at 0.95).
func (sp Spread) Ellipse(share float64, steps int) [][2]float64 {
	radius := math.Sqrt(-2 * math.Log(1-share))
	// Cholesky factor of the covariance, x first; a variance of zero leaves a line or a point.
	a := math.Sqrt(sp.VarX)
	b := 0.0
	if a > 0 {
		b = sp.CovXY / a
	}
	c := math.Sqrt(max(0, sp.VarY-b*b))
	points := make([][2]float64, steps)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(steps))
		points[i] = [2]float64{sp.MeanX + radius*a*cos, sp.MeanY + radius*(b*cos+c*sin)}
	}
	return points
}

// draw draws the ellipses and their middle, cut at the bounds of the plot (in the spread's own
// units); at places a point on the canvas.
func (sp Spread) draw(s *Scene, at func(x, y float64) XY, bounds Rect, layer Layer) {
	for i, share := range sp.coverage() {
		points := sp.Ellipse(share, 96)
		ring := make([]XY, 0, len(points)+1)
		for _, p := range append(points, points[0]) {
			ring = append(ring, XY{p[0], p[1]})
		}
		lines := clipLine(ring, bounds)
		if len(lines) == 0 {
			continue
		}
		for _, line := range lines {
			for k, p := range line {
				line[k] = at(p.X, p.Y)
			}
		}
		s.add(Element{Layer: layer, Shape: Poly{Lines: lines}, Stroke: white, StrokeWidth: 4.2})
		s.add(
			Element{
				Layer:       layer,
				Shape:       Poly{Lines: lines},
				Stroke:      ink,
				StrokeWidth: 1.8,
				Dash:        coverageDash(i),
				Tip:         fmt.Sprintf("%s %% of the spread", figure(100*share)),
			},
		)
	}
	middle := at(sp.MeanX, sp.MeanY)
	if bounds.holds(XY{sp.MeanX, sp.MeanY}) {
		plus := Poly{
			Lines: [][]XY{
				{{middle.X - 5, middle.Y}, {middle.X + 5, middle.Y}},
				{{middle.X, middle.Y - 5}, {middle.X, middle.Y + 5}},
			},
		}
		s.add(Element{Layer: layer, Shape: plus, Stroke: white, StrokeWidth: 4.2})
		s.add(Element{Layer: layer, Shape: plus, Stroke: ink, StrokeWidth: 1.8})
	}
}

// coverageDash distinguishes the ellipses: solid first, then dashed.
func coverageDash(index int) []float64 {
	return [][]float64{nil, {6, 4}, {2, 3}}[index%3]
}

func (sp Spread) legend(c *column) {
	if label := clean(sp.Label); label != "" {
		c.paragraph(label, sizeSmall, true, ink, 2)
		c.gap(2)
	}
	for i, share := range sp.coverage() {
		c.key(func(s *Scene, layer Layer, m XY) {
			s.add(
				Element{
					Layer:       layer,
					Shape:       Poly{Lines: [][]XY{{{m.X - 13, m.Y}, {m.X + 13, m.Y}}}},
					Stroke:      ink,
					StrokeWidth: 1.8,
					Dash:        coverageDash(i),
				},
			)
		}, fmt.Sprintf("holds %s %% of the shots, if they scatter normally", figure(100*share)), sizeSmall, false)
	}
}
