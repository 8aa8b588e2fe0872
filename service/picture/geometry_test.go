package picture

import (
	"image"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestEllipseRadii checks the closed form against the chi-square table with two degrees of freedom:
// 4.605, 5.991 and 9.210 at 90, 95 and 99 % (standard table, values from memory).
func TestEllipseRadii(t *testing.T) {
	for share, want := range map[float64]float64{0.90: 4.605, 0.95: 5.991, 0.99: 9.210} {
		point := Spread{VarX: 1, VarY: 1}.Ellipse(share, 8)[0]
		if got := point[0]*point[0] + point[1]*point[1]; math.Abs(got-want) > 5e-4 {
			t.Errorf("squared radius at %g is %.4f, want %.3f", share, got, want)
		}
	}
}

// TestEllipseHoldsItsShare draws normal pairs with a known covariance and counts those inside the
// drawn polygon. 40,000 pairs put four standard errors at 0.0094 for 68 % and 0.0044 for 95 %.
func TestEllipseHoldsItsShare(t *testing.T) {
	sp := Spread{MeanX: 11, MeanY: 42, VarX: 3.6, VarY: 2.6, CovXY: -1.4}
	draw := rand.New(rand.NewPCG(1, 2))
	const n = 40_000
	for _, share := range []float64{0.68, 0.95} {
		ring := sp.Ellipse(share, 720)
		inside := 0
		for range n {
			u, v := draw.NormFloat64(), draw.NormFloat64()
			// Cholesky with y first, so that the test does not repeat the code's own factor.
			c := math.Sqrt(sp.VarY)
			y := c * v
			x := sp.CovXY/c*v + math.Sqrt(sp.VarX-sp.CovXY*sp.CovXY/sp.VarY)*u
			if insideRing(ring, sp.MeanX+x, sp.MeanY+y) {
				inside++
			}
		}
		if got, four := float64(inside)/n, 4*math.Sqrt(share*(1-share)/n); math.Abs(got-share) > four {
			t.Errorf("the %g ellipse holds %.4f of the draws, further off than %.4f", share, got, four)
		}
	}
}

func insideRing(ring [][2]float64, x, y float64) bool {
	inside := false
	for i, j := 0, len(ring)-1; i < len(ring); j, i = i, i+1 {
		a, b := ring[i], ring[j]
		if (a[1] > y) != (b[1] > y) && x < (b[0]-a[0])*(y-a[1])/(b[1]-a[1])+a[0] {
			inside = !inside
		}
	}
	return inside
}

func TestCoverHoldsEveryCellOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, columns := rapid.IntRange(1, 12).Draw(t, "rows"), rapid.IntRange(1, 12).Draw(t, "columns")
		grid, seen := make([][]int, rows), make([][]int, rows)
		for i := range grid {
			grid[i] = rapid.SliceOfN(rapid.IntRange(0, 2), columns, columns).Draw(t, "row")
			seen[i] = make([]int, columns)
		}
		for _, b := range cover(grid) {
			for i := b.i0; i < b.i1; i++ {
				for j := b.j0; j < b.j1; j++ {
					seen[i][j]++
					if grid[i][j] != b.value {
						t.Fatalf("cell %d,%d is %d, drawn as %d", i, j, grid[i][j], b.value)
					}
				}
			}
		}
		for i := range seen {
			for j := range seen[i] {
				if seen[i][j] != 1 {
					t.Fatalf("cell %d,%d is drawn %d times", i, j, seen[i][j])
				}
			}
		}
	})
}

// TestContourOfACone follows a circle: f = 10 - distance from the middle meets 4 at distance 6.
func TestContourOfACone(t *testing.T) {
	grid := make([][]float64, 31)
	for i := range grid {
		grid[i] = make([]float64, 31)
		for j := range grid[i] {
			grid[i][j] = 10 - math.Hypot(float64(i)-15, float64(j)-15)
		}
	}
	lines := contourLines(grid, 4)
	if len(lines) != 1 {
		t.Fatalf("%d lines, want one ring", len(lines))
	}
	ring := lines[0]
	if ring[0] != ring[len(ring)-1] {
		t.Errorf("the ring runs from %v to %v and is not closed", ring[0], ring[len(ring)-1])
	}
	for _, p := range ring {
		// Linear interpolation of a cone between neighbours errs by at most 1/(8*6) at radius 6.
		if d := math.Hypot(p.X-15, p.Y-15); math.Abs(d-6) > 1.0/48 {
			t.Errorf("%v lies at distance %.4f, want 6", p, d)
		}
	}
}

func TestContourSkipsWhatWasNotComputed(t *testing.T) {
	if lines := contourLines([][]float64{{0, 1}, {math.NaN(), 1}}, 0.5); len(lines) != 0 {
		t.Errorf("drew %v beside a cell that was not computed", lines)
	}
}

func TestContourSplitsASaddle(t *testing.T) {
	high := contourLines([][]float64{{1, 0.2}, {0.2, 1}}, 0.5) // mean 0.6: the middle is high
	low := contourLines([][]float64{{1, 0}, {0, 0.9}}, 0.5)    // mean 0.475: the middle is low
	if len(high) != 2 || len(low) != 2 {
		t.Fatalf("%d and %d lines, want 2 each", len(high), len(low))
	}
	// High: each line cuts off one low corner, (0,1) or (1,0). Low: each cuts off one high corner,
	// (0,0) or (1,1).
	for _, line := range high {
		if mx, my := (line[0].X+line[1].X)/2, (line[0].Y+line[1].Y)/2; (mx-0.5)*(my-0.5) > 0 {
			t.Errorf("high saddle is cut at %v", line)
		}
	}
	for _, line := range low {
		if mx, my := (line[0].X+line[1].X)/2, (line[0].Y+line[1].Y)/2; (mx-0.5)*(my-0.5) < 0 {
			t.Errorf("low saddle is cut at %v", line)
		}
	}
}

