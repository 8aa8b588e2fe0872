package picture

import (
	"fmt"
	"math"

	"laneward/service/lane"
)

// MissMap describes the picture of what each aim is worth: the share of the athlete's own shots
// that does the job, over laydown board and launch angle. The board axis runs as on the lane, board
// 1 on the athlete's strong side.
type MissMap struct {
	Side    lane.Side
	Title   string
	Caption string
	WidthPx int // 0 means DefaultWidthPx

	LaydownBoards []float64 // board at the foul line of each column of cells, rising in equal steps
	AnglesDeg     []float64 // launch angle of each row, rising in equal steps, positive toward the strong-side gutter
	// Share is 0 to 1, first index the laydown, second the angle; NaN is a cell that was not
	// computed.
	Share [][]float64
	// MaxShare is the top of the colour scale; 0 takes the largest share, rounded up to a tenth.
	MaxShare float64
	// ShareName says in the legend what the share is of; empty means "the athlete's shots that
	// reach the pocket".
	ShareName string

	// Contours are shares to outline, such as 0.5.
	Contours []float64
	Aims     []Aim
	Spreads  []Spread // X is the laydown board, Y the launch angle in degrees
}

// Aim marks a line on the miss map.
type Aim struct {
	LaydownBoard, AngleDeg float64
	Label                  string
	Letter                 string // as other pictures of the same lines have it; empty for its place here
	Emphasis               bool   // the chosen line
}

const shareLevels = 20

// Scene checks the description and lays it out. The error names every fault and how to fix it.
func (m MissMap) Scene() (Scene, error) {
	width, err := m.check()
	if err != nil {
		return Scene{}, err
	}
	s := Scene{Width: width, Title: clean(m.Title), Desc: m.describe()}
	if s.Title == "" {
		s.Title = "Miss map"
	}
	plotPage(&s, m.Title, m.Caption, func(width, top float64) Rect {
		plot := m.panel(width, top)
		m.drawPlot(&s, plot)
		return plot.area
	}, m.legend)
	return s, nil
}

func (m MissMap) drawPlot(s *Scene, plot plotPanel) {
	m.drawCells(s, plot)
	m.drawContours(s, plot)
	for _, spread := range m.Spreads {
		spread.draw(s, plot.at, plot.bounds(), LayerSpread)
	}
	plot.drawAxes(
		s,
		m.boardTicks(),
		ticks(plot.y0, plot.y1, 8),
		"laydown, board from the "+string(m.Side)+" gutter",
		"launch angle, degrees toward the gutter",
	)
	m.drawAims(s, plot)
}

// panel fits whole px cells between the margins: columns from the width, rows so that the plot is
// about as high as wide.
func (m MissMap) panel(width, top float64) plotPanel {
	columns, rows := len(m.LaydownBoards), len(m.AnglesDeg)
	room := width - plotAxisPx - 2 - 14
	cellW := max(1, math.Floor(room/float64(columns)))
	cellH := max(1, math.Round(min(room, 480)*1.1/float64(rows)))
	w, h := cellW*float64(columns), cellH*float64(rows)
	stepX, stepY := step(m.LaydownBoards), step(m.AnglesDeg)
	area := Rect{X: math.Round(2 + plotAxisPx + (room-w)/2), Y: math.Round(top), W: w, H: h}
	east := m.Side == lane.Left
	if east {
		area.X = width - area.X - area.W
	}
	return plotPanel{
		area: area, layer: LayerLane, growsLeft: m.Side == lane.Right, axisOnEast: east,
		x0: m.LaydownBoards[0] - stepX/2, x1: m.LaydownBoards[columns-1] + stepX/2,
		y0: m.AnglesDeg[0] - stepY/2, y1: m.AnglesDeg[rows-1] + stepY/2,
	}
}

func step(values []float64) float64 {
	return (values[len(values)-1] - values[0]) / float64(len(values)-1)
}

// boardTicks are whole boards at round steps.
func (m MissMap) boardTicks() []float64 {
	var whole []float64
	for _, v := range ticks(m.LaydownBoards[0], m.LaydownBoards[len(m.LaydownBoards)-1], 8) {
		if v == math.Round(v) {
			whole = append(whole, v)
		}
	}
	return whole
}

func (m MissMap) top() float64 {
	if m.MaxShare > 0 {
		return m.MaxShare
	}
	largest := 0.1
	for _, row := range m.Share {
		for _, v := range row {
			if v > largest { // false for NaN
				largest = v
			}
		}
	}
	return min(1, math.Ceil(largest*10-1e-9)/10)
}

func (m MissMap) drawCells(s *Scene, p plotPanel) {
	top := m.top()
	levels := make([][]int, len(m.Share))
	for i, row := range m.Share {
		levels[i] = make([]int, len(row))
		for j, v := range row {
			levels[i][j] = shareLevels // not computed
			if !math.IsNaN(v) {
				levels[i][j] = min(int(v/top*shareLevels), shareLevels-1)
			}
		}
	}
	rects := make([]Rects, shareLevels+1)
	cellW, cellH := p.area.W/float64(len(m.LaydownBoards)), p.area.H/float64(len(m.AnglesDeg))
	for _, b := range cover(levels) {
		r := Rect{
			X: p.area.X + float64(b.i0)*cellW,
			W: float64(b.i1-b.i0) * cellW,
			Y: p.area.Y + p.area.H - float64(b.j1)*cellH,
			H: float64(b.j1-b.j0) * cellH,
		}
		if p.growsLeft {
			r.X = p.area.X + p.area.W - float64(b.i1)*cellW
		}
		rects[b.value] = append(rects[b.value], r)
	}
	for level, cells := range rects {
		if len(cells) > 0 {
			s.add(Element{Layer: LayerFilm, Shape: cells, Fill: shareColour(level)})
		}
	}
}

