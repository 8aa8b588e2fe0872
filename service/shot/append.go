package shot

import (
	"encoding/hex"
	"encoding/json"
	"math"
	"strconv"
	"time"

	"github.com/google/uuid"
)

// AppendJSON appends the shot's JSON object to b without its closing brace, byte for byte as
// encoding/json writes the struct, so that more members may follow. It is several times faster, and
// shots are written by the hundred thousand.
func (s *Shot) AppendJSON(b []byte) []byte {
	b = appendID(append(b, `{"id":`...), s.ID)
	b = appendID(append(b, `,"session_id":`...), s.SessionID)
	b = appendID(append(b, `,"athlete_id":`...), s.AthleteID)
	if s.BallID != nil {
		b = appendID(append(b, `,"ball_id":`...), *s.BallID)
	}
	if s.DrillID != nil {
		b = appendID(append(b, `,"drill_id":`...), *s.DrillID)
	}
	b = strconv.AppendInt(append(b, `,"order":`...), int64(s.Order), 10)
	b = append(b, `,"time":"`...)
	b = s.Time.AppendFormat(b, time.RFC3339Nano)
	b = append(b, '"')
	b = appendNumber(b, `,"laydown_board":`, s.LaydownBoard)
	b = appendNumber(b, `,"arrows_board":`, s.ArrowsBoard)
	b = appendNumber(b, `,"breakpoint_board":`, s.BreakpointBoard)
	b = appendNumber(b, `,"breakpoint_ft":`, s.BreakpointFt)
	b = appendNumber(b, `,"entry_board":`, s.EntryBoard)
	b = appendNumber(b, `,"entry_angle_deg":`, s.EntryAngleDeg)
	b = appendNumber(b, `,"launch_angle_deg":`, s.LaunchAngleDeg)
	b = appendNumber(b, `,"speed_mph":`, s.SpeedMPH)
	b = appendNumber(b, `,"rev_rate_rpm":`, s.RevRateRPM)
	b = appendNumber(b, `,"rotation_deg":`, s.RotationDeg)
	b = appendNumber(b, `,"tilt_deg":`, s.TiltDeg)
	b = s.appendTrack(b, `,"track":`)
	b = s.appendStanding(b, `,"standing":`)
	b = appendText(b, `,"source":`, s.Source)
	b = s.Errors.append(b, `,"errors":`)
	return appendText(b, `,"note":`, s.Note)
}

func (s *Shot) appendTrack(b []byte, name string) []byte {
	if len(s.Track) == 0 {
		return b
	}
	b = append(append(b, name...), '[')
	for i := range s.Track {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendNumber(b, `{"ft":`, &s.Track[i].Ft)
		b = append(appendNumber(b, `,"board":`, &s.Track[i].Board), '}')
	}
	return append(b, ']')
}

func (s *Shot) appendStanding(b []byte, name string) []byte {
	if s.Standing == nil {
		return b
	}
	b = append(append(b, name...), '[')
	first := true
	for n := 1; n <= 10; n++ {
		if !s.Standing.Has(n) {
			continue
		}
		if !first {
			b = append(b, ',')
		}
		first = false
		b = strconv.AppendInt(b, int64(n), 10)
	}
	return append(b, ']')
}

func (e StandardErrors) append(b []byte, name string) []byte {
	if e == (StandardErrors{}) {
		return b
	}
	b = append(b, name...)
	start := len(b)
	b = appendNumber(b, `,"board":`, e.Board)
	b = appendNumber(b, `,"angle_deg":`, e.AngleDeg)
	b = appendNumber(b, `,"speed_mph":`, e.SpeedMPH)
	b = appendNumber(b, `,"rev_rate_rpm":`, e.RevRateRPM)
	b = appendNumber(b, `,"axis_deg":`, e.AxisDeg)
	b[start] = '{' // in place of the first comma
	return append(b, '}')
}

func appendID(b []byte, id uuid.UUID) []byte {
	var text [38]byte
	text[0], text[37] = '"', '"'
	hex.Encode(text[1:9], id[:4])
	hex.Encode(text[10:14], id[4:6])
	hex.Encode(text[15:19], id[6:8])
	hex.Encode(text[20:24], id[8:10])
	hex.Encode(text[25:37], id[10:])
	text[9], text[14], text[19], text[24] = '-', '-', '-', '-'
	return append(b, text[:]...)
}

// appendNumber writes a number as encoding/json does: plain where that is short, else with an
// exponent. A shot that was checked holds nothing that JSON cannot.
func appendNumber(b []byte, name string, value *float64) []byte {
	if value == nil {
		return b
	}
	b = append(b, name...)
	if size := math.Abs(*value); size == 0 || size >= 1e-6 && size < 1e21 {
		return strconv.AppendFloat(b, *value, 'f', -1, 64)
	}
	return appendMarshalled(b, *value)
}

func appendText(b []byte, name, text string) []byte {
	if text == "" {
		return b
	}
	b = append(b, name...)
	for i := range len(text) {
		if c := text[i]; c < ' ' || c > '~' || c == '"' || c == '\\' || c == '<' || c == '>' || c == '&' {
			return appendMarshalled(b, text)
		}
	}
	b = append(b, '"')
	b = append(b, text...)
	return append(b, '"')
}

func appendMarshalled(b []byte, value any) []byte {
	data, err := json.Marshal(value)
	if err != nil {
		panic("shot: a checked value cannot be written: " + err.Error())
	}
	return append(b, data...)
}
