package reading

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"
)

// nistSet is one of NIST's reference problems.
type nistSet struct {
	Name      string      `json:"name"`
	X         []float64   `json:"x"`
	Y         []float64   `json:"y"`
	Starts    [][]float64 `json:"starts"`
	Certified []float64   `json:"certified"`
	Errors    []float64   `json:"standard_errors"`
	Squares   float64     `json:"residual_sum_of_squares"`
}

// nistModels are y at x, and how it changes with b.
var nistModels = map[string]func(b []float64, x float64) (y float64, slopes []float64){
	"Misra1a": saturating, "BoxBOD": saturating,
	"Misra1b": func(b []float64, x float64) (float64, []float64) {
		t := 1 + b[1]*x/2
		return b[0] * (1 - 1/(t*t)), []float64{1 - 1/(t*t), b[0] * x / (t * t * t)}
	},
	"Misra1c": func(b []float64, x float64) (float64, []float64) {
		t := 1 + 2*b[1]*x
		return b[0] * (1 - 1/math.Sqrt(t)), []float64{1 - 1/math.Sqrt(t), b[0] * x / (t * math.Sqrt(t))}
	},
	"Misra1d": func(b []float64, x float64) (float64, []float64) {
		t := 1 + b[1]*x
		return b[0] * b[1] * x / t, []float64{b[1] * x / t, b[0] * x / (t * t)}
	},
	"DanWood": func(b []float64, x float64) (float64, []float64) {
		p := math.Pow(x, b[1])
		return b[0] * p, []float64{p, b[0] * p * math.Log(x)}
	},
	"MGH09": func(b []float64, x float64) (float64, []float64) {
		over, under := x*x+b[1]*x, x*x+b[2]*x+b[3]
		y := b[0] * over / under
		return y, []float64{over / under, b[0] * x / under, -y * x / under, -y / under}
	},
	"MGH10": func(b []float64, x float64) (float64, []float64) {
		t := x + b[2]
		e := math.Exp(b[1] / t)
		return b[0] * e, []float64{e, b[0] * e / t, -b[0] * e * b[1] / (t * t)}
	},
	"Rat42": func(b []float64, x float64) (float64, []float64) {
		e := math.Exp(b[1] - b[2]*x)
		y := b[0] / (1 + e)
		return y, []float64{1 / (1 + e), -y * e / (1 + e), y * e / (1 + e) * x}
	},
	"Rat43": func(b []float64, x float64) (float64, []float64) {
		e := math.Exp(b[1] - b[2]*x)
		p := math.Pow(1+e, -1/b[3])
		y := b[0] * p
		return y, []float64{p, -y / b[3] * e / (1 + e), y / b[3] * e / (1 + e) * x, y * math.Log(1+e) / (b[3] * b[3])}
	},
}

func saturating(b []float64, x float64) (float64, []float64) {
	e := math.Exp(-b[1] * x)
	return b[0] * (1 - e), []float64{1 - e, b[0] * x * e}
}

func (s nistSet) linearise(b []float64) (residuals []float64, slopes [][]float64) {
	for i, x := range s.X {
		y, slope := nistModels[s.Name](b, x)
		residuals, slopes = append(residuals, y-s.Y[i]), append(slopes, slope)
	}
	return residuals, slopes
}

func (s nistSet) cost(b []float64) float64 {
	residuals, _ := s.linearise(b)
	return dot(residuals, residuals)
}

// The solver of the reader on problems whose answers are certified, from both of NIST's starts but
// for the far one of MGH10, 500 times off, from which it creeps along a valley.
func TestSolverAgainstNIST(t *testing.T) {
	text, err := os.ReadFile("../../testdata/nist/nonlinear.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Sets []nistSet }
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	digits := func(got, want float64) float64 { return -math.Log10(math.Abs(got-want)/math.Abs(want) + 1e-16) }
	for _, set := range file.Sets {
		for i, start := range set.Starts {
			if set.Name == "MGH10" && i == 0 {
				continue
			}
			scale := make([]float64, len(start))
			for k := range scale {
				scale[k] = math.Abs(start[k])
			}
			found, err := solve(set, start, limits{scale: scale, iterations: 2000, tolerance: 1e-13, damping: 100})
			if err != nil {
				t.Errorf("%s, start %d: %v", set.Name, i+1, err)
				continue
			}
			squares := set.cost(found.x)
			worst := digits(squares, set.Squares)
			variance := squares / float64(len(set.X)-len(start))
			worstError := math.Inf(1)
			for k, want := range set.Certified {
				worst = min(worst, digits(found.x[k], want))
				worstError = min(worstError, digits(math.Sqrt(variance)*found.covariance.sd(k), set.Errors[k]))
			}
			t.Logf("%s, start %d: %.1f digits, standard errors %.1f, %d steps",
				set.Name, i+1, worst, worstError, found.iterations)
			if worst < 9 || worstError < 9 {
				t.Errorf("%s, start %d: %.1f digits, standard errors %.1f: %v", set.Name, i+1, worst, worstError, found.x)
			}
		}
	}
}

// line is a straight problem: residuals = a x - y.
type straight struct {
	a [][]float64
	y []float64
}

func (s straight) linearise(x []float64) ([]float64, [][]float64) {
	residuals := make([]float64, len(s.y))
	for i := range residuals {
		residuals[i] = dot(s.a[i], x) - s.y[i]
	}
	return residuals, s.a
}

func (s straight) cost(x []float64) float64 {
	residuals, _ := s.linearise(x)
	return dot(residuals, residuals)
}

// Of a straight problem one step is the answer: the slope of the cost is 0 there, and the covariance
// is the inverse of a'a.
func TestStraightProblems(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "numbers")
		m := n + rapid.IntRange(0, 8).Draw(t, "more")
		number := rapid.Float64Range(-3, 3)
		p, ones := straight{y: make([]float64, m)}, make([]float64, n)
		for i := range m {
			p.y[i] = number.Draw(t, "y")
			row := make([]float64, n)
			for j := range n {
				row[j] = number.Draw(t, "a")
			}
			if i < n {
				row[i] += 20 // so that every number is determined
			}
			p.a = append(p.a, row)
		}
		for i := range ones {
			ones[i] = 1
		}
		found, err := solve(p, make([]float64, n), limits{scale: ones, iterations: 3, tolerance: 1e-9})
		if err != nil {
			t.Fatal(err)
		}
		residuals, _ := p.linearise(found.x)
		for j := range n {
			slope := 0.0
			for i := range m {
				slope += p.a[i][j] * residuals[i]
			}
			if math.Abs(slope) > 1e-9 {
				t.Fatalf("number %d: the cost still falls by %g", j, slope)
			}
			for k := range n {
				product := 0.0
				for l := range n {
					square := 0.0
					for i := range m {
						square += p.a[i][j] * p.a[i][l]
					}
					product += square * found.covariance.at(l, k)
				}
				want := 0.0
				if j == k {
					want = 1
				}
				if math.Abs(product-want) > 1e-8 {
					t.Fatalf("a'a times the covariance at %d, %d: %g", j, k, product)
				}
			}
		}
	})
}