// shareColour runs from dark blue for none to yellow for the most; the level beyond the last is a
// cell that was not computed.
func shareColour(level int) Colour {
	if level == shareLevels {
		return notKnown
	}
	return Cividis((float64(level) + 0.5) / shareLevels)
}

func (m MissMap) drawContours(s *Scene, p plotPanel) {
	for i, share := range m.Contours {
		lines := contourLines(m.Share, share)
		for _, line := range lines {
			for k, q := range line {
				line[k] = p.at(m.LaydownBoards[0]+q.X*step(m.LaydownBoards), m.AnglesDeg[0]+q.Y*step(m.AnglesDeg))
			}
		}
		if len(lines) == 0 {
			continue
		}
		s.add(Element{Layer: LayerSpread, Shape: Poly{Lines: lines}, Stroke: ink, StrokeWidth: 3.6})
		s.add(
			Element{
				Layer:       LayerSpread,
				Shape:       Poly{Lines: lines},
				Stroke:      white,
				StrokeWidth: 1.6,
				Dash:        coverageDash(i),
			},
		)
	}
}

func (m MissMap) drawAims(s *Scene, p plotPanel) {
	for _, emphasised := range []bool{false, true} {
		for i, aim := range m.Aims {
			if aim.Emphasis != emphasised {
				continue
			}
			at := p.at(aim.LaydownBoard, aim.AngleDeg)
			if len(m.Aims) == 1 && aim.Letter == "" {
				drawTarget(s, LayerLabels, at, clean(aim.Label))
				continue
			}
			s.add(Element{Layer: LayerLabels, Shape: Circle{at.X, at.Y, 10.5}, Fill: white, Tip: clean(aim.Label)})
			drawLetter(s, LayerLabels, at, letterOf(aim.Letter, i), aim.Emphasis)
		}
	}
}

// drawTarget draws a ring with a dot, readable on any colour.
func drawTarget(s *Scene, layer Layer, at XY, tip string) {
	s.add(Element{Layer: layer, Shape: Circle{at.X, at.Y, 8}, Stroke: white, StrokeWidth: 5})
	s.add(Element{Layer: layer, Shape: Circle{at.X, at.Y, 8}, Stroke: ink, StrokeWidth: 2.4, Tip: tip})
	s.add(Element{Layer: layer, Shape: Circle{at.X, at.Y, 2.6}, Fill: ink, Stroke: white, StrokeWidth: 1.2})
}

func (m MissMap) check() (width float64, err error) {
	var f faults
	width, widthErr := checkWidth(m.WidthPx)
	if widthErr != nil {
		f.add("%w", widthErr)
	}
	if m.Side != lane.Right && m.Side != lane.Left {
		f.add("side %q is unknown: give right or left", m.Side)
	}
	f.evenly("laydown boards", m.LaydownBoards, lane.MinBoard, lane.MaxBoard)
	f.evenly("launch angles", m.AnglesDeg, -45, 45)
	if len(m.Share) != len(m.LaydownBoards) {
		f.add(
			"shares are given for %d laydowns, but there are %d: give one row a laydown",
			len(m.Share),
			len(m.LaydownBoards),
		)
	}
	for i, row := range m.Share {
		if len(row) != len(m.AnglesDeg) {
			f.add("shares of laydown %d are given for %d angles, but there are %d", i+1, len(row), len(m.AnglesDeg))
		}
		for j, v := range row {
			if !math.IsNaN(v) && !(v >= 0 && v <= 1) {
				f.add("share of laydown %d, angle %d is %g: give 0 to 1, or NaN where it was not computed", i+1, j+1, v)
			}
		}
	}
	f.within("top of the colour scale", m.MaxShare, 0, 1)
	for i, c := range m.Contours {
		f.within(fmt.Sprintf("contour %d", i+1), c, 0, 1)
	}
	if len(m.Aims) > maxPaths {
		f.add("%d aims are too many to tell apart: give at most %d", len(m.Aims), maxPaths)
	}
	if f.err() == nil {
		m.checkAims(&f)
	}
	for i, spread := range m.Spreads {
		spread.check(&f, fmt.Sprintf("spread %d", i+1))
	}
	return width, f.err()
}

func (m MissMap) checkAims(f *faults) {
	for i, aim := range m.Aims {
		f.within(
			fmt.Sprintf("aim %d: laydown board", i+1),
			aim.LaydownBoard,
			m.LaydownBoards[0],
			m.LaydownBoards[len(m.LaydownBoards)-1],
		)
		f.within(
			fmt.Sprintf("aim %d: launch angle", i+1),
			aim.AngleDeg,
			m.AnglesDeg[0],
			m.AnglesDeg[len(m.AnglesDeg)-1],
		)
	}
}

// evenly adds faults unless there are 2 to 300 values that rise in equal steps between low and
// high.
func (f *faults) evenly(what string, values []float64, low, high float64) {
	if len(values) < 2 || len(values) > 300 {
		f.add("%d %s are given: give 2 to 300", len(values), what)
		return
	}
	for i, v := range values {
		f.within(fmt.Sprintf("%s, value %d", what, i+1), v, low, high)
	}
	want := step(values)
	if !(want > 0) {
		f.add("%s do not rise: give them in rising order", what)
		return
	}
	for i := 1; i < len(values); i++ {
		if math.Abs(values[i]-values[i-1]-want) > 1e-6*want {
			f.add(
				"%s do not rise in equal steps: from value %d to %d it is %g, elsewhere %g",
				what,
				i,
				i+1,
				values[i]-values[i-1],
				want,
			)
			return
		}
	}
}
