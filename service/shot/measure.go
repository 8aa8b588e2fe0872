package shot

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"laneward/service/lane"
)

// Measure is one measured number of a shot: how it is named wherever a shot is read, written, kept
// or shown, and its limits. [Measures] is the one list of them.
type Measure struct {
	Field    string // JSON name; a name inside an object follows a slash
	Column   string // name in a CSV log and in the database
	Label    string // as a table heads it: "Entry angle"
	Unit     string // boards, ft, deg, mph or rpm; empty for a number of something
	Meaning  string
	Typed    []string // words for it on a typed line; none when it is not typed
	Synonyms []string // other names that a CSV log may give the column
	Since    int      // the wire schema that introduced it
	Said     string   // how a sentence says it, with %s for the value; empty for what is not said
	Decimals int      // as fine as it is measured
	Min, Max float64
	above    bool   // the lower limit itself is refused
	hint     string // what to check when a value is outside the limits
	// Value is where a shot keeps it, nil when it was not measured; for a whole number it is Whole,
	// and the other is nil.
	Value func(*Shot) **float64
	Whole func(*Shot) **int
}

// Measures returns every measured number of a shot, in the order in which they are written: first
// those of the delivery, then the standard errors.
func Measures() []Measure { return slices.Clone(measures) }

// Get returns a shot's value, and whether it was measured.
func (m *Measure) Get(s *Shot) (v float64, known bool) {
	if m.Whole != nil {
		if whole := *m.Whole(s); whole != nil {
			return float64(*whole), true
		}
		return 0, false
	}
	if real := *m.Value(s); real != nil {
		return *real, true
	}
	return 0, false
}

// Set sets the value of a shot, or removes it when that is nil. A whole number is given as one.
func (m *Measure) Set(s *Shot, v *float64) {
	switch {
	case m.Whole == nil:
		*m.Value(s) = v
	case v == nil:
		*m.Whole(s) = nil
	default:
		*m.Whole(s) = new(int(*v))
	}
}

// Fits returns an error when a value that was read is not a whole number though the measure is.
func (m *Measure) Fits(v float64) error {
	if m.Whole != nil && (v != math.Trunc(v) || math.Abs(v) > math.MaxInt32) {
		return fmt.Errorf("%s is not a whole number: write %s", number(v), m.limits())
	}
	return nil
}

// CopySince gives a shot those values of another that came after a wire schema.
func CopySince(schema int, into, from *Shot) {
	for i := range measures {
		m := &measures[i]
		switch {
		case m.Since <= schema:
		case m.Whole != nil:
			*m.Whole(into) = *m.Whole(from)
		default:
			*m.Value(into) = *m.Value(from)
		}
	}
	if schema < gutterSince {
		into.Gutter = from.Gutter
	}
}

// gutterSince is the wire schema that introduced a shot's gutter.
const gutterSince = 2

// IsError reports whether the measure is a standard error.
func (m *Measure) IsError() bool { return strings.HasPrefix(m.Field, errorPrefix) }

// Text writes a value with its unit as a person says it: board 10.5, 17 mph.
func (m *Measure) Text(v float64) string {
	if m.Unit == "boards" && !m.IsError() {
		return "board " + number(v)
	}
	return strings.TrimSpace(number(v) + " " + m.Unit)
}

// Said lists what was measured of a shot, each as a sentence says it: "laydown 15.5", "breakpoint 9
// at 42 ft", "17 mph". Standard errors are left out.
func (s *Shot) Said() []string {
	var parts []string
	for i := range measures {
		m := &measures[i]
		v, known := m.Get(s)
		if !known || m.Said == "" {
			continue
		}
		said := fmt.Sprintf(m.Said, number(v))
		if on, joins := joined[m.Field]; joins && *on.board(s) != nil {
			parts[len(parts)-1] += strings.TrimPrefix(said, on.word)
			continue
		}
		parts = append(parts, said)
	}
	if s.Gutter != "" {
		parts = append(parts, string(s.Gutter)+" gutter")
	}
	return parts
}

// Limits of plausible values. They are wide: they are to catch a wrong unit, a slipped column or a
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
	// The arrows lie from about 12 to 16 ft from the foul line (common practice, no source); a
	// system may read the board a little before or behind them.
	minArrowsFt = 10
	maxArrowsFt = 20
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

// joined are the distances that are written with their board: "breakpoint 9 at 42 ft".
var joined = map[string]struct {
	word  string
	board func(*Shot) **float64
}{
	"breakpoint_ft": {"breakpoint", func(s *Shot) **float64 { return &s.BreakpointBoard }},
	"arrows_ft":     {"arrows", func(s *Shot) **float64 { return &s.ArrowsBoard }},
}

