package picture

import (
	"fmt"
	"math"
	"strconv"

	"laneward/service/lane"
)

// corridorTint shades the allowed part of a bare lane. Film is left as it is: a tint would falsify
// its colours.
var corridorTint = rgb(0xcfe3f1)

// minCorridorPx is how long a corridor is drawn at least: a gate at one distance has no length of
// its own.
const minCorridorPx = 28

// area returns the rectangle a corridor is drawn as.
func (c Corridor) area(p lanePanel) Rect {
	a, b := p.at(c.FromBoard, c.FromFt), p.at(c.ToBoard, c.ToFt)
	top, bottom := b.Y, a.Y
	if grow := minCorridorPx - (bottom - top); grow > 0 {
		top, bottom = max(p.top, top-grow/2), min(p.foul, bottom+grow/2)
	}
	return Rect{X: min(a.X, b.X), Y: top, W: math.Abs(b.X - a.X), H: bottom - top}
}

func (c Corridor) drawTint(s *Scene, p lanePanel) {
	s.add(Element{Layer: LayerCorridor, Shape: c.area(p), Fill: corridorTint, Tip: clean(c.Sentence)})
}

// draw bounds the allowed part of the lane by a line whose teeth point to where the ball must not
// go.
func (c Corridor) draw(s *Scene, p lanePanel) {
	area, outward := c.area(p), -p.inward()
	if c.FromBoard > lane.MinBoard {
		drawBoundary(s, LayerCorridor, p.at(c.FromBoard, 0).X, area.Y, area.Y+area.H, outward)
	}
	if c.ToBoard < lane.MaxBoard {
		drawBoundary(s, LayerCorridor, p.at(c.ToBoard, 0).X, area.Y, area.Y+area.H, -outward)
	}
	var ends [][]XY
	for _, y := range []float64{area.Y, area.Y + area.H} {
		if y > p.top && y < p.foul {
			ends = append(ends, []XY{{area.X, y}, {area.X + area.W, y}})
		}
	}
	if len(ends) > 0 {
		s.add(Element{Layer: LayerCorridor, Shape: Poly{Lines: ends}, Stroke: white, StrokeWidth: 2.5})
		s.add(
			Element{
				Layer:       LayerCorridor,
				Shape:       Poly{Lines: ends},
				Stroke:      blue,
				StrokeWidth: 1.4,
				Dash:        []float64{5, 4},
			},
		)
	}
}

// drawBoundary draws a line along the lane with teeth to one side.
func drawBoundary(s *Scene, layer Layer, x, top, bottom, toward float64) {
	line := [][]XY{{{x, top}, {x, bottom}}}
	var teeth [][]XY
	const pitch, tooth = 16.0, 9.0
	count := math.Floor((bottom - top) / pitch)
	for i := range int(count) {
		y := top + (bottom-top-count*pitch)/2 + pitch*float64(i) + (pitch-tooth)/2
		teeth = append(teeth, []XY{{x, y}, {x + tooth*toward, y + tooth/2}, {x, y + tooth}})
	}
	s.add(Element{Layer: layer, Shape: Poly{Lines: line}, Stroke: white, StrokeWidth: 5.5})
	if len(teeth) > 0 {
		s.add(
			Element{Layer: layer, Shape: Poly{Lines: teeth, Closed: true}, Fill: blue, Stroke: white, StrokeWidth: 1.2},
		)
	}
	s.add(Element{Layer: layer, Shape: Poly{Lines: line}, Stroke: blue, StrokeWidth: 3})
}

// pathStyle is how the n-th path is drawn: the chosen line solid and thick, the others
// distinguished by dash.
func pathStyle(index int, emphasis bool) (width float64, dash []float64) {
	if emphasis {
		return 3.2, nil
	}
	patterns := [][]float64{nil, {9, 5}, {3, 4}, {12, 4, 3, 4}}
	return 1.9, patterns[index%len(patterns)]
}

func pathLetter(index int) string {
	return string(rune('A' + index)) //nolint:gosec // a letter for each of a few paths
}

// letterOf is the letter of a line: its own, or that of its place.
func letterOf(own string, index int) string {
	if own != "" {
		return own
	}
	return pathLetter(index)
}

