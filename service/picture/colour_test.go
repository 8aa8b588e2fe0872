package picture

import (
	"math"
	"testing"
)

// TestCividisRisesForEveryReader checks that the map's lightness rises along it as seen with full
// colour vision and, by the matrices of Machado, Oliveira and Fernandes, IEEE TVCG 15(6): 1291
// (2009), severity 1 (values from memory), without the long- or the middle-wave cones.
func TestCividisRisesForEveryReader(t *testing.T) {
	readers := map[string][3][3]float64{
		"full colour vision": {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
		"protanopia": {
			{0.152286, 1.052583, -0.204868},
			{0.114503, 0.786281, 0.099216},
			{-0.003882, -0.048116, 1.051998},
		},
		"deuteranopia": {
			{0.367322, 0.860646, -0.227968},
			{0.280085, 0.672501, 0.047413},
			{-0.011820, 0.042940, 0.968881},
		},
	}
	for name, matrix := range readers {
		t.Run(name, func(t *testing.T) {
			previous := -1.0
			// The film's sixteen levels are the finest steps a reader has to tell apart.
			for i := range filmLevels + 1 {
				light := lightness(Cividis(float64(i)/filmLevels), matrix)
				if light < previous+2 {
					t.Errorf("lightness goes from %.1f to %.1f at step %d, a rise under 2", previous, light, i)
				}
				previous = light
			}
		})
	}
}

// lightness is CIE L* of a colour as a reader sees it.
func lightness(c Colour, matrix [3][3]float64) float64 {
	linear := [3]float64{
		luminance(Colour{R: c.R}) / 0.2126,
		luminance(Colour{G: c.G}) / 0.7152,
		luminance(Colour{B: c.B}) / 0.0722,
	}
	weights := [3]float64{0.2126, 0.7152, 0.0722}
	y := 0.0
	for i, row := range matrix {
		channel := 0.0
		for j, m := range row {
			channel += m * linear[j]
		}
		y += weights[i] * max(0, min(channel, 1))
	}
	if y <= 216.0/24389 {
		return y * 24389 / 27
	}
	return 116*math.Cbrt(y) - 16
}

func TestCividisEnds(t *testing.T) {
	for _, test := range []struct {
		share float64
		want  string
	}{{0, "#00224e"}, {1, "#fee838"}, {-3, "#00224e"}, {7, "#fee838"}, {math.NaN(), "#00224e"}, {128.0 / 255, "#7d7c78"}} {
		if got := Cividis(test.share).Hex(); got != test.want {
			t.Errorf("Cividis(%g) = %s, want %s", test.share, got, test.want)
		}
	}
}

// contrastRatio returns the contrast of two opaque colours, 1 to 21. Source: WCAG 2.2, relative
// luminance and contrast ratio; level AA asks 4.5 for text and 3 for graphics.
func contrastRatio(a, b Colour) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(c Colour) float64 {
	linear := func(channel uint8) float64 {
		v := float64(channel) / 255
		if v <= 0.04045 {
			return v / 12.92
		}
		return math.Pow((v+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

// TestContrastRatio holds WCAG's own ends and the grey that its documents name: #767676 on white
// passes 4.5:1, #777777 does not.
func TestContrastRatio(t *testing.T) {
	if got := contrastRatio(rgb(0), white); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white is %g, want 21", got)
	}
	if got := contrastRatio(white, rgb(0x767676)); got < 4.5 {
		t.Errorf("#767676 on white is %g, want 4.5 or more", got)
	}
	if got := contrastRatio(rgb(0x777777), white); got >= 4.5 {
		t.Errorf("#777777 on white is %g, want under 4.5", got)
	}
}

// TestSignsStandOut asks for WCAG's 3:1 of what carries meaning against the white casing that
// surrounds it.
func TestSignsStandOut(t *testing.T) {
	for name, c := range map[string]Colour{"kept": blue, "broken": vermilion, "unknown": inkSoft, "path": ink} {
		if got := contrastRatio(c, white); got < 3 {
			t.Errorf("%s stands at %.2f:1 against its casing", name, got)
		}
	}
}