var measures = []Measure{
	count("lane", "Lane", "number of the lane", "lane_number", 999, func(s *Shot) **int { return &s.Lane }),
	count("game", "Game", "the game of the block", "game_number", 99, func(s *Shot) **int { return &s.Game }),
	count("frame", "Frame", "the frame of the game", "frame_number", 10, func(s *Shot) **int { return &s.Frame }),
	count("delivery", "Delivery", "the delivery of the frame", "delivery_number", 3,
		func(s *Shot) **int { return &s.Delivery }),
	since(2, board("aim_laydown_board", "Aimed laydown", "board at the foul line that was meant", []string{"aim"},
		func(s *Shot) **float64 { return &s.AimLaydownBoard })),
	since(2, angle("aim_launch_angle_deg", "Aimed angle",
		"launch angle that was meant, positive toward the strong-side gutter", []string{"aimangle"},
		func(s *Shot) **float64 { return &s.AimLaunchAngleDeg })),
	board("laydown_board", "Laydown", "board at the foul line", []string{"laydown", "ld"},
		func(s *Shot) **float64 { return &s.LaydownBoard }),
	board("arrows_board", "Arrows", "board at the arrows", []string{"arrows", "ar"},
		func(s *Shot) **float64 { return &s.ArrowsBoard }),
	since(2, measured(Measure{
		Field: "arrows_ft", Label: "Arrows at", Unit: "ft", Said: "arrows at %s ft",
		Meaning: "distance from the foul line at which the board at the arrows was read; 15 when blank",
		Min:     minArrowsFt, Max: maxArrowsFt, hint: "the arrows lie about 12 to 16 ft from the foul line",
		Typed:    []string{"arrowsat"},
		Synonyms: []string{"arrows_distance_ft"},
		Value:    func(s *Shot) **float64 { return &s.ArrowsFt },
	})),
	board("breakpoint_board", "Breakpoint", "board where the path is outermost", []string{"breakpoint", "bp"},
		func(s *Shot) **float64 { return &s.BreakpointBoard }),
	measured(Measure{
		Field: "breakpoint_ft", Label: "Breakpoint at", Unit: "ft", Said: "breakpoint at %s ft",
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
		Field: "speed_mph", Label: "Speed", Unit: "mph", Said: "%s mph", Meaning: "ball speed at launch",
		Min: minSpeedMPH, Max: maxSpeedMPH, hint: "mph is km/h divided by 1.609, or m/s times 2.237",
		Typed: []string{"speed", "mph"},
		Value: func(s *Shot) **float64 { return &s.SpeedMPH },
	}),
	measured(Measure{
		Field: "rev_rate_rpm", Label: "Rev rate", Unit: "rpm", Said: "%s rpm", Meaning: "rev rate at launch",
		Max: maxRevRateRPM, hint: "count the turns of the ball in one minute",
		Typed: []string{"revs", "rpm"},
		Value: func(s *Shot) **float64 { return &s.RevRateRPM },
	}),
	measured(Measure{
		Field: "rotation_deg", Label: "Rotation", Unit: "deg", Said: "rotation %s deg",
		Meaning: "axis rotation at launch: " + rotationHint,
		Min:     -maxRotationDeg, Max: maxRotationDeg, hint: rotationHint,
		Typed: []string{"rotation"},
		Value: func(s *Shot) **float64 { return &s.RotationDeg },
	}),
	measured(Measure{
		Field: "tilt_deg", Label: "Tilt", Unit: "deg", Said: "tilt %s deg",
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
	m.Column, m.Decimals, m.Since = m.Field, 2, 1
	return m
}

// since marks a measure that a later wire schema introduced.
func since(schema int, m Measure) Measure {
	m.Since = schema
	return m
}

// count is a whole number from 1.
func count(field, label, meaning, synonym string, most float64, value func(*Shot) **int) Measure {
	m := measured(Measure{
		Field: field, Label: label, Said: field + " %s", Meaning: meaning, Min: 1, Max: most,
		hint: "count from 1", Typed: []string{field}, Synonyms: []string{synonym}, Whole: value,
	})
	m.Decimals = 0
	return since(2, m)
}

func board(field, label, meaning string, typed []string, value func(*Shot) **float64) Measure {
	return measured(Measure{
		Field: field, Label: label, Unit: "boards", Said: strings.ToLower(label) + " %s", Meaning: meaning,
		Max: maxBoard, hint: boardHint, Typed: typed, Value: value,
	})
}

func angle(field, label, meaning string, typed []string, value func(*Shot) **float64) Measure {
	return measured(Measure{
		Field: field, Label: label, Unit: "deg", Said: strings.ToLower(label) + " %s deg", Meaning: meaning,
		Min: -maxAngleDeg, Max: maxAngleDeg, hint: angleHint, Typed: typed, Value: value,
	})
}

// standardError limits an error to the width of what it is the error of: a wider one carries no
// information.
func standardError(key, column, label, unit, of string, limit float64, value func(*Shot) **float64) Measure {
	return Measure{
		Field: errorPrefix + key, Column: column, Label: label, Unit: unit, Meaning: "standard error " + of,
		Decimals: 2, Since: 1, Max: limit, above: true, hint: errorHint, Value: value,
	}
}

// limits writes what is accepted, such as "5 to 30 mph".
func (m *Measure) limits() string {
	if m.above {
		return "above " + number(m.Min) + " and up to " + number(m.Max) + " " + m.Unit
	}
	return strings.TrimSpace(number(m.Min) + " to " + number(m.Max) + " " + m.Unit)
}
