package reading

import (
	"bytes"
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

// gaussian is ln of the density of a normal vector of mean 0, times a constant.
func gaussian(t *testing.T, values []float64, covariance matrix) float64 {
	t.Helper()
	lower, ok := covariance.cholesky()
	if !ok {
		t.Fatal("the covariance is not positive")
	}
	whitened := append([]float64(nil), values...)
	lower.forward(whitened)
	sum := -dot(whitened, whitened) / 2
	for i := range values {
		sum -= math.Log(lower.at(i, i))
	}
	return sum
}

// The chart's ratios are those of the densities of all scores together.
func TestChartAgainstDensities(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	const n, numbers = 12, 3
	baseline := diagonal([]float64{0.8, 1.5, 0.3})
	baseline.set(0, 1, 0.5)
	baseline.set(1, 0, 0.5)
	c := newChart(baseline)
	var scores, wear, errors []float64
	var slopes [][]float64
	for i := range n {
		slope := make([]float64, numbers)
		for k := range slope {
			slope[k] = 0.5 + random.NormFloat64()
		}
		scores, wear = append(scores, 2*random.NormFloat64()), append(wear, 0.2*float64(i))
		errors, slopes = append(errors, 0.5+random.Float64()), append(slopes, slope)
		c.add(scores[i], errors[i], slope, wear[i])
	}
	density := func(unit func(i int) float64, mean, spread float64) float64 {
		covariance, off := newMatrix(n), make([]float64, n)
		for i := range n {
			off[i] = scores[i] - mean*unit(i)
			for j := range n {
				v := baseline.quadratic(slopes[i], slopes[j]) + spread*spread*unit(i)*unit(j)
				if i == j {
					v += errors[i]
				}
				covariance.set(i, j, v)
			}
		}
		return gaussian(t, off, covariance)
	}
	none := density(func(int) float64 { return 0 }, 0, 0)
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %.12f, want %.12f", what, got, want)
		}
	}
	var ratios []float64
	for i := range c.jumps {
		want := density(func(k int) float64 {
			if k < i {
				return 0
			}
			return 1
		}, 0, jumpBoards) - none
		near("jump since "+strconv.Itoa(i), c.jumps[i].ratio(0, jumpBoards), want)
		ratios = append(ratios, want)
	}
	wanted := density(func(k int) float64 { return wear[k] }, 1, wearSpread) - none
	near("wear", c.wear.ratio(1, wearSpread), wanted)
	all, _ := c.weighed()
	sum := 0.0
	for _, ratio := range ratios {
		sum += math.Exp(ratio) / n
	}
	near("all", all, math.Log(sum/2+math.Exp(wanted)/2))
}

// Without a change to look for, the chart is the posterior of a mean: that of conjugate normals.
func TestChartsBaseline(t *testing.T) {
	c := newChart(diagonal([]float64{2}))
	for _, v := range []float64{1, 2, 6} {
		c.add(v, 0.5, []float64{1}, 0)
	}
	precision := 1/4.0 + 3/0.5
	if want := 9 / 0.5 / precision; math.Abs(c.mean[0]-want) > 1e-12 {
		t.Errorf("mean %g, want %g", c.mean[0], want)
	}
	if want := 1 / precision; math.Abs(c.covariance.at(0, 0)-want) > 1e-12 {
		t.Errorf("variance %g, want %g", c.covariance.at(0, 0), want)
	}
	if wear := c.wear.ratio(1, wearSpread); wear != 0 {
		t.Errorf("no wear is predicted, and its ratio is %g", wear)
	}
}

// The flow of the Nile changed after the 28th year, 1898: see testdata/reading/README.md.
func TestChartOnTheNile(t *testing.T) {
	text, err := os.ReadFile(sampleDir + "nile.csv")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	// In deviations of a year's flow about the mean of the first years, as the chart takes scores.
	c := newChart(diagonal([]float64{1}))
	alarm := 0
	for i, row := range rows[1:] {
		flow, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		c.add((flow-1098)/125, 1, []float64{1}, 0)
		all, likeliest := c.weighed()
		if all > levelByEye && alarm == 0 {
			alarm = i + 1
		}
		// While 28 is among the starts that are looked at.
		if i >= 40 && i < 28+lastStarts && likeliest.start != 28 {
			t.Errorf("year %s: the change is taken to begin after year %d, want 28", row[0], likeliest.start)
		}
	}
	if alarm <= 28 || alarm > 33 {
		t.Errorf("the alarm is in year %d of the series, want within 5 years after 28", alarm)
	}
}
