package reading

import (
	"errors"
	"fmt"
	"math"
)

// Read is a lane as its shots show it.
type Read struct {
	Belief
	// Throws are the shots that it rests on, in their order.
	Throws []Weighed `json:"throws"`

	setting Setting
	scene   *scene
	prior   Belief
}

// Weighed is how much one throw counts.
type Weighed struct {
	// Used is false for a throw that says nothing: a gutter ball, or one of which neither breakpoint
	// nor entry was seen.
	Used bool `json:"used"`
	// Weight is 1 for a throw that fits the others and falls toward 0 for one that does not.
	Weight float64 `json:"weight"`
	// Readings are the weights of what was seen of it, by the fields of a shot.
	Readings map[string]float64 `json:"readings,omitempty"`
}

// sightFields are the fields of a shot in the order of what is seen.
var sightFields = [sights]string{
	"breakpoint_board", "breakpoint_ft", "entry_board", "entry_angle_deg", "rev_rate_rpm", "rotation_deg",
}

// Weights by Student's t with this many degrees of freedom: a reading far off the others counts
// less the farther it is.
const tailDegrees = 4

// Limits of a read's iterations.
var readLimits = limits{bound: 3, step: 1.2, iterations: 5, tolerance: 0.03}

// New reads a lane from its shots: the lane's state of which they and the prior are likeliest
// together, and its covariance there (a maximum a posteriori by Gauss and Newton, with Laplace's
// covariance). Errors in the throws' own aims are part of each throw's error, carried through the
// slopes of the path. The error is that of [Setting.Validate], or names a throw of nobody.
func New(setting Setting, throws []Throw) (*Read, error) {
	if err := setting.Validate(); err != nil {
		return nil, err
	}
	for i, throw := range throws {
		if throw.Thrower < 0 || throw.Thrower >= len(setting.Throwers) {
			return nil, fmt.Errorf(
				"shot %d is of athlete %d, and there are %d", i+1, throw.Thrower+1, len(setting.Throwers),
			)
		}
	}
	r := &Read{setting: setting, scene: newScene(&setting), prior: setting.Prior()}
	return r, r.take(r.prior, throws, readLimits.iterations)
}

// Model names the reader in records that rest on it. It is raised when a read comes out differently.
const Model = "reading-1"

// Resume takes up a read of this setting from its belief, as it was kept. Its shots are not known.
func Resume(setting Setting, belief Belief) (*Read, error) {
	if err := setting.Validate(); err != nil {
		return nil, err
	}
	r := &Read{setting: setting, scene: newScene(&setting), prior: setting.Prior(), Belief: belief}
	if n := len(r.prior.Mean); len(belief.Mean) != n || belief.Covariance.n != n {
		return nil, errOtherBelief
	}
	return r, nil
}

var errOtherBelief = errors.New("the belief is of other athletes: read the lane again with those of this setting")

// Update takes one more shot into account, in a fraction of the time of a new read: the belief so
// far is its prior, and one step is made. After some ten of them a new read of all shots is a
// little better.
func (r *Read) Update(throw Throw) (*Read, error) {
	if throw.Thrower < 0 || throw.Thrower >= len(r.setting.Throwers) {
		return nil, fmt.Errorf("the shot is of athlete %d, and there are %d", throw.Thrower+1, len(r.setting.Throwers))
	}
	next := &Read{setting: r.setting, scene: r.scene, prior: r.prior}
	if err := next.take(r.Belief, []Throw{throw}, 1); err != nil {
		return nil, err
	}
	next.Throws = append(append([]Weighed(nil), r.Throws...), next.Throws...)
	return next, nil
}

// take reads the throws from a prior.
func (r *Read) take(prior Belief, throws []Throw, iterations int) error {
	fit := &fit{scene: r.scene, mean: prior.Mean}
	for _, throw := range throws {
		seen := r.scene.sight(throw)
		fit.seen = append(fit.seen, seen)
	}
	precision, ok := prior.Covariance.inverse()
	if !ok {
		return errNotDetermined
	}
	if fit.root, ok = precision.cholesky(); !ok {
		return errNotDetermined
	}
	limit := readLimits
	limit.iterations = iterations
	limit.scale = make([]float64, len(prior.Mean))
	for i := range limit.scale {
		limit.scale[i] = r.prior.Covariance.sd(i)
	}
	found, err := solve(fit, prior.Mean, limit)
	if err != nil {
		return err
	}
	r.Belief = Belief{found.x, found.covariance}
	r.Throws = make([]Weighed, len(throws))
	for i := range throws {
		r.Throws[i] = fit.weighed(i)
	}
	return nil
}

