package trend

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestOdds(t *testing.T) {
	tests := []struct {
		name                   string
		hitsA, ofA, hitsB, ofB int
		ratio, low, high       float64
	}{
		// R. Doll and A. B. Hill 1950, Br. Med. J. 2:739-748, table V, men: 647 of 649 and 622 of 649 smoked (from memory).
		// The interval is Woolf's formula done by hand: ln 14.04 +- 1.96 sqrt(1/647 + 1/2 + 1/622 + 1/27).
		{"smoking and lung cancer", 647, 649, 622, 649, 14.04, 3.33, 59.30},
		{"no difference", 10, 20, 10, 20, 1, 0.289, 3.455},
		// With half a shot added: 0.5 * 15.5 / (10.5 * 5.5), by hand.
		{"an empty cell", 0, 10, 5, 20, 0.1342, 0.00669, 2.693},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := Odds(tt.hitsA, tt.ofA, tt.hitsB, tt.ofB, Z95)
			for _, pair := range [][2]float64{{got.Ratio, tt.ratio}, {got.Low, tt.low}, {got.High, tt.high}} {
				if math.Abs(pair[0]-pair[1]) > 0.002*pair[1] {
					t.Errorf("%.4f from %.4f to %.4f, want %g from %g to %g", got.Ratio, got.Low, got.High, tt.ratio, tt.low, tt.high)
				}
			}
		})
	}
}

// Exchanging the samples, or hits and misses, turns the ratio round.
func TestOddsTurnRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ofA, ofB := rapid.IntRange(1, 60).Draw(t, "ofA"), rapid.IntRange(1, 60).Draw(t, "ofB")
		a, b := rapid.IntRange(0, ofA).Draw(t, "a"), rapid.IntRange(0, ofB).Draw(t, "b")
		odds := Odds(a, ofA, b, ofB, Z95)
		for _, turned := range []OddsRatio{Odds(b, ofB, a, ofA, Z95), Odds(ofA-a, ofA, ofB-b, ofB, Z95)} {
			if math.Abs(turned.Ratio*odds.Ratio-1) > 1e-9 || math.Abs(turned.Low*odds.High-1) > 1e-9 {
				t.Errorf("%+v turned round is %+v", odds, turned)
			}
		}
		if !odds.Contains(odds.Ratio) {
			t.Errorf("%+v lies outside of its interval", odds)
		}
	})
}
