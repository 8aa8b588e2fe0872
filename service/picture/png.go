package picture

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/vector"
)

// maxPixels bounds the memory of one raster image (4 bytes a pixel).
const maxPixels = 64 << 20

// WritePNG writes the scene as PNG on white, scale device pixels to one px (2 for a sharp screen).
// It fails when the scale is not a positive number, when the image would be too large, or when w
// fails.
func (s Scene) WritePNG(w io.Writer, scale float64) error {
	img, err := s.Image(scale)
	if err != nil {
		return err
	}
	if err := png.Encode(w, img); err != nil {
		return fmt.Errorf("write png: %w", err)
	}
	return nil
}

// Image returns the scene as pixels on white, scale device pixels to one px.
func (s Scene) Image(scale float64) (*image.RGBA, error) {
	if !(scale > 0) || math.IsInf(scale, 0) {
		return nil, fmt.Errorf("a picture cannot be drawn at scale %g: give a positive number, such as 2", scale)
	}
	width, height := math.Ceil(s.Width*scale), math.Ceil(s.Height*scale)
	if !(width*height <= maxPixels) {
		return nil, fmt.Errorf(
			"a picture of %.0f x %.0f pixels is too large: lower the scale of %g",
			width,
			height,
			scale,
		)
	}
	img := image.NewRGBA(image.Rect(0, 0, int(width), int(height)))
	draw.Draw(img, img.Bounds(), image.White, image.Point{}, draw.Src)
	r := &raster{img: img, scale: scale}
	for _, e := range s.Elements {
		r.element(e)
	}
	return img, nil
}

// raster paints elements into an image. Everything becomes closed outlines in device pixels, filled
// by the nonzero rule.
type raster struct {
	img    *image.RGBA
	scale  float64
	filler vector.Rasterizer
}

// contour is a closed outline in device pixels: straight lines and quadratic or cubic curves.
type contour struct {
	start    XY
	segments []segment
}

// segment has one point for a line, two for a quadratic curve, three for a cubic one; the last is
// where it ends.
type segment []XY

func (r *raster) element(e Element) {
	switch s := e.Shape.(type) {
	case Rects:
		r.crisp(s, e.Fill)
	case Rect:
		r.fillAndStroke(e, []contour{r.rectContour(s)}, []Poly{{Lines: [][]XY{rectOutline(s)}, Closed: true}})
	case Circle:
		ring := Poly{Lines: [][]XY{circleOutline(s)}, Closed: true}
		r.fillAndStroke(e, r.polyContours(ring), []Poly{ring})
	case Poly:
		r.fillAndStroke(e, r.polyContours(s), []Poly{s})
	case Text:
		r.fill(r.textContours(s), e.Fill)
	default:
		panic(fmt.Sprintf("picture: unknown shape %T", e.Shape))
	}
}

func (r *raster) fillAndStroke(e Element, inside []contour, outlines []Poly) {
	r.fill(inside, e.Fill)
	if e.Stroke.A == 0 || e.StrokeWidth <= 0 {
		return
	}
	for _, outline := range outlines {
		r.fill(r.strokeContours(outline, e.StrokeWidth, e.Dash), e.Stroke)
	}
}

// crisp paints rectangles with edges on whole device pixels.
func (r *raster) crisp(rects Rects, fill Colour) {
	if fill.A == 0 {
		return
	}
	source := image.NewUniform(color.NRGBA(fill))
	px := func(v float64) int { return int(math.Round(v * r.scale)) }
	for _, rect := range rects {
		draw.Draw(
			r.img,
			image.Rect(px(rect.X), px(rect.Y), px(rect.X+rect.W), px(rect.Y+rect.H)),
			source,
			image.Point{},
			draw.Over,
		)
	}
}