// fit is the least-squares problem of a read. Each throw's own aim is a nuisance of its own: it is
// where its readings and what became of the ball put it, and its error is carried into the error of
// what was seen.
type fit struct {
	*scene
	mean []float64
	root matrix // L with LL' the prior's precision
	seen []sighting
	laid []linear // of each throw
}

// linear is a throw linearised about a state and an aim.
type linear struct {
	at      []int // what is seen, and counts
	lower   matrix
	weight  float64
	weights [sights]float64
	// The aim by its own readings alone, its covariance and the weights of those readings.
	own        [aims]float64
	spread     matrix
	aimWeights []float64
	// The aim about which the path is followed, and by how much what is seen would change from there
	// to the own aim.
	about, path [aims]float64
	shift       []float64
}

// linearise sets the errors and weights of the throws at x.
func (f *fit) linearise(x []float64) (residuals []float64, slopes [][]float64) {
	n := len(x)
	residuals = f.ofPrior(x)
	for j := range n {
		row := make([]float64, n)
		for i := range n {
			row[i] = f.root.at(i, j)
		}
		slopes = append(slopes, row)
	}
	near := f.at(x, true)
	first := f.laid == nil
	if first {
		f.laid = make([]linear, len(f.seen))
	}
	for i := range f.seen {
		seen, l := &f.seen[i], &f.laid[i]
		if !seen.use {
			continue
		}
		if first {
			l.begin(seen)
		}
		rows, values := l.lay(seen, near.slope(seen.thrower, l.about), n)
		residuals, slopes = append(residuals, values...), append(slopes, rows...)
	}
	return residuals, slopes
}

// ofPrior are the residuals of the prior, whose slopes are L'.
func (f *fit) ofPrior(x []float64) []float64 {
	n := len(x)
	residuals := make([]float64, n)
	for i := range n {
		for j := range i + 1 {
			residuals[j] += f.root.at(i, j) * (x[i] - f.mean[i])
		}
	}
	return residuals
}

func (f *fit) cost(x []float64) float64 {
	sum := 0.0
	for _, r := range f.ofPrior(x) {
		sum += r * r
	}
	near := f.at(x, false)
	for i := range f.seen {
		l := &f.laid[i]
		if len(l.at) == 0 {
			continue
		}
		there := near.arrive(f.seen[i].thrower, l.path)
		values := make([]float64, len(l.at))
		for k, at := range l.at {
			values[k] = there[at] + l.shift[k] - f.seen[i].value[at]
		}
		l.lower.forward(values)
		sum += dot(values, values)
	}
	return sum
}

// Where a breakpoint's distance says nothing: a ball that turns at once or not at all.
const (
	leastBreakpointFt = 20.0
	mostBreakpointFt  = 58.0
)

// counting adds what was seen, and counts against this arrival, to a list.
func (s *sighting) counting(list []int, there *arrival) []int {
	for k := range sights {
		ft := there[seenBreakpointFt]
		if s.known[k] && (k != seenBreakpointFt ||
			ft >= leastBreakpointFt && ft <= mostBreakpointFt && s.value[k] >= leastBreakpointFt) {
			list = append(list, k)
		}
	}
	return list
}

// begin takes the aim as its own readings have it.
func (l *linear) begin(seen *sighting) {
	l.aimWeights = make([]float64, len(seen.aim))
	for i := range l.aimWeights {
		l.aimWeights[i] = 1
	}
	l.own, l.spread = aimOf(seen.aim, l.aimWeights)
	l.about = l.own
}