func TestClipLineStaysInside(t *testing.T) {
	r := Rect{X: 0, Y: 0, W: 10, H: 5}
	coordinate := rapid.Float64Range(-20, 30)
	rapid.Check(t, func(t *rapid.T) {
		var line []XY
		for range rapid.IntRange(2, 8).Draw(t, "points") {
			line = append(line, XY{coordinate.Draw(t, "x"), coordinate.Draw(t, "y")})
		}
		for _, part := range clipLine(line, r) {
			for _, p := range part {
				if !r.grow(1e-9).holds(p) {
					t.Fatalf("%v lies outside", p)
				}
			}
		}
		// What lies inside of the original must lie on what is left.
		for i := 1; i < len(line); i++ {
			middle := XY{(line[i-1].X + line[i].X) / 2, (line[i-1].Y + line[i].Y) / 2}
			if r.holds(middle) && !onAny(clipLine(line, r), middle) {
				t.Fatalf("%v was cut away", middle)
			}
		}
	})
}

func onAny(lines [][]XY, p XY) bool {
	for _, line := range lines {
		for i := 1; i < len(line); i++ {
			a, b := line[i-1], line[i]
			detour := math.Hypot(a.X-p.X, a.Y-p.Y) + math.Hypot(b.X-p.X, b.Y-p.Y) - math.Hypot(a.X-b.X, a.Y-b.Y)
			if detour < 1e-6 {
				return true
			}
		}
	}
	return false
}

// TestDashes checks that a pattern of 3 on, 2 off leaves three fifths of a long line.
func TestDashes(t *testing.T) {
	line := []XY{{0, 0}, {7, 0}, {7, 93}, {107, 93}} // 200 long, 40 patterns
	total := 0.0
	pieces := dashes(line, []float64{3, 2})
	for _, piece := range pieces {
		for i := 1; i < len(piece); i++ {
			total += math.Hypot(piece[i].X-piece[i-1].X, piece[i].Y-piece[i-1].Y)
		}
	}
	if len(pieces) != 40 || math.Abs(total-120) > 1e-9 {
		t.Errorf("%d pieces of %g px in all, want 40 of 120", len(pieces), total)
	}
}

func TestWrappedLinesFit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringN(0, 300, 300).Draw(t, "text")
		width := rapid.Float64Range(30, 400).Draw(t, "width")
		most := rapid.IntRange(1, 4).Draw(t, "lines")
		lines := wrap(text, sizeBody, width, false, most)
		if len(lines) > most {
			t.Fatalf("%d lines, at most %d", len(lines), most)
		}
		for _, line := range lines {
			if got := textWidth(line, sizeBody, false); got > width {
				t.Fatalf("%q is %g px wide, over %g", line, got, width)
			}
		}
		if whole := strings.Join(wrap(text, sizeBody, 1e6, false, 1), ""); whole != clean(text) {
			t.Fatalf("an endless line holds %q, want %q", whole, clean(text))
		}
	})
}

// TestVerdictsDifferByShape blackens each verdict's sign and asks that no two silhouettes share
// more than four fifths of their ink.
func TestVerdictsDifferByShape(t *testing.T) {
	silhouettes := map[Verdict]*image.RGBA{}
	for _, v := range verdictOrder {
		s := Scene{Width: 20, Height: 20}
		drawMark(&s, LayerShots, XY{10, 10}, v, 5, "")
		for i := range s.Elements {
			for _, paint := range []*Colour{&s.Elements[i].Fill, &s.Elements[i].Stroke} {
				if *paint != white && paint.A > 0 {
					*paint = rgb(0)
				}
			}
		}
		img, err := s.Image(4)
		if err != nil {
			t.Fatal(err)
		}
		silhouettes[v] = img
	}
	for i, a := range verdictOrder {
		for _, b := range verdictOrder[i+1:] {
			both, either := 0, 0
			for p := 0; p < len(silhouettes[a].Pix); p += 4 {
				inA, inB := silhouettes[a].Pix[p] < 128, silhouettes[b].Pix[p] < 128
				if inA && inB {
					both++
				}
				if inA || inB {
					either++
				}
			}
			if share := float64(both) / float64(either); share > 0.8 {
				t.Errorf("the signs of %q and %q share %.0f %% of their ink", a, b, 100*share)
			}
		}
	}
}

func TestTicks(t *testing.T) {
	for _, test := range []struct {
		low, high float64
		count     int
		want      string
	}{
		{0, 54, 6, "0 10 20 30 40 50"},
		{0, 1, 5, "0 0.2 0.4 0.6 0.8 1"},
		{-2, 7.05, 8, "-2 0 2 4 6"},
		{6, 38, 8, "10 15 20 25 30 35"},
	} {
		var got []string
		for _, v := range ticks(test.low, test.high, test.count) {
			got = append(got, tickText(v))
		}
		if strings.Join(got, " ") != test.want {
			t.Errorf("ticks of %g to %g are %v, want %s", test.low, test.high, got, test.want)
		}
	}
}

func (r Rect) grow(by float64) Rect {
	return Rect{X: r.X - by, Y: r.Y - by, W: r.W + 2*by, H: r.H + 2*by}
}
