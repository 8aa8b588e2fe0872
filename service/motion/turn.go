package motion

import (
	"math"
)

// TurnDeg is how much a delivery turns in all, in degrees away from its heading, once it rolls. The
// oil decides where that happens, never how much: the rolled-out velocity follows from the release.
func (b Ball) TurnDeg(release Release) float64 {
	release.LaunchAngleDeg = 0
	l := newLaunch(b, release)
	return math.Atan2(l.vy-l.sy*l.rollJ, l.rolledVX()) * 180 / math.Pi
}
