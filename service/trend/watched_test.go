package trend

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func TestWatchedTable(t *testing.T) {
	for _, row := range table(t, "watched.csv") {
		t.Run(row[0]+" of "+row[1], func(t *testing.T) {
			checkInterval(t, Watched(decimal(t, row[0]), decimal(t, row[1]), Alpha95), row[2], row[3])
		})
	}
}

func TestWatchedLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		of := rapid.IntRange(0, 200).Draw(t, "of")
		count := rapid.Float64Range(0, float64(of)).Draw(t, "count")
		got := Watched(count, float64(of), Alpha95)
		if of > 0 && !got.Contains(count/float64(of)) {
			t.Fatalf("%v does not hold %g of %d", got, count, of)
		}
		if wilson := WilsonOf(count, float64(of), Z95); of > 0 && got.High-got.Low < wilson.High-wilson.Low {
			t.Fatalf("%v is narrower than the interval for one look, %v", got, wilson)
		}
		mirrored := Watched(float64(of)-count, float64(of), Alpha95)
		if math.Abs(1-mirrored.High-got.Low) > 1e-9 || math.Abs(1-mirrored.Low-got.High) > 1e-9 {
			t.Fatalf("%v is not the mirror image of %v", got, mirrored)
		}
	})
}

func TestWatchedDifferenceLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ofA, ofB := rapid.IntRange(0, 60).Draw(t, "ofA"), rapid.IntRange(0, 60).Draw(t, "ofB")
		a, b := rapid.IntRange(0, ofA).Draw(t, "a"), rapid.IntRange(0, ofB).Draw(t, "b")
		got := WatchedDifference(float64(a), float64(ofA), float64(b), float64(ofB), Alpha95)
		swapped := WatchedDifference(float64(b), float64(ofB), float64(a), float64(ofA), Alpha95)
		if math.Abs(got.Low+swapped.High) > 1e-6 || math.Abs(got.High+swapped.Low) > 1e-6 {
			t.Fatalf("%v is not the mirror image of %v", got, swapped)
		}
		if ofA == 0 || ofB == 0 {
			return
		}
		seen := float64(a)/float64(ofA) - float64(b)/float64(ofB)
		if !got.Contains(seen) {
			t.Fatalf("%v does not hold %g", got, seen)
		}
		first, second := newSample(float64(a), float64(ofA)), newSample(float64(b), float64(ofB))
		pooled := float64(a+b) / float64(ofA+ofB)
		if signed := first.evidence(pooled)+second.evidence(pooled) >= -math.Log(Alpha95); signed == got.Contains(0) {
			t.Fatalf("%v, but evidence of a difference: %v", got, signed)
		}
		one := Newcombe(a, ofA, b, ofB, Z95)
		if got.High-got.Low < one.High-one.Low {
			t.Fatalf("%v is narrower than the interval for one look, %v", got, one)
		}
	})
}

// everWrong is how many of so many drills show, at least once between two shots, an interval
// without the true share.
func everWrong(r *rand.Rand, drills, from, to int, share float64, interval func(count, of int) Interval) float64 {
	wrong := 0
	for range drills {
		count := 0
		for of := 1; of <= to; of++ {
			if r.Float64() < share {
				count++
			}
			if of >= from && !interval(count, of).Contains(share) {
				wrong++
				break
			}
		}
	}
	return float64(wrong) / float64(drills)
}

// Over whole drills of 500 shots read after each, the sequence is wrong in 5 % at most, and the
// interval for one look in several times as many.
func TestWatchedHoldsHoweverOftenRead(t *testing.T) {
	drills := 10_000
	if testing.Short() {
		drills = 500
	}
	for _, share := range []float64{0.5, 0.8, 0.93} {
		r := rand.New(rand.NewPCG(17, 4))
		watched := make(map[[2]int]Interval)
		wrong := everWrong(r, drills, 1, 500, share, func(count, of int) Interval {
			key := [2]int{count, of}
			if _, ok := watched[key]; !ok {
				watched[key] = Watched(float64(count), float64(of), Alpha95)
			}
			return watched[key]
		})
		single := everWrong(r, 500, 5, 500, share, func(count, of int) Interval { return Wilson(count, of, Z95) })
		t.Logf("share %.2f: wrong at least once %.1f %% (for one look %.1f %%)", share, 100*wrong, 100*single)
		if wrong > Alpha95 {
			t.Errorf("share %.2f: wrong in %.1f %% of the drills", share, 100*wrong)
		}
		if single < 0.25 {
			t.Errorf("share %.2f: the interval for one look was wrong in %.1f %% only: the test does not try it", share, 100*single)
		}
	}
}

// Strikes kept and broken that do not differ: how many practices show a sign at least once when
// read after each of shots 10 to 100, and how many show one when the two differ.
func TestWatchedDifferenceShowsFewFalseSigns(t *testing.T) {
	practices := 4000
	if testing.Short() {
		practices = 150
	}
	signs := func(onLine, offLine float64, sign func(a, ofA, b, ofB int) bool) float64 {
		r := rand.New(rand.NewPCG(28, 35))
		shown := 0
		for range practices {
			var hits, of [2]int
			for n := 1; n <= 100; n++ {
				group, share := 0, onLine
				if r.Float64() >= 0.8 {
					group, share = 1, offLine
				}
				of[group]++
				if r.Float64() < share {
					hits[group]++
				}
				if n >= 10 && sign(hits[0], of[0], hits[1], of[1]) {
					shown++
					break
				}
			}
		}
		return float64(shown) / float64(practices)
	}
	// Of all pairs of equal shares the pooled one has the least evidence against it.
	watched := func(a, ofA, b, ofB int) bool {
		if ofA == 0 || ofB == 0 {
			return false
		}
		first, second := newSample(float64(a), float64(ofA)), newSample(float64(b), float64(ofB))
		pooled := float64(a+b) / float64(ofA+ofB)
		return first.evidence(pooled)+second.evidence(pooled) >= -math.Log(Alpha95)
	}
	single := func(a, ofA, b, ofB int) bool { return !Newcombe(a, ofA, b, ofB, Z95).Contains(0) }
	wrong, wrongSingle := signs(0.35, 0.35, watched), signs(0.35, 0.35, single)
	found := signs(0.5, 0.1, watched)
	t.Logf("no difference: a sign in %.1f %% (for one look %.1f %%); 50 %% against 10 %%: %.0f %%",
		100*wrong, 100*wrongSingle, 100*found)
	if wrong > Alpha95 {
		t.Errorf("a sign without a difference in %.1f %%", 100*wrong)
	}
	if wrongSingle < 0.15 {
		t.Errorf("the interval for one look shows a false sign in %.1f %% only: the test does not try it", 100*wrongSingle)
	}
	if found < 0.3 {
		t.Errorf("a large difference is found in %.0f %% only", 100*found)
	}
}
