package drill

import "math"

// SequentialTest is Wald's sequential probability ratio test between two shares P0 < P1, with the
// probabilities Alpha of taking P1 when P0 holds and Beta of taking P0 when P1 holds.
//
// Source: A. Wald, Sequential Analysis, 1947. His limits ln((1-Beta)/Alpha) and ln(Beta/(1-Alpha))
// hold the two error probabilities to at most Alpha/(1-Beta) and Beta/(1-Alpha), and their sum to
// at most Alpha + Beta, however often one looks.
type SequentialTest struct{ P0, P1, Alpha, Beta float64 }

// The test of a drill. The width is chosen so that a practice of 30 shots mostly decides at 80 %:
// half the width would ask for about a hundred.
const (
	testError = 0.05 // of either kind
	testWidth = 0.20 // how far below the pass share an athlete has to be to have not met it
)

// TestFor returns the test of a pass share: the share itself against one 0.20 lower (half of it,
// where that is more than the share less 0.20), with 5 % error of either kind. Between the two
// shares the test is indifferent. Against a pass share of 1 one broken shot decides.
func TestFor(passShare float64) SequentialTest {
	fail := math.Round(math.Max(passShare-testWidth, passShare/2)*1e6) / 1e6 // 0.6, and not 0.6000000000000001
	return SequentialTest{P0: fail, P1: passShare, Alpha: testError, Beta: testError}
}

// Limits returns the log likelihood ratios at which the test takes P0 (low) and P1 (high).
func (t SequentialTest) Limits() (low, high float64) {
	return math.Log(t.Beta / (1 - t.Alpha)), math.Log((1 - t.Beta) / t.Alpha)
}

// steps are what one kept and one broken shot add to the log likelihood ratio.
func (t SequentialTest) steps() (kept, broken float64) {
	return math.Log(t.P1 / t.P0), math.Log((1 - t.P1) / (1 - t.P0))
}

// LogRatio returns the log likelihood ratio of P1 to P0 after so many kept and broken shots; -Inf
// when P1 is 1 and one was broken.
func (t SequentialTest) LogRatio(kept, broken int) float64 {
	stepKept, stepBroken := t.steps()
	ratio := float64(kept) * stepKept
	if broken > 0 { // 0 * -Inf is not a number
		ratio += float64(broken) * stepBroken
	}
	return ratio
}

// Decide returns what the test says of so many kept and broken shots.
func (t SequentialTest) Decide(kept, broken int) DrillVerdict {
	low, high := t.Limits()
	switch ratio := t.LogRatio(kept, broken); {
	case ratio >= high:
		return Met
	case ratio <= low:
		return NotMet
	}
	return TooFewShots
}

// DrillVerdict is what a log of shots says about a drill.
type DrillVerdict string

// The verdicts of a drill.
const (
	Met         DrillVerdict = "met"
	NotMet      DrillVerdict = "not met"
	TooFewShots DrillVerdict = "too few shots"
)

// Evidence is where a log of shots stands in the sequential test of its drill.
type Evidence struct {
	PassShare, FailShare float64 // the two shares told apart; between them the test is indifferent
	// Progress runs from -1, not met, to 1, met: the log likelihood ratio as a part of the limit it
	// is heading for.
	Progress float64
	// KeptToMet is how many more shots, all kept, would make it met, and BrokenToNotMet how many
	// more, all broken, not met; 0 when it is so already, nil when no number would.
	KeptToMet, BrokenToNotMet *int
	// DecidedAt is the judged shot, from 1, at which the test first left "too few shots"; 0 when it
	// has not.
	DecidedAt int
}

// evidence leaves DecidedAt to the caller, who knows the order of the shots.
func (t SequentialTest) evidence(kept, broken int) Evidence {
	low, high := t.Limits()
	stepKept, stepBroken := t.steps()
	ratio := t.LogRatio(kept, broken)
	e := Evidence{PassShare: t.P1, FailShare: t.P0}
	if ratio >= 0 {
		e.Progress = math.Min(ratio/high, 1)
	} else {
		e.Progress = math.Max(ratio/-low, -1)
	}
	if !math.IsInf(ratio, -1) {
		more := stepsTo(high-ratio, stepKept)
		e.KeptToMet = &more
	}
	more := stepsTo(ratio-low, -stepBroken)
	e.BrokenToNotMet = &more
	return e
}

// stepsTo is how many steps of this size cover a distance, 0 when it is covered already.
func stepsTo(distance, step float64) int {
	if distance <= 0 {
		return 0
	}
	return max(1, int(math.Ceil(distance/step))) // an infinite step still takes one shot
}