// lay linearises one throw: its rows of the least-squares problem, whitened by the errors of the
// readings and of the aim, and by how badly they fit.
func (l *linear) lay(seen *sighting, there slopes, n int) (rows [][]float64, values []float64) {
	l.at = l.at[:0]
	if !there.finite() {
		return nil, nil
	}
	l.at = seen.counting(l.at, &there.arrival)
	m := len(l.at)
	covariance := newMatrix(m)
	values, l.shift = make([]float64, m), make([]float64, m)
	for a, i := range l.at {
		for k := range aims {
			l.shift[a] += there.ofAim[i][k] * (l.own[k] - l.about[k])
		}
		values[a] = there.arrival[i] + l.shift[a] - seen.value[i]
		for b, j := range l.at {
			covariance.set(a, b, l.spread.quadratic(there.ofAim[i][:], there.ofAim[j][:]))
		}
		covariance.set(a, a, covariance.at(a, a)+seen.error[i])
	}
	l.weigh(covariance, values)
	l.lower.forward(values)
	for range m {
		rows = append(rows, make([]float64, n))
	}
	column := make([]float64, m)
	for j := range n {
		for a, i := range l.at {
			column[a] = there.ofState[i][j]
		}
		l.lower.forward(column)
		for a := range m {
			rows[a][j] = column[a]
		}
	}
	l.settle(seen, there, values)
	return rows, values
}

// weigh sets the weights of a throw and of its readings, Student's, and the triangle of its
// covariance with them.
func (l *linear) weigh(covariance matrix, values []float64) {
	m := len(values)
	for a, value := range values {
		variance := covariance.at(a, a)
		weight := student(value * value / variance)
		l.weights[l.at[a]] = weight
		covariance.set(a, a, variance/weight) // the reading's own error, and no other's
	}
	lower, _ := covariance.cholesky() // positive: each reading has an error of its own
	whitened := append([]float64(nil), values...)
	lower.forward(whitened)
	l.weight = min(1, (tailDegrees+float64(m))/(tailDegrees+dot(whitened, whitened)))
	for i := range lower.v {
		lower.v[i] /= math.Sqrt(l.weight)
	}
	l.lower = lower
}

// student is the weight of a residual of which this is the square, in units of its variance.
func student(square float64) float64 { return min(1, (tailDegrees+1)/(tailDegrees+square)) }

// settle moves the aim to where its readings and what was seen of the ball put it together, and
// weighs the readings of the aim by how they fit that. It takes the whitened residuals.
func (l *linear) settle(seen *sighting, there slopes, whitened []float64) {
	l.path = l.about
	m := len(l.at)
	// G = L^-1 Jz S: the gain is S Jz' C^-1 = G' L^-1.
	var gain [aims][]float64
	for k := range aims {
		gain[k] = make([]float64, m)
		for a, i := range l.at {
			gain[k][a] = dot(there.ofAim[i][:], l.spread.row(k))
		}
		l.lower.forward(gain[k])
	}
	var about [aims]float64
	post := newMatrix(aims)
	for k := range aims {
		about[k] = l.own[k] - dot(gain[k], whitened)
		for j := range aims {
			post.set(k, j, l.spread.at(k, j)-dot(gain[k], gain[j]))
		}
	}
	l.about = about
	weighAim(seen.aim, l.aimWeights, about, post)
	l.own, l.spread = aimOf(seen.aim, l.aimWeights)
}

// weighAim weighs readings of an aim, Student's, by how each fits what all the others say; about and
// post are the aim by all of them and its covariance.
func weighAim(readings []aimReading, weights []float64, about [aims]float64, post matrix) {
	for i := range readings {
		one := &readings[i]
		variance := one.variance / weights[i]
		left := 1 - post.quadratic(one.slopes[:], one.slopes[:])/variance
		if left < 0.02 {
			continue // nothing else says anything about it
		}
		// Against what all the others say.
		off := (one.value - dot(one.slopes[:], about[:])) / left
		weights[i] = student(off * off / (one.variance + variance/left - variance))
	}
}

func (f *fit) weighed(i int) Weighed {
	l := &f.laid[i]
	if len(l.at) == 0 {
		return Weighed{}
	}
	w := Weighed{Used: true, Weight: l.weight, Readings: map[string]float64{}}
	for _, at := range l.at {
		w.Readings[sightFields[at]] = l.weights[at]
	}
	for k, one := range f.seen[i].aim {
		if one.field != "" {
			w.Readings[one.field] = l.aimWeights[k]
		}
	}
	return w
}

// near is the lane about the read's mean.
func (r *Read) near() *nearby { return r.scene.at(r.Mean, true) }
