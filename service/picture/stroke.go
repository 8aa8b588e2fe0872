package picture

import "math"

// circleSteps is the number of corners of a drawn circle: at radius 40 px the polygon is within
// 0.03 px of it.
const circleSteps = 80

func circleOutline(c Circle) []XY {
	points := make([]XY, circleSteps)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / circleSteps)
		points[i] = XY{c.X + c.R*cos, c.Y + c.R*sin}
	}
	return points
}

// rectOutline returns the corners of a rectangle, rounded ones as short steps.
func rectOutline(r Rect) []XY {
	if r.Radius <= 0 {
		return []XY{{r.X, r.Y}, {r.X + r.W, r.Y}, {r.X + r.W, r.Y + r.H}, {r.X, r.Y + r.H}}
	}
	radius := min(r.Radius, r.W/2, r.H/2)
	corners := []XY{
		{r.X + r.W - radius, r.Y + r.H - radius},
		{r.X + radius, r.Y + r.H - radius},
		{r.X + radius, r.Y + radius},
		{r.X + r.W - radius, r.Y + radius},
	}
	const steps = 6
	var points []XY
	for quarter, centre := range corners {
		for i := range steps + 1 {
			sin, cos := math.Sincos(math.Pi / 2 * (float64(quarter) + float64(i)/steps))
			points = append(points, XY{centre.X + radius*cos, centre.Y + radius*sin})
		}
	}
	return points
}

// strokeContours turns lines into outlines of a width: a quadrilateral a stretch and a disc at each
// joint, all wound the same way so that the nonzero rule unites them. Dashed lines end square,
// solid ones round, as in the SVG.
func (r *raster) strokeContours(p Poly, width float64, dash []float64) []contour {
	half := width / 2 * r.scale
	var contours []contour
	for _, line := range p.Lines {
		points := scaled(line, r.scale)
		if p.Closed && len(points) > 0 {
			points = append(points, points[0])
		}
		pieces := [][]XY{points}
		if len(dash) > 0 {
			pieces = dashes(points, scaledLengths(dash, r.scale))
		}
		for _, piece := range pieces {
			contours = append(contours, strokePiece(piece, half, len(dash) == 0)...)
		}
	}
	return contours
}

func scaledLengths(lengths []float64, by float64) []float64 {
	out := make([]float64, len(lengths))
	for i, v := range lengths {
		out[i] = v * by
	}
	return out
}

func strokePiece(points []XY, half float64, roundEnds bool) []contour {
	var contours []contour
	for i, p := range points {
		isEnd := i == 0 || i == len(points)-1
		if !isEnd || roundEnds {
			contours = append(contours, polygon(circleOutline(Circle{p.X, p.Y, half})))
		}
		if i == 0 {
			continue
		}
		from := points[i-1]
		length := math.Hypot(p.X-from.X, p.Y-from.Y)
		if length == 0 {
			continue
		}
		nx, ny := -(p.Y-from.Y)/length*half, (p.X-from.X)/length*half
		contours = append(contours, polygon([]XY{
			{from.X - nx, from.Y - ny}, {p.X - nx, p.Y - ny}, {p.X + nx, p.Y + ny}, {from.X + nx, from.Y + ny},
		}))
	}
	return contours
}

// dashes cuts a line into the pieces that a dash pattern (on, off, ...) leaves.
func dashes(points []XY, pattern []float64) [][]XY {
	total := 0.0
	for _, v := range pattern {
		total += v
	}
	if len(points) < 2 || !(total > 0) {
		return [][]XY{points}
	}
	var pieces [][]XY
	at, left, on := 0, pattern[0], true
	piece := []XY{points[0]}
	for i := 1; i < len(points); i++ {
		from, to := points[i-1], points[i]
		length := math.Hypot(to.X-from.X, to.Y-from.Y)
		done := 0.0
		for length-done > left {
			done += left
			cut := XY{from.X + (to.X-from.X)*done/length, from.Y + (to.Y-from.Y)*done/length}
			if on {
				pieces = append(pieces, append(piece, cut))
			}
			piece = []XY{cut}
			at = (at + 1) % len(pattern)
			left, on = pattern[at], !on
		}
		left -= length - done
		piece = append(piece, to)
	}
	if on {
		pieces = append(pieces, piece)
	}
	return pieces
}
