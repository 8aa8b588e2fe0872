package picture

import (
	"laneward/service/lane"
)

// verdictOrder is the order of drawing and of the legend: what broke the rule is drawn last, on
// top.
var verdictOrder = []Verdict{NoVerdict, Unknown, Kept, Broken}

// legendOrder puts what was asked for first.
var legendOrder = []Verdict{Kept, Broken, Unknown, NoVerdict}

func verdictWord(v Verdict) string {
	switch v {
	case Kept:
		return "kept the rule"
	case Broken:
		return "broke the rule"
	case Unknown:
		return "not measured, so unknown"
	case NoVerdict:
	}
	return "logged"
}

type markCounts struct {
	byVerdict map[Verdict]int
	inGutter  int
}

func countMarks(marks []Mark) markCounts {
	c := markCounts{byVerdict: map[Verdict]int{}}
	for _, m := range marks {
		c.byVerdict[m.Verdict]++
		if !lane.OnLane(m.Board) {
			c.inGutter++
		}
	}
	return c
}

// markRadius shrinks the marks as they get many.
func markRadius(count int) float64 {
	switch {
	case count <= 60:
		return 5
	case count <= 250:
		return 4
	}
	return 3
}

// drawMarks draws each shot by its verdict's shape; a board off the lane is drawn in the middle of
// that gutter.
func drawMarks(s *Scene, p lanePanel, marks []Mark) {
	radius := markRadius(len(marks))
	half := gutterPx / p.unit / 2
	for _, v := range verdictOrder {
		for _, m := range marks {
			if m.Verdict != v {
				continue
			}
			board := m.Board
			if board < lane.MinBoard {
				board = lane.MinBoard - half
			}
			if board > lane.MaxBoard {
				board = lane.MaxBoard + half
			}
			drawMark(s, LayerShots, p.at(board, m.Ft), v, radius, clean(m.Label))
		}
	}
}

// drawMark draws one verdict's sign: a filled disc for kept, a cross for broken, a hollow diamond
// for unknown, a small square for none.
func drawMark(s *Scene, layer Layer, at XY, v Verdict, radius float64, tip string) {
	switch v {
	case Kept:
		s.add(
			Element{
				Layer:       layer,
				Shape:       Circle{at.X, at.Y, radius},
				Fill:        blue,
				Stroke:      white,
				StrokeWidth: 1.4,
				Tip:         tip,
			},
		)
	case Broken:
		arm := radius * 0.95
		cross := Poly{Lines: [][]XY{
			{{at.X - arm, at.Y - arm}, {at.X + arm, at.Y + arm}}, {{at.X - arm, at.Y + arm}, {at.X + arm, at.Y - arm}},
		}}
		s.add(Element{Layer: layer, Shape: cross, Stroke: white, StrokeWidth: 2 + radius*0.6})
		s.add(Element{Layer: layer, Shape: cross, Stroke: vermilion, StrokeWidth: radius * 0.56, Tip: tip})
	case Unknown:
		r := radius * 1.15
		s.add(Element{Layer: layer, Shape: Poly{Lines: [][]XY{
			{{at.X, at.Y - r}, {at.X + r, at.Y}, {at.X, at.Y + r}, {at.X - r, at.Y}},
		}, Closed: true}, Fill: white, Stroke: inkSoft, StrokeWidth: 1.6, Tip: tip})
	case NoVerdict:
		side := radius * 1.5
		s.add(
			Element{
				Layer:       layer,
				Shape:       Rect{X: at.X - side/2, Y: at.Y - side/2, W: side, H: side},
				Fill:        ink,
				Stroke:      white,
				StrokeWidth: 1.2,
				Tip:         tip,
			},
		)
	}
}
