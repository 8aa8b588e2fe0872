package reading

import "math"

// Knowledge is how well a line is known.
type Knowledge string

// How well a line is known.
const (
	// TooFew: the shots do not say where the ball arrives.
	TooFew Knowledge = "too_few"
	// Roughly: they do, but another shot would still help.
	Roughly Knowledge = "roughly"
	// Well: no more probes are needed.
	Well Knowledge = "well"
)

// When a line is known. With a deviation of 2 boards a ball meets a pocket of two boards in four
// tries of ten at most; with 1 board in seven. And what the shots hardly narrow they do not show.
// Our choice.
const (
	tooFewBoards = 2.0
	tooFewShare  = 0.85
	wellBoards   = 1.0
)

// Knows is how well the read knows where a thrower's exact aim arrives.
func (r *Read) Knows(thrower int, aim Aim) Knowledge {
	before, after := r.entrySE(&r.prior, thrower, aim), r.entrySE(&r.Belief, thrower, aim)
	return knowledge(before, after)
}

func knowledge(before, after float64) Knowledge {
	switch {
	case after > tooFewBoards || after > tooFewShare*before:
		return TooFew
	case after > wellBoards:
		return Roughly
	}
	return Well
}

// entrySE is how well a belief knows an exact aim's entry board.
func (r *Read) entrySE(b *Belief, thrower int, aim Aim) float64 {
	there := r.scene.at(b.Mean, true).slope(thrower, r.scene.exact(thrower, aim, 0))
	slope := there.ofState[seenEntry]
	return math.Sqrt(b.Covariance.quadratic(slope, slope) + strayExact*strayExact)
}

// usedShots counts the shots that say something.
func (r *Read) usedShots() (used int) {
	for _, one := range r.Throws {
		if one.Used {
			used++
		}
	}
	return used
}

// Fits is the mean weight of what was seen of the balls, 0 to 1: a low one says that the film, the
// athlete or the readings are not what was stated.
func (r *Read) Fits() float64 {
	sum, used := 0.0, 0.0
	for _, one := range r.Throws {
		seen, weight := 0.0, 0.0
		for _, field := range sightFields {
			if w, known := one.Readings[field]; known {
				seen, weight = seen+1, weight+w
			}
		}
		if seen > 0 {
			sum, used = sum+one.Weight*weight/seen, used+1
		}
	}
	if used == 0 {
		return 1
	}
	return sum / used
}
