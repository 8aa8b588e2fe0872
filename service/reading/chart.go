package reading

import "math"

// chart weighs, score by score, whether what was read still holds. A score is what a shot is off by
// along the direction in which a lane changes: its own error, the read's error, and what has changed
// since. The read's error is not known and stays the same, so it is followed as a baseline. Of the
// changes each has a likelihood ratio against none, the size of the change and the baseline
// integrated out:
//
//   - a jump that began with one of the last shots, of normal(0, jumpBoards);
//   - a drift as the wear predicts it, its amplitude normal(1, wearSpread).
//
// The chart is the log of their mean, half for a jump begun with any shot alike. A chart of jumps
// alone is blind to a drift that begins with the first shot, because the baseline drifts along; one
// of wear alone is blind to jumps.
type chart struct {
	covariance matrix // of the baseline's numbers, as the scores so far leave it
	mean       []float64
	jumps      []signal
	wear       signal
	scores     int
	// held keeps the starts that there are: the change is found, and is followed.
	held bool
}

// signal is a change of unit size, and what the scores say of it.
type signal struct {
	start int // the first score that has it
	// before is the baseline when it began, mean how much of the change the baseline has taken up.
	before, mean []float64
	// ln of the ratio of likelihoods at size a is a product - a^2 square/2.
	square, product float64
}

const (
	jumpBoards = 2.2 // one deviation of a jump's size
	wearSpread = 0.6 // of a drift's size over the predicted one
	lastStarts = 50  // the starts of a jump that are looked at
)

// newChart begins a chart with what is known of the baseline's numbers, of mean 0.
func newChart(covariance matrix) *chart {
	return &chart{
		covariance: covariance.clone(),
		mean:       make([]float64, covariance.n),
		wear:       signal{mean: make([]float64, covariance.n)},
	}
}

// add takes a score with the variance of its own error, how it changes with the baseline's numbers,
// and how far the predicted wear moves it.
func (c *chart) add(score, variance float64, slope []float64, wear float64) {
	c.jumps = append(c.jumps, signal{
		start: c.scores, before: append([]float64(nil), c.mean...), mean: make([]float64, len(c.mean)),
	})
	if len(c.jumps) > lastStarts && !c.held {
		c.jumps = c.jumps[1:]
	}
	c.scores++
	n := len(c.mean)
	gain := make([]float64, n)
	for i := range n {
		gain[i] = dot(c.covariance.row(i), slope)
	}
	variance += dot(gain, slope)
	for i := range n {
		for j := range n {
			c.covariance.set(i, j, c.covariance.at(i, j)-gain[i]*gain[j]/variance)
		}
	}
	for i := range gain {
		gain[i] /= variance
	}
	surprise := follow(c.mean, score, slope, gain)
	for i := range c.jumps {
		c.jumps[i].take(1, surprise, variance, slope, gain)
	}
	c.wear.take(wear, surprise, variance, slope, gain)
}

// clippedScore is how many deviations a score may lie off where a baseline has it.
const clippedScore = 2.5

// clip draws a value in to where the baseline of the scores so far has it, or a signal's: a gross
// error counts for no more than that, and a read that is off by a board or two clips nothing.
func (c *chart) clip(value, variance float64, slope, mean []float64) float64 {
	middle := dot(slope, mean)
	most := clippedScore * math.Sqrt(variance+c.covariance.quadratic(slope, slope))
	return min(max(value, middle-most), middle+most)
}

// follow moves a baseline toward a value and returns how far it was from it.
func follow(mean []float64, value float64, slope, gain []float64) float64 {
	off := value - dot(slope, mean)
	for i := range mean {
		mean[i] += gain[i] * off
	}
	return off
}

func (s *signal) take(unit, surprise, variance float64, slope, gain []float64) {
	off := follow(s.mean, unit, slope, gain)
	s.square += off * off / variance
	s.product += off * surprise / variance
}

// ratio is ln of the ratio of likelihoods with the change, its size normal(mean, spread), to without.
func (s *signal) ratio(mean, spread float64) float64 {
	precision := 1 / (spread * spread)
	total := s.square + precision
	weighted := s.product + mean*precision
	return (weighted*weighted/total - mean*mean*precision + math.Log(precision/total)) / 2
}

// weighed is the chart: ln of how much likelier a change is than none. It also returns the likeliest
// jump.
func (c *chart) weighed() (evidence float64, likeliest *signal) {
	ratios := make([]float64, len(c.jumps))
	best := math.Inf(-1)
	for i := range c.jumps {
		ratios[i] = c.jumps[i].ratio(0, jumpBoards)
		if ratios[i] > best {
			best, likeliest = ratios[i], &c.jumps[i]
		}
	}
	return logMean(logMean(ratios...), c.wear.ratio(1, wearSpread)), likeliest
}

// logMean is ln of the mean of e to each.
func logMean(logs ...float64) float64 {
	most := math.Inf(-1)
	for _, v := range logs {
		most = max(most, v)
	}
	sum := 0.0
	for _, v := range logs {
		sum += math.Exp(v - most)
	}
	return most + math.Log(sum/float64(len(logs)))
}
