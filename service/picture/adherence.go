package picture

import (
	"fmt"
	"math"
	"strings"
)

// Adherence describes bars of how far a drill was kept to, one row an athlete or a session. It
// reads without colour: what was kept is hatched, the interval is a beam, the pass mark a flag.
type Adherence struct {
	Title   string
	Caption string
	WidthPx int // 0 means DefaultWidthPx
	Rows    []AdherenceRow
}

// AdherenceRow is one bar. Shots also counts those that could not be judged.
type AdherenceRow struct {
	Label               string
	Kept, Judged, Shots int
	// Share is what the bar shows, with the error of measurement allowed for; Kept of Judged when
	// nil.
	Share               *float64
	LowShare, HighShare float64 // 95 % interval of the share; not read when no shot was judged
	PassShare           float64 // the drill's pass mark, 0 for none
	Verdict             string  // in words, such as "met" or "too few shots"
}

// Scene checks the description and lays it out. The error names every fault and how to fix it.
func (a Adherence) Scene() (Scene, error) {
	width, err := a.check()
	if err != nil {
		return Scene{}, err
	}
	width = min(width, 720)
	s := Scene{Width: width, Title: clean(a.Title)}
	if s.Title == "" {
		s.Title = "Adherence"
	}
	const margin = 12
	c := &column{scene: &s, layer: LayerFrame, x: margin, y: margin, width: width - 2*margin}
	c.paragraph(a.Title, sizeTitle, true, ink, 3)
	c.paragraph(a.Caption, sizeBody, false, inkSoft, captionLines)
	var words []string
	for _, row := range a.Rows {
		c.gap(10)
		row.draw(c)
		words = append(words, sentence(row.Label+": "+row.headline()+", "+row.detail()))
	}
	a.axis(c)
	s.Desc = strings.Join(words, " ")
	s.Height = math.Ceil(c.y + margin)
	return s, nil
}

func (r AdherenceRow) headline() string {
	if r.Judged == 0 {
		return "not judged"
	}
	text := fmt.Sprintf("%.0f %% kept", 100*r.share())
	if verdict := clean(r.Verdict); verdict != "" {
		text += ", " + verdict
	}
	return text
}

func (r AdherenceRow) share() float64 {
	if r.Share != nil {
		return *r.Share
	}
	return float64(r.Kept) / float64(r.Judged)
}

func (r AdherenceRow) detail() string {
	if r.Judged == 0 {
		return fmt.Sprintf("none of %s could be judged", plural(r.Shots, "shot"))
	}
	text := fmt.Sprintf(
		"%d of %d judged, 95 %% interval %.0f to %.0f %%",
		r.Kept,
		r.Judged,
		100*r.LowShare,
		100*r.HighShare,
	)
	if missing := r.Shots - r.Judged; missing > 0 {
		text += fmt.Sprintf("; %d not measured", missing)
	}
	return text
}

const barPx = 20

