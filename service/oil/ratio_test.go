package oil_test

import (
	"math"
	"testing"

	"laneward/service/lane"
	"laneward/service/oil"
)

// stepFilm lays inside microlitres a foot on boards 10 to 30 and outside on the others, over 40 ft.
func stepFilm(inside, outside float64) *oil.Film {
	film := &oil.Film{LengthFt: 40}
	for b := range film.UL {
		for j := range 40 {
			film.UL[b][j] = outside
			if b+1 >= 10 && b+1 <= 30 {
				film.UL[b][j] = inside
			}
		}
	}
	return film
}

func definitionOf(t *testing.T, key string) oil.Definition {
	t.Helper()
	for _, definition := range oil.Definitions() {
		if definition.Key == key {
			return definition
		}
	}
	t.Fatalf("there is no definition %q", key)
	return oil.Definition{}
}

func thresholdsOf(t *testing.T, key string) oil.Thresholds {
	t.Helper()
	for _, set := range oil.ThresholdSets() {
		if set.Key == key {
			return set
		}
	}
	t.Fatalf("there are no thresholds %q", key)
	return oil.Thresholds{}
}

func TestRatioByHand(t *testing.T) {
	film := stepFilm(8, 2)
	for key, want := range map[string]float64{
		"inside-10":                4,
		"board-20-over-10-and-out": 8 / ((9*2 + 8) / 10.0), // board 10 is oiled like the inside
		"centre-over-outer-6":      4,
		"zone-18-over-3-to-7":      4,
	} {
		definition := definitionOf(t, key)
		if definition.Text == "" || definition.Source == "" || definition.Date == "" {
			t.Errorf("%s: a ratio needs its definition, source and date beside it: %+v", key, definition)
		}
		ratio := film.Ratio(definition)
		for side, got := range map[string]float64{"both": ratio.Value, "right": ratio.RightValue, "left": ratio.LeftValue} {
			if math.Abs(got-want) > 1e-12 {
				t.Errorf("%q, %s: %g, want %g", key, side, got, want)
			}
		}
	}
}

func TestRatioOfOneSide(t *testing.T) {
	film := stepFilm(8, 2)
	for b := 30; b < lane.Boards; b++ {
		for j := range 40 {
			film.UL[b][j] = 0
		}
	}
	definition := definitionOf(t, oil.DefaultDefinition)
	if ratio := film.Ratio(
		definition,
	); ratio.RightValue != 4 || ratio.LeftValue != 0 || ratio.Value != 8 ||
		ratio.OutsideDry {
		t.Errorf(
			"right %g, left %g, both %g, dry %v: want 4, 0, 8, false",
			ratio.RightValue,
			ratio.LeftValue,
			ratio.Value,
			ratio.OutsideDry,
		)
	}
}

func TestTapeRatios(t *testing.T) {
	definition := definitionOf(t, oil.DefaultDefinition)
	film := stepFilm(8, 2)
	for b := range film.UL {
		film.UL[b][38] = 5 // 2 ft before the end the film is flat
	}
	ratios := film.TapeRatios(definition)
	want := []struct{ fromFt, value float64 }{{8, 4}, {20, 4}, {38, 1}}
	if len(ratios) != len(want) {
		t.Fatalf("%d tapes, want %d", len(ratios), len(want))
	}
	for i, ratio := range ratios {
		if ratio.FromFt != want[i].fromFt || math.Abs(ratio.Value-want[i].value) > 1e-12 {
			t.Errorf(
				"tape %d: %g at %g ft, want %g at %g ft",
				i,
				ratio.Value,
				ratio.FromFt,
				want[i].value,
				want[i].fromFt,
			)
		}
	}
}

func TestClass(t *testing.T) {
	definition := definitionOf(t, oil.DefaultDefinition)
	for _, c := range []struct {
		name            string
		thresholds      string
		inside, outside float64
		want            oil.Class
	}{
		{"at the sport limit", oil.DefaultThresholds, 8, 2, oil.Sport},
		{"just above it", oil.DefaultThresholds, 8.1, 2, oil.Challenge},
		{"just below house", oil.DefaultThresholds, 15.9, 2, oil.Challenge},
		{"house", oil.DefaultThresholds, 16, 2, oil.House},
		{"reverse", oil.DefaultThresholds, 2, 8, oil.Sport},
		{"dry outside", oil.DefaultThresholds, 8, 0, oil.House},
		{"dry outside, no house named", "three-to-one", 8, 0, oil.Unclassed},
		{"no oil", oil.DefaultThresholds, 0, 0, oil.Unclassed},
		{"an older limit", "three-to-one", 8, 2, oil.Unclassed},
		{"an older house", "policy-2004", 8, 2, oil.House},
		{"oldest", "two-to-one", 4, 2, oil.Sport},
	} {
		if got := thresholdsOf(t, c.thresholds).Class(stepFilm(c.inside, c.outside).Ratio(definition)); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}
