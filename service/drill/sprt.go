package drill

import "math"

// SequentialTest decides between two shares of kept shots, P0 < P1, while the shots are thrown:
// Wald's sequential probability ratio test with the probabilities Alpha of taking P1 when P0 holds
// and Beta of taking P0 when P1 holds, and one last look when Reps shots have been thrown.
//
// Source: A. Wald, Sequential Analysis, 1947. His limits ln((1-Beta)/Alpha) and ln(Beta/(1-Alpha))
// hold the two error probabilities to at most Alpha/(1-Beta) and Beta/(1-Alpha), and their sum to
// at most Alpha + Beta, however often one looks. What the last look adds is computed exactly; see
// [SequentialTest.Operating].
type SequentialTest struct {
	P0, P1, Alpha, Beta float64
	Reps                int
	// MetFrom is how many of Reps shots have to be kept for P1 at the last look, and NotMetTo up to
	// how many mean P0: as many as the errors allow, and never against the likelihood. Reps + 1 and
	// -1 where no count does.
	MetFrom, NotMetTo int
}

// The test of a drill. The width is chosen so that a practice of 30 shots mostly decides at 80 %:
// half the width would ask for about a hundred.
const (
	testError     = 0.05  // of either kind, of Wald's test
	lastLookError = 0.055 // of either kind, with the last look
	testWidth     = 0.20  // how far below the pass share an athlete has to be to have not met it
	// firstLook is the first shot at which the test may decide: of fewer it is not known how far an
	// athlete's shots spread.
	firstLook = 8
)

// TestFor returns the test of a drill's pass share: the share itself against one 0.20 lower (half
// of it, where that is more than the share less 0.20), with 5 % error of either kind, 5.5 % with
// the last look. Between the two shares the test is indifferent.
func TestFor(passShare float64, reps int) SequentialTest {
	fail := math.Round(math.Max(passShare-testWidth, passShare/2)*1e6) / 1e6 // 0.6, and not 0.6000000000000001
	t := SequentialTest{
		P0: fail, P1: passShare, Alpha: testError, Beta: testError,
		Reps: reps, MetFrom: reps + 1, NotMetTo: -1,
	}
	met, _, open := t.walk(t.P0)
	for t.LogRatio(reps, float64(t.MetFrom-1)) >= 0 && met+open[t.MetFrom-1] <= lastLookError {
		t.MetFrom--
		met += open[t.MetFrom]
	}
	_, notMet, open := t.walk(t.P1)
	for t.LogRatio(reps, float64(t.NotMetTo+1)) < 0 && notMet+open[t.NotMetTo+1] <= lastLookError {
		t.NotMetTo++
		notMet += open[t.NotMetTo]
	}
	return t
}

// walk follows the number of kept shots of an athlete who keeps each with the same probability, and
// returns how likely the test has decided either way before the last look, and how likely each
// count is to be still open then.
func (t SequentialTest) walk(share float64) (met, notMet float64, open []float64) {
	open = make([]float64, t.Reps+1)
	open[0] = 1
	for n := 1; n <= t.Reps; n++ {
		for kept := n; kept >= 0; kept-- {
			likely := open[kept] * (1 - share)
			if kept > 0 {
				likely += open[kept-1] * share
			}
			open[kept] = likely
			if likely == 0 { // most counts: the test has decided on the way there
				continue
			}
			switch t.sequential(n, float64(kept), float64(kept)) {
			case Met:
				met += likely
			case NotMet:
				notMet += likely
			default:
				continue
			}
			open[kept] = 0
		}
	}
	return met, notMet, open
}

// Operating returns how likely the test says met and not met, by the time Reps shots have been
// thrown, of an athlete who keeps each shot with this probability, where readings are exact. The
// figures are exact.
func (t SequentialTest) Operating(share float64) (met, notMet float64) {
	met, notMet, open := t.walk(share)
	for kept, likely := range open {
		switch {
		case kept >= t.MetFrom:
			met += likely
		case kept <= t.NotMetTo:
			notMet += likely
		}
	}
	return met, notMet
}

// Limits returns the log likelihood ratios at which the test takes P0 (low) and P1 (high).
func (t SequentialTest) Limits() (low, high float64) {
	return math.Log(t.Beta / (1 - t.Alpha)), math.Log((1 - t.Beta) / t.Alpha)
}

// steps are what one kept and one broken shot add to the log likelihood ratio. A broken shot takes
// it from one limit to the other at most: against a pass share of 1 one decides, and a small chance
// that one was broken does not.
func (t SequentialTest) steps() (kept, broken float64) {
	low, high := t.Limits()
	return math.Log(t.P1 / t.P0), math.Max(math.Log((1-t.P1)/(1-t.P0)), low-high)
}

