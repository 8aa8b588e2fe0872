package reading

import (
	"encoding/json"
	"fmt"
	"math"
)

// matrix is a square matrix, row by row.
type matrix struct {
	n int
	v []float64
}

func newMatrix(n int) matrix { return matrix{n, make([]float64, n*n)} }

func (m matrix) at(i, j int) float64     { return m.v[i*m.n+j] }
func (m matrix) set(i, j int, v float64) { m.v[i*m.n+j] = v }
func (m matrix) row(i int) []float64     { return m.v[i*m.n : (i+1)*m.n] }
func (m matrix) clone() matrix           { return matrix{m.n, append([]float64(nil), m.v...)} }
func (m matrix) sd(i int) float64        { return math.Sqrt(max(m.at(i, i), 0)) }

// diagonal is the matrix of variances of independent numbers with these deviations.
func diagonal(deviations []float64) matrix {
	m := newMatrix(len(deviations))
	for i, deviation := range deviations {
		m.set(i, i, deviation*deviation)
	}
	return m
}

// quadratic is a'Mb.
func (m matrix) quadratic(a, b []float64) float64 {
	sum := 0.0
	for i := range m.n {
		if a[i] != 0 {
			sum += a[i] * dot(m.row(i), b)
		}
	}
	return sum
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}

// cholesky is the lower triangle L with LL' = m; ok is false for a matrix that is not positive.
func (m matrix) cholesky() (lower matrix, ok bool) {
	lower = newMatrix(m.n)
	for i := range m.n {
		for j := range i + 1 {
			sum := m.at(i, j) - dot(lower.row(i)[:j], lower.row(j)[:j])
			switch {
			case i != j:
				lower.set(i, j, sum/lower.at(j, j))
			case !(sum > 0):
				return lower, false
			default:
				lower.set(i, i, math.Sqrt(sum))
			}
		}
	}
	return lower, true
}

// forward solves Lx = b in place, L the lower triangle.
func (m matrix) forward(b []float64) {
	for i := range m.n {
		b[i] = (b[i] - dot(m.row(i)[:i], b[:i])) / m.at(i, i)
	}
}

// inverseSquare is (R'R)^-1 for an upper triangle R of columns that were scaled: how the numbers
// themselves vary.
func (m matrix) inverseSquare(n int, scale []float64) matrix {
	inverse := newMatrix(n)
	for j := range n {
		for i := j; i >= 0; i-- {
			sum := 0.0
			if i == j {
				sum = 1
			}
			for k := i + 1; k <= j; k++ {
				sum -= m.at(i, k) * inverse.at(k, j)
			}
			inverse.set(i, j, sum/m.at(i, i))
		}
	}
	square := newMatrix(n)
	for i := range n {
		for j := range i + 1 {
			sum := 0.0
			for k := i; k < n; k++ {
				sum += inverse.at(i, k) * inverse.at(j, k)
			}
			sum *= scale[i] * scale[j]
			square.set(i, j, sum)
			square.set(j, i, sum)
		}
	}
	return square
}

// MarshalJSON writes the rows.
func (m matrix) MarshalJSON() ([]byte, error) {
	rows := make([][]float64, m.n)
	for i := range rows {
		rows[i] = m.row(i)
	}
	return json.Marshal(rows)
}

// UnmarshalJSON reads the rows of a square matrix.
func (m *matrix) UnmarshalJSON(text []byte) error {
	var rows [][]float64
	if err := json.Unmarshal(text, &rows); err != nil {
		return err
	}
	read := newMatrix(len(rows))
	for i, row := range rows {
		if len(row) != len(rows) {
			return fmt.Errorf("row %d has %d numbers, and there are %d rows", i+1, len(row), len(rows))
		}
		copy(read.row(i), row)
	}
	*m = read
	return nil
}

// inverse of a positive matrix; ok is false for any other.
func (m matrix) inverse() (inverse matrix, ok bool) {
	lower, ok := m.cholesky()
	if !ok {
		return lower, false
	}
	upper, ones := newMatrix(m.n), make([]float64, m.n)
	for i := range m.n {
		ones[i] = 1
		for j := range i + 1 {
			upper.set(j, i, lower.at(i, j))
		}
	}
	return upper.inverseSquare(m.n, ones), true
}
