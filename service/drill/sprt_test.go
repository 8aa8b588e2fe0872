package drill

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.6 "What is a sequential sampling
// plan?": p1 = 0.01, p2 = 0.10, alpha = 0.05, beta = 0.10 give the lines -0.939 + 0.0397 n (accept)
// and 1.205 + 0.0397 n (reject). The figures are from memory of that page, and recomputed here from
// its formulas with logarithms to base 10. What it counts, defectives, are our kept shots.
func TestSequentialPlanOfTheHandbook(t *testing.T) {
	test := SequentialTest{P0: 0.01, P1: 0.10, Alpha: 0.05, Beta: 0.10}
	k := math.Log10(0.10 * (1 - 0.01) / (0.01 * (1 - 0.10)))
	h1 := math.Log10((1-0.05)/0.10) / k
	h2 := math.Log10((1-0.10)/0.05) / k
	slope := math.Log10((1-0.01)/(1-0.10)) / k
	near(t, "k", k, 1.0414, 5e-5)
	near(t, "h1", h1, 0.939, 5e-4)
	near(t, "h2", h2, 1.205, 5e-4)
	near(t, "slope", slope, 0.0397, 5e-5)
	for n := 1; n <= 200; n++ {
		for defective := 0; defective <= min(n, 20); defective++ {
			want := TooFewShots
			switch line := slope * float64(n); {
			case float64(defective) >= line+h2:
				want = Met
			case float64(defective) <= line-h1:
				want = NotMet
			}
			if got := test.Decide(n, float64(defective), float64(defective)); got != want {
				t.Fatalf("%d of %d: %s, the lines say %s", defective, n, got, want)
			}
		}
	}
	// The first rows of its table: nothing can be rejected at 1, 2 of 2 can; nothing accepted
	// before 24, 0 of 24 can.
	if test.Decide(1, 1, 1) != TooFewShots || test.Decide(2, 2, 2) != Met || test.Decide(23, 0, 0) != TooFewShots ||
		test.Decide(24, 0, 0) != NotMet {
		t.Error("the first decisions are not those of the table")
	}
}

// openEnded is the test of a pass share without a first and a last look.
func openEnded(passShare float64) SequentialTest {
	test := TestFor(passShare, 1)
	test.Reps = 0
	return test
}

// Source: Wald, Sequential Analysis, 1947. His limits keep the chance of a wrong met to alpha / (1
// - beta) and of a wrong not met to beta / (1 - alpha), 5.26 % each, at the first crossing and
// however often one looks. For the number of shots, his identity E(sum of steps) = E(n) E(step) is
// exact. The generator is fixed; tolerances are four standard errors of 20,000 runs.
func TestErrorRatesBySimulation(t *testing.T) {
	const runs, longest = 20_000, 5_000
	for _, passShare := range []float64{0.95, 0.8, 0.5, 0.2} {
		test := openEnded(passShare)
		for _, truth := range []struct {
			name  string
			share float64
			wrong DrillVerdict
		}{{"truly the pass share", test.P1, NotMet}, {"truly the fail share", test.P0, Met}} {
			t.Run(fmt.Sprintf("%v, %s", passShare, truth.name), func(t *testing.T) {
				random := rand.New(rand.NewPCG(11, 17))
				wrong, sumN, sumRatio := 0, 0.0, 0.0
				for range runs {
					kept, broken := 0, 0
					verdict := TooFewShots
					for verdict == TooFewShots {
						if random.Float64() < truth.share {
							kept++
						} else {
							broken++
						}
						verdict = test.Decide(kept+broken, float64(kept), float64(kept))
						if kept+broken > longest {
							t.Fatal("the test does not end")
						}
					}
					if verdict == truth.wrong {
						wrong++
					}
					sumN += float64(kept + broken)
					sumRatio += test.LogRatio(kept+broken, float64(kept))
				}
				bound := testError / (1 - testError)
				rate := float64(wrong) / runs
				if tolerance := 4 * math.Sqrt(bound*(1-bound)/runs); rate > bound+tolerance {
					t.Errorf("wrong in %.4f of runs, Wald's bound is %.4f + %.4f", rate, bound, tolerance)
				}
				if rate < testError/3 {
					t.Errorf("wrong in only %.4f of runs: it asks for more shots than 5 %% needs", rate)
				}
				kept, broken := test.steps()
				step := truth.share*kept + (1-truth.share)*broken
				deviation := math.Sqrt(truth.share*(1-truth.share)) * (kept - broken)
				tolerance := 4 * deviation * math.Sqrt(sumN/runs) / math.Sqrt(runs)
				near(t, "mean sum of steps less mean shots times mean step", sumRatio/runs-sumN/runs*step, 0, tolerance)
				t.Logf("wrong %.4f, %.0f shots on average", rate, sumN/runs)
			})
		}
	}
}

// How likely the verdict of a whole drill is right where readings are exact, computed without
// simulation. The figures of 30 shots at 80 % are recomputed by a program of other authorship.
func TestOperatingFigures(t *testing.T) {
	test := TestFor(0.8, 30)
	if test.MetFrom != 23 || test.NotMetTo != 19 {
		t.Errorf(
			"the last look of 30 shots takes %d for met and %d for not met, want 23 and 19",
			test.MetFrom,
			test.NotMetTo,
		)
	}
	met, notMet := test.Operating(0.8)
	near(t, "met at the pass share", met, 0.7711, 5e-5)
	near(t, "not met at the pass share", notMet, 0.0354, 5e-5)
	met, notMet = test.Operating(0.6)
	near(t, "met at the lower share", met, 0.0515, 5e-5)
	near(t, "not met at the lower share", notMet, 0.7281, 5e-5)
	for _, share := range []float64{0.5, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 1} {
		met, notMet := test.Operating(share)
		t.Logf("true share %.2f: met %.3f, not met %.3f, neither %.3f", share, met, notMet, 1-met-notMet)
	}
}

