package picture

import (
	"math"
	"strconv"

	"laneward/service/lane"
)

// lanePanel is the part of the canvas that holds the lane. A board is as wide as a foot is long, so
// a cell of the film is a square of unit px.
type lanePanel struct {
	side   lane.Side
	x0, x1 float64 // the panel's edges; a left-hander's panel is a right-hander's reflected in their middle
	left   float64 // the lane's edges
	right  float64
	top    float64 // 60 ft
	foul   float64 // 0 ft
	deck   float64 // top of the pin deck
	end    float64 // below the axis
	unit   float64 // px a board, and px a foot
}

const (
	gutterPx  = 11
	axisPx    = 40 // feet and their title, on the athlete's weak side
	edgePx    = 8
	deckPx    = 92
	maxUnitPx = 12

	widestPanelPx = axisPx + edgePx + 2*gutterPx + maxUnitPx*lane.Boards
)

func newLanePanel(side lane.Side, x0, x1, top float64) lanePanel {
	x0, x1, top = math.Round(x0), math.Round(x1), math.Round(top)
	unit := min(math.Floor((x1-x0-axisPx-edgePx-2*gutterPx)/lane.Boards), maxUnitPx)
	spare := math.Floor((x1 - x0 - axisPx - edgePx - 2*gutterPx - unit*lane.Boards) / 2)
	p := lanePanel{side: side, x0: x0, x1: x1, unit: unit}
	p.left = x0 + spare + axisPx + gutterPx
	p.right = p.left + unit*lane.Boards
	if side == lane.Left {
		p.left, p.right = x0+x1-p.right, x0+x1-p.left
	}
	p.deck = top
	p.top = top + deckPx
	p.foul = p.top + unit*lane.LengthFt
	p.end = p.foul + 42
	return p
}

// at returns where a board, as the athlete counts it, and a distance lie on the canvas. Boards are
// measured from the middle and snapped, so that the two hands' pictures mirror each other to the
// last bit.
func (p lanePanel) at(board, ft float64) XY {
	return XY{(p.left+p.right)/2 + p.inward()*snap((board-lane.CentreBoard)*p.unit), p.foul - ft*p.unit}
}

// bounds is the lane in boards and feet.
var bounds = Rect{X: lane.MinBoard, Y: 0, W: lane.MaxBoard - lane.MinBoard, H: lane.LengthFt}

func (p lanePanel) laneRect() Rect {
	return Rect{X: p.left, Y: p.top, W: p.right - p.left, H: p.foul - p.top}
}

// inward is the px direction from the strong-side gutter to the middle: left (-1) for a
// right-hander.
func (p lanePanel) inward() float64 {
	if p.side == lane.Left {
		return 1
	}
	return -1
}

// drawBase draws the gutters and the bare lane.
func (p lanePanel) drawBase(s *Scene) {
	r := p.laneRect()
	s.add(Element{Layer: LayerLane, Shape: Rects{
		{X: r.X - gutterPx, Y: r.Y, W: gutterPx, H: r.H}, {X: r.X + r.W, Y: r.Y, W: gutterPx, H: r.H},
	}, Fill: gutter})
	s.add(Element{Layer: LayerLane, Shape: Rects{r}, Fill: maple})
}

// drawSeams draws the lines between boards.
func (p lanePanel) drawSeams(s *Scene) {
	var lines [][]XY
	for board := 1; board < lane.Boards; board++ {
		lines = append(lines, []XY{p.at(float64(board)+0.5, 0), p.at(float64(board)+0.5, lane.LengthFt)})
	}
	s.add(Element{Layer: LayerLane, Shape: Poly{Lines: lines}, Stroke: mapleSeam.alpha(0.6), StrokeWidth: 0.6})
}

// drawMarkings draws the lines to read boards and feet by, and the arrows.
func (p lanePanel) drawMarkings(s *Scene, onFilm bool) {
	line := mapleDark.alpha(0.28)
	if onFilm {
		line = white.alpha(0.4)
	}
	var lines [][]XY
	for board := 5.0; board < lane.Boards; board += 5 {
		lines = append(lines, []XY{p.at(board, 0), p.at(board, lane.LengthFt)})
	}
	for ft := 10.0; ft < lane.LengthFt; ft += 10 {
		lines = append(lines, []XY{p.at(lane.MinBoard, ft), p.at(lane.MaxBoard, ft)})
	}
	s.add(Element{Layer: LayerLane, Shape: Poly{Lines: lines}, Stroke: line, StrokeWidth: 0.8})

	arrowsFt := lane.DefaultArrows()
	var arrows [][]XY
	for board := 5.0; board <= 35; board += 5 {
		tip := p.at(board, arrowsFt.Ft(board))
		arrows = append(arrows, []XY{tip, {tip.X + 4.2, tip.Y + 13}, {tip.X, tip.Y + 10}, {tip.X - 4.2, tip.Y + 13}})
	}
	s.add(
		Element{Layer: LayerLane, Shape: Poly{Lines: arrows, Closed: true}, Fill: ink, Stroke: white, StrokeWidth: 1.2},
	)
}

