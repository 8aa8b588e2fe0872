package picture

import (
	"fmt"
	"math"

	"laneward/service/lane"
)

// Scatter describes a picture of two measures of many shots against each other, with the ellipses
// that hold stated shares of them.
type Scatter struct {
	Title   string
	Caption string
	WidthPx int // 0 means DefaultWidthPx

	XTitle, YTitle string // axis titles, with units
	// BoardAxisSide, when set, says that X is a board of an athlete of that side: the axis runs as
	// on the lane, board 1 on the strong side.
	BoardAxisSide lane.Side
	Dots          []Dot
	Spreads       []Spread
}

// Dot is one shot of a [Scatter], in the units of its axes.
type Dot struct {
	X, Y    float64
	Verdict Verdict
	Label   string
}

// Scene checks the description and lays it out. The error names every fault and how to mend it.
func (sc Scatter) Scene() (Scene, error) {
	width, err := sc.check()
	if err != nil {
		return Scene{}, err
	}
	s := Scene{Width: width, Title: clean(sc.Title)}
	if s.Title == "" {
		s.Title = "Spread of shots"
	}
	s.Desc = fmt.Sprintf("%s by %s and %s.", plural(len(sc.Dots), "shot"), clean(sc.XTitle), clean(sc.YTitle))
	plotPage(&s, sc.Title, sc.Caption, func(width, top float64) Rect {
		plot := sc.panel(width, top)
		sc.drawPlot(&s, plot)
		return plot.area
	}, sc.legend)
	return s, nil
}

func (sc Scatter) panel(width, top float64) plotPanel {
	area := Rect{X: plotAxisPx + 2, Y: top, W: width - plotAxisPx - 16, H: math.Round(min(width*0.8, 440))}
	if sc.BoardAxisSide == lane.Left {
		area.X = width - area.X - area.W
	}
	p := plotPanel{
		area:       area,
		layer:      LayerLane,
		growsLeft:  sc.BoardAxisSide == lane.Right,
		axisOnEast: sc.BoardAxisSide == lane.Left,
	}
	var xs, ys []float64
	for _, d := range sc.Dots {
		xs, ys = append(xs, d.X), append(ys, d.Y)
	}
	for _, spread := range sc.Spreads {
		for _, share := range spread.coverage() {
			for _, point := range spread.Ellipse(share, 96) {
				xs, ys = append(xs, point[0]), append(ys, point[1])
			}
		}
	}
	p.x0, p.x1 = padded(xs)
	p.y0, p.y1 = padded(ys)
	return p
}

// padded returns the range of the values with a margin, and a range of one unit about a single
// value.
func padded(values []float64) (low, high float64) {
	low, high = values[0], values[0]
	for _, v := range values {
		low, high = min(low, v), max(high, v)
	}
	pad := 0.08 * (high - low)
	if pad < 1e-6*max(1, math.Abs(low)) {
		pad = 0.5 * max(1, 1e-3*math.Abs(low))
	}
	return low - pad, high + pad
}

func (sc Scatter) drawPlot(s *Scene, p plotPanel) {
	xTicks, yTicks := ticks(p.x0, p.x1, 6), ticks(p.y0, p.y1, 6)
	var lines [][]XY
	for _, v := range xTicks {
		lines = append(lines, []XY{p.at(v, p.y0), p.at(v, p.y1)})
	}
	for _, v := range yTicks {
		lines = append(lines, []XY{p.at(p.x0, v), p.at(p.x1, v)})
	}
	s.add(Element{Layer: LayerLane, Shape: Poly{Lines: lines}, Stroke: hairline, StrokeWidth: 0.8})
	for _, spread := range sc.Spreads {
		spread.draw(s, p.at, p.bounds(), LayerSpread)
	}
	radius := markRadius(len(sc.Dots))
	for _, v := range verdictOrder {
		for _, d := range sc.Dots {
			if d.Verdict == v {
				drawMark(s, LayerShots, p.at(d.X, d.Y), v, radius, clean(d.Label))
			}
		}
	}
	p.drawAxes(s, xTicks, yTicks, clean(sc.XTitle), clean(sc.YTitle))
}

func (sc Scatter) legend(c *column) {
	marks := make([]Mark, len(sc.Dots))
	for i, d := range sc.Dots {
		marks[i] = Mark{Board: lane.CentreBoard, Verdict: d.Verdict}
	}
	Lane{Shots: marks}.shotLegend(c)
	for _, spread := range sc.Spreads {
		spread.legend(c)
	}
}

func (sc Scatter) check() (width float64, err error) {
	var f faults
	width, widthErr := checkWidth(sc.WidthPx)
	if widthErr != nil {
		f.add("%w", widthErr)
	}
	switch sc.BoardAxisSide {
	case "", lane.Right, lane.Left:
	default:
		f.add("side %q is unknown: give right, left or none", sc.BoardAxisSide)
	}
	if clean(sc.XTitle) == "" || clean(sc.YTitle) == "" {
		f.add("an axis has no title: say what it shows and in which unit")
	}
	if len(sc.Dots) == 0 && len(sc.Spreads) == 0 {
		f.add("there is nothing to draw: give dots or a spread")
	}
	if len(sc.Dots) > maxMarks {
		f.add("%d dots are too many for one picture: give at most %d", len(sc.Dots), maxMarks)
	}
	for i, d := range sc.Dots {
		f.within(fmt.Sprintf("dot %d: x", i+1), d.X, -1e6, 1e6)
		f.within(fmt.Sprintf("dot %d: y", i+1), d.Y, -1e6, 1e6)
		switch d.Verdict {
		case NoVerdict, Kept, Broken, Unknown:
		default:
			f.add("dot %d: verdict %q is unknown: give kept, broken, unknown or none", i+1, d.Verdict)
		}
	}
	for i, spread := range sc.Spreads {
		spread.check(&f, fmt.Sprintf("spread %d", i+1))
	}
	return width, f.err()
}