// drawPaths draws the chosen lines last, so that they lie on top, and returns the places of the
// letters. One path alone needs no letter unless it has one of its own.
func drawPaths(s *Scene, p lanePanel, paths []Path) (taken []Rect) {
	traces := make([][]Point, len(paths))
	lines := make([][]XY, len(paths))
	for i, path := range paths {
		traces[i] = p.trace(path)
		for _, point := range traces[i] {
			lines[i] = append(lines[i], p.at(point.Board, point.Ft))
		}
	}
	for _, emphasised := range []bool{false, true} {
		for i, path := range paths {
			if path.Emphasis != emphasised || len(lines[i]) < 2 {
				continue
			}
			width, dash := pathStyle(i, path.Emphasis)
			shape := Poly{Lines: [][]XY{lines[i]}}
			s.add(Element{Layer: LayerPaths, Shape: shape, Stroke: white, StrokeWidth: width + 2.6})
			s.add(
				Element{
					Layer:       LayerPaths,
					Shape:       shape,
					Stroke:      ink,
					StrokeWidth: width,
					Dash:        dash,
					Tip:         clean(path.Label),
				},
			)
		}
	}
	if len(paths) == 0 || len(paths) == 1 && paths[0].Letter == "" {
		return nil
	}
	const radius = 8.5
	for i, trace := range traces {
		if len(trace) < 2 {
			continue
		}
		at := letterPlace(traces, i, taken, p)
		taken = append(taken, Rect{X: at.X - radius, Y: at.Y - radius, W: 2 * radius, H: 2 * radius})
		drawLetter(s, LayerPaths, at, letterOf(paths[i].Letter, i), paths[i].Emphasis)
	}
	return taken
}

// drawLetter draws a path's letter in a disc: dark for the chosen line.
func drawLetter(s *Scene, layer Layer, at XY, letter string, emphasis bool) {
	fill, text := white, ink
	if emphasis {
		fill, text = ink, white
	}
	s.add(Element{Layer: layer, Shape: Circle{at.X, at.Y, 8.5}, Fill: fill, Stroke: ink, StrokeWidth: 1.2})
	s.add(
		Element{
			Layer: layer,
			Shape: Text{X: at.X, Y: at.Y + 4, Size: 11, Bold: true, Anchor: Middle, Value: letter},
			Fill:  text,
		},
	)
}

// trace cuts a path at the pins and where the ball has dropped to the middle of a gutter as drawn.
func (p lanePanel) trace(path Path) []Point {
	reach := gutterPx / p.unit / 2
	low, high := lane.MinBoard-reach, lane.MaxBoard+reach
	var line []Point
	for i, point := range path.Points {
		end, done := point, false
		if i > 0 {
			end, done = cutStretch(path.Points[i-1], point, low, high)
		} else if point.Board < low || point.Board > high || point.Ft > lane.LengthFt {
			return nil
		}
		line = append(line, end)
		if done {
			break
		}
	}
	return line
}

// cutStretch returns how far along a stretch the ball stays short of the pins and between two
// boards, and whether it was cut.
func cutStretch(from, to Point, low, high float64) (end Point, cut bool) {
	share := 1.0
	limit := func(a, b, bound float64) {
		if b != a {
			share = min(share, (bound-a)/(b-a))
		}
	}
	if to.Ft > lane.LengthFt {
		limit(from.Ft, to.Ft, lane.LengthFt)
	}
	if to.Board < low {
		limit(from.Board, to.Board, low)
	}
	if to.Board > high {
		limit(from.Board, to.Board, high)
	}
	if share >= 1 {
		return to, false
	}
	share = max(share, 0)
	return Point{from.Board + share*(to.Board-from.Board), from.Ft + share*(to.Ft-from.Ft)}, true
}

// letterPlace picks the spot of a path, between 2 and 40 ft, that is furthest from the other paths
// and from letters already set.
func letterPlace(traces [][]Point, index int, taken []Rect, p lanePanel) XY {
	best := p.at(traces[index][0].Board, traces[index][0].Ft)
	bestGap := math.Inf(-1)
	for ft := 2.0; ft <= 40; ft++ {
		board, ok := crossing(traces[index], ft)
		if !ok {
			continue
		}
		place := p.at(board, ft)
		gap := 40.0 // px; further apart than this is no better
		for other, trace := range traces {
			if otherBoard, ok := crossing(trace, ft); ok && other != index {
				gap = min(gap, math.Abs(otherBoard-board)*p.unit)
			}
		}
		for _, t := range taken {
			gap = min(gap, math.Hypot(t.X+t.W/2-place.X, t.Y+t.H/2-place.Y)-10)
		}
		if gap > bestGap+1e-9 {
			best, bestGap = place, gap
		}
	}
	return best
}

