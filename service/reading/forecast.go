package reading

import (
	"math"

	"laneward/service/drill"
)

// strayExact is what a read does not say of the entry board of a ball thrown exactly, one
// deviation. Tried on simulated lanes of another law.
const strayExact = 0.15

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

// ExactlyAll forecasts several aims like [Read.Exactly], in less time.
func (r *Read) ExactlyAll(thrower int, list []Aim, speedMPH float64) []Forecast {
	near, forecasts := r.scene.at(r.Mean, true), make([]Forecast, len(list))
	for i, aim := range list {
		forecasts[i] = r.exactly(near, thrower, aim, speedMPH)
	}
	return forecasts
}

func (r *Read) exactly(near *nearby, thrower int, aim Aim, speedMPH float64) Forecast {
	return r.forecast(near.slope(thrower, r.scene.exact(thrower, aim, speedMPH)), newMatrix(aims), strayExact)
}

// Foretell forecasts what will be measured of a throw from its own aim alone: what was read of it
// near the foul line and where it was planned. It looks at nothing else of the shot.
func (r *Read) Foretell(throw Throw) Forecast {
	near := r.scene.at(r.Mean, true)
	readings := r.scene.aimReadings(throw, errorsOf(throw.Shot.Source))
	weights := make([]float64, len(readings))
	for i := range weights {
		weights[i] = 1
	}
	own, spread := aimOf(readings, weights)
	f := r.forecast(near.slope(throw.Thrower, own), spread, strayEntry)
	board := drill.StandardError(drill.Board, &throw.Shot)
	e := errorsOf(throw.Shot.Source)
	widen := func(se *float64, errors ...float64) {
		for _, one := range errors {
			*se = math.Hypot(*se, one)
		}
	}
	widen(&f.EntrySE, board)
	widen(&f.EntryAngleSE, e.entryAngle*drill.StandardError(drill.EntryAngle, &throw.Shot))
	widen(&f.BreakpointSE, e.breakpoint*board)
	widen(&f.BreakpointFtSE, e.distance*drill.StandardError(drill.BreakpointDistance, &throw.Shot))
	return f
}

// forecast is an arrival with its errors: of the read, of the aim and what neither explains.
func (r *Read) forecast(there slopes, spread matrix, strayBoard float64) Forecast {
	deviation := func(seen int, stray float64) float64 {
		ofState, ofAim := there.ofState[seen], there.ofAim[seen][:]
		return math.Sqrt(r.Covariance.quadratic(ofState, ofState) + spread.quadratic(ofAim, ofAim) + stray*stray)
	}
	return Forecast{
		EntryBoard: there.arrival[seenEntry], EntrySE: deviation(seenEntry, strayBoard),
		EntryAngleDeg: there.arrival[seenEntryAngle], EntryAngleSE: deviation(seenEntryAngle, strayEntryDeg),
		BreakpointBoard: there.arrival[seenBreakpoint], BreakpointSE: deviation(seenBreakpoint, strayBoard),
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
