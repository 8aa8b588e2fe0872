package reading

import (
	"math"
	"testing"
)

func TestProbes(t *testing.T) {
	for number := range 8 {
		l := newForeign(number)
		read := mustRead(t, l.setting(), nil)
		reach := Reach{LaydownLow: 8, LaydownHigh: 25, AngleLowDeg: 0, AngleHighDeg: 2}
		asked := Aim{18, 1.2}
		for source, least := range map[string]float64{"eye": 1.2, "sensor": 1.8} {
			probes := read.Probes(asked, reach, source)
			if len(probes) < 4 || len(probes) > 6 {
				t.Fatalf("lane %d: %d probes", number, len(probes))
			}
			for i, p := range probes {
				if p.LaydownBoard < reach.LaydownLow || p.LaydownBoard > reach.LaydownHigh ||
					p.LaunchAngleDeg < reach.AngleLowDeg || p.LaunchAngleDeg > reach.AngleHighDeg+1e-9 {
					t.Errorf("lane %d, probe %d cannot be thrown: %+v", number, i+1, p.Aim)
				}
				if !(p.EntryAfter < p.EntryBefore && p.Alone > 0 && p.Alone < 1) {
					t.Errorf("lane %d, probe %d narrows nothing: %+v", number, i+1, p)
				}
				if i > 0 && math.Abs(p.EntryBefore-probes[i-1].EntryAfter) > 1e-9 {
					t.Errorf("lane %d, probe %d begins at %g, the one before ends at %g",
						number, i+1, p.EntryBefore, probes[i-1].EntryAfter)
				}
			}
			if first, last := probes[0].EntryBefore, probes[len(probes)-1].EntryAfter; first/last < least {
				t.Errorf("lane %d by %s: from %.2f to %.2f", number, source, first, last)
			}
		}
	}
}

// Out of bounds is where the forecasts say so: a ball that turns outside it arrives short of the
// pocket, one inside it does not.
func TestBoundsAgreeWithForecasts(t *testing.T) {
	found := 0
	for number := range 12 {
		l := newForeign(number)
		read := mustRead(t, l.setting(), l.probes(6, byEye))
		b := read.Bounds(0)
		if b.Open || b.Closed {
			continue
		}
		found++
		if !(b.Low < b.Board && b.Board < b.High) {
			t.Errorf("lane %d: %+v", number, b)
		}
		for angle := boundsInDeg; angle <= boundsOutDeg; angle += 0.1 {
			f := read.Exactly(0, Aim{boundsLaydown, angle}, 0)
			if f.BreakpointBoard < b.Board-0.3 && f.EntryBoard > boundsEntry {
				t.Errorf("lane %d: out of bounds at %.1f, but a ball that turns at %.1f arrives at %.1f",
					number, b.Board, f.BreakpointBoard, f.EntryBoard)
			}
		}
	}
	if found < 6 {
		t.Errorf("only %d lanes have an out of bounds", found)
	}
}

func TestZonesOfAnUnreadLane(t *testing.T) {
	for _, zone := range mustRead(t, newForeign(3).setting(), nil).Zones() {
		if math.Abs(zone.Units.Value-zone.Stated) > 0.02*zone.Stated+1e-9 {
			t.Errorf("%+v: nothing was thrown, and the oil is not as stated", zone)
		}
		if !(zone.Mu.Low < zone.Mu.Value && zone.Mu.Value < zone.Mu.High) {
			t.Errorf("%+v: friction has no interval", zone)
		}
	}
}
