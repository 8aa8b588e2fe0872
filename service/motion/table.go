package motion

import (
	"fmt"

	"laneward/service/lane"
	"laneward/service/oil"
)

// DefaultStepFt is the step of the fast paths; the package's tests print error against step.
const DefaultStepFt = 0.2

const (
	// The film is stored with a margin that repeats its edges, so that reading near them needs no
	// special case.
	marginBoards = 2
	marginRows   = 1
	tableBoards  = lane.Boards + 2*marginBoards
	tableRows    = 64
	// Friction is tabulated to maxFilm q0 of film (beyond, less than a millionth of it is left to
	// change) in filmNodes steps: the straight line between nodes is within 8e-6 of MuDry - MuOil.
	maxFilm   = 16
	filmNodes = 2048
)

// Table is a film under a friction law, prepared for many paths. It takes 40 kB, so it stays in a
// core's fastest cache; it does not change, and may be used by many goroutines at once.
type Table struct {
	film  [tableBoards * tableRows]float64 // [board*tableRows + row], in units of the friction table's steps
	muG   [filmNodes + 2]float64           // mu g, m/s2
	stepM float64
}

// NewTable prepares a film for an athlete of this side, with the default step. The error names a
// friction or film that cannot be.
func NewTable(film *oil.Film, friction Friction, side lane.Side) (*Table, error) {
	if err := friction.Validate(); err != nil {
		return nil, fmt.Errorf("friction: %w", err)
	}
	if err := film.Validate(); err != nil {
		return nil, fmt.Errorf("film: %w", err)
	}
	return newTable(film, friction, side, DefaultStepFt), nil
}

func newTable(film *oil.Film, friction Friction, side lane.Side, stepFt float64) *Table {
	if side == lane.Left {
		film = film.Mirror()
	}
	t := &Table{stepM: stepFt * lane.MetresPerFoot}
	perNode := friction.Q0 * maxFilm / filmNodes
	for b := range tableBoards {
		for row := range tableRows {
			board := min(max(b-marginBoards+1, 1), lane.Boards)
			t.film[b*tableRows+row] = film.Units(board, min(max(row-marginRows, 0), oil.Rows-1)) / perNode
		}
	}
	for i := range t.muG {
		t.muG[i] = friction.Mu(float64(i)*perNode) * lane.StandardGravityMPS
	}
	return t
}

// Run computes what becomes of one delivery, within 0.05 board at the pins of [Trace] on films up
// to hard edges across and along the lane. It allocates nothing and does not validate: a caller
// that did not make the values itself validates them first.
func (t *Table) Run(ball Ball, release Release) Outcome {
	const end = lane.LengthFt * lane.MetresPerFoot
	w := newWalk(newLaunch(ball, release))
	for !w.ended && !w.rolling && w.x < end {
		t.slide(&w, end)
	}
	if !w.ended && w.x < end {
		w.straight(end - w.x)
	}
	return w.outcome()
}

// slide steps evenly in time until something happens: the turn, the roll, a stop, the gutter or the
// pins. [walk.glide] takes the step in which it happens, exactly. Steps in time need neither a root
// nor a division. The friction of a step is read one step ahead, at the step's middle as the
// velocity before it foretells: still second order, and the reading of the next step overlaps the
// arithmetic of this one, which doubles the speed.
func (t *Table) slide(w *walk, end float64) {
	dt := t.stepM / max(w.vx, w.launch.rolledVX())
	ahead := 1.5 * dt
	next := min(w.rollJ, w.stopJ)
	if !w.turned {
		next = min(next, w.turnJ)
	}
	x, y, vx, vy, j := w.x, w.y, w.vx, w.vy, w.j
	halfSX, halfSY := w.sx/2, w.sy/2
	steps := 0
	muG, muGAhead, xNext := 0.0, t.at(x+vx*dt/2, y+vy*dt/2), 0.0
	for {
		muG = muGAhead
		muGAhead = t.at(x+vx*ahead, y+vy*ahead)
		gained := muG * dt
		xNext = x + (vx-halfSX*gained)*dt
		yNext := y + (vy-halfSY*gained)*dt
		if !(xNext < end && j+gained < next && yNext <= edgeM && yNext >= -edgeM) { // also not a number
			break
		}
		x, y, j = xNext, yNext, j+gained
		vx -= w.sx * gained
		vy -= w.sy * gained
		steps++
	}
	w.x, w.y, w.vx, w.vy, w.j = x, y, vx, vy, j
	w.t += float64(steps) * dt
	if j+muG*dt >= w.stopJ {
		w.stop(muG)
		return
	}
	w.glide(min(xNext, end)-x, muG)
}

// at reads mu g at x metres down the lane, y metres from board 20. A place off the lane, where no
// step ends, reads some friction.
func (t *Table) at(x, y float64) float64 {
	across := y*(1/lane.BoardWidthM) + (lane.CentreBoard - 1 + marginBoards)
	along := x*(1/lane.MetresPerFoot) + (marginRows - 0.5)
	board, row := int(across), int(along)
	across -= float64(board)
	along -= float64(row)
	cell := board*tableRows + row
	if uint(cell) >= (tableBoards-1)*tableRows-1 {
		cell = 0
	}
	films := t.film[cell : cell+tableRows+2]
	near := films[0] + along*(films[1]-films[0])
	far := films[tableRows] + along*(films[tableRows+1]-films[tableRows])
	film := near + across*(far-near)
	if film > filmNodes {
		film = filmNodes
	}
	node := uint(film)
	if node > filmNodes {
		node = 0
	}
	return t.muG[node] + (film-float64(node))*(t.muG[node+1]-t.muG[node])
}
