package picture

import (
	"fmt"
	"math"
	"strings"
)

func (m MissMap) legend(c *column) {
	for i, aim := range m.Aims {
		label := clean(aim.Label)
		if label == "" {
			label = fmt.Sprintf("laydown %s, launch angle %s degrees", decimal(aim.LaydownBoard), decimal(aim.AngleDeg))
		}
		c.key(func(s *Scene, layer Layer, at XY) {
			if len(m.Aims) == 1 && aim.Letter == "" {
				drawTarget(s, layer, at, "")
				return
			}
			drawLetter(s, layer, at, letterOf(aim.Letter, i), aim.Emphasis)
		}, label, sizeSmall, aim.Emphasis)
		c.gap(3)
	}
	for i, share := range m.Contours {
		c.key(func(s *Scene, layer Layer, at XY) {
			line := Poly{Lines: [][]XY{{{at.X - 12, at.Y}, {at.X + 12, at.Y}}}}
			s.add(Element{Layer: layer, Shape: line, Stroke: ink, StrokeWidth: 3.6})
			s.add(Element{Layer: layer, Shape: line, Stroke: white, StrokeWidth: 1.6, Dash: coverageDash(i)})
		}, "Inside this outline: "+figure(100*share)+" % or better", sizeSmall, false)
	}
	for _, spread := range m.Spreads {
		spread.legend(c)
	}
	c.gap(4)
	m.scale(c)
}

func (m MissMap) shareName() string {
	if name := clean(m.ShareName); name != "" {
		return name
	}
	return "the athlete's shots that reach the pocket"
}

func (m MissMap) scale(c *column) {
	c.paragraph(m.shareName()+", %", sizeSmall, true, ink, 2)
	c.gap(4)
	const height = 14.0
	label := func(x float64, text string, anchor Anchor) {
		c.scene.add(
			Element{
				Layer: c.layer,
				Shape: Text{X: x, Y: c.y + height + 14, Size: sizeAxis, Anchor: anchor, Value: text},
				Fill:  ink,
			},
		)
	}
	x0 := c.x + 8
	cell := math.Floor(min(c.width-100, 320) / shareLevels)
	for level := range shareLevels {
		c.scene.add(
			Element{
				Layer: c.layer,
				Shape: Rects{{X: x0 + float64(level)*cell, Y: c.y, W: cell, H: height}},
				Fill:  shareColour(level),
			},
		)
	}
	c.scene.add(
		Element{
			Layer:       c.layer,
			Shape:       Rect{X: x0, Y: c.y, W: cell * shareLevels, H: height},
			Stroke:      inkSoft,
			StrokeWidth: 0.8,
		},
	)
	top := 100 * m.top()
	for _, v := range ticks(0, top, 5) {
		label(x0+cell*shareLevels*v/top, tickText(v), Middle)
	}
	if m.hasGaps() {
		x := x0 + cell*shareLevels + 34
		c.scene.add(
			Element{
				Layer:       c.layer,
				Shape:       Rect{X: x - 13, Y: c.y, W: 26, H: height},
				Fill:        notKnown,
				Stroke:      inkSoft,
				StrokeWidth: 0.8,
			},
		)
		label(x, "not run", Middle)
	}
	c.gap(height + 18)
}

func (m MissMap) hasGaps() bool {
	for _, row := range m.Share {
		for _, v := range row {
			if math.IsNaN(v) {
				return true
			}
		}
	}
	return false
}

func (m MissMap) describe() string {
	parts := []string{
		fmt.Sprintf(
			"Share of %s, for laydown boards %s to %s and launch angles %s to %s degrees.",
			m.shareName(),
			decimal(
				m.LaydownBoards[0],
			),
			decimal(m.LaydownBoards[len(m.LaydownBoards)-1]),
			decimal(m.AnglesDeg[0]),
			decimal(m.AnglesDeg[len(m.AnglesDeg)-1]),
		),
	}
	best, bestAt := -1.0, [2]int{}
	for i, row := range m.Share {
		for j, v := range row {
			if v > best { // false for NaN
				best, bestAt = v, [2]int{i, j}
			}
		}
	}
	if best >= 0 {
		parts = append(parts, fmt.Sprintf("The best is %s %% at laydown %s and %s degrees.",
			figure(100*best), decimal(m.LaydownBoards[bestAt[0]]), decimal(m.AnglesDeg[bestAt[1]])))
	}
	for _, aim := range m.Aims {
		parts = append(parts, sentence(aim.Label))
	}
	return strings.TrimSpace(strings.Join(parts, " "))
}
