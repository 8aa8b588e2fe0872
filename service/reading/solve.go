package reading

import (
	"errors"
	"math"
)

// problem is a nonlinear least-squares problem: of the residuals, the sum of the squares is to be
// least. Each residual has a standard deviation of 1; a prior is residuals of its own.
type problem interface {
	// linearise returns the residuals at x and how they change with x, row by row, in slices that
	// the next call may overwrite. A problem with weights or errors that depend on x sets them here.
	linearise(x []float64) (residuals []float64, slopes [][]float64)
	// cost is the sum of the squares at x with the weights and errors of the last linearise.
	cost(x []float64) float64
}

// limits say when and how carefully a problem is solved.
type limits struct {
	// scale is how far each number may be expected to move: its prior deviation.
	scale []float64
	// bound keeps each number within so many scales of 0, and step is the longest step in scales; 0
	// for no limit.
	bound, step float64
	iterations  int
	tolerance   float64 // it is solved once no number moves by more, in scales
	damping     float64 // to begin with; 0 is the method of Gauss and Newton
}

// solution is where the sum of squares is least, and how well that is known.
type solution struct {
	x          []float64
	covariance matrix
	iterations int
	moved      float64 // by the last step, in scales
}

var errNotDetermined = errors.New("the observations do not determine every number")

// solve runs the method of Gauss and Newton, with the damping of Levenberg and Marquardt where a
// step would not lower the cost. Each step is a least-squares problem of its own, solved by
// Householder reflections and not by normal equations, which would lose half of the digits.
func solve(p problem, x []float64, limit limits) (solution, error) {
	n := len(x)
	found := solution{x: append([]float64(nil), x...)}
	damping, largest := limit.damping, make([]float64, n)
	var triangle matrix
	for found.iterations < limit.iterations {
		found.iterations++
		residuals, slopes := p.linearise(found.x)
		here := 0.0
		for _, r := range residuals {
			here += r * r
		}
		var step []float64
		accepted := false
		for range 12 {
			var ok bool
			if triangle, step, ok = leastSquares(residuals, slopes, limit.scale, damping, largest); !ok {
				return found, errNotDetermined
			}
			shorten(step, limit)
			to := limit.move(found.x, step)
			if there := p.cost(to); there <= here*(1+1e-12) {
				found.moved = 0
				for i := range to {
					found.moved = max(found.moved, math.Abs(to[i]-found.x[i])/limit.scale[i])
				}
				found.x, accepted = to, true
				damping /= 9
				if damping < 1e-9 {
					damping = 0
				}
				break
			}
			damping = max(damping*10, 1e-3)
		}
		if !accepted || found.moved <= limit.tolerance {
			break
		}
	}
	if damping != 0 {
		residuals, slopes := p.linearise(found.x)
		var ok bool
		if triangle, _, ok = leastSquares(residuals, slopes, limit.scale, 0, largest); !ok {
			return found, errNotDetermined
		}
	}
	found.covariance = triangle.inverseSquare(n, limit.scale)
	return found, nil
}

// shorten keeps a step within its limit.
func shorten(step []float64, limit limits) {
	if limit.step == 0 {
		return
	}
	longest := 0.0
	for i := range step {
		longest = max(longest, math.Abs(step[i])/limit.scale[i])
	}
	if longest > limit.step {
		for i := range step {
			step[i] *= limit.step / longest
		}
	}
}

func (l limits) move(x, step []float64) []float64 {
	to := make([]float64, len(x))
	for i := range x {
		to[i] = x[i] + step[i]
		if l.bound != 0 {
			to[i] = min(max(to[i], -l.bound*l.scale[i]), l.bound*l.scale[i])
		}
	}
	return to
}

// leastSquares finds the step that makes residuals + slopes step least in the sum of squares, and
// the upper triangle R of the scaled slopes, R'R = (slopes scale)'(slopes scale). The damping adds
// a residual for each number that grows with its step, by the largest square that its column had so
// far.
func leastSquares(
	residuals []float64,
	slopes [][]float64,
	scale []float64,
	damping float64,
	largest []float64,
) (matrix, []float64, bool) {
	n, m := len(scale), len(residuals)
	columns := make([][]float64, n+1)
	all := make([]float64, (n+1)*(m+n))
	for j := range columns {
		columns[j] = all[j*(m+n) : (j+1)*(m+n)]
	}
	for i, r := range residuals {
		for j := range n {
			columns[j][i] = slopes[i][j] * scale[j]
		}
		columns[n][i] = -r
	}
	if damping > 0 {
		for j := range n {
			size := 0.0
			for _, v := range columns[j][:m] {
				size += v * v
			}
			largest[j] = max(largest[j], size)
			columns[j][m+j] = math.Sqrt(damping * largest[j])
		}
	}
	for j := range n {
		if !reflect(columns[j:], j) {
			return matrix{}, nil, false
		}
	}
	triangle, step := newMatrix(n), make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		sum := columns[n][i]
		for j := i; j < n; j++ {
			triangle.set(i, j, columns[j][i])
			if j > i {
				sum -= columns[j][i] * step[j]
			}
		}
		step[i] = sum / columns[i][i]
	}
	for j := range step {
		step[j] *= scale[j]
	}
	return triangle, step, true
}

// reflect turns the first column into a multiple of the unit vector from the given row on, and the
// others with it. It reports false for a column of nothing.
func reflect(columns [][]float64, from int) bool {
	v := columns[0][from:]
	norm := 0.0
	for _, one := range v {
		norm += one * one
	}
	norm = math.Sqrt(norm)
	if !(norm > 0) || math.IsInf(norm, 0) {
		return false
	}
	if v[0] > 0 {
		norm = -norm
	}
	head := v[0] - norm
	square := -norm * head // half of the squared length of the reflection's normal
	for _, other := range columns[1:] {
		w := other[from:]
		product := head * w[0]
		for i := 1; i < len(v); i++ {
			product += v[i] * w[i]
		}
		product /= square
		w[0] -= product * head
		for i := 1; i < len(v); i++ {
			w[i] -= product * v[i]
		}
	}
	v[0] = norm
	return true
}
