package trend

import (
	"fmt"
	"math"
)

// Alpha95 is the error of a 95 % interval.
const Alpha95 = 0.05

// Watched returns the confidence sequence at error alpha ([Alpha95] for 95 %) for a share of which
// count of so many shots were seen: the shares p with p^S (1-p)^(n-S) >= alpha B(S+1, n-S+1). Read
// after every shot, the sequence ever leaves out the true share with probability alpha at most. The
// count may be a sum of chances, and so a fraction. With of = 0 the interval is 0 to 1. It panics
// unless 0 <= count <= of and 0 < alpha < 1.
//
// Source: H. Robbins 1970, Ann. Math. Stat. 41:1397-1409; S. R. Howard, A. Ramdas, J. McAuliffe, J.
// Sekhon 2021, Ann. Stat. 49:1055-1080.
func Watched(count, of, alpha float64) Interval {
	checkWatched(count, of, alpha)
	if of == 0 {
		return Interval{0, 1}
	}
	sample := newSample(count, of)
	inside := func(p float64) bool { return sample.evidence(p) < -math.Log(alpha) }
	share := count / of
	return Interval{crossing(0, share, inside), crossing(1, share, inside)}
}

// WatchedDifference returns the confidence sequence at error alpha for the difference of two shares
// that are watched together, countA/ofA - countB/ofB: the differences d for which some pair of
// shares d apart has evidence under 1/alpha against it, the evidence of the two samples multiplied.
// For shares that do not differ the product is a martingale whatever the order of the shots, so the
// interval leaves 0 out, ever, with probability alpha at most. When either sample is empty it is -1
// to 1. It panics as [Watched] does.
//
// Source: the product of two of the martingales of [Watched], inverted; Ville's inequality.
func WatchedDifference(countA, ofA, countB, ofB, alpha float64) Interval {
	checkWatched(countA, ofA, alpha)
	checkWatched(countB, ofB, alpha)
	if ofA == 0 || ofB == 0 {
		return Interval{-1, 1}
	}
	a, b := newSample(countA, ofA), newSample(countB, ofB)
	inside := func(difference float64) bool {
		least := leastOf(math.Max(0, -difference), math.Min(1, 1-difference), func(p float64) float64 {
			return a.evidence(p+difference) + b.evidence(p)
		})
		return least < -math.Log(alpha)
	}
	seen := countA/ofA - countB/ofB
	return Interval{crossing(-1, seen, inside), crossing(1, seen, inside)}
}

// sample is a count of shots, and the logarithm of its probability under a share drawn evenly from
// 0 to 1.
type sample struct{ count, of, drawn float64 }

func newSample(count, of float64) sample {
	a, _ := math.Lgamma(count + 1)
	b, _ := math.Lgamma(of - count + 1)
	c, _ := math.Lgamma(of + 2)
	return sample{count, of, a + b - c}
}

// evidence is the logarithm of how much better the sample is explained by a share drawn evenly from
// 0 to 1 than by the share p.
func (s sample) evidence(p float64) float64 {
	p = math.Min(math.Max(p, 0), 1) // a sum may round to just beside
	told := 0.0
	if s.count > 0 {
		told += s.count * math.Log(p)
	}
	if s.of > s.count {
		told += (s.of - s.count) * math.Log1p(-p)
	}
	return s.drawn - told
}

// steps of a bisection or section: more than any display shows.
const steps = 45

// crossing bisects between a value outside and one inside, and returns the outermost one inside;
// outside itself where that is inside.
func crossing(outside, inside float64, holds func(float64) bool) float64 {
	if holds(outside) {
		return outside
	}
	for range steps {
		middle := (outside + inside) / 2
		if holds(middle) {
			inside = middle
		} else {
			outside = middle
		}
	}
	return inside
}

// leastOf returns the least value of a convex function between two ends, by golden section.
func leastOf(low, high float64, f func(float64) float64) float64 {
	golden := (math.Sqrt(5) - 1) / 2
	a, b := high-golden*(high-low), low+golden*(high-low)
	fa, fb := f(a), f(b)
	for range steps {
		if fa < fb {
			high, b, fb = b, a, fa
			a = high - golden*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + golden*(high-low)
			fb = f(b)
		}
	}
	return math.Min(fa, fb)
}

func checkWatched(count, of, alpha float64) {
	if !(count >= 0 && count <= of && alpha > 0 && alpha < 1) {
		panic(fmt.Sprintf("trend: there is no interval for %g of %g at error %g: "+
			"count lies between 0 and of, alpha between 0 and 1", count, of, alpha))
	}
}
