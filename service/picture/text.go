package picture

import (
	"fmt"
	"strings"
	"sync"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Text sizes in px. None is under 11, so that a picture laid out for a phone's width is readable on
// one.
const (
	sizeTitle = 17
	sizeBody  = 13
	sizeSmall = 12
	sizeAxis  = 11.5
)

// typeface is one embedded font. The buffer is not safe for two goroutines, so each use locks.
type typeface struct {
	mu     sync.Mutex
	font   *sfnt.Font
	buffer sfnt.Buffer
}

var (
	regular = mustParse(goregular.TTF)
	bold    = mustParse(gobold.TTF)
)

func mustParse(ttf []byte) *typeface {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic(fmt.Sprintf("picture: embedded font: %v", err))
	}
	return &typeface{font: f}
}

func face(isBold bool) *typeface {
	if isBold {
		return bold
	}
	return regular
}

// glyph is a letter's outline at its place on the line, in px from the start of the baseline.
type glyph struct {
	x        float64
	segments sfnt.Segments
}

// layout sets a text on a line and returns its outlines and its width in px. A letter that the font
// lacks is drawn as its box.
func (t *typeface) layout(text string, sizePx float64, outlines bool) (glyphs []glyph, widthPx float64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	ppem := fixed.Int26_6(sizePx * 64)
	previous, has := sfnt.GlyphIndex(0), false
	for _, r := range text {
		index, err := t.font.GlyphIndex(&t.buffer, r)
		if err != nil {
			panic(fmt.Sprintf("picture: embedded font has no index of %q: %v", r, err))
		}
		if has {
			if kern, err := t.font.Kern(&t.buffer, previous, index, ppem, font.HintingNone); err == nil {
				widthPx += float64(kern) / 64
			} // a font without kerning says so by an error: no kerning then
		}
		if outlines {
			segments, err := t.font.LoadGlyph(&t.buffer, index, ppem, nil)
			if err != nil {
				panic(fmt.Sprintf("picture: embedded font cannot draw %q: %v", r, err))
			}
			glyphs = append(glyphs, glyph{x: widthPx, segments: append(sfnt.Segments(nil), segments...)})
		}
		advance, err := t.font.GlyphAdvance(&t.buffer, index, ppem, font.HintingNone)
		if err != nil {
			panic(fmt.Sprintf("picture: embedded font has no advance of %q: %v", r, err))
		}
		widthPx += float64(advance) / 64
		previous, has = index, true
	}
	return glyphs, widthPx
}

func textWidth(text string, sizePx float64, isBold bool) float64 {
	_, width := face(isBold).layout(text, sizePx, false)
	return width
}

// maxRunes is how much of a caller's text is looked at: far more than any place in a picture holds.
const maxRunes = 600

// clean turns a caller's text into one printable line: runs of white space become one space,
// control characters go, and so does what is beyond maxRunes.
func clean(text string) string {
	if len(text) > maxRunes {
		if runes := []rune(text); len(runes) > maxRunes {
			text = string(runes[:maxRunes-1]) + "…"
		}
	}
	printable := strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		if unicode.IsControl(r) || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, text)
	return strings.Join(strings.Fields(printable), " ")
}

// wrap breaks a text into lines no wider than widthPx, at most maxLines of them; what does not fit
// ends in an ellipsis. A word wider than the line is broken where it must.
func wrap(text string, sizePx, widthPx float64, isBold bool, maxLines int) []string {
	var lines []string
	current := ""
	fits := func(s string) bool { return textWidth(s, sizePx, isBold) <= widthPx }
	for _, word := range strings.Fields(clean(text)) {
		candidate := word
		if current != "" {
			candidate = current + " " + word
		}
		if fits(candidate) {
			current = candidate
			continue
		}
		if current != "" {
			lines = append(lines, current)
		}
		for current = word; !fits(current); {
			head := longestFit([]rune(current), fits)
			lines = append(lines, string([]rune(current)[:head]))
			current = string([]rune(current)[head:])
			if len(lines) > maxLines {
				break
			}
		}
		if len(lines) > maxLines {
			break
		}
	}
	if current != "" {
		lines = append(lines, current)
	}
	if len(lines) > maxLines {
		last := []rune(lines[maxLines-1])
		for len(last) > 0 && !fits(string(last)+"…") {
			last = last[:len(last)-1]
		}
		lines = append(lines[:maxLines-1], strings.TrimRight(string(last), " ")+"…")
	}
	return lines
}

// longestFit returns how many leading runes fit, at least 1.
func longestFit(runes []rune, fits func(string) bool) int {
	n := 1
	for n < len(runes) && fits(string(runes[:n+1])) {
		n++
	}
	return n
}

// fit shortens a text to one line of a width.
func fit(text string, sizePx, widthPx float64, isBold bool) string {
	lines := wrap(text, sizePx, widthPx, isBold, 1)
	if len(lines) == 0 {
		return ""
	}
	return lines[0]
}
