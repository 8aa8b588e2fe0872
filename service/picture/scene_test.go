package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"laneward/service/lane"
)

// atEachWidth lays every demo out at a phone's, a tablet's and a desk's width.
func atEachWidth(t *testing.T, check func(t *testing.T, s Scene)) {
	t.Helper()
	for _, widthPx := range []int{MinWidthPx, 390, WideWidthPx, 1280} {
		for _, d := range demos(t) {
			var scene Scene
			var err error
			switch p := d.picture.(type) {
			case Lane:
				p.WidthPx = widthPx
				scene, err = p.Scene()
			case MissMap:
				p.WidthPx = widthPx
				scene, err = p.Scene()
			case Adherence:
				p.WidthPx = widthPx
				scene, err = p.Scene()
			}
			if err != nil {
				t.Fatal(err)
			}
			t.Run(fmt.Sprintf("%s at %d", d.name, widthPx), func(t *testing.T) { check(t, scene) })
		}
	}
}

func texts(s Scene) []Text {
	var found []Text
	for _, e := range s.Elements {
		if text, ok := e.Shape.(Text); ok {
			found = append(found, text)
		}
	}
	return found
}

func TestTextIsLargeEnoughAndInsideThePicture(t *testing.T) {
	atEachWidth(t, func(t *testing.T, s Scene) {
		for _, text := range texts(s) {
			box := text.box()
			if text.Size < 11 {
				t.Errorf("%q is %g px high, under 11", text.Value, text.Size)
			}
			if box.X < 0 || box.Y < 0 || box.X+box.W > s.Width || box.Y+box.H > s.Height {
				t.Errorf("%q lies at %+v, outside %g x %g", text.Value, box, s.Width, s.Height)
			}
		}
	})
}

func TestTextsDoNotOverlap(t *testing.T) {
	atEachWidth(t, func(t *testing.T, s Scene) {
		all := texts(s)
		for i, a := range all {
			for _, b := range all[i+1:] {
				if a.box().overlaps(b.box()) {
					t.Errorf("%q at %+v overlaps %q at %+v", a.Value, a.box(), b.Value, b.box())
				}
			}
		}
	})
}

// TestTextContrast looks at the pixels that lie under each text and asks for WCAG AA's 4.5:1
// against every one of them.
func TestTextContrast(t *testing.T) {
	atEachWidth(t, func(t *testing.T, s Scene) {
		bare := s
		bare.Elements = nil
		for _, e := range s.Elements {
			if _, ok := e.Shape.(Text); !ok {
				bare.Elements = append(bare.Elements, e)
			}
		}
		img, err := bare.Image(2)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range s.Elements {
			text, ok := e.Shape.(Text)
			if !ok {
				continue
			}
			box := text.box()
			for y := int(2 * box.Y); y < int(2*(box.Y+box.H)); y++ {
				for x := int(2 * box.X); x < int(2*(box.X+box.W)); x++ {
					p := img.RGBAAt(x, y)
					if ratio := contrastRatio(e.Fill, Colour(p)); ratio < 4.5 {
						t.Fatalf(
							"%q stands at %.2f:1 against %s at (%d, %d)/2, under 4.5",
							text.Value,
							ratio,
							Colour(p).Hex(),
							x,
							y,
						)
					}
				}
			}
		}
	})
}

func TestSVGIsWellFormedAndNamed(t *testing.T) {
	for _, d := range demos(t) {
		t.Run(d.name, func(t *testing.T) {
			scene, err := d.picture.Scene()
			if err != nil {
				t.Fatal(err)
			}
			checkSVG(t, scene)
			if again, err := d.picture.Scene(); err != nil || !bytes.Equal(scene.SVG(), again.SVG()) {
				t.Errorf("a second drawing differs from the first (%v)", err)
			}
		})
	}
}

// checkSVG parses the SVG and asks for role, title and description, and for finite numbers.
func checkSVG(t interface {
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
}, s Scene,
) {
	svg := s.SVG()
	decoder := xml.NewDecoder(bytes.NewReader(svg))
	names := map[string]int{}
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not well formed: %v", err)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		names[start.Name.Local]++
		for _, a := range start.Attr {
			if a.Name.Local != "class" && (strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf")) {
				t.Errorf("<%s %s=%q> is no number", start.Name.Local, a.Name.Local, a.Value)
			}
			if start.Name.Local == "svg" && a.Name.Local == "role" && a.Value != "img" {
				t.Errorf("role is %q", a.Value)
			}
		}
	}
	if names["svg"] != 1 || names["title"] < 1 || names["desc"] != 1 || names["script"] != 0 {
		t.Errorf("elements are %v", names)
	}
	if strings.TrimSpace(s.Title) == "" || strings.TrimSpace(s.Desc) == "" {
		t.Errorf("title %q, description %q", s.Title, s.Desc)
	}
}

