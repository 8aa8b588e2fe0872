package line

import (
	"laneward/service/lane"
	"laneward/service/motion"
)

// Hit says what a shot did at the pins.
type Hit string

// The hits, from the athlete's side. Outside and inside miss the head pin on the strong side and
// beyond it.
const (
	HitPocket    Hit = "pocket"
	HitFlat      Hit = "flat"  // on the pocket's boards at too small an angle
	HitSteep     Hit = "steep" // on the pocket's boards at too large an angle
	HitLight     Hit = "light" // the head pin, outside the pocket
	HitHigh      Hit = "high"  // the head pin, between the pocket and its middle
	HitCrossover Hit = "crossover"
	HitOutside   Hit = "outside"
	HitInside    Hit = "inside"
	HitGutter    Hit = "gutter"
	HitShort     Hit = "short"
)

func (p Pocket) hit(o motion.Outcome) Hit {
	switch {
	case o.Gutter:
		return HitGutter
	case o.Short:
		return HitShort
	case p.holds(o):
		return HitPocket
	case o.PinBoard < lane.CentreBoard-lane.HeadPinReachBoards:
		return HitOutside
	case o.PinBoard > lane.CentreBoard+lane.HeadPinReachBoards:
		return HitInside
	case o.PinBoard < p.BoardLow:
		return HitLight
	case o.PinBoard > max(p.BoardHigh, lane.CentreBoard):
		return HitCrossover
	case o.PinBoard > p.BoardHigh:
		return HitHigh
	case o.EntryAngleDeg < p.AngleLowDeg:
		return HitFlat
	}
	return HitSteep
}