// drawFrame draws the lane's edges and the foul line, over what was painted on the lane.
func (p lanePanel) drawFrame(s *Scene) {
	r := p.laneRect()
	s.add(Element{Layer: LayerLane, Shape: Poly{Lines: [][]XY{
		{{r.X, r.Y}, {r.X, r.Y + r.H}}, {{r.X + r.W, r.Y}, {r.X + r.W, r.Y + r.H}},
	}}, Stroke: inkSoft, StrokeWidth: 1})
	s.add(
		Element{
			Layer:       LayerLane,
			Shape:       Poly{Lines: [][]XY{{{r.X - gutterPx, p.foul}, {r.X + r.W + gutterPx, p.foul}}}},
			Stroke:      ink,
			StrokeWidth: 3,
		},
	)
}

func (p lanePanel) drawAxes(s *Scene, side lane.Side) {
	label := func(x, y float64, anchor Anchor, text string) {
		s.add(
			Element{Layer: LayerLane, Shape: Text{X: x, Y: y, Size: sizeAxis, Anchor: anchor, Value: text}, Fill: ink},
		)
	}
	for board := 5; board < lane.Boards; board += 5 {
		at := p.at(float64(board), 0)
		label(at.X, p.foul+15, Middle, strconv.Itoa(board))
	}
	s.add(Element{Layer: LayerLane, Shape: Text{
		X:      (p.left + p.right) / 2,
		Y:      p.foul + 32,
		Size:   sizeAxis,
		Anchor: Middle,
		Value:  "board, counted from the " + string(side) + " gutter",
	}, Fill: inkSoft})

	edge, anchor, out := p.left-gutterPx, End, -1.0
	if side == lane.Left {
		edge, anchor, out = p.right+gutterPx, Start, 1.0
	}
	for ft := 0; ft <= lane.LengthFt; ft += 10 {
		y := p.at(lane.CentreBoard, float64(ft)).Y
		s.add(
			Element{
				Layer:       LayerLane,
				Shape:       Poly{Lines: [][]XY{{{edge, y}, {edge + 4*out, y}}}},
				Stroke:      ink,
				StrokeWidth: 1,
			},
		)
		label(edge+6*out, y+4, anchor, strconv.Itoa(ft))
	}
	s.add(Element{Layer: LayerLane, Shape: Text{
		X:       edge + 31*out,
		Y:       (p.top + p.foul) / 2,
		Size:    sizeAxis,
		Anchor:  Middle,
		TurnDeg: 90 * out,
		Value:   "feet from the foul line",
	}, Fill: inkSoft})
}

// drawPins draws the deck: the pins' places across the lane are to scale, their rows are pulled
// apart so that they can be read.
func (p lanePanel) drawPins(s *Scene, standing *lane.PinSet) {
	r := p.laneRect()
	s.add(
		Element{
			Layer: LayerPins,
			Shape: Rect{X: r.X - gutterPx, Y: p.deck, W: r.W + 2*gutterPx, H: deckPx},
			Fill:  mist,
		},
	)
	_, headFt := lane.PinPosition(1)
	_, backFt := lane.PinPosition(10)
	const headPx, rowsPx, radius = 14.0, 64.0, 10.5
	for n := 1; n <= 10; n++ {
		x, ft := lane.PinPosition(n)
		// The deck is the lane's own: x counts from the right gutter whoever bowls.
		at := XY{
			(p.left+p.right)/2 - snap((x-lane.CentreBoard)*p.unit),
			p.top - headPx - rowsPx*(ft-headFt)/(backFt-headFt),
		}
		if standing != nil && !standing.Has(n) {
			s.add(
				Element{Layer: LayerPins, Shape: Circle{at.X, at.Y, 4}, Fill: white, Stroke: gutter, StrokeWidth: 1.5},
			)
			continue
		}
		fill, text := white, ink
		if standing != nil {
			fill, text = ink, white
		}
		s.add(Element{Layer: LayerPins, Shape: Circle{at.X, at.Y, radius}, Fill: fill, Stroke: ink, StrokeWidth: 1.3})
		s.add(
			Element{
				Layer: LayerPins,
				Shape: Text{X: at.X, Y: at.Y + 4, Size: 11, Bold: true, Anchor: Middle, Value: strconv.Itoa(n)},
				Fill:  text,
			},
		)
	}
}
