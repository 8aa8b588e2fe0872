package motion

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"laneward/service/lane"
	"laneward/service/oil"
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

// roughFilm is no lane's: 12 units and none take turns from cell to cell (checkered), or every cell
// is drawn between 0 and 8 units.
func roughFilm(checkered bool) *oil.Film {
	film := &oil.Film{LengthFt: 42}
	random := rand.New(rand.NewPCG(1, 1))
	for b := range film.UL {
		for row := range 42 {
			units := 8 * random.Float64()
			if checkered {
				units = float64(12 * ((b + row) % 2))
			}
			film.UL[b][row] = units * oil.UnitULPerBoardFoot
		}
	}
	return film
}

// The bounds that [Table.Run] states, over a wide sample of deliveries, and how many slabs a film
// takes for it. Run with -v for the table.
func TestErrorByFilm(t *testing.T) {
	releases := manyReleases(1000)
	for _, c := range []struct {
		name      string
		film      *oil.Film
		slabs     int // at most
		tolerance float64
	}{
		{"house-like", readFilm(t, "house-like"), 90, 0.05},
		{"flat-long", readFilm(t, "flat-long"), 50, 0.05},
		{"laid from a table", layFilm(t), 240, 0.05},
		{"patches", roughFilm(false), 480, 0.06},
		{"checkered", roughFilm(true), 480, 0.3},
	} {
		t.Run(c.name, func(t *testing.T) {
			table, err := NewTable(c.film, NominalFriction(), lane.Right)
			if err != nil {
				t.Fatal(err)
			}
			boards, degrees := tableErrors(t, table, FilmSurface(c.film, NominalFriction(), lane.Right), releases)
			n := len(boards)
			if n < len(releases)/2 {
				t.Fatalf("only %d of %d paths reach the pins", n, len(releases))
			}
			t.Logf("%d slabs, %d paths: board median %.5f, 99 %% %.5f, worst %.5f; degrees worst %.5f",
				len(table.slabs), n, boards[n/2], boards[n*99/100], boards[n-1], degrees[n-1])
			if boards[n-1] > c.tolerance {
				t.Errorf("worst error %.3f board, promised is %g", boards[n-1], c.tolerance)
			}
			if len(table.slabs) > c.slabs {
				t.Errorf("%d slabs, want %d at most", len(table.slabs), c.slabs)
			}
		})
	}
}

// tableErrors returns the errors at the pins, in boards and degrees, of the paths that reach them,
// in rising order.
func tableErrors(tb testing.TB, table *Table, surface Surface, releases []Release) (boards, degrees []float64) {
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

// Paths a second on one core, with the error beside it.
func BenchmarkTable(b *testing.B) {
	for _, name := range []string{"house-like", "flat-long", "invented-41"} {
		b.Run(name, func(b *testing.B) {
			film := readFilm(b, name)
			table, err := NewTable(film, NominalFriction(), lane.Right)
			if err != nil {
				b.Fatal(err)
			}
			releases, ball := manyReleases(1024), DefaultBall()
			boards, _ := tableErrors(b, table, FilmSurface(film, NominalFriction(), lane.Right), releases[:200])
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
			b.ReportMetric(float64(len(table.slabs)), "slabs")
		})
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
