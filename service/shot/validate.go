package shot

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	"laneward/service/lane"
)

// Fault is one thing that is wrong with a shot or with a row of a log.
type Fault struct {
	// Field is where: the JSON name, with the way inside an array or object after slashes, such as
	// "speed_mph", "errors/board" or "track/2/ft" (a slash before it makes it a JSON pointer into
	// the shot). In a row of a CSV log it is the name of the column. Empty: the row as a whole.
	Field string `json:"field"`
	// Code is one of the Code constants.
	Code Code `json:"code"`
	// Detail is a sentence that says what is wrong and how to fix it. It does not repeat the
	// field.
	Detail string `json:"detail"`
}

// Error writes the field and the detail.
func (f Fault) Error() string {
	if f.Field == "" {
		return f.Detail
	}
	return f.Field + ": " + f.Detail
}

// Code is the stable name of a kind of fault.
type Code string

// Kinds of fault of a shot or a row.
const (
	CodeRequired  Code = "required"   // is missing
	CodeRange     Code = "range"      // is outside the plausible range
	CodeFormat    Code = "format"     // cannot be read
	CodeLength    Code = "length"     // is too long
	CodeNotRising Code = "not_rising" // a track point does not lie beyond the one before
	CodeUnknown   Code = "unknown"    // is a name that nothing has
	CodeRepeated  Code = "repeated"   // occurred before: a key in the row, or a shot in the log
	CodeMismatch  Code = "mismatch"   // belongs to another session than the log
)

// Limits of values without a unit.
const (
	MaxOrder       = 100_000 // shots of one athlete in one session
	MaxTrackPoints = 200     // more than three a foot
	MaxSource      = 100     // characters
	MaxNote        = 4_000   // characters
	// The years a device's clock may state. A clock that lost its time mostly falls back to 1970;
	// the shot is kept.
	minYear, maxYear = 1970, 2199
)

// Validate returns every fault of the shot, in the order of its fields; none means that it may be
// stored. Limits: boards 0 to 40, outside 0.5 to 39.5 being the gutter; distances 0 to 60 ft;
// launch and entry angle -20 to 20 deg; speed 5 to 30 mph; rev rate 0 to 800 rpm; rotation -180 to
// 180 deg; tilt 0 to 90 deg; standard errors above 0. [Columns] has them as text. It does not check
// that session, athlete and ball exist.
func Validate(s Shot) []Fault { return validate(&s) }

func validate(s *Shot) []Fault {
	var faults []Fault
	add := func(field string, code Code, detail string) {
		faults = append(faults, Fault{Field: field, Code: code, Detail: detail})
	}
	validateReferences(s, add)
	switch {
	case s.Order == 0:
		add("order", CodeRequired, "the shot has no place in the session: number the athlete's shots 1, 2, 3 and so on")
	case s.Order < 0 || s.Order > MaxOrder:
		add(
			"order",
			CodeRange,
			fmt.Sprintf(
				"%d is outside the limits, 1 to %d: number the athlete's shots 1, 2, 3 and so on",
				s.Order,
				MaxOrder,
			),
		)
	}
	switch year := s.Time.UTC().Year(); {
	case s.Time.IsZero():
		add("time", CodeRequired, "the shot has no time: write when it was bowled, such as "+timeExample)
	case year < minYear || year > maxYear:
		add(
			"time",
			CodeRange,
			fmt.Sprintf(
				"the year %d is outside the limits, %d to %d: check the clock of the device",
				year,
				minYear,
				maxYear,
			),
		)
	}
	for i := range measures {
		m := &measures[i]
		if v, known := m.Get(s); known {
			if detail := m.check(v); detail != "" {
				add(m.Field, CodeRange, detail)
			}
		}
	}
	validateTrack(s.Track, add)
	if s.Gutter != "" && s.Gutter != lane.Right && s.Gutter != lane.Left {
		add("gutter", CodeFormat, quoted(string(s.Gutter))+" is not a gutter: write right or left")
	}
	if s.Standing != nil && *s.Standing&^lane.FullRack != 0 {
		add("standing", CodeRange, "pins are numbered 1 to 10: name the pins that stand")
	}
	if code, detail := checkText(s.Source, MaxSource, false); detail != "" {
		add("source", code, detail)
	}
	if code, detail := checkText(s.Note, MaxNote, true); detail != "" {
		add("note", code, detail)
	}
	return faults
}