// Whatever is asked for, neither error is likelier than 5.5 %, one more shot would make it so, and
// the figures are those of the test played out.
func TestLastLook(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pass := float64(rapid.IntRange(5, 100).Draw(t, "pass")) / 100
		test := TestFor(pass, rapid.IntRange(1, 80).Draw(t, "reps"))
		met, _ := test.Operating(test.P0)
		_, notMet := test.Operating(test.P1)
		if met > lastLookError || notMet > lastLookError {
			t.Fatalf("wrong in %.4f and %.4f", met, notMet)
		}
		eager := test
		eager.MetFrom--
		met, _ = eager.Operating(test.P0)
		if met <= lastLookError && test.LogRatio(test.Reps, float64(eager.MetFrom)) >= 0 {
			t.Fatalf("%d of %d could be met", eager.MetFrom, test.Reps)
		}
		random := rand.New(rand.NewPCG(5, 8))
		const runs = 400
		ended := 0
		for range runs {
			kept, verdict := 0, TooFewShots
			for n := 1; n <= test.Reps && verdict == TooFewShots; n++ {
				if random.Float64() < test.P1 {
					kept++
				}
				verdict = test.Decide(n, float64(kept), float64(kept))
			}
			if verdict == Met {
				ended++
			}
		}
		want, _ := test.Operating(test.P1)
		if math.Abs(float64(ended)/runs-want) > 5*math.Sqrt(0.25/runs) {
			t.Fatalf("met in %.3f of runs, computed %.3f", float64(ended)/runs, want)
		}
	})
}

func TestSharesToldApart(t *testing.T) {
	for _, c := range []struct{ pass, fail float64 }{{1, 0.8}, {0.8, 0.6}, {0.4, 0.2}, {0.2, 0.1}, {0.05, 0.025}} {
		test := TestFor(c.pass, 30)
		near(t, "fail share", test.P0, c.fail, 1e-12)
		if test.P1 != c.pass {
			t.Errorf("pass share %v is tested as %v", c.pass, test.P1)
		}
	}
}

func TestEveryShotKeptAsked(t *testing.T) {
	test := TestFor(1, 30)
	// ln 19 / ln (1 / 0.8) = 13.2
	if test.Decide(13, 13, 13) != TooFewShots || test.Decide(14, 14, 14) != Met {
		t.Error("14 kept shots in a row should meet a pass share of 1, and 13 not")
	}
	if test.Decide(13, 12, 12) != NotMet {
		t.Error("one broken shot should be enough")
	}
	if test.Decide(13, 12.9, 12.9) != TooFewShots {
		t.Error("a small chance that one was broken should not be enough")
	}
	e := test.evidence(10, 10, 10, TooFewShots, 0)
	if *e.KeptToMet != 4 || *e.BrokenToNotMet != 1 {
		t.Errorf("4 more kept or 1 broken decide, got %d and %d", *e.KeptToMet, *e.BrokenToNotMet)
	}
}

// What the evidence says would decide does, and one shot fewer does not.
func TestEvidenceIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		test := TestFor(
			rapid.Float64Range(MinPassShare, 1).Draw(t, "pass share"),
			rapid.IntRange(1, 60).Draw(t, "reps"),
		)
		n := rapid.IntRange(0, 200).Draw(t, "shots")
		kept := rapid.IntRange(0, n).Draw(t, "kept")
		decide := func(more, ofThem int) DrillVerdict {
			return test.Decide(n+more, float64(kept+ofThem), float64(kept+ofThem))
		}
		verdict := decide(0, 0)
		e := test.evidence(n, float64(kept), float64(kept), verdict, 0)
		if !(e.Progress >= -1 && e.Progress <= 1) {
			t.Fatalf("progress %v", e.Progress)
		}
		if verdict != TooFewShots {
			if (e.KeptToMet != nil) != (verdict == Met) || (e.BrokenToNotMet != nil) != (verdict == NotMet) {
				t.Fatalf("%s, and yet %v more and %v more", verdict, e.KeptToMet, e.BrokenToNotMet)
			}
			return
		}
		if more := *e.KeptToMet; decide(more, more) != Met || more > 1 && decide(more-1, more-1) == Met {
			t.Fatalf("%d more kept shots do not just make it met", more)
		}
		if more := *e.BrokenToNotMet; decide(more, 0) != NotMet || more > 1 && decide(more-1, 0) == NotMet {
			t.Fatalf("%d more broken shots do not just make it not met", more)
		}
	})
}

// Shots that were not measured count against either verdict.
func TestUnmeasuredShotsHoldTheVerdictBack(t *testing.T) {
	test := TestFor(0.8, 30)
	for _, c := range []struct {
		n         int
		low, high float64
		want      DrillVerdict
	}{
		{30, 20, 30, TooFewShots}, {30, 23, 30, Met}, {30, 10, 18, NotMet}, {30, 10, 20, TooFewShots}, {20, 20, 20, Met},
	} {
		if got := test.Decide(c.n, c.low, c.high); got != c.want {
			t.Errorf("%v to %v of %d: %s, want %s", c.low, c.high, c.n, got, c.want)
		}
	}
}
