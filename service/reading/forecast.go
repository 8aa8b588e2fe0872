package reading

import "math"

// strayExact is what a read does not say of the entry board of a ball thrown exactly, one
// deviation. Tried on simulated lanes of another law.
const strayExact = 0.2

// Forecast is where a ball goes.
type Forecast struct {
	EntryBoard      float64 `json:"entry_board"`
	EntrySE         float64 `json:"entry_se_board"`
	EntryAngleDeg   float64 `json:"entry_angle_deg"`
	EntryAngleSE    float64 `json:"entry_angle_se_deg"`
	BreakpointBoard float64 `json:"breakpoint_board"`
	BreakpointSE    float64 `json:"breakpoint_se_board"`
	BreakpointFt    float64 `json:"breakpoint_ft"`
	BreakpointFtSE  float64 `json:"breakpoint_ft_se"`
}

// Exactly forecasts a ball of a thrower that is thrown exactly as aimed, at this speed; 0 is the
// thrower's own.
func (r *Read) Exactly(thrower int, aim Aim, speedMPH float64) Forecast {
	return r.exactly(r.scene.at(r.Mean, true), thrower, aim, speedMPH)
}

func (r *Read) exactly(near *nearby, thrower int, aim Aim, speedMPH float64) Forecast {
	there := near.slope(thrower, r.scene.exact(thrower, aim, speedMPH))
	deviation := func(seen int, stray float64) float64 {
		return math.Sqrt(r.Covariance.quadratic(there.ofState[seen], there.ofState[seen]) + stray*stray)
	}
	return Forecast{
		EntryBoard: there.arrival[seenEntry], EntrySE: deviation(seenEntry, strayExact),
		EntryAngleDeg: there.arrival[seenEntryAngle], EntryAngleSE: deviation(seenEntryAngle, strayEntryDeg),
		BreakpointBoard: there.arrival[seenBreakpoint], BreakpointSE: deviation(seenBreakpoint, strayExact),
		BreakpointFt: there.arrival[seenBreakpointFt], BreakpointFtSE: deviation(seenBreakpointFt, strayBreakpointFt),
	}
}

// exact is an aim that is thrown exactly.
func (s *scene) exact(thrower int, aim Aim, speedMPH float64) [aims]float64 {
	if speedMPH == 0 {
		speedMPH = s.throwers[thrower].Release.SpeedMPH
	}
	return [aims]float64{aimLaydown: aim.LaydownBoard, aimAngle: aim.LaunchAngleDeg, aimSpeed: speedMPH}
}