func TestTextIsEscapedAndCutToFit(t *testing.T) {
	nasty := `<script>alert("1")</script> & 'x' ]]>` + "\x00\x1f\u202e\ufffe line\nbreak " + strings.Repeat("w", 400)
	l := Lane{
		Side:        lane.Right,
		Title:       nasty,
		Caption:     nasty,
		Corridors:   []Corridor{demoCorridor()},
		Paths:       demoPaths(),
		Shots:       demoShots(3),
		Breakpoints: []Breakpoint{{Board: 10, Ft: 40, Label: nasty}},
		Spreads:     []Spread{demoSpread()},
	}
	l.Corridors[0].Sentence, l.Paths[0].Label, l.Shots[0].Label, l.Spreads[0].Label = nasty, nasty, nasty, nasty
	scene, err := l.Scene()
	if err != nil {
		t.Fatal(err)
	}
	checkSVG(t, scene)
	for _, text := range texts(scene) {
		if box := text.box(); box.X+box.W > scene.Width {
			t.Errorf("%.20q... runs to %g of %g px", text.Value, box.X+box.W, scene.Width)
		}
	}
}

// All of what a plan says of its best line stands above the lane, on a phone too.
func TestCaptionOfALineFits(t *testing.T) {
	caption := "Ball: Invented Emberlight Pearl. Feet 26.0, target 15.6, 1.90 degrees. 14.8 pins a frame: 24 % of the shots " +
		"reach the pocket, 28 % leave the head pin standing, 13 % leave a split, 0 % go in the gutter. Room to miss at the " +
		"arrows: 1 1/4 boards right, 2 1/2 boards left. 3 boards right: does not come back. 3 boards left: past the head pin."
	for _, widthPx := range []int{MinWidthPx, 390, 900} {
		scene, err := Lane{Side: lane.Right, Title: "Ansa", Caption: caption, WidthPx: widthPx, Paths: demoPaths()}.Scene()
		if err != nil {
			t.Fatal(err)
		}
		var shown []string
		for _, text := range texts(scene) {
			shown = append(shown, text.Value)
		}
		if all := strings.Join(shown, " "); !strings.Contains(all, caption) {
			t.Errorf("at %d px the caption is cut: %s", widthPx, all)
		}
	}
}

func TestFilmOfAnyRoughnessStaysSmall(t *testing.T) {
	rough := &Film{}
	for b := range rough.UL {
		for ft := range rough.UL[b] {
			rough.UL[b][ft] = float64(
				(b*7919+ft*104729)%997,
			) / 10 // no two neighbours alike: the worst case for joining cells
		}
	}
	scene, err := Lane{Side: lane.Right, Film: rough, Paths: demoPaths()}.Scene()
	if err != nil {
		t.Fatal(err)
	}
	if size := len(scene.SVG()); size > 150_000 {
		t.Errorf("svg takes %d bytes, over 150,000", size)
	}
}

// box returns the rectangle a text covers, from the measured width of the embedded font.
func (t Text) box() Rect {
	width, ascent, descent := textWidth(t.Value, t.Size, t.Bold), 0.76*t.Size, 0.22*t.Size
	left := t.X
	switch t.Anchor {
	case Middle:
		left -= width / 2
	case End:
		left -= width
	case Start:
	}
	if t.TurnDeg == 0 {
		return Rect{X: left, Y: t.Y - ascent, W: width, H: ascent + descent}
	}
	minX, minY, maxX, maxY := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	sin, cos := math.Sincos(t.TurnDeg * math.Pi / 180)
	for _, corner := range []XY{{left, t.Y - ascent}, {left + width, t.Y - ascent}, {left, t.Y + descent}, {left + width, t.Y + descent}} {
		dx, dy := corner.X-t.X, corner.Y-t.Y
		x, y := t.X+dx*cos-dy*sin, t.Y+dx*sin+dy*cos
		minX, maxX, minY, maxY = min(minX, x), max(maxX, x), min(minY, y), max(maxY, y)
	}
	return Rect{X: minX, Y: minY, W: maxX - minX, H: maxY - minY}
}
