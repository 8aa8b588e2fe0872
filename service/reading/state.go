// Package reading reads a lane: from the shots thrown on it, how far film, friction and release lie
// from what is stated, how well that is known, and where any ball goes then. Without shots it says
// how far they may lie, by lanes that represent it.
//
// # Method
//
// A lane is a [State] of sixteen numbers, and of three more for each further athlete. [New] finds
// the state that is likeliest given the shots and the prior, by the method of Gauss and Newton on
// paths of package motion, and takes the posterior for normal there. Each throw's own laydown,
// angle, speed and revolutions are known from readings that err, so they are nuisances of it, and
// their error is carried into the error of what was seen of the ball (errors in variables). Every
// reading has a weight by Student's t, so that a wrong one counts for little. Tried on simulated
// lanes of another law: see the package's tests.
package reading

import (
	"math"
	"math/rand/v2"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
)

// State is how far a lane and the release on it lie from what is stated; all 0 is as stated.
type State struct {
	LogMuDry   float64             // ln(mu_dry / stated): the ball's surface, the lane's age
	LogFilm    float64             // ln of all oil over the stated one
	LengthFt   float64             // how much longer the film is
	LogOutside float64             // ln of the oil beyond 5 boards from the middle, in full beyond 15
	LogMuOil   float64             // ln(mu_oil / stated)
	LogSlip    float64             // ln(slip_mps / stated)
	LogRevs    float64             // ln(true revolutions / stated)
	Rotation   float64             // true rotation less the stated one, degrees
	LogZone    [len(zones)]float64 // ln of the oil at each zone's board, the whole length
	// PinShift is what none of the others explains (patches, oil carried down, flare): how much
	// farther inside the ball arrives, in boards, see [State.PinShiftAt].
	PinShift [3]float64
}

// zones are the athlete's own boards between which the zones' factors are straight.
var zones = [...]float64{5, 10, 15, 20, 26}

// Spread is one standard deviation of every number of a fresh lane's state, all of them
// independent: common practice, no source. Machines lay 10 to 20 % more or less, revolutions are
// counted by eye.
func Spread() State {
	return State{
		LogMuDry: 0.176, LogFilm: 0.405, LengthFt: 1.76, LogOutside: 0.34, LogMuOil: 0.675, LogSlip: 0.54,
		LogRevs: 0.095, Rotation: 6.75, LogZone: [len(zones)]float64{0.35, 0.35, 0.35, 0.35, 0.35},
		PinShift: [3]float64{0.6, 0.5, 0.4},
	}
}

// each walks the numbers of a state.
func (s *State) each(visit func(i int, value *float64)) {
	numbers := []*float64{
		&s.LogMuDry, &s.LogFilm, &s.LengthFt, &s.LogOutside, &s.LogMuOil, &s.LogSlip, &s.LogRevs, &s.Rotation,
	}
	for i := range s.LogZone {
		numbers = append(numbers, &s.LogZone[i])
	}
	for i := range s.PinShift {
		numbers = append(numbers, &s.PinShift[i])
	}
	for i, number := range numbers {
		visit(i, number)
	}
}

// Fresh draws n states of a fresh lane of which nothing is read, n even, each number with scale
// times its spread: the same ones for the same n. States 2i and 2i+1 are opposite, and every number
// has exactly its deviation, so that few lanes represent the spread.
func Fresh(n int, scale float64) []State {
	random := rand.New(rand.NewPCG(39, 60)) //nolint:gosec // the same draws every time
	pairs := n / 2
	spread, states := Spread(), make([]State, n)
	spread.each(func(number int, deviation *float64) {
		for i, draw := range evenDraws(random, pairs) {
			value := draw * scale * *deviation
			for k, signed := range []float64{value, -value} {
				states[2*i+k].each(func(at int, to *float64) {
					if at == number {
						*to = signed
					}
				})
			}
		}
	})
	return states
}

// evenDraws are n normal numbers, scaled so that their squares have a mean of 1.
func evenDraws(random *rand.Rand, n int) []float64 {
	draws, squares := make([]float64, n), 0.0
	for i := range draws {
		draws[i] = random.NormFloat64()
		squares += draws[i] * draws[i]
	}
	for i := range draws {
		draws[i] *= math.Sqrt(float64(n) / squares)
	}
	return draws
}

// Film is the stated film as it lies in this state for an athlete of this side: a left-hander's
// lanes are the mirror images of a right-hander's.
func (s State) Film(stated *oil.Film, side lane.Side) *oil.Film {
	if side == lane.Left {
		return s.Film(stated.Mirror(), lane.Right).Mirror()
	}
	film := *stated
	film.LengthFt = min(max(stated.LengthFt+s.LengthFt, 0), lane.LengthFt)
	stretch := 1.0
	if film.LengthFt > 0 {
		stretch = stated.LengthFt / film.LengthFt
	}
	for b := range film.UL {
		board := float64(b + 1)
		factor := math.Exp(s.LogFilm + s.LogOutside*outside(board) + s.zone(board))
		for row := range oil.Rows {
			ul := stated.UnitsAt(board, (float64(row)+0.5)*stretch) * oil.UnitULPerBoardFoot
			film.UL[b][row] = min(ul*factor, oil.MaxCellUL)
		}
	}
	return &film
}

// outside rises smoothly from 0 at 5 boards from the middle to 1 at 15.
func outside(board float64) float64 {
	t := min(max((math.Abs(board-lane.CentreBoard)-5)/10, 0), 1)
	return t * t * (3 - 2*t)
}

func (s State) zone(board float64) float64 {
	last := len(zones) - 1
	switch {
	case board <= zones[0]:
		return s.LogZone[0]
	case board >= zones[last]:
		return s.LogZone[last]
	}
	i := 0
	for zones[i+1] < board {
		i++
	}
	share := (board - zones[i]) / (zones[i+1] - zones[i])
	return s.LogZone[i] + share*(s.LogZone[i+1]-s.LogZone[i])
}

// Friction is the stated law as it is in this state.
func (s State) Friction(stated motion.Friction) motion.Friction {
	stated.MuDry *= math.Exp(s.LogMuDry)
	stated.MuOil *= math.Exp(s.LogMuOil)
	stated.SlipMPS *= motion.SlipScale(math.Exp(s.LogSlip))
	return stated
}

// PinShiftAt is how many boards farther inside than the motion law has it a ball arrives whose path
// is outermost at this board: a parabola over that board, level inside of board 26.
func (s State) PinShiftAt(breakpointBoard float64) float64 {
	w := min(max((breakpointBoard-10)/8, -1.5), 2)
	return s.PinShift[0] + s.PinShift[1]*w + s.PinShift[2]*(w*w-0.5)
}

// RevFactor is the athlete's true revolutions over the stated ones.
func (s State) RevFactor() float64 { return math.Exp(s.LogRevs) }
