package reading

import "math"

// Bounds is how far out a ball may go and still come back: out of bounds is farther out.
type Bounds struct {
	// Board is the outermost breakpoint from which a ball laid down on board 20 still reaches board
	// 16.5 at the pins, Low and High are where it lies with a chance of 80 %. It is bound to an
	// athlete's release and speed.
	Board float64 `json:"board"`
	SE    float64 `json:"se_board"`
	Low   float64 `json:"low_board"`
	High  float64 `json:"high_board"`
	// Ft is the distance of that breakpoint.
	Ft float64 `json:"ft"`
	// Open: a ball comes back from every board. Closed: it comes back from none. Then the rest is 0.
	Open   bool `json:"open,omitempty"`
	Closed bool `json:"closed,omitempty"`
}

// Where a ball is tried that has to come back: common practice, no source.
const (
	boundsLaydown = 20.0
	boundsEntry   = 16.5
	boundsOutDeg  = 8.0
	boundsInDeg   = -2.0
	boundsStepDeg = 0.5
)

// quantile80 is the half width of an 80 % interval in deviations.
const quantile80 = 1.2815515655446004

// Bounds finds a thrower's out of bounds at their own speed.
func (r *Read) Bounds(thrower int) Bounds {
	near := r.scene.at(r.Mean, true)
	at := func(angleDeg float64) ([aims]float64, arrival) {
		aim := r.scene.exact(thrower, Aim{boundsLaydown, angleDeg}, 0)
		return aim, near.run(near.of(thrower).base, thrower, &near.of(thrower).state, aim)
	}
	low, found := math.NaN(), false
	for angleDeg := boundsOutDeg; angleDeg >= boundsInDeg; angleDeg -= boundsStepDeg {
		if _, there := at(angleDeg); there[seenEntry] >= boundsEntry {
			low, found = angleDeg, true
			break
		}
	}
	if !found {
		return Bounds{Closed: true}
	}
	high := low + boundsStepDeg
	for range 12 {
		middle := (low + high) / 2
		if _, there := at(middle); there[seenEntry] >= boundsEntry {
			low = middle
		} else {
			high = middle
		}
	}
	aim, _ := at(low)
	there := near.slope(thrower, aim)
	// Along the release that just comes back the entry does not change: the angle makes up for it.
	const least = 2.0 // boards a degree; lest a level place divides by nothing
	perDeg := min(there.ofAim[seenEntry][aimAngle], -least)
	share := there.ofAim[seenBreakpoint][aimAngle] / perDeg
	slope := make([]float64, len(r.Mean))
	for i := range slope {
		slope[i] = there.ofState[seenBreakpoint][i] - share*there.ofState[seenEntry][i]
	}
	b := Bounds{Board: there.arrival[seenBreakpoint], Ft: there.arrival[seenBreakpointFt]}
	b.SE = math.Sqrt(r.Covariance.quadratic(slope, slope) + strayExact*strayExact)
	if b.Board < leastBoundsBoard {
		return Bounds{Open: true}
	}
	b.Low, b.High = b.Board-quantile80*b.SE, b.Board+quantile80*b.SE
	return b
}

// leastBoundsBoard is the outermost board on which a ball can turn back.
const leastBoundsBoard = 1.0
