package picture

import (
	"encoding/xml"
	"fmt"
	"hash/fnv"
	"io"
	"math"
	"strconv"
	"strings"
)

// SVG returns the scene as one self-contained <svg> element: it can be embedded in a page or served
// as image/svg+xml. It has no inline style, which a strict page refuses: a stylesheet says how it
// scales.
func (s Scene) SVG() []byte {
	w := &svgWriter{}
	id := s.id()
	w.printf(
		`<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="%s-t" aria-describedby="%s-d" viewBox="0 0 %s %s" width="%s" height="%s" `+
			`font-family="Go,'Helvetica Neue',Helvetica,Arial,sans-serif">`+"\n",
		id,
		id,
		num(s.Width),
		num(s.Height),
		num(s.Width),
		num(s.Height),
	)
	w.printf("<title id=\"%s-t\">%s</title>\n<desc id=\"%s-d\">%s</desc>\n", id, escape(s.Title), id, escape(s.Desc))
	w.printf("<rect width=\"%s\" height=\"%s\" fill=\"%s\"/>\n", num(s.Width), num(s.Height), white.Hex())
	for start := 0; start < len(s.Elements); {
		end := start + 1
		for end < len(s.Elements) && s.Elements[end].Layer == s.Elements[start].Layer {
			end++
		}
		w.printf("<g class=\"%s\">\n", escape(string(s.Elements[start].Layer)))
		w.layer(s.Elements[start:end])
		w.printf("</g>\n")
		start = end
	}
	w.printf("</svg>\n")
	return []byte(w.String())
}

// WriteSVG writes what [Scene.SVG] returns.
func (s Scene) WriteSVG(w io.Writer) error {
	if _, err := w.Write(s.SVG()); err != nil {
		return fmt.Errorf("write svg: %w", err)
	}
	return nil
}

// id names the title and description elements, different for different pictures so that several can
// be on one page.
func (s Scene) id() string {
	h := fnv.New32a()
	fmt.Fprintf(h, "%s|%s|%g|%g|%d", s.Title, s.Desc, s.Width, s.Height, len(s.Elements))
	return fmt.Sprintf("p%08x", h.Sum32())
}

type svgWriter struct{ strings.Builder }

func (w *svgWriter) printf(format string, args ...any) { fmt.Fprintf(w, format, args...) }

// layer writes the elements of one layer; neighbours painted alike share a group, which keeps a
// picture of many shots small.
func (w *svgWriter) layer(elements []Element) {
	for start := 0; start < len(elements); {
		paint := svgPaint(elements[start])
		end := start + 1
		for end < len(elements) && svgPaint(elements[end]) == paint {
			end++
		}
		if end-start >= 3 {
			w.printf("<g%s>\n", paint)
			for _, e := range elements[start:end] {
				w.element(e, "")
			}
			w.printf("</g>\n")
		} else {
			for _, e := range elements[start:end] {
				w.element(e, paint)
			}
		}
		start = end
	}
}

func (w *svgWriter) element(e Element, paint string) {
	name, attributes, content := svgShape(e.Shape)
	w.printf("<%s%s%s", name, attributes, paint)
	if e.Tip != "" {
		content += "<title>" + escape(e.Tip) + "</title>"
	}
	if content == "" {
		w.printf("/>\n")
		return
	}
	w.printf(">%s</%s>\n", content, name)
}

func svgShape(shape Shape) (name, attributes, content string) {
	switch s := shape.(type) {
	case Rect:
		attributes = fmt.Sprintf(` x="%s" y="%s" width="%s" height="%s"`, num(s.X), num(s.Y), num(s.W), num(s.H))
		if s.Radius > 0 {
			attributes += fmt.Sprintf(` rx="%s"`, num(s.Radius))
		}
		return "rect", attributes, ""
	case Rects:
		var d strings.Builder
		for _, r := range s {
			fmt.Fprintf(&d, "M%s %sh%sv%sh%sz", num(r.X), num(r.Y), num(r.W), num(r.H), num(-r.W))
		}
		return "path", ` shape-rendering="crispEdges" d="` + d.String() + `"`, ""
	case Circle:
		return "circle", fmt.Sprintf(` cx="%s" cy="%s" r="%s"`, num(s.X), num(s.Y), num(s.R)), ""
	case Poly:
		var d strings.Builder
		for _, line := range s.Lines {
			for i, p := range line {
				command := "L"
				if i == 0 {
					command = "M"
				}
				d.WriteString(command + num(p.X) + " " + num(p.Y))
			}
			if s.Closed {
				d.WriteString("z")
			}
		}
		return "path", ` d="` + d.String() + `"`, ""
	case Text:
		attributes = fmt.Sprintf(` x="%s" y="%s" font-size="%s"`, num(s.X), num(s.Y), num(s.Size))
		if s.Bold {
			attributes += ` font-weight="700"`
		}
		if s.Anchor != Start && s.Anchor != "" {
			attributes += ` text-anchor="` + string(s.Anchor) + `"`
		}
		if len(s.Value) > 2 {
			// Whatever font a reader's machine has, the text keeps the room it was given.
			attributes += fmt.Sprintf(
				` textLength="%s" lengthAdjust="spacingAndGlyphs"`,
				num(textWidth(s.Value, s.Size, s.Bold)),
			)
		}
		if s.TurnDeg != 0 {
			attributes += fmt.Sprintf(` transform="rotate(%s %s %s)"`, num(s.TurnDeg), num(s.X), num(s.Y))
		}
		return "text", attributes, escape(s.Value)
	}
	panic(fmt.Sprintf("picture: unknown shape %T", shape))
}

func svgPaint(e Element) string {
	var b strings.Builder
	if e.Fill.A == 0 {
		b.WriteString(` fill="none"`)
	} else {
		b.WriteString(` fill="` + e.Fill.Hex() + `"`)
		if e.Fill.A < 255 {
			b.WriteString(` fill-opacity="` + num(float64(e.Fill.A)/255) + `"`)
		}
	}
	if e.Stroke.A == 0 || e.StrokeWidth <= 0 {
		return b.String()
	}
	fmt.Fprintf(&b, ` stroke="%s" stroke-width="%s"`, e.Stroke.Hex(), num(e.StrokeWidth))
	if e.Stroke.A < 255 {
		b.WriteString(` stroke-opacity="` + num(float64(e.Stroke.A)/255) + `"`)
	}
	if _, ok := e.Shape.(Poly); ok {
		b.WriteString(` stroke-linejoin="round"`)
		if len(e.Dash) == 0 {
			b.WriteString(` stroke-linecap="round"`)
		}
	}
	if len(e.Dash) > 0 {
		parts := make([]string, len(e.Dash))
		for i, d := range e.Dash {
			parts[i] = num(d)
		}
		b.WriteString(` stroke-dasharray="` + strings.Join(parts, " ") + `"`)
	}
	return b.String()
}

// num writes a coordinate with at most two decimals, always the same way.
func num(v float64) string {
	v = math.Round(v*100) / 100
	if v == 0 {
		return "0" // never "-0"
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// escape makes any text safe between tags and in attributes; characters that XML does not allow
// become U+FFFD.
func escape(text string) string {
	var b strings.Builder
	// A strings.Builder never fails to take a write, and EscapeText fails only when its writer
	// does.
	if err := xml.EscapeText(&b, []byte(text)); err != nil {
		panic(fmt.Sprintf("picture: escape: %v", err))
	}
	return b.String()
}
