package motion

import (
	"math"

	"laneward/service/lane"
	"laneward/service/oil"
)

// Outcome is what became of a delivery.
type Outcome struct {
	// Gutter: the contact point left boards 0.5 to 39.5. Short: the ball lost its forward speed on
	// the lane. Either way it never reaches the pins, EndFt is where its path ends, and the values
	// at the pins are 0.
	Gutter bool    `json:"gutter"`
	Short  bool    `json:"short"`
	EndFt  float64 `json:"end_ft"`
	// At the pins: the ball's centre crossing 60 ft.
	PinBoard      float64 `json:"pin_board"`
	EntryAngleDeg float64 `json:"entry_angle_deg"` // positive away from the strong-side gutter
	PinSpeedMPH   float64 `json:"pin_speed_mph"`
	PinTimeS      float64 `json:"pin_time_s"`
	// The breakpoint is where the path is outermost (its smallest board).
	BreakpointBoard float64 `json:"breakpoint_board"`
	BreakpointFt    float64 `json:"breakpoint_ft"`
	// Rolls: slip ended before the path did, at RollFt and RollTimeS (0 otherwise).
	Rolls     bool    `json:"rolls"`
	RollFt    float64 `json:"roll_ft"`
	RollTimeS float64 `json:"roll_time_s"`
}

// Reaches reports whether the ball reached the pins.
func (o Outcome) Reaches() bool { return !o.Gutter && !o.Short }

// Station is the ball at one distance.
type Station struct {
	Ft       float64 `json:"ft"`
	Board    float64 `json:"board"`
	AngleDeg float64 `json:"angle_deg"` // of the path, positive away from the strong-side gutter
	SpeedMPH float64 `json:"speed_mph"`
	SlipMPS  float64 `json:"slip_mps"` // at the contact; 0 once it rolls
	TimeS    float64 `json:"time_s"`
}

// Path is a delivery followed down the lane. Stations end where the path ends.
type Path struct {
	Outcome
	Stations []Station `json:"stations"`
}

// Track is where the ball touched the lane, in the lane's own boards, for [oil.Wear].
func (p Path) Track(side lane.Side) oil.Track {
	track := make(oil.Track, 0, len(p.Stations))
	for _, s := range p.Stations {
		track = append(track, oil.TrackPoint{Ft: s.Ft, X: side.X(s.Board)})
	}
	return track
}

// arrive fills in the values at the pins.
func (o *Outcome) arrive(y, vx, vy, timeS float64) {
	o.EndFt = lane.LengthFt
	o.PinBoard = board(y)
	o.EntryAngleDeg = math.Atan2(vy, vx) * (180 / math.Pi)
	o.PinSpeedMPH = math.Sqrt(vx*vx+vy*vy) / lane.MPSPerMPH
	o.PinTimeS = timeS
}
