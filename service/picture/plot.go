package picture

import (
	"math"
	"strconv"
)

// plotPanel is a rectangle with two number axes. When reversed, x grows to the left and the y axis
// is on the right of the mirror image.
type plotPanel struct {
	area       Rect
	x0, x1     float64 // values at the ends of the x axis
	y0, y1     float64
	growsLeft  bool // boards of a right-hander grow to the left
	axisOnEast bool // y axis on the right: the mirror image
	layer      Layer
}

// at returns where a point lies on the canvas, measured from the middle and snapped as on the lane.
func (p plotPanel) at(x, y float64) XY {
	right := snap(((x-p.x0)/(p.x1-p.x0) - 0.5) * p.area.W)
	if p.growsLeft {
		right = -right
	}
	return XY{p.area.X + p.area.W/2 + right, p.area.Y + p.area.H*(1-(y-p.y0)/(p.y1-p.y0))}
}

// bounds is the plot in the units of its axes.
func (p plotPanel) bounds() Rect { return Rect{X: p.x0, Y: p.y0, W: p.x1 - p.x0, H: p.y1 - p.y0} }

// ticks returns at most about count round values within low ... high, steps of 1, 2 or 5 times a
// power of ten.
func ticks(low, high float64, count int) []float64 {
	raw := (high - low) / float64(count)
	base := math.Pow(10, math.Floor(math.Log10(raw)))
	step := 10 * base
	for _, m := range []float64{1, 2, 5} {
		if m*base >= raw*(1-1e-9) {
			step = m * base
			break
		}
	}
	var values []float64
	for i := math.Ceil(low/step - 1e-9); i*step <= high+1e-9*step; i++ {
		values = append(values, i*step)
	}
	return values
}

// tickText writes a tick without the noise of binary fractions.
func tickText(v float64) string {
	v = math.Round(v*1e6) / 1e6
	if v == 0 {
		return "0" // never "-0"
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// drawAxes draws frame, ticks, numbers and titles; plotAxisPx to the side of the y axis and
// plotFootPx below hold them.
func (p plotPanel) drawAxes(s *Scene, xTicks, yTicks []float64, xTitle, yTitle string) {
	r := p.area
	s.add(Element{Layer: p.layer, Shape: r, Stroke: inkSoft, StrokeWidth: 1})
	label := func(t Text, colour Colour) {
		t.Size = sizeAxis
		s.add(Element{Layer: p.layer, Shape: t, Fill: colour})
	}
	var lines [][]XY
	for _, v := range xTicks {
		x := p.at(v, p.y0).X
		lines = append(lines, []XY{{x, r.Y + r.H}, {x, r.Y + r.H + 4}})
		label(Text{X: x, Y: r.Y + r.H + 17, Anchor: Middle, Value: tickText(v)}, ink)
	}
	edge, out, anchor := r.X, -1.0, End
	if p.axisOnEast {
		edge, out, anchor = r.X+r.W, 1.0, Start
	}
	for _, v := range yTicks {
		y := p.at(p.x0, v).Y
		lines = append(lines, []XY{{edge, y}, {edge + 4*out, y}})
		label(Text{X: edge + 7*out, Y: y + 4, Anchor: anchor, Value: tickText(v)}, ink)
	}
	s.add(Element{Layer: p.layer, Shape: Poly{Lines: lines}, Stroke: ink, StrokeWidth: 1})
	label(Text{X: r.X + r.W/2, Y: r.Y + r.H + 34, Anchor: Middle, Value: fit(xTitle, sizeAxis, r.W, false)}, inkSoft)
	label(
		Text{
			X:       edge + 36*out,
			Y:       r.Y + r.H/2,
			Anchor:  Middle,
			TurnDeg: 90 * out,
			Value:   fit(yTitle, sizeAxis, r.H, false),
		},
		inkSoft,
	)
}

const (
	plotAxisPx = 52
	plotFootPx = 42
)

// plotPage lays out heading, plot and legend: one below the other on a phone, the legend beside the
// plot on a wide picture, which shrinks to what it needs. The plot is drawn into the width from 0
// by a function that returns its frame.
func plotPage(s *Scene, title, caption string, draw func(width, top float64) Rect, legend func(*column)) {
	const margin = 12
	c := &column{scene: s, layer: LayerFrame, x: margin, y: margin, width: s.Width - 2*margin}
	wide := s.Width >= WideWidthPx
	plotWidth := s.Width
	if wide {
		plotWidth = min(0.58*s.Width, 600)
		c.zoom = 1.15
		c.width = min(c.width, plotWidth+360)
	}
	c.paragraph(title, sizeTitle, true, ink, 3)
	c.paragraph(caption, sizeBody, false, inkSoft, captionLines)
	c.gap(10)
	top := c.y
	area := draw(plotWidth, top)
	bottom := area.Y + area.H + plotFootPx
	c.layer = LayerLegend
	if wide {
		c.x, c.y = plotWidth+2*margin, top
		c.width = min(s.Width-margin-c.x, 360)
		s.Width = c.x + c.width + margin
	} else {
		c.y = bottom + 8
	}
	legend(c)
	s.Height = math.Ceil(max(bottom, c.y) + margin)
}
