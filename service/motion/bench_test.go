package motion

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"laneward/service/lane"
)

// manyReleases are seeded deliveries all over the lane, from slow and hooking to fast and straight.
func manyReleases(n int) []Release {
	random := rand.New(rand.NewPCG(3, 40))
	between := func(low, high float64) float64 { return low + (high-low)*random.Float64() }
	releases := make([]Release, n)
	for i := range releases {
		releases[i] = Release{
			LaydownBoard: between(
				5,
				30,
			),
			LaunchAngleDeg: between(0, 3),
			SpeedMPH:       between(14, 20),
			RevRPM:         between(200, 500),
			RotationDeg:    between(10, 90),
			TiltDeg:        between(0, 25),
		}
	}
	return releases
}

// stepErrors returns the errors at the pins, in boards and degrees, of the paths that reach them,
// in rising order.
func stepErrors(tb testing.TB, name string, stepFt float64, releases []Release) (boards, degrees []float64) {
	film := readFilm(tb, name)
	table := newTable(film, NominalFriction(), lane.Right, stepFt)
	surface := FilmSurface(film, NominalFriction(), lane.Right)
	for _, release := range releases {
		path, err := Trace(surface, DefaultBall(), release, nil)
		if err != nil {
			tb.Fatal(err)
		}
		if fast := table.Run(DefaultBall(), release); fast.Reaches() && path.Reaches() {
			boards = append(boards, math.Abs(fast.PinBoard-path.PinBoard))
			degrees = append(degrees, math.Abs(fast.EntryAngleDeg-path.EntryAngleDeg))
		}
	}
	slices.Sort(boards)
	slices.Sort(degrees)
	return boards, degrees
}

// At the default step every path of a wide sample stays within 0.05 board; halving the step shows
// second order until the table's sampling across the boards is what is left. Run with -v for the
// table.
func TestErrorAgainstStep(t *testing.T) {
	releases := manyReleases(400)
	for _, name := range []string{"house-like", "flat-long", "invented-41"} {
		for _, stepFt := range []float64{1, 0.5, 0.2, 0.1, 0.05} {
			boards, degrees := stepErrors(t, name, stepFt, releases)
			n := len(boards)
			if n < len(releases)/2 {
				t.Fatalf("only %d of %d paths reach the pins", n, len(releases))
			}
			t.Logf("%-10s step %4g ft, %3d paths: board median %.5f, 99 %% %.5f, worst %.5f; degrees worst %.5f",
				name, stepFt, n, boards[n/2], boards[n*99/100], boards[n-1], degrees[n-1])
			if stepFt == DefaultStepFt && boards[n-1] >= 0.05 {
				t.Errorf("%s: worst error %.3f board at the default step, promised is 0.05", name, boards[n-1])
			}
		}
	}
}

func benchmarkTable(b *testing.B, name string, stepFt float64) {
	table := newTable(readFilm(b, name), NominalFriction(), lane.Right, stepFt)
	releases, ball := manyReleases(1024), DefaultBall()
	boards, _ := stepErrors(b, name, stepFt, releases[:200])
	b.ReportAllocs()
	b.ResetTimer()
	sum := 0.0
	for i := range b.N {
		sum += table.Run(ball, releases[i%len(releases)]).PinBoard
	}
	if math.IsNaN(sum) {
		b.Fatal("not a number")
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "paths/s")
	b.ReportMetric(boards[len(boards)-1], "worst-board-error")
}

// Paths a second on one core, with the error at that step beside it.
func BenchmarkTable(b *testing.B) {
	for _, name := range []string{"house-like", "flat-long", "invented-41"} {
		for _, stepFt := range []float64{0.5, 0.2, 0.1} {
			b.Run(fmt.Sprintf("%s/step=%gft", name, stepFt), func(b *testing.B) { benchmarkTable(b, name, stepFt) })
		}
	}
}

// Paths a second on all cores.
func BenchmarkTableParallel(b *testing.B) {
	table, err := NewTable(readFilm(b, "house-like"), NominalFriction(), lane.Right)
	if err != nil {
		b.Fatal(err)
	}
	releases, ball := manyReleases(1024), DefaultBall()
	b.ReportAllocs()
	var mu sync.Mutex
	total := 0.0
	b.RunParallel(func(pb *testing.PB) {
		sum := 0.0
		for i := 0; pb.Next(); i++ {
			sum += table.Run(ball, releases[i%len(releases)]).PinBoard
		}
		mu.Lock()
		total += sum
		mu.Unlock()
	})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "paths/s")
}

func BenchmarkTrace(b *testing.B) {
	surface := FilmSurface(readFilm(b, "house-like"), NominalFriction(), lane.Right)
	releases, stations := manyReleases(64), EveryFoot()
	for i := range b.N {
		if _, err := Trace(surface, DefaultBall(), releases[i%len(releases)], stations); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNewTable(b *testing.B) {
	film := readFilm(b, "house-like")
	for b.Loop() {
		if _, err := NewTable(film, NominalFriction(), lane.Right); err != nil {
			b.Fatal(err)
		}
	}
}
