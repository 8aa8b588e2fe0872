package reading

import "math/rand/v2"

// Lanes draws n states that stand for what a read leaves open, for one of its throwers, n even; all
// weigh the same, and they are the same ones every time. A planner values its lines over them.
//
// They are draws of the read's normal distribution and not sigma points: a line is worth something
// where the ball meets the pocket and little beside it, and sigma points of sixteen numbers lie four
// deviations out, where there is nothing to be seen of that. States 2i and 2i+1 are opposite, so
// that the mean is the read's, and along each of the covariance's axes they have its deviation.
func (r *Read) Lanes(n, thrower int) []State {
	random := rand.New(rand.NewPCG(16, 35)) //nolint:gosec // the same draws every time
	pairs, size := n/2, len(r.Mean)
	lower, ok := r.Covariance.cholesky()
	if !ok { // cannot be: the covariance is that of a solved problem
		lower = newMatrix(size)
	}
	axes := make([][]float64, size)
	for i := range axes {
		axes[i] = evenDraws(random, pairs)
	}
	states := make([]State, 0, n)
	for pair := range pairs {
		for _, sign := range []float64{1, -1} {
			x := make([]float64, size)
			for i := range x {
				x[i] = r.Mean[i]
				for j := range i + 1 {
					x[i] += sign * lower.at(i, j) * axes[j][pair]
				}
			}
			states = append(states, stateOf(x, thrower))
		}
	}
	return states
}

// State is a thrower's state as the read has it in the mean.
func (r *Read) State(thrower int) State { return stateOf(r.Mean, thrower) }
