package picture

import (
	"fmt"
	"strconv"

	"laneward/service/lane"
)

// column stacks text and keys from the top down.
type column struct {
	scene *Scene
	layer Layer
	x, y  float64
	width float64
	zoom  float64 // of text sizes, 0 for 1: a wide picture has room for larger letters
}

func (c *column) size(px float64) float64 {
	if c.zoom == 0 {
		return px
	}
	return px * c.zoom
}

func (c *column) gap(px float64) { c.y += px }

// captionLines bounds a caption: what a line is worth and what it forgives fits a phone's width in
// twelve.
const captionLines = 14

// paragraph writes a wrapped text; an empty one takes no room.
func (c *column) paragraph(text string, size float64, isBold bool, colour Colour, maxLines int) {
	size = c.size(size)
	c.lines(wrap(text, size, c.width, isBold, maxLines), c.x, size, isBold, colour)
}

func (c *column) lines(lines []string, x, size float64, isBold bool, colour Colour) {
	for _, line := range lines {
		c.y += size * 1.32
		c.scene.add(
			Element{
				Layer: c.layer,
				Shape: Text{X: x, Y: c.y - size*0.3, Size: size, Bold: isBold, Anchor: Start, Value: line},
				Fill:  colour,
			},
		)
	}
}

// keyPx is the room a key's sign takes left of its text.
const keyPx = 34

// key draws a sign about the middle of the first line, and its text beside it.
func (c *column) key(sign func(s *Scene, layer Layer, middle XY), text string, size float64, isBold bool) {
	c.wideKey(keyPx, sign, text, size, isBold)
}

func (c *column) wideKey(
	signPx float64,
	sign func(s *Scene, layer Layer, middle XY),
	text string,
	size float64,
	isBold bool,
) {
	size = c.size(size)
	lines := wrap(text, size, c.width-signPx, isBold, 4)
	if len(lines) == 0 {
		return
	}
	sign(c.scene, c.layer, XY{c.x + signPx/2 - 4, c.y + size*0.68})
	c.lines(lines, c.x+signPx, size, isBold, ink)
	c.gap(3)
}

// key draws a piece of the corridor's edge, on the side of the allowed part that it has on the
// lane.
func (c Corridor) key(side lane.Side, onFilm bool) func(*Scene, Layer, XY) {
	toward := 1.0
	if (side == lane.Left) != (c.FromBoard <= lane.MinBoard) {
		toward = -1
	}
	return func(s *Scene, layer Layer, m XY) {
		if !onFilm {
			s.add(
				Element{Layer: layer, Shape: Rect{X: m.X - 8 - 5*toward, Y: m.Y - 9, W: 16, H: 18}, Fill: corridorTint},
			)
		}
		drawBoundary(s, layer, m.X+3*toward, m.Y-9, m.Y+9, toward)
	}
}

// legend writes below or beside the lane what its signs mean.
func (l Lane) legend(c *column) {
	c.layer = LayerLegend
	l.shotLegend(c)
	l.pathLegend(c)
	if len(l.Breakpoints) > 0 {
		out := 1.0
		if l.Side == lane.Left {
			out = -1
		}
		c.key(func(s *Scene, layer Layer, m XY) {
			s.add(Element{Layer: layer, Shape: breakpointShape(m, out), Fill: amber, Stroke: ink, StrokeWidth: 1.6})
		}, "breakpoint", sizeSmall, false)
	}
	for _, spread := range l.Spreads {
		spread.legend(c)
	}
	if l.Film != nil {
		c.gap(4)
		l.Film.legend(c)
	}
	c.gap(6)
	c.paragraph(
		fmt.Sprintf("Not to scale: widths are drawn %.0f times larger than lengths.", 12/lane.BoardWidthIn),
		sizeAxis,
		false,
		inkSoft,
		2,
	)
}

func (l Lane) shotLegend(c *column) {
	counts := countMarks(l.Shots)
	for _, v := range legendOrder {
		if n := counts.byVerdict[v]; n > 0 {
			c.key(func(s *Scene, layer Layer, m XY) { drawMark(s, layer, m, v, 5, "") },
				strconv.Itoa(n)+" "+verdictWord(v), sizeBody, false)
		}
	}
	if counts.inGutter > 0 {
		c.paragraph(
			fmt.Sprintf("%s drawn in the gutter: the board is off the lane.", plural(counts.inGutter, "shot")),
			sizeSmall,
			false,
			inkSoft,
			2,
		)
	}
}

func (l Lane) pathLegend(c *column) {
	for i, path := range l.Paths {
		label := clean(path.Label)
		if label == "" && len(l.Paths) == 1 && path.Letter == "" {
			label = "ball path"
		} else if label == "" {
			label = "path " + letterOf(path.Letter, i)
		}
		width, dash := pathStyle(i, path.Emphasis)
		if len(l.Paths) == 1 && path.Letter == "" {
			c.key(func(s *Scene, layer Layer, m XY) {
				s.add(
					Element{
						Layer:       layer,
						Shape:       Poly{Lines: [][]XY{{{m.X - 13, m.Y}, {m.X + 13, m.Y}}}},
						Stroke:      ink,
						StrokeWidth: width,
						Dash:        dash,
					},
				)
			}, label, sizeSmall, path.Emphasis)
			continue
		}
		c.wideKey(keyPx+26, func(s *Scene, layer Layer, m XY) {
			s.add(
				Element{
					Layer:       layer,
					Shape:       Poly{Lines: [][]XY{{{m.X - 8, m.Y}, {m.X + 26, m.Y}}}},
					Stroke:      ink,
					StrokeWidth: width,
					Dash:        dash,
				},
			)
			drawLetter(s, layer, XY{m.X - 16, m.Y}, letterOf(path.Letter, i), path.Emphasis)
		}, label, sizeSmall, path.Emphasis)
		c.gap(3)
	}
}

// legend draws the colour steps with the film they represent, bare lane apart.
func (film *Film) legend(c *column) {
	c.paragraph("oil film, "+film.unitName(), sizeSmall, true, ink, 2)
	c.gap(4)
	const bare, height = 26.0, 14.0
	none := Rect{X: c.x + 4, Y: c.y, W: bare, H: height}
	c.scene.add(Element{Layer: c.layer, Shape: none, Fill: maple, Stroke: inkSoft, StrokeWidth: 0.8})
	label := func(x float64, text string) {
		c.scene.add(
			Element{
				Layer: c.layer,
				Shape: Text{X: x, Y: c.y + height + 14, Size: sizeAxis, Anchor: Middle, Value: text},
				Fill:  ink,
			},
		)
	}
	label(none.X+bare/2, "none")
	top := film.top() / film.perUnit()
	if top > 0 {
		x0 := none.X + bare + 18
		step := float64(int(min(c.width-bare-46, 320) / filmLevels))
		for level := 1; level <= filmLevels; level++ {
			c.scene.add(
				Element{
					Layer: c.layer,
					Shape: Rects{{X: x0 + float64(level-1)*step, Y: c.y, W: step, H: height}},
					Fill:  levelColour(level),
				},
			)
		}
		c.scene.add(
			Element{
				Layer:       c.layer,
				Shape:       Rect{X: x0, Y: c.y, W: step * filmLevels, H: height},
				Stroke:      inkSoft,
				StrokeWidth: 0.8,
			},
		)
		for _, v := range ticks(0, top, 6) {
			label(x0+step*filmLevels*v/top, tickText(v))
		}
	}
	c.gap(height + 18)
}
