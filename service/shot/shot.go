// Package shot holds the record of one delivery as it was logged, and the log formats it arrives in.
package shot

import (
	"time"

	"github.com/google/uuid"

	"laneward/service/lane"
)

// Shot is one delivery. Every measured value is optional: nil means that it was not measured, and nothing is invented for it.
// Boards are counted as the athlete counts them (1 at the own strong-side gutter). JSON names are those of the contract.
type Shot struct {
	ID        uuid.UUID  `json:"id"`
	SessionID uuid.UUID  `json:"session_id"`
	AthleteID uuid.UUID  `json:"athlete_id"`
	BallID    *uuid.UUID `json:"ball_id,omitempty"`
	// DrillID is the drill the shot was thrown for, when the log says so.
	DrillID *uuid.UUID `json:"drill_id,omitempty"`
	// Order is the place in the athlete's session, 1 and up; Time is what the logging device's clock said, and orders nothing.
	Order int       `json:"order"`
	Time  time.Time `json:"time"`

	LaydownBoard    *float64 `json:"laydown_board,omitempty"`    // at the foul line
	ArrowsBoard     *float64 `json:"arrows_board,omitempty"`     // at 15 ft
	BreakpointBoard *float64 `json:"breakpoint_board,omitempty"` // where the path is outermost
	BreakpointFt    *float64 `json:"breakpoint_ft,omitempty"`
	EntryBoard      *float64 `json:"entry_board,omitempty"` // at the head pin, 60 ft
	EntryAngleDeg   *float64 `json:"entry_angle_deg,omitempty"`
	LaunchAngleDeg  *float64 `json:"launch_angle_deg,omitempty"` // positive toward the strong-side gutter
	SpeedMPH        *float64 `json:"speed_mph,omitempty"`        // at launch
	RevRateRPM      *float64 `json:"rev_rate_rpm,omitempty"`
	RotationDeg     *float64 `json:"rotation_deg,omitempty"`
	TiltDeg         *float64 `json:"tilt_deg,omitempty"`

	// Track is the ball's path where it was seen, by rising distance.
	Track []TrackPoint `json:"track,omitempty"`
	// Standing is the pins standing after the first ball: nil not recorded, empty set a strike.
	Standing *lane.PinSet `json:"standing,omitempty"`

	// Source names what measured the shot, such as eye or sensor; Errors are its standard errors.
	Source string         `json:"source,omitempty"`
	Errors StandardErrors `json:"errors,omitzero"`
	Note   string         `json:"note,omitempty"`
}

// TrackPoint is one observed point of the path.
type TrackPoint struct {
	Ft    float64 `json:"ft"`
	Board float64 `json:"board"`
}

// StandardErrors are one standard deviation of the measurement, in the unit of what was measured; nil means not stated.
type StandardErrors struct {
	Board      *float64 `json:"board,omitempty"`
	AngleDeg   *float64 `json:"angle_deg,omitempty"` // launch and entry angle
	SpeedMPH   *float64 `json:"speed_mph,omitempty"`
	RevRateRPM *float64 `json:"rev_rate_rpm,omitempty"`
	AxisDeg    *float64 `json:"axis_deg,omitempty"` // rotation and tilt
}
