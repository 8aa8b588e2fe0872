package shot

import (
	"fmt"
	"slices"
	"strings"

	"laneward/service/lane"
)

// Measure is one measured number of a shot: how it is named wherever a shot is read, written, kept
// or shown, and what is believed of it. [Measures] is the one list of them.
type Measure struct {
	Field    string // JSON name; a name inside an object follows a slash
	Column   string // name in a CSV log and in the database
	Label    string // as a table heads it: "Entry angle"
	Unit     string // boards, ft, deg, mph or rpm
	Meaning  string
	Typed    []string // words for it on a typed line; none when it is not typed
	Decimals int      // as fine as it is measured
	Min, Max float64
	above    bool   // the lower limit itself is refused
	hint     string // what to think of when a value is outside the limits
	said     string // how a sentence says it, with %s for the value
	// Value is where a shot keeps it; nil when it was not measured.
	Value func(*Shot) **float64
}

// Measures returns every measured number of a shot, in the order in which they are written: first
// those of the delivery, then the standard errors.
func Measures() []Measure { return slices.Clone(measures) }

// MeasureOf returns the measure of a JSON name. The name must be in the list: it panics otherwise.
func MeasureOf(field string) Measure {
	return measures[slices.IndexFunc(measures, func(m Measure) bool { return m.Field == field })]
}

// IsError reports whether the measure is a standard error.
func (m *Measure) IsError() bool { return strings.HasPrefix(m.Field, errorPrefix) }

// Text writes a value with its unit as a person says it: board 10.5, 17 mph.
func (m *Measure) Text(v float64) string {
	if m.Unit == "boards" && !m.IsError() {
		return "board " + number(v)
	}
	return number(v) + " " + m.Unit
}

