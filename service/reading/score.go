package reading

import (
	"math"
	"slices"

	"laneward/service/motion"
)

// score is how far a shot was off what the read foretells, in boards at the pins along the direction
// in which a lane changes: breakpoint, entry and what else was seen of it weighed together.
type score struct {
	boards  float64
	se      float64   // by the errors of this shot's readings and aim
	slope   []float64 // how the score changes with the numbers of the belief
	perFilm float64   // boards by which this ball's entry changes with ln of all oil
}

// times is the score in other boards: those of a ball whose entry changes so many times as much.
func (s score) times(factor float64) score {
	s.boards, s.se, s.perFilm = factor*s.boards, factor*s.se, factor*s.perFilm
	slope := make([]float64, len(s.slope))
	for i, v := range s.slope {
		slope[i] = factor * v
	}
	s.slope = slope
	return s
}

const (
	placeFilm      = 1   // of a belief's numbers: all oil
	leastFilmSlope = 0.3 // boards; lest a ball that does not hook divides by nothing
)

// score compares what was seen of a throw with what the read says becomes of its aim. It reports
// false for a throw of which nothing counts.
//
// The direction is that of all oil growing more or less: tried against that of all numbers' spread
// on simulated lanes, which was a little worse.
func (n *nearby) score(seen *sighting, aim [aims]float64, spread matrix) (score, bool) {
	there, c := n.slope(seen.thrower, aim), n.of(seen.thrower)
	around := n.around(c.base, seen.thrower, &c.state, aim, spread)
	mean := around.mean()
	if !seen.use || !there.finite() || !mean.finite() {
		return score{}, false
	}
	oiled := n.around(c.moved[placeFilm], seen.thrower, &c.states[placeFilm], aim, spread)
	more := oiled.mean()
	perFilm := min((more[seenEntry]-mean[seenEntry])/nudges[placeFilm], -leastFilmSlope)
	at := seen.counting(nil, &mean)
	covariance := newMatrix(len(at))
	direction, off := make([]float64, len(at)), make([]float64, len(at))
	for a, i := range at {
		for b, j := range at {
			covariance.set(a, b, around.covariance(i, j))
		}
		covariance.set(a, a, covariance.at(a, a)+seen.error[i])
		direction[a] = (more[i] - mean[i]) / nudges[placeFilm] / perFilm
		off[a] = seen.value[i] - mean[i]
	}
	lower, ok := covariance.cholesky()
	if !ok {
		return score{}, false // cannot be: each reading has an error of its own
	}
	lower.forward(direction)
	information := dot(direction, direction)
	if !(information > 0) {
		return score{}, false // only revolutions or rotation were seen, which no oil changes
	}
	along := func(values []float64) float64 {
		lower.forward(values)
		return dot(direction, values) / information
	}
	one := score{boards: along(off), se: 1 / math.Sqrt(information), perFilm: perFilm}
	column := make([]float64, len(at))
	for j := range n.x {
		for a, i := range at {
			column[a] = there.ofState[i][j]
		}
		one.slope = append(one.slope, along(column))
	}
	return one, true
}

// around is what becomes of an aim that is not known exactly: in the middle, and by how much it
// differs and bends over one deviation along each axis of the aim's spread. Near the edge of the oil
// a ball that is thrown farther out comes back less, then more: slopes alone would not do.
type around struct {
	middle     arrival
	odd, curve [aims]arrival
}

func (n *nearby) around(
	surface motion.Surface, thrower int, state *State, aim [aims]float64, spread matrix,
) around {
	one := around{middle: n.run(surface, thrower, state, aim)}
	lower, _ := spread.cholesky() // positive: every number of an aim has a prior of its own
	for k := range aims {
		more, less := aim, aim
		for i := range aims {
			more[i] += lower.at(i, k)
			less[i] -= lower.at(i, k)
		}
		above, below := n.run(surface, thrower, state, more), n.run(surface, thrower, state, less)
		for at := range sights {
			one.odd[k][at] = (above[at] - below[at]) / 2
			one.curve[k][at] = (above[at] + below[at] - 2*one.middle[at]) / 2
		}
	}
	return one
}

// mean is what becomes of the aim in the mean, to the second order.
func (a *around) mean() arrival {
	mean := a.middle
	for k := range aims {
		for at := range sights {
			mean[at] += a.curve[k][at]
		}
	}
	return mean
}

// covariance is that of two of the sights, to the second order.
func (a *around) covariance(i, j int) float64 {
	sum := 0.0
	for k := range aims {
		sum += a.odd[k][i]*a.odd[k][j] + 2*a.curve[k][i]*a.curve[k][j]
	}
	return sum
}

// How far the shots of one line lie apart, and from when on that is used.
const (
	lineBoards, lineDeg, lineMPH = 0.6, 0.3, 0.35
	lineShots                    = 4
	lineLast                     = 20
	// Shots are of one line when their aims, as they were read, differ by no more.
	nearBoards, nearDeg = 3.0, 1.5
)

// repeated is where a thrower throws: the aims of the shots so far, by their own readings.
type repeated struct{ list [][aims]float64 }

// settle returns a throw's aim by its own readings, drawn toward where the same line was thrown
// before, and its covariance. Nothing of what became of the ball is looked at.
func (r *repeated) settle(readings []aimReading) ([aims]float64, matrix) {
	own, spread := settledAim(readings)
	var line [aims][]float64
	for i := len(r.list) - 1; i >= 0 && len(line[0]) < lineLast; i-- {
		one := &r.list[i]
		if math.Abs(one[aimLaydown]-own[aimLaydown]) <= nearBoards && math.Abs(one[aimAngle]-own[aimAngle]) <= nearDeg {
			for k := range line {
				line[k] = append(line[k], one[k])
			}
		}
	}
	r.list = append(r.list, own)
	if len(line[0]) < lineShots {
		return own, spread
	}
	for k, deviation := range [...]float64{aimLaydown: lineBoards, aimAngle: lineDeg, aimSpeed: lineMPH} {
		var slopes [aims]float64
		slopes[k] = 1
		readings = append(readings, aimReading{"", median(line[k]), deviation * deviation, slopes})
	}
	return settledAim(readings)
}

// settledAim is the aim that readings show together, with one that does not fit the others counting
// for little.
func settledAim(readings []aimReading) ([aims]float64, matrix) {
	weights := make([]float64, len(readings))
	for i := range weights {
		weights[i] = 1
	}
	aim, spread := aimOf(readings, weights)
	for range 2 {
		weighAim(readings, weights, aim, spread)
		aim, spread = aimOf(readings, weights)
	}
	return aim, spread
}

func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	middle := len(sorted) / 2
	if len(sorted)%2 == 1 {
		return sorted[middle]
	}
	return (sorted[middle-1] + sorted[middle]) / 2
}