// crossing returns the board at which a path first reaches a distance.
func crossing(trace []Point, ft float64) (board float64, ok bool) {
	for i := 1; i < len(trace); i++ {
		a, b := trace[i-1], trace[i]
		if ft < a.Ft || ft > b.Ft {
			continue
		}
		if a.Ft == b.Ft {
			return a.Board, true
		}
		return a.Board + (b.Board-a.Board)*(ft-a.Ft)/(b.Ft-a.Ft), true
	}
	return 0, false
}

// drawBreakpoints marks each breakpoint by a triangle pointing to the strong-side gutter, with its
// label on the inside where there is room.
func drawBreakpoints(s *Scene, p lanePanel, breakpoints []Breakpoint, taken []Rect) {
	out := -p.inward()
	for _, b := range breakpoints {
		at := p.at(b.Board, b.Ft)
		taken = append(taken, Rect{X: at.X - 9, Y: at.Y - 9, W: 18, H: 18})
	}
	for _, b := range breakpoints {
		at := p.at(b.Board, b.Ft)
		s.add(
			Element{
				Layer:       LayerLabels,
				Shape:       breakpointShape(at, out),
				Fill:        amber,
				Stroke:      ink,
				StrokeWidth: 1.6,
				Tip:         "Breakpoint " + b.label(),
			},
		)
		taken = append(taken, drawPill(s, p, at, b.label(), taken))
	}
}

func breakpointShape(at XY, out float64) Poly {
	return Poly{Lines: [][]XY{{{at.X + 8*out, at.Y}, {at.X - 5*out, at.Y - 7}, {at.X - 5*out, at.Y + 7}}}, Closed: true}
}

func (b Breakpoint) label() string {
	if label := clean(b.Label); label != "" {
		return label
	}
	return fmt.Sprintf("board %s at %s ft", decimal(b.Board), decimal(b.Ft))
}

// decimal writes a number with one decimal, or none for a whole one.
func decimal(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// drawPill writes a label on a white plate beside a point: inside of it first, else the first free
// place around it. It returns the plate.
func drawPill(s *Scene, p lanePanel, at XY, label string, taken []Rect) Rect {
	r := p.laneRect()
	label = fit(label, sizeAxis, r.W-24, false)
	width, height := textWidth(label, sizeAxis, false)+10, 17.0
	in := p.inward()
	edge := func(x, direction float64) float64 { // left edge of a plate that starts at x and runs that way
		if direction < 0 {
			return x - width
		}
		return x
	}
	var places []Rect
	for _, dy := range []float64{0, -14, 14, -28, 28, -42, 42} {
		for _, direction := range []float64{in, -in} {
			places = append(
				places,
				Rect{X: edge(at.X+12*direction, direction), Y: at.Y + dy - height/2, W: width, H: height},
			)
		}
	}
	plate := places[0]
	for _, place := range places {
		if place.X >= r.X+2 && place.X+place.W <= r.X+r.W-2 && place.Y >= r.Y+2 && place.Y+place.H <= r.Y+r.H-6 &&
			!overlapsAny(place, taken) {
			plate = place
			break
		}
	}
	plate.X = max(r.X+2, min(plate.X, r.X+r.W-2-plate.W))
	plate.Radius = 4
	s.add(Element{Layer: LayerLabels, Shape: plate, Fill: white, Stroke: inkSoft, StrokeWidth: 0.8})
	s.add(
		Element{
			Layer: LayerLabels,
			Shape: Text{X: plate.X + width/2, Y: plate.Y + 12.4, Size: sizeAxis, Anchor: Middle, Value: label},
			Fill:  ink,
		},
	)
	return plate
}

func overlapsAny(r Rect, others []Rect) bool {
	for _, other := range others {
		if r.overlaps(other) {
			return true
		}
	}
	return false
}
