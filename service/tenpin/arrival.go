package tenpin

import (
	"math"

	"laneward/service/lane"
)

// Arrival is how a ball reaches the pins: the board of its centre at the head pin, counted from the
// athlete's strong side, and its angle there.
type Arrival struct {
	Board         float64
	EntryAngleDeg float64
}

// LeaveShape is where a leave comes from: its weight is
// K exp(-((board - FlushBoard - Offset)/OffsetSD)^2/2 - ((angle - AngleDeg)/AngleSDDeg)^2/2).
// The empty leave is a strike elsewhere than flush.
type LeaveShape struct {
	Leave                lane.PinSet
	Offset, OffsetSD     float64 // boards
	AngleDeg, AngleSDDeg float64 // degrees
	K                    float64
}

// Carry says what the pins do with an arrival.
//
// NOTHING HERE IS MEASURED. No table of strikes and leaves by offset and angle was found in print:
// the shapes are common practice, so they are parameters. What is published is where most strikes
// fall: board 17 to 18 at 4 to 6 degrees (a governing-body engineer's article,
// wiki.bowlingchat.net, Ridenour_3_pin_10_pin), best at 17.5 and 6 (relayed at
// bowlmovementswy.blogspot.com, 2010-01).
type Carry struct {
	// FlushBoard is the best board. The strike chance there rises with the entry angle, as
	// MostStrikes (1 - exp(-(angle/RiseDeg)^RisePower)), and falls again above SteepDeg, as
	// exp(-((angle - SteepDeg)/SteepSDDeg)^2).
	FlushBoard               float64
	MostStrikes              float64
	RiseDeg, RisePower       float64
	SteepDeg, SteepSDDeg     float64
	WidthBoards, WidthPerDeg float64 // half width of the pocket: WidthBoards + WidthPerDeg angle
	// TouchBoards is how far from the middle of the lane a ball still takes the head pin, and
	// TouchBlur how blurred that limit is (logistic), for pins stand off their spots.
	TouchBoards, TouchBlur float64
	// Leaves with the head pin share the balls that pass it, the others those that take it.
	Leaves []LeaveShape
	// Rest is the leave that represents all others: most of the rack, from a ball far off.
	Rest lane.PinSet
}

// DefaultCarry is common practice, no source: 0.90 at board 17.5 and 7 degrees, 0.87 at 6, 0.55 at
// 3; half a board off costs about 0.10 from 3 to 6 degrees. A ball full on the head pin strikes one
// time in five and leaves a split two times in five; one that crosses over strikes three times in
// ten at best.
func DefaultCarry() Carry {
	return Carry{
		FlushBoard: 17.5, MostStrikes: 0.93, RiseDeg: 3.2, RisePower: 1.6, SteepDeg: 7, SteepSDDeg: 3,
		WidthBoards: 0.55, WidthPerDeg: 0.08, TouchBoards: lane.HeadPinReachBoards, TouchBlur: 0.2,
		Leaves: []LeaveShape{
			{pins(10), -0.3, 1.2, 4.2, 1.3, 2.6},
			{pins(7), -0.2, 0.9, 6.5, 1.2, 0.5},
			{pins(5), -1.5, 0.6, 3.6, 1, 0.6},
			{pins(2, 8), -2, 0.7, 4.5, 1.5, 0.7},
			{pins(2, 4, 5, 8), -2.2, 0.7, 4.2, 1.4, 0.8},
			{pins(8), 0.3, 0.5, 6.4, 1.1, 0.45},
			{pins(9), 1, 0.6, 6.6, 1.2, 0.5},
			{pins(4), 1.2, 0.7, 5.4, 1.5, 1.4},
			{pins(6, 10), 1.2, 0.7, 4.2, 1.4, 0.8},
			{pins(3, 6, 10), 2.2, 1, 5, 2, 0.7},
			{pins(3, 10), 1.8, 0.7, 5, 1.8, 0.8},
			{pins(4, 9), 1.8, 0.7, 5.8, 1.4, 0.5},
			{pins(4, 6), 2.6, 0.7, 5, 2, 0.4},
			{pins(4, 6, 7, 10), 2.8, 0.8, 4.6, 2, 0.5},
			{pins(1, 2, 10), -3.2, 0.9, 4, 1.6, 1.4},
			{pins(1, 2, 4, 10), -3.7, 0.9, 4.2, 1.8, 1.2},
			{pins(1, 2, 4, 7), -5, 1.4, 4.5, 2.5, 1.6},
			{pins(3, 6, 7, 10), 4, 1, 5, 2.5, 0.6},
			{0, 2.5, 1, 5, 2.5, 0.8},   // a strike full on the head pin
			{0, 4.9, 0.9, 5, 2.5, 1.5}, // and on the other side of it
			// What the other side leaves: the mirror images about the head pin. Of how it depends on
			// the angle there nothing is known.
			{pins(7), 5.3, 1.2, 5, 2.5, 2.6},
			{pins(6), 3.8, 0.7, 5, 2.5, 1.4},
			{pins(4, 7), 3.8, 0.7, 5, 2.5, 0.8},
			{pins(2, 4, 7), 2.8, 1, 5, 2.5, 0.7},
			{pins(2, 7), 3.2, 0.7, 5, 2.5, 0.8},
			{pins(5), 6.5, 0.6, 5, 2.5, 0.6},
			{pins(3, 9), 7, 0.7, 5, 2.5, 0.7},
			{pins(3, 5, 6, 9), 7.2, 0.7, 5, 2.5, 0.8},
			{pins(1, 3, 7), 8.2, 0.9, 5, 2.5, 1.4},
			{pins(1, 3, 6, 7), 8.7, 0.9, 5, 2.5, 1.2},
			{pins(1, 3, 6, 10), 10, 1.4, 5, 2.5, 1.6},
		},
		Rest: pins(1, 2, 3, 4, 5, 7, 8, 9),
	}
}