// draw writes the row's words and draws its bar on the full width of the column, which represents 0
// to 100 %.
func (r AdherenceRow) draw(c *column) {
	s := c.scene
	top := c.y
	headline := r.headline()
	c.paragraph(fit(r.Label, sizeBody, c.width-textWidth(headline, sizeBody, true)-12, true), sizeBody, true, ink, 1)
	s.add(
		Element{
			Layer: LayerFrame,
			Shape: Text{
				X:      c.x + c.width,
				Y:      top + sizeBody*1.02,
				Size:   sizeBody,
				Bold:   true,
				Anchor: End,
				Value:  headline,
			},
			Fill: ink,
		},
	)
	c.y = top + sizeBody*1.32
	c.paragraph(r.detail(), sizeSmall, false, inkSoft, 2)
	c.gap(4)
	if r.PassShare > 0 {
		r.flag(c)
	}
	y := c.y
	x := func(share float64) float64 { return c.x + share*c.width }
	s.add(Element{Layer: LayerFrame, Shape: Rect{X: c.x, Y: y, W: c.width, H: barPx}, Fill: mist})
	if r.Judged > 0 {
		share := r.share()
		s.add(Element{Layer: LayerFrame, Shape: Rect{X: c.x, Y: y, W: share * c.width, H: barPx}, Fill: blue})
		s.add(
			Element{
				Layer:       LayerFrame,
				Shape:       Poly{Lines: hatch(Rect{X: c.x, Y: y, W: share * c.width, H: barPx}, 9)},
				Stroke:      white.alpha(0.3),
				StrokeWidth: 2,
			},
		)
		beam := [][]XY{
			{{x(r.LowShare), y + barPx/2}, {x(r.HighShare), y + barPx/2}},
			{{x(r.LowShare), y + 4}, {x(r.LowShare), y + barPx - 4}},
			{{x(r.HighShare), y + 4}, {x(r.HighShare), y + barPx - 4}},
		}
		s.add(Element{Layer: LayerFrame, Shape: Poly{Lines: beam}, Stroke: white, StrokeWidth: 5})
		s.add(Element{Layer: LayerFrame, Shape: Poly{Lines: beam}, Stroke: ink, StrokeWidth: 2})
	}
	s.add(Element{Layer: LayerFrame, Shape: Rect{X: c.x, Y: y, W: c.width, H: barPx}, Stroke: inkSoft, StrokeWidth: 1})
	if r.PassShare > 0 {
		mark := Poly{Lines: [][]XY{{{x(r.PassShare), y - 8}, {x(r.PassShare), y + barPx + 4}}}}
		s.add(Element{Layer: LayerFrame, Shape: mark, Stroke: white, StrokeWidth: 5})
		s.add(Element{Layer: LayerFrame, Shape: mark, Stroke: vermilion, StrokeWidth: 2.4, Dash: []float64{5, 3}})
	}
	c.gap(barPx + 6)
}

// flag writes the pass mark above the bar.
func (r AdherenceRow) flag(c *column) {
	text := fmt.Sprintf("pass mark %.0f %%", 100*r.PassShare)
	half := textWidth(text, sizeAxis, false) / 2
	at := c.x + r.PassShare*c.width
	c.scene.add(Element{Layer: LayerFrame, Shape: Text{
		X: max(c.x+half, min(at, c.x+c.width-half)), Y: c.y + 10, Size: sizeAxis, Anchor: Middle, Value: text,
	}, Fill: vermilion})
	c.gap(22)
}

// hatch returns slanted lines over a rectangle, gap px apart.
func hatch(r Rect, gap float64) [][]XY {
	var lines [][]XY
	for x := r.X - r.H + gap; x < r.X+r.W; x += gap {
		from, to := math.Max(x, r.X), math.Min(x+r.H, r.X+r.W)
		lines = append(lines, []XY{{from, r.Y + r.H - (from - x)}, {to, r.Y + r.H - (to - x)}})
	}
	return lines
}

func (a Adherence) axis(c *column) {
	for _, percent := range []int{0, 25, 50, 75, 100} {
		x := c.x + c.width*float64(percent)/100
		anchor := Middle
		switch percent {
		case 0:
			anchor = Start
		case 100:
			anchor = End
		}
		c.scene.add(
			Element{
				Layer: LayerFrame,
				Shape: Text{X: x, Y: c.y + 11, Size: sizeAxis, Anchor: anchor, Value: fmt.Sprintf("%d %%", percent)},
				Fill:  inkSoft,
			},
		)
	}
	c.gap(16)
}

func (a Adherence) check() (width float64, err error) {
	var f faults
	width, widthErr := checkWidth(a.WidthPx)
	if widthErr != nil {
		f.add("%w", widthErr)
	}
	if len(a.Rows) == 0 || len(a.Rows) > 100 {
		f.add("%d rows are given: give 1 to 100", len(a.Rows))
	}
	for i, r := range a.Rows {
		what := fmt.Sprintf("row %d", i+1)
		if r.Kept < 0 || r.Kept > r.Judged || r.Judged > r.Shots {
			f.add(
				"%s: %d kept of %d judged of %d shots cannot be: each holds the one before",
				what,
				r.Kept,
				r.Judged,
				r.Shots,
			)
		}
		f.within(what+": pass share", r.PassShare, 0, 1)
		if r.Judged == 0 {
			continue
		}
		f.within(what+": lower end of the interval", r.LowShare, 0, 1)
		f.within(what+": upper end of the interval", r.HighShare, 0, 1)
		if share := r.share(); r.LowShare > share+1e-9 || r.HighShare < share-1e-9 {
			f.add("%s: the interval %g to %g does not hold the share %g", what, r.LowShare, r.HighShare, share)
		}
	}
	return width, f.err()
}
