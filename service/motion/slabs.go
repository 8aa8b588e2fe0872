package motion

import (
	"math"

	"laneward/service/lane"
	"laneward/service/oil"
)

const (
	// tableMarginBoards outside the lane's edges a step may read, though it never ends there.
	tableMarginBoards = 1
	tableBoards       = lane.Boards + 2*tableMarginBoards
	// Nodes a board: between them friction is taken as straight. A film that falls by steepFilm q0
	// from one board to the next, and friction by steepMu with it, takes the finer ones.
	smoothNodes = 8
	steepNodes  = 32
	steepFilm   = 4.0
	steepMu     = 0.05
	// slabTolerance bounds the error of a slab's friction; the package's tests hold what that makes
	// at the pins.
	slabTolerance = 7e-4
	maxPieces     = 8 // of a foot
)

// grid is the friction at the film's cell centres, from which the table's fineness is chosen.
type grid struct {
	mu    [lane.Boards][oil.Rows]float64
	steep bool
}

func newGrid(film *oil.Film, friction Friction) *grid {
	var g grid
	for b := range g.mu {
		for row := range g.mu[b] {
			q := film.Units(b+1, row)
			g.mu[b][row] = friction.Film(q)
			if b > 0 && math.Abs(q-film.Units(b, row)) > steepFilm*friction.Q0 &&
				math.Abs(g.mu[b][row]-g.mu[b-1][row]) > steepMu {
				g.steep = true
			}
		}
	}
	return &g
}

func (g *grid) nodesPerBoard() int {
	if g.steep {
		return steepNodes
	}
	return smoothNodes
}

// endsFt cuts the lane into slabs: two feet long where friction is low and even, shorter where it
// is not, at least an eighth of a foot. It returns the rising ends, the last 60.
func (g *grid) endsFt() []float64 {
	var ends []float64
	for foot := 0; foot < oil.Rows; foot += 2 {
		rough := [2]float64{g.roughness(foot), g.roughness(foot + 1)}
		if 4*max(rough[0], rough[1]) < slabTolerance {
			ends = append(ends, float64(foot+2))
			continue
		}
		for i, roughness := range rough {
			pieces := 1
			for pieces < maxPieces && roughness > slabTolerance*float64(pieces*pieces) {
				pieces *= 2
			}
			for piece := 1; piece <= pieces; piece++ {
				ends = append(ends, float64(foot+i)+float64(piece)/float64(pieces))
			}
		}
	}
	return ends
}

// roughness is the largest error in friction of a slab as long as this foot, which goes with the
// square of the length. A path that crosses crossBoards a foot reads the slab's mean friction at
// its middle: that leaves the curvature across the boards and the twist. How friction spreads along
// a slab, and how fast the ball turns in it, count for little.
func (g *grid) roughness(foot int) float64 {
	const (
		crossBoards = 0.7
		ofTwist     = crossBoards / 12
		ofCurvature = crossBoards * crossBoards / 24
		ofSlope     = 1.0 / 240
		ofFriction  = 3e-3
	)
	worst := 0.0
	for row := max(foot-1, 0); row <= min(foot, oil.Rows-2); row++ {
		for b := range lane.Boards - 1 {
			here, on := g.mu[b][row], g.mu[b][row+1]
			twist := math.Abs(on - here - g.mu[b+1][row+1] + g.mu[b+1][row])
			curvature := 0.0
			if b > 0 {
				curvature = math.Abs(g.mu[b-1][row] - 2*here + g.mu[b+1][row])
			}
			worst = max(worst, ofTwist*twist+ofCurvature*curvature+ofSlope*math.Abs(on-here)+ofFriction*here)
		}
	}
	return worst
}