const maxWidthAngleDeg = 8 // the pocket widens no further

// flush is the chance of a strike on the athlete's own side of the head pin.
func (c Carry) flush(at Arrival) float64 {
	angle := min(max(at.EntryAngleDeg, 0.01), 9)
	strike := c.MostStrikes * (1 - math.Exp(-math.Pow(angle/c.RiseDeg, c.RisePower)))
	if angle > c.SteepDeg {
		strike *= math.Exp(-square((at.EntryAngleDeg - c.SteepDeg) / c.SteepSDDeg))
	}
	width := c.WidthBoards + c.WidthPerDeg*min(max(at.EntryAngleDeg, 0), maxWidthAngleDeg)
	return strike * math.Exp(-square((at.Board-c.FlushBoard)/width)/2)
}

// rest is the weight of all leaves that have no shape of their own.
func (c Carry) rest(board float64) float64 {
	return 0.001 + 0.02*math.Exp(-square((min(math.Abs(board-c.FlushBoard), 99)-12)/4)/2)
}

// weight is the leave's weight for a ball this many boards inside of flush.
func (l *LeaveShape) weight(offset, angleDeg float64) float64 {
	return l.K * math.Exp(-square((offset-l.Offset)/l.OffsetSD)/2-square((angleDeg-l.AngleDeg)/l.AngleSDDeg)/2)
}

func square(x float64) float64 { return x * x }

// LeaveChance is a leave and its chance.
type LeaveChance struct {
	Leave  lane.PinSet
	Chance float64
}

// Chances are what the pins do: a strike, or one of the leaves (as a right-hander would see them).
// They sum to 1.
type Chances struct {
	Strike float64
	Leaves []LeaveChance
}

// takes is the chance that a ball takes the head pin, by geometry alone.
func (c Carry) takes(board float64) float64 {
	return 1 / (1 + math.Exp((math.Abs(board-lane.CentreBoard)-c.TouchBoards)/c.TouchBlur))
}

// shares are the chances of the leaves of c.Leaves, and last of c.Rest, of a ball that is no strike
// by c.flush. They sum to 1.
func (c Carry) shares(at Arrival) []float64 {
	shares := make([]float64, 0, len(c.Leaves)+1)
	var taken, passed float64
	add := func(leave lane.PinSet, weight float64) {
		shares = append(shares, weight)
		if leave.Has(1) {
			passed += weight
		} else {
			taken += weight
		}
	}
	for i := range c.Leaves {
		add(c.Leaves[i].Leave, c.Leaves[i].weight(at.Board-c.FlushBoard, at.EntryAngleDeg))
	}
	add(c.Rest, c.rest(at.Board))
	takes := c.takes(at.Board)
	for i := range shares {
		if i < len(c.Leaves) && !c.Leaves[i].Leave.Has(1) {
			shares[i] *= takes / taken
		} else {
			shares[i] *= (1 - takes) / passed
		}
	}
	return shares
}

// Chances returns what becomes of an arrival. What is not a strike is shared among the leaves by
// their weights, those with and those without the head pin apart; the share of a strike elsewhere
// counts as a strike.
func (c Carry) Chances(at Arrival) Chances {
	chances := Chances{Strike: c.flush(at)}
	remains := 1 - chances.Strike
	for i, share := range c.shares(at) {
		leave := c.Rest
		if i < len(c.Leaves) {
			leave = c.Leaves[i].Leave
		}
		if share *= remains; leave.Strike() {
			chances.Strike += share
		} else {
			chances.Leaves = append(chances.Leaves, LeaveChance{leave, share})
		}
	}
	return chances
}
