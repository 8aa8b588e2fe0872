package picture

import (
	"math"

	"laneward/service/lane"
)

// Lane describes a picture of one lane as one athlete sees it: the foul line at the bottom, the
// pins at the top. Everything but Side is optional.
type Lane struct {
	Side    lane.Side
	Title   string
	Caption string
	WidthPx int // at most this wide; 0 means DefaultWidthPx. From WideWidthPx on, the legend is beside the lane.

	Film        *Film
	Corridors   []Corridor
	Paths       []Path
	Shots       []Mark
	Breakpoints []Breakpoint
	Spreads     []Spread // X is the board, Y the distance in feet
	// Standing is the leave drawn on the deck: nil draws the full rack, an empty set a strike.
	Standing *lane.PinSet
}

// Film is the oil on the lane.
type Film struct {
	// UL is the film in microlitres per board-foot: first index the board counted from the RIGHT
	// gutter less 1 (the lane's own count, whoever bowls), second the foot from the foul line. Cell
	// [0][0] is board 1, feet 0 to 1.
	UL [lane.Boards][60]float64
	// MaxUL is the top of the colour scale; 0 takes the largest cell. Give the same for pictures
	// that are to be compared; film above it takes the top colour.
	MaxUL float64
	// Unit is the unit of the legend; empty means microlitres.
	Unit FilmUnit
}

// FilmUnit is the unit the film's legend is written in.
type FilmUnit string

// The two units. One oil unit is 0.0167 mL per square foot, 1.4809 microlitres per board-foot.
const (
	Microlitres FilmUnit = "microlitres"
	OilUnits    FilmUnit = "oil_units"
)

// ULPerOilUnit is one oil unit in microlitres per board-foot: 0.0167 mL on a square foot, of which
// a board takes 41.5/39/12.
const ULPerOilUnit = 16.7 * lane.BoardWidthIn / 12

// Point is a point of a ball's path: the board as the athlete counts it, and feet from the foul
// line.
type Point struct{ Board, Ft float64 }

// Path is a ball's path, by rising distance; where it leaves the lane it is drawn into the gutter
// and ends there.
type Path struct {
	Points   []Point
	Label    string
	Letter   string // as other pictures of the same lines have it; empty for its place here
	Emphasis bool   // the chosen line: drawn thicker and solid
}

// Verdict is the verdict of a drill on a shot.
type Verdict string

// The verdicts; NoVerdict is a shot that no drill judged.
const (
	NoVerdict Verdict = ""
	Kept      Verdict = "kept"
	Broken    Verdict = "broken"
	Unknown   Verdict = "unknown"
)

// Mark is one shot at one place of the lane. A board off the lane is drawn in the gutter on that
// side and counted in the legend.
type Mark struct {
	Board, Ft float64
	Verdict   Verdict
	Label     string // shown when the pointer rests on the mark
}

// Corridor is the part of the lane a rule allows. Boards are exact positions, so "board 10 or
// inside" is from 9.5 to lane.MaxBoard, and a side without a bound lies at lane.MinBoard or
// lane.MaxBoard. FromFt equal to ToFt is a gate across the lane, such as a rule at the arrows; a
// corridor shorter than 28 px is drawn that long.
type Corridor struct {
	FromBoard, ToBoard float64
	FromFt, ToFt       float64
	Sentence           string
}

// Breakpoint marks where a path is outermost. An empty Label is written as the place itself.
type Breakpoint struct {
	Board, Ft float64
	Label     string
}

// Scene checks the description and lays it out. The error names every fault and how to fix it.
func (l Lane) Scene() (Scene, error) {
	width, err := l.check()
	if err != nil {
		return Scene{}, err
	}
	s := Scene{Width: width, Title: clean(l.Title)}
	if s.Title == "" {
		s.Title = "Bowling lane"
	}
	s.Desc = l.describe()

	const margin = 12
	if width >= WideWidthPx {
		panel := newLanePanel(l.Side, 4, 4+min(0.56*width, widestPanelPx), margin)
		l.drawLane(&s, panel)
		side := &column{scene: &s, x: panel.x1 + 2*margin, y: margin, zoom: 1.15}
		side.width = min(width-margin-side.x, 480)
		s.Width = side.x + side.width + margin
		l.heading(side)
		side.gap(8)
		l.legend(side)
		s.Height = math.Ceil(max(panel.end, side.y) + margin)
		return s, nil
	}
	all := &column{scene: &s, x: margin, y: margin, width: width - 2*margin}
	l.heading(all)
	panel := newLanePanel(l.Side, 2, width-2, all.y+4)
	l.drawLane(&s, panel)
	all.y = panel.end + 10
	l.legend(all)
	s.Height = math.Ceil(all.y + margin)
	return s, nil
}

// heading writes title, caption and the corridors' sentences: what the coach asked for is written
// above what happened.
func (l Lane) heading(c *column) {
	c.layer = LayerFrame
	c.paragraph(l.Title, sizeTitle, true, ink, 3)
	c.paragraph(l.Caption, sizeBody, false, inkSoft, captionLines)
	for _, corridor := range l.Corridors {
		c.gap(4)
		c.key(corridor.key(l.Side, l.Film != nil), corridor.Sentence, sizeBody, true)
	}
}

// drawLane draws everything that mirrors for a left-hander, from the bottom up.
func (l Lane) drawLane(s *Scene, p lanePanel) {
	p.drawBase(s)
	if l.Film != nil {
		l.Film.draw(s, p)
	} else {
		for _, corridor := range l.Corridors {
			corridor.drawTint(s, p)
		}
		p.drawSeams(s)
	}
	p.drawMarkings(s, l.Film != nil)
	for _, corridor := range l.Corridors {
		corridor.draw(s, p)
	}
	p.drawFrame(s)
	p.drawAxes(s, l.Side)
	p.drawPins(s, l.Standing)
	for _, spread := range l.Spreads {
		spread.draw(s, p.at, bounds, LayerSpread)
	}
	taken := drawPaths(s, p, l.Paths)
	drawMarks(s, p, l.Shots)
	drawBreakpoints(s, p, l.Breakpoints, taken)
}
