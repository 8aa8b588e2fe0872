package drill

import "math"

// The chance that a shot kept a rule, when it was read with an error: a reading just past the edge
// is mostly the error's when the athlete's own shots lie well inside. So each reading is drawn
// toward the middle of the athlete's shots, the more the smaller their spread against the error.
//
// The true values are taken as normal about one middle, on which nothing is assumed, with a spread
// that is typical of the measure within a factor of about e either way (normal in its logarithm,
// deviation [spreadTau]); the spread is averaged over, not chosen, so that few shots are not given
// more weight than they have. Source: the normal model with a normal prior (textbook); the typical
// spreads are common practice, no source.
const (
	spreadTau   = 0.5
	spreadSteps = 11  // of the spread's grid
	spreadReach = 2.5 // deviations either way
)

// typicalSpread is how far one athlete's shots at one target spread, one standard deviation in the
// rule's unit. Common practice, no source.
func (r Rule) typicalSpread() float64 {
	spread := map[Measure]float64{
		Board: 1.1, BreakpointDistance: 2, LaunchAngle: 0.4, EntryAngle: 0.6,
		Speed: 0.4, RevRate: 15, Rotation: 4, Tilt: 2,
	}[r.subject()]
	if r.Measure == Move {
		spread *= math.Sqrt2
	}
	return spread
}

// chances writes, for each reading, the chance that its true value lies between the two edges.
// errors are the readings' standard errors; typical is the measure's spread. With an error of 0 the
// reading decides.
func chances(values, errors []float64, low, high, typical float64, kept []float64) {
	var weights, middles, inverse [spreadSteps]float64
	best := math.Inf(-1)
	for g := range weights {
		weights[g], middles[g], inverse[g] = spreadOf(g, typical).fit(values, errors, g)
		best = math.Max(best, weights[g])
	}
	total := 0.0
	for g := range weights {
		weights[g] = math.Exp(weights[g] - best)
		total += weights[g]
	}
	for i := range values {
		kept[i] = 0
		for g := range weights {
			weight := weights[g] / total
			if weight < 1e-7 {
				continue
			}
			kept[i] += weight * spreadOf(g, typical).chance(values[i], errors[i], low, high, middles[g], inverse[g])
		}
		kept[i] = math.Min(kept[i], 1) // the weights' sum may round to just beyond
	}
}

// spread is a standard deviation of an athlete's shots.
type spread float64

func spreadOf(g int, typical float64) spread {
	return spread(typical * math.Exp(spreadTau*gridPoint(g)))
}

func gridPoint(g int) float64 {
	return spreadReach * (2*float64(g)/(spreadSteps-1) - 1)
}

// fit returns the logarithm of the weight of a spread given the readings, the middle of the shots
// by it, and that middle's variance.
func (s spread) fit(values, errors []float64, g int) (logWeight, middle, variance float64) {
	precision, sum := 0.0, 0.0
	logWeight = -gridPoint(g) * gridPoint(g) / 2
	for i, value := range values {
		v := float64(s*s) + errors[i]*errors[i]
		precision += 1 / v
		sum += value / v
		logWeight -= math.Log(v) / 2
	}
	middle = sum / precision
	for i, value := range values {
		v := float64(s*s) + errors[i]*errors[i]
		logWeight -= (value - middle) * (value - middle) / (2 * v)
	}
	return logWeight - math.Log(precision)/2, middle, 1 / precision
}

// chance is that of one reading, given the spread and the middle with its variance.
func (s spread) chance(value, standardError, low, high, middle, variance float64) float64 {
	own, error2 := float64(s*s), standardError*standardError
	pull := own / (own + error2)
	at := middle + pull*(value-middle)
	deviation := math.Sqrt(pull*error2 + (1-pull)*(1-pull)*variance)
	return probabilityWithin(low, high, at, deviation, math.Min(at-low, high-at))
}

// weigher holds what is known of each shot by each rule, so that the chances of the first n shots
// alone can be computed, as they were when those had been thrown.
type weigher struct {
	rules []Rule
	// kept[j][i] is the chance that shot i kept rule j; NaN when unknown.
	kept   [][]float64
	judged []ShotJudgement

	at                     []int // the shots with a reading, of one rule at a time
	values, errors, chance []float64
}

func newWeigher(d Drill, judged []ShotJudgement) *weigher {
	return &weigher{rules: d.Rules, judged: judged, kept: make([][]float64, len(d.Rules))}
}

// weigh computes the chances of the first n shots.
func (w *weigher) weigh(n int) {
	for j := range w.rules {
		if w.kept[j] == nil {
			w.kept[j] = make([]float64, len(w.judged))
		}
		w.at, w.values, w.errors = w.at[:0], w.values[:0], w.errors[:0]
		for i := range w.judged[:n] {
			switch one := &w.judged[i].Rules[j]; {
			case one.Verdict == Unknown:
				w.kept[j][i] = math.NaN()
			case one.Basis == "" || one.Miss == MissGutter || one.StandardError == 0:
				w.kept[j][i] = 0
				if one.Verdict == Kept {
					w.kept[j][i] = 1
				}
			default:
				w.at = append(w.at, i)
				w.values = append(w.values, one.Value)
				w.errors = append(w.errors, one.StandardError)
			}
		}
		if len(w.at) == 0 {
			continue
		}
		if len(w.chance) < len(w.at) {
			w.chance = make([]float64, len(w.judged))
		}
		low, high := w.rules[j].Edges()
		chances(w.values, w.errors, low, high, w.rules[j].typicalSpread(), w.chance)
		for k, i := range w.at {
			w.kept[j][i] = w.chance[k]
		}
	}
}
