package motion

import (
	"fmt"
	"math"

	"laneward/service/lane"
	"laneward/service/oil"
)

// Table is a film under a friction law, prepared for many paths: the lane cut across into slabs,
// and for each slab its mean friction along its length, at nodes across the boards. A path takes
// one step a slab, so what the film does along the lane costs little accuracy. Where the film is
// smooth the slabs are long; the rougher it is, the shorter they are. A table does not change, and
// may be used by many goroutines at once.
type Table struct {
	slabs        []slab
	muG          []float64 // [slab*nodes + node]: mu g at a slip of 5 m/s, m/s2
	nodes        int
	perM, centre float64 // node = y perM + centre
	slip         SlipScale
}

// slab is a stretch of lane, metres.
type slab struct{ from, length float64 }

// NewTable prepares a film for an athlete of this side. The error names a friction or film that
// cannot be.
func NewTable(film *oil.Film, friction Friction, side lane.Side) (*Table, error) {
	if err := friction.Validate(); err != nil {
		return nil, fmt.Errorf("friction: %w", err)
	}
	if err := film.Validate(); err != nil {
		return nil, fmt.Errorf("film: %w", err)
	}
	if side == lane.Left {
		film = film.Mirror()
	}
	grid := newGrid(film, friction)
	return newTable(film, friction, grid.endsFt(), grid.nodesPerBoard()), nil
}

// Run computes what becomes of one delivery. Under the nominal law it lies within 0.05 board of
// [Trace] at the pins on films that are smooth or laid from a load table, and within 0.3 board
// where 12 units and none take turns from cell to cell, which no lane does. It allocates nothing
// and does not validate: a caller that did not make the values itself validates them first.
func (t *Table) Run(ball Ball, release Release) Outcome {
	const end = lane.LengthFt * lane.MetresPerFoot
	k := ball.inertia()
	w := newWalk(newLaunch(ball, release))
	if !(w.vx > 0) {
		w.ended, w.out.Short = true, true
	}
	for i := 0; i < len(t.slabs) && !w.ended && !w.rolling; {
		i = t.slide(&w, k, i)
	}
	if !w.ended && w.x < end {
		w.straight(end - w.x)
	}
	return w.outcome()
}

// endlessSlipMPS is the slip of a friction that does not depend on slip, to a part in ten million.
const endlessSlipMPS = 1e8

// slide takes slabs from the i-th on, one step each, until something happens: the turn, the roll, a
// stop, the gutter or the pins. [walk.glide] takes the slab in which it happens. It returns the
// next slab.
//
// With wane = u_c + u, friction is muG (u_c + 5)/wane, and wane falls with J; under a constant muG
// wane^2 falls evenly in time, so that a step is exact however fast the slip dies. The friction of
// a slab is read one slab ahead, where the bend of the path foretells its middle: still second
// order, and the reading overlaps the arithmetic, which is half the time.
func (t *Table) slide(w *walk, k float64, i int) int {
	next := min(w.rollJ, w.stopJ)
	if !w.turned {
		next = min(next, w.turnJ)
	}
	if !math.IsInf(w.stopJ, 1) {
		next = w.j // a ball that may stop short is too slow for steps along the lane: only glide
	}
	uc := float64(t.slip)
	if uc == 0 {
		uc = endlessSlipMPS
	}
	slipPerJ := (1 + k) / k
	scale, jPerSlip := uc+referenceSlipMPS, 1/slipPerJ
	fall := 2 * slipPerJ * scale
	y, j, elapsed, sx, sy := w.y, w.j, w.t, w.sx, w.sy
	vx0, vy0 := w.vx+sx*j, w.vy+sy*j
	wane, gained, before := uc+slipPerJ*(w.rollJ-j), 0.0, 0.0
	slope, bend := w.vy/w.vx, 0.0
	h := t.slabs[i].length
	muG := t.at(i, y+slope*h/2)
	for {
		ahead, hAhead := muG, h
		if i+1 < len(t.slabs) {
			hAhead = t.slabs[i+1].length
			ahead = t.at(i+1, y+(slope+bend)*(h+hAhead/2))
		}
		perVX := 1 / (vx0 - sx*(j+gained/2))
		waneNext := math.Sqrt(wane*wane - fall*muG*h*perVX)
		before, gained = gained, (wane-waneNext)*jPerSlip
		slopeBefore := slope
		slope = (vy0 - sy*(j+gained/2)) * perVX
		yNext := y + slope*h
		if !(j+gained < next && yNext <= edgeM && yNext >= -edgeM) { // also not a number
			break
		}
		y, j, wane = yNext, j+gained, waneNext
		elapsed += h * perVX
		bend = 1.25 * (slope - slopeBefore)
		i++
		if i == len(t.slabs) {
			w.x = lane.LengthFt * lane.MetresPerFoot
			w.y, w.j, w.t, w.vx, w.vy = y, j, elapsed, vx0-sx*j, vy0-sy*j
			return i
		}
		muG, h = ahead, hAhead
	}
	w.x, w.y, w.j, w.t, w.vx, w.vy = t.slabs[i].from, y, j, elapsed, vx0-sx*j, vy0-sy*j
	if gained > 0 {
		before = gained
	}
	w.glide(h, muG*scale/(wane-slipPerJ*min(before, w.rollJ-j)/2))
	return i + 1
}

// at reads mu g in a slab, y metres from board 20. A place far off the lane, where no step ends,
// reads some friction.
func (t *Table) at(slab int, y float64) float64 {
	across := y*t.perM + t.centre
	node := int(across)
	if uint(node) >= uint(t.nodes-1) {
		node = 0
	}
	pair := t.muG[slab*t.nodes+node:]
	return pair[0] + (across-float64(node))*(pair[1]-pair[0])
}
