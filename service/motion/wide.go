package motion

import (
	"math"

	"laneward/service/lane"
)

// wideStepFt is the step of [Wide]: against [Trace] its paths differ by up to 0.05 board at the
// pins.
const wideStepFt = 0.5

// Wide computes what becomes of one delivery on a lane without gutters: beyond its edges the
// surface goes on as it is there. So a result depends smoothly on the release and the surface,
// also near a gutter, and may be differentiated; it is never Gutter. Its steps are half a foot. It
// allocates nothing to speak of and does not validate: a caller that did not make the values itself
// validates them first. Where friction is not a number or negative, the ball ends short.
func Wide(surface Surface, ball Ball, release Release) Outcome {
	w := newWalk(newLaunch(ball, release))
	w.edge = math.Inf(1)
	w.ended, w.out.Gutter = false, false
	const h, steps = wideStepFt * lane.MetresPerFoot, int(lane.LengthFt / wideStepFt)
	k := ball.inertia()
	for i := range steps {
		if w.ended || w.rolling {
			break
		}
		muG := lane.StandardGravityMPS * surface.mu(board(w.y+w.vy/w.vx*h/2), (float64(i)+0.5)*wideStepFt)
		if !(muG >= 0) {
			w.ended, w.out.Short = true, true
			break
		}
		if surface.slip != 0 {
			middle := w.j + muG*surface.slip.factor(w.slipAt(w.j, k))*h/2/w.vx
			muG *= surface.slip.factor(w.slipAt(middle, k))
		}
		w.glide(h, muG)
	}
	if !w.ended {
		w.straight(lane.LengthFt*lane.MetresPerFoot - w.x)
	}
	return w.outcome()
}
