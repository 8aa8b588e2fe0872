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
			if got := test.Decide(defective, n-defective); got != want {
				t.Fatalf("%d of %d: %s, the lines say %s", defective, n, got, want)
			}
		}
	}
	// The first rows of its table: nothing can be rejected at 1, 2 of 2 can; nothing accepted
	// before 24, 0 of 24 can.
	if test.Decide(1, 0) != TooFewShots || test.Decide(2, 0) != Met || test.Decide(0, 23) != TooFewShots ||
		test.Decide(0, 24) != NotMet {
		t.Error("the first decisions are not those of the table")
	}
}

// Source: Wald, Sequential Analysis, 1947. His limits keep the chance of a wrong met to alpha / (1
// - beta) and of a wrong not met to beta / (1 - alpha), 5.26 % each, at the first crossing and
// however often one looks. For the number of shots, his identity E(sum of steps) = E(n) E(step) is
// exact. The generator is fixed; tolerances are four standard errors of 20,000 runs.
func TestErrorRatesBySimulation(t *testing.T) {
	const runs, longest = 20_000, 5_000
	for _, passShare := range []float64{0.95, 0.8, 0.5, 0.2} {
		test := TestFor(passShare)
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
						verdict = test.Decide(kept, broken)
						if kept+broken > longest {
							t.Fatal("the test does not end")
						}
					}
					if verdict == truth.wrong {
						wrong++
					}
					sumN += float64(kept + broken)
					sumRatio += test.LogRatio(kept, broken)
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

// The verdict on a log is read after every shot, not only at the first crossing: a wrong met at any
// one look is no likelier.
func TestErrorRateOfAnyOneLook(t *testing.T) {
	const runs = 20_000
	test := TestFor(0.8)
	random := rand.New(rand.NewPCG(3, 5))
	wrong := map[int]int{30: 0, 60: 0, 120: 0}
	for range runs {
		kept := 0
		for n := 1; n <= 120; n++ {
			if random.Float64() < test.P0 {
				kept++
			}
			if _, look := wrong[n]; look && test.Decide(kept, n-kept) == Met {
				wrong[n]++
			}
		}
	}
	bound := testError / (1 - testError)
	for n, count := range wrong {
		if rate := float64(count) / runs; rate > bound+4*math.Sqrt(bound*(1-bound)/runs) {
			t.Errorf("after %d shots wrongly met in %.4f of runs, above %.4f", n, rate, bound)
		}
	}
}

func TestSharesToldApart(t *testing.T) {
	for _, c := range []struct{ pass, fail float64 }{{1, 0.8}, {0.8, 0.6}, {0.4, 0.2}, {0.2, 0.1}, {0.05, 0.025}} {
		test := TestFor(c.pass)
		near(t, "fail share", test.P0, c.fail, 1e-12)
		if test.P1 != c.pass {
			t.Errorf("pass share %v is tested as %v", c.pass, test.P1)
		}
	}
}

func TestEveryShotKeptAsked(t *testing.T) {
	test := TestFor(1)
	// ln 19 / ln (1 / 0.8) = 13.2
	if test.Decide(13, 0) != TooFewShots || test.Decide(14, 0) != Met {
		t.Error("14 kept shots in a row should meet a pass share of 1, and 13 not")
	}
	if test.Decide(1000, 1) != NotMet {
		t.Error("one broken shot should be enough")
	}
	e := test.evidence(10, 1)
	if e.Progress != -1 || e.KeptToMet != nil || *e.BrokenToNotMet != 0 {
		t.Errorf("evidence after a broken shot: %+v", e)
	}
	e = test.evidence(10, 0)
	if *e.KeptToMet != 4 || *e.BrokenToNotMet != 1 {
		t.Errorf("4 more kept or 1 broken decide, got %d and %d", *e.KeptToMet, *e.BrokenToNotMet)
	}
}

// What the evidence says would decide does, and one shot fewer does not.
func TestEvidenceIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		test := TestFor(rapid.Float64Range(MinPassShare, 1).Draw(t, "pass share"))
		kept, broken := rapid.IntRange(0, 200).Draw(t, "kept"), rapid.IntRange(0, 200).Draw(t, "broken")
		e := test.evidence(kept, broken)
		if !(e.Progress >= -1 && e.Progress <= 1) {
			t.Fatalf("progress %v", e.Progress)
		}
		verdict := test.Decide(kept, broken)
		if (e.Progress == 1) != (verdict == Met) || (e.Progress == -1) != (verdict == NotMet) {
			t.Fatalf("progress %v, verdict %s", e.Progress, verdict)
		}
		if more := e.KeptToMet; more != nil {
			if test.Decide(kept+*more, broken) != Met || *more > 0 && test.Decide(kept+*more-1, broken) == Met {
				t.Fatalf("%d more kept shots do not just make it met", *more)
			}
		}
		if more := *e.BrokenToNotMet; test.Decide(kept, broken+more) != NotMet ||
			more > 0 && test.Decide(kept, broken+more-1) == NotMet {
			t.Fatalf("%d more broken shots do not just make it not met", more)
		}
	})
}