// newTable makes a table whose slabs end at endsFt, rising to 60 ft, for a film as the athlete
// meets it.
func newTable(film *oil.Film, friction Friction, endsFt []float64, nodesPerBoard int) *Table {
	nodes := tableBoards*nodesPerBoard + 1
	t := &Table{
		slabs:  make([]slab, len(endsFt)),
		muG:    make([]float64, len(endsFt)*nodes),
		nodes:  nodes,
		perM:   float64(nodesPerBoard) / lane.BoardWidthM,
		centre: float64(nodes-1) / 2,
		slip:   friction.SlipMPS,
	}
	near, far := newCrossing(nodesPerBoard), newCrossing(nodesPerBoard)
	near.cut(film, friction, 0)
	from := 0.0
	for i, end := range endsFt {
		t.slabs[i] = slab{from: from * lane.MetresPerFoot, length: (end - from) * lane.MetresPerFoot}
		muG := t.muG[i*nodes : (i+1)*nodes]
		for at := from; at < end; {
			// The film is straight along the lane between half feet.
			next := min(math.Floor(at+0.5)+0.5, end)
			far.cut(film, friction, next)
			friction.addMean(muG, near, far, (next-at)/(end-from))
			near, far, at = far, near, next
		}
		for node, reach := range muG {
			muG[node] = lane.StandardGravityMPS * (friction.MuOil + (friction.MuDry-friction.MuOil)*reach)
		}
		from = end
	}
	return t
}

// crossing is the film along a line across the lane, in oil units, and its two exponentials, at
// each node.
type crossing struct {
	perBoard          int
	film, thin, thick []float64
}

func newCrossing(perBoard int) *crossing {
	nodes := tableBoards*perBoard + 1
	return &crossing{perBoard, make([]float64, nodes), make([]float64, nodes), make([]float64, nodes)}
}

// cut reads the film ft feet down the lane.
func (c *crossing) cut(film *oil.Film, friction Friction, ft float64) {
	first := tableMarginBoards*c.perBoard + c.perBoard/2 // the node on board 1
	last := first + (lane.Boards-1)*c.perBoard
	far := film.UnitsAt(1, ft)
	for board := 1; board < lane.Boards; board++ {
		near := far
		far = film.UnitsAt(float64(board+1), ft)
		from := first + (board-1)*c.perBoard
		to := from + c.perBoard + 1
		for i := range c.film[from:to] {
			c.film[from+i] = near + (far-near)*float64(i)/float64(c.perBoard)
		}
		fade(c.thin[from:to], near/friction.Q0, far/friction.Q0)
		if friction.ShareThick != 0 {
			fade(c.thick[from:to], near/friction.QThick, far/friction.QThick)
		}
	}
	for node := range c.film {
		onLane := min(max(node, first), last)
		c.film[node], c.thin[node], c.thick[node] = c.film[onLane], c.thin[onLane], c.thick[onLane]
	}
}

// fade fills in exp(-z) at even steps of z from near to far. From the thinner end on it is a
// falling geometric series, which needs two exponentials and never overflows.
func fade(out []float64, near, far float64) {
	last := len(out) - 1
	value, ratio := math.Exp(-min(near, far)), math.Exp(-math.Abs(far-near)/float64(last))
	for i := range out {
		if near <= far {
			out[i] = value
		} else {
			out[last-i] = value
		}
		value *= ratio
	}
}

// addMean adds the share of what friction's two exponentials are in the mean between two crossings
// between which the film is straight.
func (f Friction) addMean(sum []float64, near, far *crossing, share float64) {
	thin, thick := share*(1-f.ShareThick), share*f.ShareThick
	for node := range sum {
		more := far.film[node] - near.film[node]
		sum[node] += thin * meanExp(near.thin[node], far.thin[node], more/f.Q0)
		if thick != 0 {
			sum[node] += thick * meanExp(near.thick[node], far.thick[node], more/f.QThick)
		}
	}
}

// meanExp is the mean of exp(-z) from z to z + dz, given its values there.
func meanExp(near, far, dz float64) float64 {
	if math.Abs(dz) < 0.01 { // the middle is within 1e-5 of it
		return (near + far) / 2
	}
	return (near - far) / dz
}
