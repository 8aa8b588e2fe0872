// Package shot holds the record of one delivery as it was logged, and the log formats it arrives
// in.
//
// A log is a file of shots: CSV ([ReadCSV], [WriteCSV]), one JSON object a line ([ReadNDJSON]) or
// one JSON document ([ReadJSON]). The readers yield one [Row] at a time; a row holds a shot that
// passes [Validate], or the faults that kept it out, each with a sentence that says how to fix it.
// [Columns] lists the columns of a CSV log.
package shot

import (
	"strconv"
	"time"

	"github.com/google/uuid"

	"laneward/service/lane"
)

// Shot is one delivery. Every measured value is optional: nil means that it was not measured, and
// nothing is invented for it. Boards are counted as the athlete counts them (1 at their own
// strong-side gutter). JSON names are those of the contract.
type Shot struct {
	ID        uuid.UUID  `json:"id"`
	SessionID uuid.UUID  `json:"session_id"`
	AthleteID uuid.UUID  `json:"athlete_id"`
	BallID    *uuid.UUID `json:"ball_id,omitempty"`
	// DrillID is the drill the shot was thrown for, when the log says so.
	DrillID *uuid.UUID `json:"drill_id,omitempty"`
	// Order is the place in the athlete's session, 1 and up; Time is what the logging device's
	// clock said, and orders nothing.
	Order int       `json:"order"`
	Time  time.Time `json:"time"`

	// Where in the block it was thrown, each counted from 1.
	Lane     *int `json:"lane,omitempty"`
	Game     *int `json:"game,omitempty"`
	Frame    *int `json:"frame,omitempty"`
	Delivery *int `json:"delivery,omitempty"`

	// The intended values, where the log states them.
	AimLaydownBoard   *float64 `json:"aim_laydown_board,omitempty"`
	AimLaunchAngleDeg *float64 `json:"aim_launch_angle_deg,omitempty"`

	LaydownBoard    *float64 `json:"laydown_board,omitempty"`    // at the foul line
	ArrowsBoard     *float64 `json:"arrows_board,omitempty"`     // at ArrowsFt
	ArrowsFt        *float64 `json:"arrows_ft,omitempty"`        // nil: at [lane.ArrowsFt]
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
	// Gutter is the lane's gutter that the ball fell into, as seen from the foul line; "" for none.
	Gutter lane.Side `json:"gutter,omitempty"`
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

// StandardErrors are one standard deviation of the measurement, in the unit of what was measured;
// nil means not stated.
type StandardErrors struct {
	Board      *float64 `json:"board,omitempty"`
	AngleDeg   *float64 `json:"angle_deg,omitempty"` // launch and entry angle
	SpeedMPH   *float64 `json:"speed_mph,omitempty"`
	RevRateRPM *float64 `json:"rev_rate_rpm,omitempty"`
	AxisDeg    *float64 `json:"axis_deg,omitempty"` // rotation and tilt
}

// Canonical returns the shot as it is kept: the time in UTC and cut to the microsecond, and a track
// without points as no track. Two shots that mean the same are equal in this form. The log readers
// yield it.
func (s Shot) Canonical() Shot {
	s.Time = s.Time.UTC().Truncate(time.Microsecond)
	if len(s.Track) == 0 {
		s.Track = nil
	}
	return s
}

// DeriveID returns the id of a shot that was logged without one: the UUID version 5 (RFC 9562,
// section 5.5) of the name "<athlete id>/<order>" in the session's id as the namespace.
//
// The three are the shot's natural key. So a log sent twice names the same shots twice, and a row
// that was corrected and sent again names the shot it corrects: nothing that was measured, nor the
// time, enters the id.
func DeriveID(sessionID, athleteID uuid.UUID, order int) uuid.UUID {
	return uuid.NewSHA1(sessionID, []byte(athleteID.String()+"/"+strconv.Itoa(order)))
}
