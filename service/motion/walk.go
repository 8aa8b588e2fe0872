package motion

import (
	"math"

	"laneward/service/lane"
)

const (
	// minForwardMPS is the forward speed under which a ball counts as stopped short.
	minForwardMPS = 0.05
	edgeM         = (lane.MaxBoard - lane.CentreBoard) * lane.BoardWidthM
)

// walk is a ball on its way: the state (x, y, J), the velocity that follows from J, the time, and
// what has happened so far.
type walk struct {
	launch
	x, y, j, t float64 // metres, metres, m/s, seconds
	rolling    bool
	turned     bool
	ended      bool
	edge       float64 // a contact farther than this from board 20 is in the gutter, metres
	out        Outcome
}

func newWalk(l launch) walk {
	w := walk{launch: l, y: l.y0, rolling: l.rollJ == 0, edge: edgeM}
	w.out.Rolls = w.rolling
	if math.Abs(w.y) > w.edge {
		w.ended, w.out.Gutter = true, true
	}
	return w
}

// glide carries the ball h metres down the lane under constant friction muG = mu g (m/s2). That is
// exact: with constant friction the path is a parabola, vx falls by vx^2 - 2 sx muG h, and the
// impulses at which the path turns and the ball rolls are known beforehand. So all error of a path
// comes from holding the friction constant over h.
func (w *walk) glide(h, muG float64) {
	if w.rolling {
		w.straight(h)
		return
	}
	impulse := muG * h
	left := w.vx*w.vx - 2*w.sx*impulse
	gained, vx, length := w.rollJ-w.j, 0.0, h
	if left > minForwardMPS*minForwardMPS {
		vx = math.Sqrt(left)
		gained = 2 * impulse / (w.vx + vx)
	}
	rolls := w.j+gained >= w.rollJ
	if rolls {
		gained = w.rollJ - w.j
		if w.rollJ > w.stopJ {
			w.stop(muG)
			return
		}
		vx = w.vx - w.sx*gained
		length = gained * (w.vx + vx) / 2 / muG
	}
	if !w.turned && w.j+gained >= w.turnJ {
		w.turn(muG)
		if w.ended {
			return
		}
	}
	w.advance(length, vx, w.vy-w.sy*gained)
	w.j += gained
	if rolls && !w.ended {
		w.j, w.rolling = w.rollJ, true
		w.out.Rolls, w.out.RollFt, w.out.RollTimeS = true, w.x/lane.MetresPerFoot, w.t
		w.straight(h - length)
	}
}

// straight carries a ball that no force acts on.
func (w *walk) straight(h float64) { w.advance(h, w.vx, w.vy) }

// advance moves the ball h metres on while its velocity changes evenly in time to (vx, vy), or into
// the gutter on the way.
func (w *walk) advance(h, vx, vy float64) {
	dt := 2 * h / (w.vx + vx)
	dy := (w.vy + vy) / 2 * dt
	if y := w.y + dy; y > w.edge || y < -w.edge {
		w.fall(h, dy, dt)
		return
	}
	w.x += h
	w.y += dy
	w.t += dt
	w.vx, w.vy = vx, vy
}

// fall ends the path where the step (h, dy) crosses the lane's edge, taking the step as straight.
func (w *walk) fall(h, dy, dt float64) {
	share := (math.Copysign(w.edge, dy) - w.y) / dy
	w.x += share * h
	w.y += share * dy
	w.t += share * dt
	w.ended, w.out.Gutter = true, true
}

// turn notes the vertex of the parabola, which lies in the coming step, and sends the ball into the
// gutter there if it lies outside.
func (w *walk) turn(muG float64) {
	gained := w.turnJ - w.j
	vx := w.vx - w.sx*gained
	length := gained * (w.vx + vx) / 2 / muG
	dt := 2 * length / (w.vx + vx)
	y := w.y + w.vy/2*dt
	if y < -w.edge {
		w.fall(length, y-w.y, dt)
		return
	}
	w.turned = true
	w.out.BreakpointBoard, w.out.BreakpointFt = board(y), (w.x+length)/lane.MetresPerFoot
}

// stop ends the path where the forward speed is used up.
func (w *walk) stop(muG float64) {
	gained := w.vx / w.sx
	dt := gained / muG
	w.x += w.vx / 2 * dt
	w.y += (w.vy - w.sy*gained/2) * dt
	w.t += dt
	w.ended, w.out.Short = true, true
}

// outcome closes the path.
func (w *walk) outcome() Outcome {
	if w.ended {
		w.out.EndFt = w.x / lane.MetresPerFoot
	} else {
		w.out.arrive(w.y, w.vx, w.vy, w.t)
	}
	if !w.turned {
		w.out.BreakpointBoard, w.out.BreakpointFt = board(w.y0), 0
		if w.y < w.y0 {
			w.out.BreakpointBoard, w.out.BreakpointFt = board(w.y), w.out.EndFt
		}
	}
	return w.out
}

// station is the ball where it is now.
func (w *walk) station(k float64) Station {
	return Station{
		Ft: w.x / lane.MetresPerFoot, Board: board(w.y), AngleDeg: math.Atan2(w.vy, w.vx) * (180 / math.Pi),
		SpeedMPH: math.Hypot(w.vx, w.vy) / lane.MPSPerMPH, SlipMPS: w.slipAt(w.j, k), TimeS: w.t,
	}
}

// slipAt is the slip once the friction impulse is j, metres a second.
func (w *walk) slipAt(j, k float64) float64 { return max(w.rollJ-j, 0) * (1 + k) / k }