// Said lists what was measured of a shot, each as a sentence says it: "laydown 15.5", "breakpoint 9
// at 42 ft", "17 mph". Standard errors are left out.
func (s *Shot) Said() []string {
	var parts []string
	for i := range measures {
		m := &measures[i]
		v := *m.Value(s)
		if v == nil || m.said == "" {
			continue
		}
		said := fmt.Sprintf(m.said, number(*v))
		if m.Field == "breakpoint_ft" && s.BreakpointBoard != nil {
			parts[len(parts)-1] += strings.TrimPrefix(said, "breakpoint")
			continue
		}
		parts = append(parts, said)
	}
	return parts
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

// errorPrefix begins the JSON names of the standard errors, which are an object of their own.
const errorPrefix = "errors/"

var measures = []Measure{
	board("laydown_board", "Laydown", "board at the foul line", []string{"laydown", "ld"},
		func(s *Shot) **float64 { return &s.LaydownBoard }),
	board("arrows_board", "Arrows", "board at the arrows, 15 ft", []string{"arrows", "ar"},
		func(s *Shot) **float64 { return &s.ArrowsBoard }),
	board("breakpoint_board", "Breakpoint", "board where the path is outermost", []string{"breakpoint", "bp"},
		func(s *Shot) **float64 { return &s.BreakpointBoard }),
	measured(Measure{
		Field: "breakpoint_ft", Label: "Breakpoint at", Unit: "ft", said: "breakpoint at %s ft",
		Meaning: "distance from the foul line where the path is outermost",
		Max:     lane.LengthFt, hint: "the head pin stands 60 ft from the foul line",
		Typed: []string{"at"},
		Value: func(s *Shot) **float64 { return &s.BreakpointFt },
	}),
	board("entry_board", "Entry", "board at the head pin, 60 ft", []string{"entry", "en"},
		func(s *Shot) **float64 { return &s.EntryBoard }),
	angle("entry_angle_deg", "Entry angle",
		"angle at the head pin, positive for a ball that comes in from the strong side", []string{"angle"},
		func(s *Shot) **float64 { return &s.EntryAngleDeg }),
	angle("launch_angle_deg", "Launch angle",
		"angle at the foul line, positive toward the strong-side gutter", []string{"launch"},
		func(s *Shot) **float64 { return &s.LaunchAngleDeg }),
	measured(Measure{
		Field: "speed_mph", Label: "Speed", Unit: "mph", said: "%s mph", Meaning: "ball speed at launch",
		Min: minSpeedMPH, Max: maxSpeedMPH, hint: "mph is km/h divided by 1.609, or m/s times 2.237",
		Typed: []string{"speed", "mph"},
		Value: func(s *Shot) **float64 { return &s.SpeedMPH },
	}),
	measured(Measure{
		Field: "rev_rate_rpm", Label: "Rev rate", Unit: "rpm", said: "%s rpm", Meaning: "rev rate at launch",
		Max: maxRevRateRPM, hint: "count the turns of the ball in one minute",
		Typed: []string{"revs", "rpm"},
		Value: func(s *Shot) **float64 { return &s.RevRateRPM },
	}),
	measured(Measure{
		Field: "rotation_deg", Label: "Rotation", Unit: "deg", said: "rotation %s deg",
		Meaning: "axis rotation at launch: " + rotationHint,
		Min:     -maxRotationDeg, Max: maxRotationDeg, hint: rotationHint,
		Typed: []string{"rotation"},
		Value: func(s *Shot) **float64 { return &s.RotationDeg },
	}),
	measured(Measure{
		Field: "tilt_deg", Label: "Tilt", Unit: "deg", said: "tilt %s deg",
		Meaning: "axis tilt at launch: 0 for an axis that lies level, 90 for one that stands upright",
		Max:     maxTiltDeg, hint: "0 is an axis that lies level, 90 one that stands upright",
		Typed: []string{"tilt"},
		Value: func(s *Shot) **float64 { return &s.TiltDeg },
	}),
	standardError("board", "board_se", "Board error", "boards", "of every board", maxBoard,
		func(s *Shot) **float64 { return &s.Errors.Board }),
	standardError("angle_deg", "angle_se_deg", "Angle error", "deg", "of the launch and the entry angle", maxAngleDeg,
		func(s *Shot) **float64 { return &s.Errors.AngleDeg }),
	standardError("speed_mph", "speed_se_mph", "Speed error", "mph", "of the speed", maxSpeedMPH,
		func(s *Shot) **float64 { return &s.Errors.SpeedMPH }),
	standardError("rev_rate_rpm", "rev_rate_se_rpm", "Rev rate error", "rpm", "of the rev rate", maxRevRateRPM,
		func(s *Shot) **float64 { return &s.Errors.RevRateRPM }),
	standardError("axis_deg", "axis_se_deg", "Axis error", "deg", "of rotation and tilt", maxRotationDeg,
		func(s *Shot) **float64 { return &s.Errors.AxisDeg }),
}

// measured completes a measure of the delivery, whose column is named as its field.
func measured(m Measure) Measure {
	m.Column, m.Decimals = m.Field, 2
	return m
}

func board(field, label, meaning string, typed []string, value func(*Shot) **float64) Measure {
	return measured(Measure{
		Field: field, Label: label, Unit: "boards", said: strings.ToLower(label) + " %s", Meaning: meaning,
		Max: maxBoard, hint: boardHint, Typed: typed, Value: value,
	})
}

func angle(field, label, meaning string, typed []string, value func(*Shot) **float64) Measure {
	return measured(Measure{
		Field: field, Label: label, Unit: "deg", said: strings.ToLower(label) + " %s deg", Meaning: meaning,
		Min: -maxAngleDeg, Max: maxAngleDeg, hint: angleHint, Typed: typed, Value: value,
	})
}

// standardError limits an error to the width of what it is the error of: a wider one says nothing.
func standardError(key, column, label, unit, of string, limit float64, value func(*Shot) **float64) Measure {
	return Measure{
		Field: errorPrefix + key, Column: column, Label: label, Unit: unit, Meaning: "standard error " + of,
		Decimals: 2, Max: limit, above: true, hint: errorHint, Value: value,
	}
}

// limits writes what is accepted, such as "5 to 30 mph".
func (m *Measure) limits() string {
	if m.above {
		return "above " + number(m.Min) + " and up to " + number(m.Max) + " " + m.Unit
	}
	return number(m.Min) + " to " + number(m.Max) + " " + m.Unit
}
