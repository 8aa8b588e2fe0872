package shot

import "laneward/service/lane"

// measure is one measured number of a shot: where it stands, how it is named in the log formats,
// and what is believed of it.
type measure struct {
	column  string // name in a CSV log
	field   string // JSON name; a name inside an object follows a slash
	unit    string
	meaning string
	min     float64
	max     float64
	above   bool   // the lower limit itself is refused
	hint    string // what to think of when a value is outside the limits
	value   func(*Shot) **float64
}

// Limits of what is believed. They are wide: they are to catch a wrong unit, a slipped column or a
// slipped key, not a rare delivery.
const (
	// maxBoard is the strip beyond board 39, where a ball that is off the lane rolls; 0 is the one
	// on the other side. A reading outside lane.MinBoard to lane.MaxBoard is a gutter ball and is
	// kept as one.
	maxBoard = lane.Boards + 1
	// maxAngleDeg is 4 boards a foot, some three times the sharpest entry a coach will see (common
	// practice, no source).
	maxAngleDeg = 20
	// minSpeedMPH lies under the 6.5 mph of a ball let roll down a ramp 0.6 m high, sqrt(10/7 g h).
	minSpeedMPH = 5
	// maxSpeedMPH is a lane in 1.4 s. An ordinary speed logged in km/h, 26 to 32, is mostly above
	// it.
	maxSpeedMPH = 30
	// maxRevRateRPM is where a ball of 8.5 in rolls without sliding at 20 mph (791 rpm): no release
	// turns it faster.
	maxRevRateRPM = 800
	// maxRotationDeg is every direction: 0 end over end, 90 across the lane, negative for a ball
	// that backs up.
	maxRotationDeg = 180
	// maxTiltDeg is a ball that spins like a top.
	maxTiltDeg = 90
)

const (
	boardHint    = "the lane has boards 1 to 39, and 0 or 40 stands for a gutter"
	angleHint    = "write degrees from straight down the lane"
	errorHint    = "it is one standard deviation in the unit of what was measured; leave it out when it is not known"
	rotationHint = "0 is end over end, 90 across the lane, negative for a ball that backs up"
)

// measures lists every measured number of a shot, in the order in which they are written.
var measures = []measure{
	board("laydown_board", "board at the foul line", func(s *Shot) **float64 { return &s.LaydownBoard }),
	board("arrows_board", "board at the arrows, 15 ft", func(s *Shot) **float64 { return &s.ArrowsBoard }),
	board(
		"breakpoint_board",
		"board where the path is outermost",
		func(s *Shot) **float64 { return &s.BreakpointBoard },
	),
	{
		column:  "breakpoint_ft",
		field:   "breakpoint_ft",
		unit:    "ft",
		meaning: "distance from the foul line where the path is outermost",
		max:     lane.LengthFt,
		hint:    "the head pin stands 60 ft from the foul line",
		value:   func(s *Shot) **float64 { return &s.BreakpointFt },
	},
	board("entry_board", "board at the head pin, 60 ft", func(s *Shot) **float64 { return &s.EntryBoard }),
	angle("entry_angle_deg", "angle at the head pin, positive for a ball that comes in from the strong side",
		func(s *Shot) **float64 { return &s.EntryAngleDeg }),
	angle("launch_angle_deg", "angle at the foul line, positive toward the strong-side gutter",
		func(s *Shot) **float64 { return &s.LaunchAngleDeg }),
	{
		column: "speed_mph", field: "speed_mph", unit: "mph", meaning: "ball speed at launch",
		min: minSpeedMPH, max: maxSpeedMPH, hint: "mph is km/h divided by 1.609, or m/s times 2.237",
		value: func(s *Shot) **float64 { return &s.SpeedMPH },
	},
	{
		column: "rev_rate_rpm", field: "rev_rate_rpm", unit: "rpm", meaning: "rev rate at launch",
		max: maxRevRateRPM, hint: "count the turns of the ball in one minute",
		value: func(s *Shot) **float64 { return &s.RevRateRPM },
	},
	{
		column: "rotation_deg", field: "rotation_deg", unit: "deg", meaning: "axis rotation at launch: " + rotationHint,
		min: -maxRotationDeg, max: maxRotationDeg, hint: rotationHint,
		value: func(s *Shot) **float64 { return &s.RotationDeg },
	},
	{
		column:  "tilt_deg",
		field:   "tilt_deg",
		unit:    "deg",
		meaning: "axis tilt at launch: 0 for an axis that lies level, 90 for one that stands upright",
		max:     maxTiltDeg,
		hint:    "0 is an axis that lies level, 90 one that stands upright",
		value:   func(s *Shot) **float64 { return &s.TiltDeg },
	},
	standardError("board_se", "errors/board", "boards", "of every board", maxBoard,
		func(s *Shot) **float64 { return &s.Errors.Board }),
	standardError("angle_se_deg", "errors/angle_deg", "deg", "of the launch and the entry angle", maxAngleDeg,
		func(s *Shot) **float64 { return &s.Errors.AngleDeg }),
	standardError("speed_se_mph", "errors/speed_mph", "mph", "of the speed", maxSpeedMPH,
		func(s *Shot) **float64 { return &s.Errors.SpeedMPH }),
	standardError("rev_rate_se_rpm", "errors/rev_rate_rpm", "rpm", "of the rev rate", maxRevRateRPM,
		func(s *Shot) **float64 { return &s.Errors.RevRateRPM }),
	standardError("axis_se_deg", "errors/axis_deg", "deg", "of rotation and tilt", maxRotationDeg,
		func(s *Shot) **float64 { return &s.Errors.AxisDeg }),
}

func board(name, meaning string, value func(*Shot) **float64) measure {
	return measure{
		column:  name,
		field:   name,
		unit:    "boards",
		meaning: meaning,
		max:     maxBoard,
		hint:    boardHint,
		value:   value,
	}
}

func angle(name, meaning string, value func(*Shot) **float64) measure {
	return measure{
		column: name, field: name, unit: "deg", meaning: meaning,
		min: -maxAngleDeg, max: maxAngleDeg, hint: angleHint, value: value,
	}
}

// standardError limits an error to the width of what it is the error of: a wider one says nothing.
func standardError(column, field, unit, of string, limit float64, value func(*Shot) **float64) measure {
	return measure{
		column: column, field: field, unit: unit, meaning: "standard error " + of,
		max: limit, above: true, hint: errorHint, value: value,
	}
}

// limits writes what is accepted, such as "5 to 30 mph".
func (m *measure) limits() string {
	if m.above {
		return "above " + number(m.min) + " and up to " + number(m.max) + " " + m.unit
	}
	return number(m.min) + " to " + number(m.max) + " " + m.unit
}