// fill paints the inside of the contours, smoothed, in one pass: overlaps within one call do not
// darken.
func (r *raster) fill(contours []contour, fill Colour) {
	if fill.A == 0 || len(contours) == 0 {
		return
	}
	minX, minY, maxX, maxY := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	include := func(p XY) {
		minX, maxX, minY, maxY = min(minX, p.X), max(maxX, p.X), min(minY, p.Y), max(maxY, p.Y)
	}
	for _, c := range contours {
		include(c.start)
		for _, s := range c.segments {
			for _, p := range s {
				include(p)
			}
		}
	}
	limit := r.img.Bounds()
	box := image.Rect(clampInt(math.Floor(minX), limit.Max.X), clampInt(math.Floor(minY), limit.Max.Y),
		clampInt(math.Ceil(maxX), limit.Max.X), clampInt(math.Ceil(maxY), limit.Max.Y)).Intersect(limit)
	if box.Empty() {
		return
	}
	r.filler.Reset(box.Dx(), box.Dy())
	at := func(p XY) (float32, float32) {
		return float32(p.X - float64(box.Min.X)), float32(p.Y - float64(box.Min.Y))
	}
	for _, c := range contours {
		r.filler.MoveTo(at(c.start))
		for _, s := range c.segments {
			ax, ay := at(s[0])
			switch len(s) {
			case 1:
				r.filler.LineTo(ax, ay)
			case 2:
				bx, by := at(s[1])
				r.filler.QuadTo(ax, ay, bx, by)
			case 3:
				bx, by := at(s[1])
				cx, cy := at(s[2])
				r.filler.CubeTo(ax, ay, bx, by, cx, cy)
			}
		}
		r.filler.ClosePath()
	}
	r.filler.Draw(r.img, box, image.NewUniform(color.NRGBA(fill)), image.Point{})
}

// clampInt keeps a device coordinate within -1 ... limit+1, so that far-off geometry cannot ask for
// a huge buffer.
func clampInt(v float64, limit int) int { return int(max(-1, min(v, float64(limit)+1))) }

func (r *raster) polyContours(p Poly) []contour {
	var contours []contour
	for _, line := range p.Lines {
		if len(line) >= 3 {
			contours = append(contours, polygon(scaled(line, r.scale)))
		}
	}
	return contours
}

func (r *raster) rectContour(s Rect) contour { return polygon(scaled(rectOutline(s), r.scale)) }

func scaled(points []XY, by float64) []XY {
	out := make([]XY, len(points))
	for i, p := range points {
		out[i] = XY{p.X * by, p.Y * by}
	}
	return out
}

func polygon(points []XY) contour {
	c := contour{start: points[0]}
	for _, p := range points[1:] {
		c.segments = append(c.segments, segment{p})
	}
	return c
}

// textContours returns a text's letters as outlines at their place, turned about the text's point.
func (r *raster) textContours(t Text) []contour {
	glyphs, width := face(t.Bold).layout(t.Value, t.Size*r.scale, true)
	offset := 0.0
	switch t.Anchor {
	case Middle:
		offset = -width / 2
	case End:
		offset = -width
	case Start:
	}
	sin, cos := math.Sincos(t.TurnDeg * math.Pi / 180)
	var contours []contour
	for _, g := range glyphs {
		place := func(i int, s sfnt.Segment) XY {
			x, y := offset+g.x+float64(s.Args[i].X)/64, float64(s.Args[i].Y)/64
			return XY{t.X*r.scale + x*cos - y*sin, t.Y*r.scale + x*sin + y*cos}
		}
		for _, s := range g.segments {
			if s.Op == sfnt.SegmentOpMoveTo {
				contours = append(contours, contour{start: place(0, s)})
				continue
			}
			last := &contours[len(contours)-1]
			switch s.Op {
			case sfnt.SegmentOpLineTo:
				last.segments = append(last.segments, segment{place(0, s)})
			case sfnt.SegmentOpQuadTo:
				last.segments = append(last.segments, segment{place(0, s), place(1, s)})
			case sfnt.SegmentOpCubeTo:
				last.segments = append(last.segments, segment{place(0, s), place(1, s), place(2, s)})
			}
		}
	}
	return contours
}
