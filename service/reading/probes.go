package reading

import (
	"math"

	"laneward/service/lane"
	"laneward/service/shot"
)

// Reach is where an athlete can throw: the laydowns and launch angles.
type Reach struct {
	LaydownLow   float64 `json:"laydown_low"`
	LaydownHigh  float64 `json:"laydown_high"`
	AngleLowDeg  float64 `json:"angle_low_deg"`
	AngleHighDeg float64 `json:"angle_high_deg"`
}

// AssumedReach is an ordinary league bowler's: common practice, no source.
func AssumedReach() Reach {
	return Reach{LaydownLow: 6, LaydownHigh: 30, AngleLowDeg: -0.5, AngleHighDeg: 3}
}

// Probe is a shot that reads a lane.
type Probe struct {
	Aim
	Forecast
	// EntryBefore and EntryAfter are the deviation of the entry board on the line that is asked for
	// before and after this probe, those before it thrown; OilAfter and BoundsAfter that of the ln of
	// the oil's amount and of out of bounds.
	EntryBefore float64 `json:"entry_before_board"`
	EntryAfter  float64 `json:"entry_after_board"`
	// Alone is by how much this probe alone would narrow that deviation, as a share.
	Alone float64 `json:"narrows_alone"`
}

// probeRungs are the laydowns of the ladder, in the order in which they are thrown, and the
// breakpoints that they are shifted to: from the edge of the lane to its middle.
var probeRungs = [...]struct{ laydown, breakpoint float64 }{
	{10, 6.5}, {14, 9}, {18, 11}, {22, 13}, {26, 15.5}, {7, 4.5},
}

// The fewest probes of a ladder.
const fewestProbes = 4

// Probes is the ladder of shots that reads the lane for the first thrower: four to six, each shifted
// so that its ball is expected to turn at a board of its own, as far as the athlete can throw that
// and the ball stays on the lane. It ends once the asked line is known [Well]. By source the shots
// are taken to be read by eye or by a sensor.
//
// How much each would narrow is for the coach to know: on simulated lanes choosing probes by it
// saved no shot against a fixed ladder.
func (r *Read) Probes(asked Aim, reach Reach, source string) []Probe {
	before := r.Belief
	first := r.entrySE(&r.prior, 0, asked)
	near := r.scene.at(r.Mean, true)
	line := near.slope(0, r.scene.exact(0, asked, 0)).ofState[seenEntry]
	known := func(b *Belief) float64 {
		return math.Sqrt(b.Covariance.quadratic(line, line) + strayExact*strayExact)
	}
	var probes []Probe
	for _, rung := range probeRungs {
		now := known(&before)
		if len(probes) >= fewestProbes && knowledge(first, now) == Well {
			break
		}
		aim := r.rung(near, rung.laydown, rung.breakpoint, reach)
		after := r.afterProbe(near, before, aim, source)
		alone := r.afterProbe(near, r.Belief, aim, source)
		probes = append(probes, Probe{
			Aim: aim, Forecast: r.exactly(near, 0, aim, 0), EntryBefore: now, EntryAfter: known(&after),
			Alone: 1 - known(&alone)/known(&r.Belief),
		})
		before = after
	}
	return probes
}

// angleStep is how finely an athlete can be told an angle.
const angleStep = 0.1

// rung is the aim from a laydown that is expected to turn at a board.
func (r *Read) rung(near *nearby, laydown, breakpoint float64, reach Reach) Aim {
	aim := Aim{LaydownBoard: min(max(laydown, reach.LaydownLow), reach.LaydownHigh)}
	best := math.Inf(1)
	for angle := reach.AngleLowDeg; angle <= reach.AngleHighDeg+angleStep/2; angle += angleStep {
		there := near.arrive(0, r.scene.exact(0, Aim{aim.LaydownBoard, angle}, 0))
		off := math.Abs(there[seenBreakpoint] - min(breakpoint, aim.LaydownBoard-0.5))
		if there[seenBreakpoint] < lane.MinBoard+2 {
			continue // too near to the gutter
		}
		if off < best-1e-9 {
			best, aim.LaunchAngleDeg = off, math.Round(angle/angleStep)*angleStep
		}
	}
	return aim
}

// afterProbe is a belief after a probe whose outcome is as expected.
func (r *Read) afterProbe(near *nearby, b Belief, aim Aim, source string) Belief {
	nothing := 0.0
	expected := shot.Shot{
		Source: source, LaydownBoard: &nothing, ArrowsBoard: &nothing, SpeedMPH: &nothing,
		BreakpointBoard: new(10.0), BreakpointFt: new(40.0), EntryBoard: new(17.0),
	}
	seen := r.scene.sight(Throw{Shot: expected, Aim: &aim})
	var l linear
	l.begin(&seen)
	l.about, l.own = r.scene.exact(0, aim, 0), r.scene.exact(0, aim, 0)
	there := near.slope(0, l.about)
	for k := range sights {
		seen.value[k] = there.arrival[k]
	}
	rows, _ := l.lay(&seen, there, len(b.Mean))
	after := Belief{b.Mean, b.Covariance.clone()}
	for _, row := range rows { // each is a number of deviation 1 that is seen
		n := len(row)
		gain := make([]float64, n)
		for i := range n {
			gain[i] = dot(after.Covariance.row(i), row)
		}
		total := 1 + dot(row, gain)
		for i := range n {
			for j := range n {
				after.Covariance.set(i, j, after.Covariance.at(i, j)-gain[i]*gain[j]/total)
			}
		}
	}
	return after
}
