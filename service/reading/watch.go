package reading

import (
	"math"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
)

// Watch follows a thrower's shots after a read and says when the lane has changed under them.
type Watch struct {
	read    *Read
	thrower int
	passes  float64
	near    *nearby
	chart   *chart
	aims    []repeated // by thrower
	tracks  tracks
	scores  []score
	orders  []int
	errors  []float64
	films   []float64 // of each score, how its ball's entry changes with the oil
	wear    []float64 // boards by which the predicted wear has moved each shot
	source  string
	alarmed bool
	now     Standing
}

// Change is how a lane has changed.
type Change string

// How a lane has changed.
const (
	Jump  Change = "jump"  // from one shot to the next
	Drift Change = "drift" // shot by shot, as the tracks on it let one expect
)

// Standing is where the watch stands after a shot.
type Standing struct {
	Order int `json:"order"`
	// ScoreBoards is how much farther inside than foretold the ball went, in boards at the pins by
	// breakpoint and entry together, with its standard error from this shot's own readings and aim.
	// Nil for a shot of which nothing was seen.
	ScoreBoards *float64 `json:"score_boards,omitempty"`
	ScoreSE     *float64 `json:"score_se_boards,omitempty"`
	// Evidence is ln of how much likelier a change is than none.
	Evidence float64 `json:"evidence"`
	// Alarm is raised once the evidence is above its level, and stands from then on. With it: how the
	// lane changed, and by how many boards at the pins, inside positive; SinceOrder is the order of the
	// shot with which a jump likeliest began. A drift has no such shot: it has gone on since the read.
	Alarm      bool    `json:"alarm"`
	Change     Change  `json:"change,omitempty"`
	SinceOrder int     `json:"since_order,omitempty"`
	SizeBoards float64 `json:"size_boards,omitempty"`
}

// lastWear is how many of the last shots say how far a drift has gone: one alone may lie where wear
// does little.
const lastWear = 5

// UnknownPasses is how many balls are taken to roll down a lane for each that is stored, when nobody
// says how many athletes bowl on it: common practice, no source.
const UnknownPasses = 4.0

// fewestWatched is the shot of a lane before which there is no alarm.
const fewestWatched = 9

// Evidence above which there is an alarm, by what measures: found on simulated lanes of another law,
// for a false alarm per 300 shots on lanes that stay as they are. By eye 1.5 gives one per 272, 1.6
// per 294, 1.7 per 316 (158 alarms on 350 lanes); by sensor 0.9 per 251, 1.0 per 293, 1.1 per 319
// (128 on 300). Limits from tables would alarm far more often, because the read's own error stands in
// every shot.
const (
	levelByEye    = 1.6
	levelBySensor = 1.0
)

func levelOf(source string) float64 {
	if bySensors(source) {
		return levelBySensor
	}
	return levelByEye
}

// A change of the lane moves balls of one line by more or fewer boards, as they are laid down.
// Scores are in boards of the line's middle ball, within these factors.
const leastFactor, mostFactor = 0.5, 4.0

// Watch begins to watch a thrower on the lane as it was read. Passes is how many balls roll down the
// lane for each that is added: 1 when everybody's shots are, more when others' are not stored; 0 is
// [UnknownPasses].
func (r *Read) Watch(thrower int, passes float64) *Watch {
	if passes == 0 {
		passes = UnknownPasses
	}
	n := len(r.Mean)
	baseline := newMatrix(n + 1) // the last is what no read says of one line
	for i := range n {
		copy(baseline.row(i), r.Covariance.row(i))
	}
	baseline.set(n, n, strayExact*strayExact)
	return &Watch{
		read: r, thrower: thrower, passes: passes, near: r.near(),
		chart: newChart(baseline), aims: make([]repeated, len(r.setting.Throwers)),
	}
}

// Add takes the next shot on the lane, of whoever threw it, and returns where the watch stands:
// another's shot wears the lane and changes nothing else, the watched one's is scored before it does.
func (w *Watch) Add(throw Throw) Standing {
	seen := w.near.sight(throw)
	aim, spread := w.aims[throw.Thrower].settle(seen.aim)
	if throw.Thrower == w.thrower {
		w.score(throw, &seen, aim, spread)
	}
	w.tracks.add(w.near, throw.Thrower, aim, w.passes)
	return w.now
}

func (w *Watch) score(throw Throw, seen *sighting, aim [aims]float64, spread matrix) {
	w.now.Order, w.now.ScoreBoards, w.now.ScoreSE = throw.Shot.Order, nil, nil
	one, ok := w.near.score(seen, aim, spread)
	if !ok {
		return
	}
	w.source = throw.Shot.Source
	w.films = append(w.films, one.perFilm)
	one = one.times(min(max(median(w.films)/one.perFilm, leastFactor), mostFactor))
	predicted := w.tracks.shift(w.near, w.thrower, aim, spread)
	w.wear = append(w.wear, predicted)
	one.slope = append(one.slope, 1)
	w.scores, w.orders = append(w.scores, one), append(w.orders, throw.Shot.Order)
	w.errors = append(w.errors, one.se)
	variance := one.se * one.se
	w.chart.add(
		w.chart.clip(one.boards, variance, one.slope, w.chart.mean), variance, one.slope,
		w.chart.clip(predicted, variance, one.slope, w.chart.wear.mean),
	)
	w.now.ScoreBoards, w.now.ScoreSE = &one.boards, &one.se
	evidence, likeliest := w.chart.weighed()
	w.now.Evidence = evidence
	if evidence > levelOf(w.source) && len(w.read.Throws)+len(w.scores) >= fewestWatched {
		w.alarmed, w.chart.held = true, true
	}
	if !w.alarmed {
		return
	}
	w.now.Alarm, w.now.SinceOrder = true, w.orders[likeliest.start]
	w.now.Change, w.now.SizeBoards = w.change(likeliest)
}

