package drill

import (
	"math"

	"laneward/service/trend"
)

// IntervalMethod names how an interval was computed.
type IntervalMethod string

// A drill is watched shot by shot while it runs, so its interval has to hold however often it is
// read; at the planned number of shots one that was fixed beforehand is narrower.
const (
	ConfidenceSequence IntervalMethod = "confidence sequence"
	WilsonInterval     IntervalMethod = "wilson"
)

// TrueShare is the share of the shots that kept the drill, with the error of measurement allowed
// for.
type TrueShare struct {
	// Share is the mean chance that a shot was kept; of several rules the product, over the rules
	// in their order, of the chance to keep each among the shots that kept those before it, so that
	// a shot on which one rule could not be judged still counts for the others. It is nil when some
	// rule could not be judged on any shot.
	Share    *float64
	Interval trend.Interval // 95 %, 0 to 1 without a share
	Method   IntervalMethod
	// Bounds are the share if every shot that could not be judged was broken, and if it was kept.
	Bounds trend.Interval
}

// bounds sums the chances that the first n shots kept the drill: the least and the most they can
// be, taking each rule that could not be judged as broken and as kept.
func (w *weigher) bounds(n int) (low, high float64) {
	for i := range w.judged[:n] {
		product, whole := 1.0, true
		for j := range w.rules {
			if kept := w.kept[j][i]; math.IsNaN(kept) {
				whole = false
			} else {
				product *= kept
			}
		}
		high += product
		if whole {
			low += product
		}
	}
	return low, high
}

// share estimates the share of the shots weighed that kept the drill.
func (w *weigher) share(reps int) TrueShare {
	n := len(w.judged)
	s := TrueShare{
		Interval: trend.Interval{Low: 0, High: 1},
		Bounds:   trend.Interval{Low: 0, High: 1},
		Method:   ConfidenceSequence,
	}
	if n == reps {
		s.Method = WilsonInterval
	}
	if n > 0 {
		low, high := w.bounds(n)
		s.Bounds = trend.Interval{Low: low / float64(n), High: high / float64(n)}
	}
	share, of, ok := w.product()
	if !ok {
		return s
	}
	s.Share = &share
	if s.Method == WilsonInterval {
		s.Interval = trend.WilsonOf(share*of, of, trend.Z95)
	} else {
		s.Interval = trend.Watched(share*of, of, trend.Alpha95)
	}
	return s
}

// product is the share kept over all rules, and the number of shots that, judged on all of them,
// would measure it as well (the delta method on the logarithm of the product); not ok when some
// rule was never judged.
func (w *weigher) product() (share, of float64, ok bool) {
	left := make([]float64, len(w.judged)) // the chance that a shot kept the rules so far, NaN when unknown
	for i := range left {
		left[i] = 1
	}
	share, of = 1, math.Inf(1)
	variance := 0.0
	for j := range w.rules {
		before, kept := 0.0, 0.0
		for i := range left {
			if after := left[i] * w.kept[j][i]; !math.IsNaN(after) {
				before += left[i]
				kept += after
			}
			left[i] *= w.kept[j][i]
		}
		if before == 0 {
			return share, of, share == 0
		}
		one := math.Min(kept/before, 1)
		share *= one
		of = math.Min(of, before)
		variance += (1 - one) / (one * before)
	}
	if share > 0 && variance > 0 {
		of = (1 - share) / share / variance
	}
	return share, of, true
}
