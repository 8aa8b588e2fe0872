package drill

import (
	"math"
	"strings"

	"laneward/service/shot"
)

// AssumedErrors returns the standard errors taken for a shot that states none, by what measured it:
// "eye", "video" or "sensor", in any case. Any other source, and none, is taken as the eye, the
// least exact. They include the rounding of a whole-board reading. Common practice, no source: an
// athlete or coach who knows the error states it with the shot.
func AssumedErrors(source string) (boardSE, angleSEDeg, speedSEMPH, revRateSERPM, axisSEDeg float64) {
	switch {
	case strings.EqualFold(source, "sensor"):
		return 0.3, 0.2, 0.2, 10, 3
	case strings.EqualFold(source, "video"):
		return 0.6, 0.5, 0.5, 25, 6
	}
	return 1, 1, 1, 50, 10
}

// StandardError is the error of one reading of a numeric measure: what the shot states, taken as
// the whole error with rounding included, else what is assumed for its source.
func StandardError(m Measure, s *shot.Shot) float64 {
	board, angle, speed, revRate, axis := AssumedErrors(s.Source)
	switch m {
	case Board:
		return statedOr(s.Errors.Board, board)
	case BreakpointDistance:
		// A path is flat about its outermost point: an error of one board is some two feet there.
		return breakpointFtPerBoard * statedOr(s.Errors.Board, board)
	case LaunchAngle, EntryAngle:
		return statedOr(s.Errors.AngleDeg, angle)
	case Speed:
		return statedOr(s.Errors.SpeedMPH, speed)
	case RevRate:
		return statedOr(s.Errors.RevRateRPM, revRate)
	default:
		return statedOr(s.Errors.AxisDeg, axis)
	}
}

// breakpointFtPerBoard is how far, in feet, the breakpoint is misplaced for each board of error.
// Common practice, no source.
const breakpointFtPerBoard = 2

func statedOr(stated *float64, assumed float64) float64 {
	if stated != nil && *stated >= 0 && !math.IsInf(*stated, 1) {
		return *stated
	}
	return assumed
}
