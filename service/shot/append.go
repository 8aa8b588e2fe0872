package shot

import (
	"encoding/hex"
	"encoding/json"
	"math"
	"strconv"
	"strings"
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
	b = appendMeasures(b, s, ofShot)
	b = s.appendTrack(b, `,"track":`)
	b = appendText(b, `,"gutter":`, string(s.Gutter))
	b = s.appendStanding(b, `,"standing":`)
	b = appendText(b, `,"source":`, s.Source)
	b = s.appendErrors(b, `,"errors":`)
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

func (s *Shot) appendErrors(b []byte, name string) []byte {
	if s.Errors == (StandardErrors{}) {
		return b
	}
	b = append(b, name...)
	start := len(b)
	b = appendMeasures(b, s, ofErrors)
	b[start] = '{' // in place of the first comma
	return append(b, '}')
}

func appendMeasures(b []byte, s *Shot, list []namedMeasure) []byte {
	for i := range list {
		b = appendMeasure(b, list[i].name, list[i].measure, s)
	}
	return b
}

func appendMeasure(b []byte, name string, m *Measure, s *Shot) []byte {
	if m.Whole == nil {
		return appendNumber(b, name, *m.Value(s))
	}
	if whole := *m.Whole(s); whole != nil {
		b = strconv.AppendInt(append(b, name...), int64(*whole), 10)
	}
	return b
}

// namedMeasure is a measure with the text before its value in an object.
type namedMeasure struct {
	name    string
	measure *Measure
}

// The measures of the shot itself, and those of its errors.
var ofShot, ofErrors = func() (shot, errors []namedMeasure) {
	for i := range measures {
		m := &measures[i]
		if key, isError := strings.CutPrefix(m.Field, errorPrefix); isError {
			errors = append(errors, namedMeasure{`,"` + key + `":`, m})
		} else {
			shot = append(shot, namedMeasure{`,"` + key + `":`, m})
		}
	}
	return shot, errors
}()

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
