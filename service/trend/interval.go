// Package trend holds the statistics of small samples that the other computations lean on:
// intervals for shares of shots and for the difference of two shares, for one look and for looking
// after every shot.
package trend

import (
	"fmt"
	"math"
)

// Z95 is the standard normal quantile of a two-sided 95 % interval.
const Z95 = 1.959963984540054

// Interval is a closed range, both ends in the unit of what it bounds.
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Contains reports whether value lies in the interval, ends included.
func (i Interval) Contains(value float64) bool { return value >= i.Low && value <= i.High }

// Wilson returns the score interval, without continuity correction, for the share count/of at
// normal quantile z ([Z95] for 95 %). It holds for one look at a number of shots that was fixed
// beforehand; see [Watched] for more. With of = 0 nothing is known and the interval is 0 to 1. It
// panics unless 0 <= count <= of and z > 0.
//
// Source: E. B. Wilson 1927, J. Am. Stat. Assoc. 22:209-212; method 3 of R. G. Newcombe 1998, Stat.
// Med. 17:857-872.
func Wilson(count, of int, z float64) Interval { return WilsonOf(float64(count), float64(of), z) }

// WilsonOf is [Wilson] of a count that is a sum of chances, and so may be a fraction.
func WilsonOf(count, of, z float64) Interval {
	checkCounts(count, of, z)
	if of == 0 {
		return Interval{0, 1}
	}
	p := count / of
	centre := p + z*z/(2*of)
	half := z * math.Sqrt(p*(1-p)/of+z*z/(4*of*of))
	scale := 1 + z*z/of
	interval := Interval{(centre - half) / scale, (centre + half) / scale}
	// At the ends the limit is exactly 0 or 1, which rounding would miss.
	if count == 0 {
		interval.Low = 0
	}
	if count == of {
		interval.High = 1
	}
	return interval
}

// Newcombe returns the hybrid score interval for the difference countA/ofA - countB/ofB of two
// independent shares at normal quantile z. When either sample is empty nothing is known and the
// interval is -1 to 1. It panics as [Wilson] does.
//
// Source: method 10 of R. G. Newcombe 1998, "Interval estimation for the difference between
// independent proportions", Stat. Med. 17:873-890.
func Newcombe(countA, ofA, countB, ofB int, z float64) Interval {
	a, b := Wilson(countA, ofA, z), Wilson(countB, ofB, z)
	if ofA == 0 || ofB == 0 {
		return Interval{-1, 1}
	}
	shareA, shareB := float64(countA)/float64(ofA), float64(countB)/float64(ofB)
	difference := shareA - shareB
	return Interval{
		difference - math.Hypot(shareA-a.Low, b.High-shareB),
		difference + math.Hypot(a.High-shareA, shareB-b.Low),
	}
}

func checkCounts(count, of, z float64) {
	if !(count >= 0 && count <= of && z > 0) {
		panic(fmt.Sprintf("trend: there is no interval for %g of %g at z = %v: "+
			"count lies between 0 and of, z above 0", count, of, z))
	}
}
