package tenpin

import (
	"math"
	"slices"

	"laneward/service/lane"
)

// Tally counts what first balls at a full rack left, all turned to a right-hander's side.
type Tally struct {
	Strikes int
	Leaves  map[Group]int
}

// Add counts one more.
func (t *Tally) Add(standing lane.PinSet) {
	group, ok := GroupOf(standing)
	if !ok {
		t.Strikes++
		return
	}
	if t.Leaves == nil {
		t.Leaves = make(map[Group]int)
	}
	t.Leaves[group]++
}

// Left is how many left something.
func (t Tally) Left() (left int) {
	for _, n := range t.Leaves {
		left += n
	}
	return left
}

// Shots is how many were counted.
func (t Tally) Shots() int { return t.Strikes + t.Left() }

// Doubt is what a leave is taken to say about the hit.
//
// NOTHING HERE IS MEASURED, see [Carry]: so a part of every leave is taken to come from anywhere,
// and no single leave weighs much.
type Doubt struct {
	Carry Carry
	// SpreadBoards is how far hits scatter about their middle, AngleDeg and AngleSpreadDeg how they
	// come in.
	SpreadBoards, AngleDeg, AngleSpreadDeg float64
	// Anywhere is the part of leaves that says nothing, 0 to 1, and Most how much likelier one leave
	// may make a middle at most: a head pin left inside is so rare about flush that its ratio is noise.
	Anywhere, Most float64
	// ShiftBoards is how far outside or inside of flush the middle lies where hits are light or high.
	ShiftBoards float64
	// Least is how many leaves it takes to say anything, Ratio how much likelier one middle must be.
	Least int
	Ratio float64
}

// DefaultDoubt is common practice, no source: hits spread by 2 boards, 30 % of leaves say nothing,
// light and high are a board to either side, told from 8 leaves and a ratio of 3 on.
func DefaultDoubt() Doubt {
	return Doubt{
		Carry: DefaultCarry(), SpreadBoards: 2, AngleDeg: 4.8, AngleSpreadDeg: 0.9,
		Anywhere: 0.3, Most: 8, ShiftBoards: 1, Least: 8, Ratio: 3,
	}
}

// outcomes are a strike and the groups, in the order of [Groups].
const outcomes = 8

const (
	evidenceReach = 4.0 // deviations on either side
	evidenceSteps = 33
)

// LeaveWeights is what each outcome says, from a [Doubt].
type LeaveWeights struct {
	doubt Doubt
	// light and high are the log of how much likelier an outcome is where hits are light, or high,
	// than about flush.
	light, high [outcomes]float64
	bits        float64
}

// Weights works out what each outcome says.
func (d Doubt) Weights() LeaveWeights {
	w := LeaveWeights{doubt: d}
	flush, light, high := d.about(0), d.about(-d.ShiftBoards), d.about(d.ShiftBoards)
	for i := range outcomes {
		weight := func(chance float64) float64 {
			mixed := (1-d.Anywhere)*chance + d.Anywhere*flush[i] // the second says nothing
			return math.Log(min(max(mixed/flush[i], 1/d.Most), d.Most))
		}
		w.light[i], w.high[i] = weight(light[i]), weight(high[i])
	}
	w.bits = d.information(flush)
	return w
}

// about returns the chance of each outcome where hits spread about a middle, boards inside of flush.
func (d Doubt) about(middle float64) (mean [outcomes]float64) {
	normal(middle, d.SpreadBoards, func(offset, weight float64) {
		for i, chance := range d.at(offset) {
			mean[i] += weight * chance
		}
	})
	return mean
}

// at returns the chance of each outcome for a hit some boards inside of flush, averaged over the
// angles of entry.
func (d Doubt) at(offset float64) (mean [outcomes]float64) {
	normal(d.AngleDeg, d.AngleSpreadDeg, func(angle, weight float64) {
		chances := d.Carry.Chances(Arrival{d.Carry.FlushBoard + offset, math.Max(angle, 0.5)})
		mean[0] += weight * chances.Strike
		for _, leave := range chances.Leaves {
			mean[outcomeOf(leave.Leave)] += weight * leave.Chance
		}
	})
	return mean
}

func outcomeOf(standing lane.PinSet) int {
	group, ok := GroupOf(standing)
	if !ok {
		return 0
	}
	return 1 + slices.Index(Groups(), group)
}

// normal visits a normal distribution in steps whose weights sum to 1.
func normal(mean, sd float64, visit func(value, weight float64)) {
	var weights [evidenceSteps]float64
	total := 0.0
	at := func(i int) float64 { return evidenceReach * (2*float64(i)/(evidenceSteps-1) - 1) }
	for i := range weights {
		weights[i] = math.Exp(-square(at(i)) / 2)
		total += weights[i]
	}
	for i, weight := range weights {
		visit(mean+sd*at(i), weight/total)
	}
}

// information is how many bits one outcome says of where the ball hit.
func (d Doubt) information(flush [outcomes]float64) (bits float64) {
	normal(0, d.SpreadBoards, func(offset, weight float64) {
		for i, chance := range d.at(offset) {
			if told := (1-d.Anywhere)*chance + d.Anywhere*flush[i]; told > 0 {
				bits += weight * told * math.Log2(told/flush[i])
			}
		}
	})
	return bits
}

// Bits is how much one outcome says of the board at which the ball hit, bits.
func (w LeaveWeights) Bits() float64 { return w.bits }

// WatchedBits is how much watching the entry board says of it, read to this standard error, boards:
// log2(1 + (spread/error)^2)/2, the information of a reading with normal error (C. E. Shannon 1948).
func (w LeaveWeights) WatchedBits(standardError float64) float64 {
	return math.Log2(1+square(w.doubt.SpreadBoards/standardError)) / 2
}

// Hits is what leaves say of the hits behind them.
type Hits string

// The hits. Light is outside of flush, high inside; too few is said until the leaves decide.
const (
	HitsTooFew Hits = "too few"
	HitsLight  Hits = "light"
	HitsFlush  Hits = "flush"
	HitsHigh   Hits = "high"
)

// LeaveReading is what a tally says. Light and High are how many times likelier it is where hits lie
// [Doubt.ShiftBoards] light, or high, than about flush; at most [mostTimes].
type LeaveReading struct {
	Hits  Hits    `json:"hits"`
	Light float64 `json:"light"`
	High  float64 `json:"high"`
}

// mostTimes is as sure as leaves are said to be: what they say is not measured.
const mostTimes = 1000.0

// Read weighs a tally. Something is said only from enough leaves on, and when it is enough times
// likelier than both others.
func (w LeaveWeights) Read(t Tally) LeaveReading {
	light, high := float64(t.Strikes)*w.light[0], float64(t.Strikes)*w.high[0]
	for i, group := range Groups() {
		light += float64(t.Leaves[group]) * w.light[i+1]
		high += float64(t.Leaves[group]) * w.high[i+1]
	}
	times := func(log float64) float64 { return math.Exp(math.Min(log, math.Log(mostTimes))) }
	reading := LeaveReading{HitsTooFew, times(light), times(high)}
	if t.Left() < w.doubt.Least {
		return reading
	}
	least := math.Log(w.doubt.Ratio)
	switch {
	case light > least && light-high > least:
		reading.Hits = HitsLight
	case high > least && high-light > least:
		reading.Hits = HitsHigh
	case light < -least && high < -least:
		reading.Hits = HitsFlush
	}
	return reading
}