// check returns what is wrong with a value, or nothing.
func (m *Measure) check(v float64) string {
	if v >= m.Min && v <= m.Max && (v > m.Min || !m.above) {
		return ""
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return number(v) + " is not a number that can be measured: leave it out when it was not measured"
	}
	return number(v) + " is outside the limits, " + m.limits() + ": " + m.hint
}

// validateReferences says which of the ids that a shot needs are missing, and which mean nothing.
func validateReferences(s *Shot, add func(field string, code Code, detail string)) {
	if s.ID == uuid.Nil {
		add("id", CodeRequired, "the shot has no id: give it a UUID")
	}
	if s.SessionID == uuid.Nil {
		add("session_id", CodeRequired, "the shot names no session: write the session's id")
	}
	if s.AthleteID == uuid.Nil {
		add("athlete_id", CodeRequired, "the shot names no athlete: write who bowled it")
	}
	if s.BallID != nil && *s.BallID == uuid.Nil {
		add("ball_id", CodeFormat, "the nil UUID names no ball: leave it out when the ball is not known")
	}
	if s.DrillID != nil && *s.DrillID == uuid.Nil {
		add("drill_id", CodeFormat, "the nil UUID names no drill: leave it out when the shot was thrown for none")
	}
}

func validateTrack(track []TrackPoint, add func(field string, code Code, detail string)) {
	if len(track) > MaxTrackPoints {
		add(
			"track",
			CodeLength,
			fmt.Sprintf("%d points are more than %d: keep fewer points of the path", len(track), MaxTrackPoints),
		)
		return
	}
	for i, p := range track {
		field := "track/" + strconv.Itoa(i)
		if !(p.Ft >= 0 && p.Ft <= lane.LengthFt) {
			add(
				field+"/ft",
				CodeRange,
				fmt.Sprintf(
					"point %d: %s is outside the limits, 0 to 60 ft: the head pin stands 60 ft from the foul line",
					i+1,
					number(p.Ft),
				),
			)
		}
		if !(p.Board >= 0 && p.Board <= maxBoard) {
			add(
				field+"/board",
				CodeRange,
				fmt.Sprintf(
					"point %d: %s is outside the limits, 0 to %d boards: %s",
					i+1,
					number(p.Board),
					maxBoard,
					boardHint,
				),
			)
		}
		if i > 0 && p.Ft <= track[i-1].Ft {
			add(
				field+"/ft",
				CodeNotRising,
				fmt.Sprintf(
					"point %d: %s ft does not lie beyond the %s ft before it: list the points by rising distance",
					i+1,
					number(p.Ft),
					number(track[i-1].Ft),
				),
			)
		}
	}
}

// checkText returns what is wrong with a text, or nothing. A text of several lines may also hold
// line feeds and tabs, and may begin and end with spaces.
func checkText(text string, maxCharacters int, lines bool) (Code, string) {
	if !utf8.ValidString(text) {
		return CodeFormat, "the text is not UTF-8: save it as UTF-8"
	}
	if n := utf8.RuneCountInString(text); n > maxCharacters {
		return CodeLength, fmt.Sprintf("%d characters are more than %d: shorten it", n, maxCharacters)
	}
	for _, r := range text {
		switch {
		case !unicode.IsControl(r) || (lines && (r == '\n' || r == '\t')):
		case lines && r == '\r':
			return CodeFormat, "a line ends with a carriage return: end lines with a line feed (U+000A) alone"
		default:
			return CodeFormat, fmt.Sprintf("it holds the control character %U: take it out", r)
		}
	}
	if !lines && strings.TrimSpace(text) != text {
		return CodeFormat, "it begins or ends with a blank: take the blank away"
	}
	return "", ""
}

// number writes a value as short as it can be read back.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