// jumped is how far a jump went: the median of the scores since, nothing clipped, over the baseline
// before it. The chart's own estimate would make a big jump small, because its scores are clipped.
func (w *Watch) jumped(by *signal) float64 {
	var over []float64
	for _, one := range w.scores[by.start:] {
		over = append(over, one.boards-dot(one.slope, by.before))
	}
	return median(over)
}

// change is whether the scores look more like a jump that began then or like the predicted wear,
// and how far it has gone. The chart does not say, because its scores are clipped: a big jump is a
// ramp to it.
func (w *Watch) change(jump *signal) (Change, float64) {
	boards := make([]float64, len(w.scores))
	for i, one := range w.scores {
		boards[i] = one.boards
	}
	before, after := boards[:jump.start], boards[jump.start:]
	size := w.jumped(jump)
	jumped := w.misfit(before, 0) + w.misfit(after, jump.start) + size*size/(2*jumpBoards*jumpBoards)
	amplitude, drifted := 0.0, math.Inf(1)
	left := make([]float64, len(boards))
	for try := driftStep; try <= mostDrift; try += driftStep {
		for i := range left {
			left[i] = boards[i] - try*w.wear[i]
		}
		unlike := (try - 1) / wearSpread
		if off := w.misfit(left, 0) + unlike*unlike/2; off < drifted {
			amplitude, drifted = try, off
		}
	}
	// A jump may begin with any shot, and the likeliest of them was chosen.
	if drifted < jumped+math.Log(float64(len(boards))) {
		return Drift, amplitude * median(w.wear[max(len(w.wear)-lastWear, 0):])
	}
	return Jump, size
}

// The amplitudes of a drift that are tried, over the predicted one.
const driftStep, mostDrift = 0.1, 3.0

// misfit is -ln of how likely scores, from this one on, lie about their median as they do, their
// errors Laplace's: a gross one is not worth much.
func (w *Watch) misfit(boards []float64, first int) float64 {
	if len(boards) == 0 {
		return 0
	}
	middle, sum := median(boards), 0.0
	for i, v := range boards {
		sum += math.Sqrt2 * math.Abs(v-middle) / w.errors[first+i]
	}
	return sum
}

// stripBoards is the width, one deviation, of what a stored track is taken to wear: balls do not
// roll exactly where they were read to.
const stripBoards = 2.2

// perTrack is the share of the film that a stored track takes in the middle of its strip: as much
// as [oil.AssumedWear] has it lift, over the wider strip.
func perTrack() float64 {
	wear := oil.AssumedWear()
	return wear.LiftShare * wear.StripBoards / (stripBoards * math.Sqrt(2*math.Pi))
}

// tracks is how often balls have rolled over each board of each foot, in the athlete's boards.
type tracks struct {
	passed [lane.Boards][oil.Rows]float64
	any    bool
}

// add lays the track of an aim, as the read has it, over the lane.
func (t *tracks) add(near *nearby, thrower int, aim [aims]float64, passes float64) {
	c := near.of(thrower)
	path, err := motion.Trace(c.base, near.throwers[thrower].Ball, near.release(thrower, &c.state, aim), middles())
	if err != nil {
		return // a reading near the foul line is grossly wrong: nobody knows where the ball rolled
	}
	t.any = true
	for _, station := range path.Stations {
		row := int(station.Ft)
		for b := range t.passed {
			off := (float64(b+1) - station.Board) / stripBoards
			t.passed[b][row] += passes * math.Exp(-off*off/2)
		}
	}
}

// middles are the middles of a film's rows.
func middles() []float64 {
	list := make([]float64, oil.Rows)
	for row := range list {
		list[row] = float64(row) + 0.5
	}
	return list
}

// shift is by how many boards at the pins the wear so far moves an aim that is known to a spread.
func (t *tracks) shift(near *nearby, thrower int, aim [aims]float64, spread matrix) float64 {
	if !t.any {
		return 0
	}
	c, share := near.of(thrower), perTrack()
	film := *near.base
	for b := range film.UL {
		for row := range film.UL[b] {
			film.UL[b][row] *= math.Exp(-share * t.passed[b][row])
		}
	}
	fresh := near.around(c.base, thrower, &c.state, aim, spread)
	worn := near.around(near.surface(&film, thrower, &c.state), thrower, &c.state, aim, spread)
	if d := worn.mean()[seenEntry] - fresh.mean()[seenEntry]; !math.IsNaN(d) {
		return d
	}
	return 0
}