// LogRatio returns the log likelihood ratio of P1 to P0 after so many kept of n shots. Kept may be
// a sum of chances.
func (t SequentialTest) LogRatio(n int, kept float64) float64 {
	stepKept, stepBroken := t.steps()
	return kept*stepKept + (float64(n)-kept)*stepBroken
}

// Decide returns what the test says of n shots of which at least low and at most high were kept:
// sums of chances, which differ where shots were not measured. It is met only when it would be with
// low, not met only when it would be with high.
func (t SequentialTest) Decide(n int, low, high float64) DrillVerdict {
	if verdict := t.sequential(n, low, high); verdict != TooFewShots || n != t.Reps {
		return verdict
	}
	switch {
	case low >= float64(t.MetFrom)-edgeTolerance:
		return Met
	case high <= float64(t.NotMetTo)+edgeTolerance:
		return NotMet
	}
	return TooFewShots
}

func (t SequentialTest) sequential(n int, low, high float64) DrillVerdict {
	lowLimit, highLimit := t.Limits()
	switch {
	case n < min(firstLook, t.Reps):
	case t.LogRatio(n, low) >= highLimit:
		return Met
	case t.LogRatio(n, high) <= lowLimit:
		return NotMet
	}
	return TooFewShots
}

// looksAt reports whether the test looks at the first n shots: at each of the first 200, and then
// at one in a hundred of those before.
func looksAt(n int) bool {
	const each, part = 200, 100
	return n <= each || n%(n/part) == 0
}

// DrillVerdict is what a log of shots says about a drill.
type DrillVerdict string

// The verdicts of a drill.
const (
	Met         DrillVerdict = "met"
	NotMet      DrillVerdict = "not met"
	TooFewShots DrillVerdict = "too few shots"
)

// Evidence is how far a log of shots has got in the sequential test of its drill.
type Evidence struct {
	PassShare, FailShare float64 // the two shares tested; between them the test is indifferent
	// Progress runs from -1, not met, to 1, met: the log likelihood ratio as a part of the limit it
	// is heading for, 0 where shots that were not measured could send it either way.
	Progress float64
	// KeptToMet is how many more shots, all kept, would make it met, and BrokenToNotMet how many
	// more, all broken, not met; 0 when it is so already, nil when no number would: a verdict that
	// was reached is held.
	KeptToMet, BrokenToNotMet *int
	// DecidedAt is the shot, from 1, at which the verdict was reached; 0 when it was not.
	DecidedAt int
	// MetFrom and NotMetTo are the counts that decide at the last look; see [SequentialTest].
	MetFrom, NotMetTo int
}

// evidence describes n shots of which at least low and at most high were kept, and the verdict
// reached on them.
func (t SequentialTest) evidence(n int, low, high float64, verdict DrillVerdict, decidedAt int) Evidence {
	e := Evidence{
		PassShare: t.P1, FailShare: t.P0, DecidedAt: decidedAt,
		MetFrom: t.MetFrom, NotMetTo: t.NotMetTo,
	}
	none := 0
	switch verdict {
	case Met:
		e.Progress, e.KeptToMet = 1, &none
		return e
	case NotMet:
		e.Progress, e.BrokenToNotMet = -1, &none
		return e
	}
	lowLimit, highLimit := t.Limits()
	stepKept, stepBroken := t.steps()
	ratioLow, ratioHigh := t.LogRatio(n, low), t.LogRatio(n, high)
	switch {
	case ratioLow > 0:
		e.Progress = math.Min(ratioLow/highLimit, 1)
	case ratioHigh < 0:
		e.Progress = math.Max(ratioHigh/-lowLimit, -1)
	}
	left := t.Reps - n
	e.KeptToMet = t.more(n, (highLimit-ratioLow)/stepKept, left, low+float64(left) >= float64(t.MetFrom))
	e.BrokenToNotMet = t.more(n, (ratioHigh-lowLimit)/-stepBroken, left, high <= float64(t.NotMetTo))
	return e
}

// more is how many shots it takes: so many steps of the ratio, no verdict before the first look,
// and no more than are left to the last look, where that decides.
func (t SequentialTest) more(n int, steps float64, left int, lastDecides bool) *int {
	shots := max(1, int(math.Ceil(steps-edgeTolerance)), min(firstLook, t.Reps)-n)
	if left > 0 && lastDecides {
		shots = min(shots, left)
	}
	return &shots
}
