package shot

import (
	"fmt"
	"math/bits"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"

	"laneward/service/lane"
)

// shotKeys are the keys of a shot in the order of its fields, and what reads the value of each. A
// key's place is its bit in the set of those seen.
var shotKeys = func() []member {
	keys := []member{
		{"id", "id", idMember(func(s *Shot, id uuid.UUID) { s.ID = id })},
		{"session_id", "session_id", idMember(func(s *Shot, id uuid.UUID) { s.SessionID = id })},
		{"athlete_id", "athlete_id", idMember(func(s *Shot, id uuid.UUID) { s.AthleteID = id })},
		{"ball_id", "ball_id", idMember(func(s *Shot, id uuid.UUID) { s.BallID = &id })},
		{"drill_id", "drill_id", idMember(func(s *Shot, id uuid.UUID) { s.DrillID = &id })},
		{"order", "order", readOrder},
		{"time", "time", readTime},
	}
	keys = append(keys, measureMembers("")...)
	return append(
		keys,
		member{"track", "track", readTrack},
		member{"gutter", "gutter", textMember(func(s *Shot, text string) { s.Gutter = lane.Side(text) })},
		member{"standing", "standing", readStanding},
		member{"source", "source", textMember(func(s *Shot, text string) { s.Source = text })},
		member{"errors", "errors", readErrors},
		member{"note", "note", textMember(func(s *Shot, text string) { s.Note = text })},
		member{
			"rev",
			"rev",
			func(*intake, *Row, string, []byte) {},
		}, // set by the server: a shot read from it may be sent back unchanged
	)
}()

// errorKeys are the keys of a shot's errors.
var errorKeys = measureMembers(errorPrefix)

// pointKeys are the keys of a track point.
var pointKeys = []string{"ft", "board"}

// member is one key of an object; field is the key with the way to it. read is not called for null.
type member struct {
	key, field string
	read       func(in *intake, row *Row, field string, value []byte)
}

// measureMembers returns a member for each measured value whose field is a key behind the prefix.
func measureMembers(prefix string) []member {
	var members []member
	for i, m := range measures {
		key, ok := strings.CutPrefix(m.Field, prefix)
		if !ok || strings.Contains(key, "/") {
			continue
		}
		members = append(members, member{key, m.Field, func(in *intake, row *Row, field string, value []byte) {
			v, err := jsonNumber(value)
			if err == nil {
				err = m.Fits(v)
			}
			if in.accept(row, field, err) {
				in.measured(row, i, v)
			}
		}})
	}
	return members
}

// readShot fills the row from one JSON value.
func (in *intake) readShot(row *Row, value []byte) {
	switch {
	case value[0] != '{':
		row.fault("", CodeFormat, "the shot is "+kindOf(value)+": write it as a JSON object")
		return
	case !utf8.Valid(value):
		row.fault("", CodeFormat, "the shot is not UTF-8: save the log in UTF-8")
		return
	}
	in.readMembers(row, "", value, shotKeys)
	in.finish(row)
}

// readMembers reads the members of an object by their keys. An unknown key is a fault of the
// object, whose field is parent.
func (in *intake) readMembers(row *Row, parent string, object []byte, members []member) {
	var seen uint64
	next := 0 // keys mostly come in the order in which they are listed
	eachMember(object, func(key []byte, value []byte) {
		place := findKey(members, key, next)
		if place < 0 {
			row.fault(parent, CodeUnknown, unknownKey(key, memberKeys(members)))
			return
		}
		next = place + 1
		m := members[place]
		if seen&(1<<place) != 0 {
			row.fault(m.field, CodeRepeated, "this key is there twice: keep one")
			return
		}
		seen |= 1 << place
		if value[0] != 'n' {
			m.read(in, row, m.field, value)
		}
	})
}

func unknownKey(key []byte, known []string) string {
	return "key " + quoted(string(key)) + " is unknown: " + didYouMean(string(key), known)
}

func findKey(members []member, key []byte, first int) int {
	for i := range members {
		place := (first + i) % len(members)
		if members[place].key == string(key) {
			return place
		}
	}
	return -1
}

func memberKeys(members []member) []string {
	keys := make([]string, len(members))
	for i, m := range members {
		keys[i] = m.key
	}
	return keys
}

func idMember(set func(*Shot, uuid.UUID)) func(*intake, *Row, string, []byte) {
	return func(in *intake, row *Row, field string, value []byte) {
		text, err := jsonText(value)
		if err == nil {
			var id uuid.UUID
			if id, err = parseID(text); err == nil {
				set(&row.Shot, id)
			}
		}
		in.accept(row, field, err)
	}
}

func textMember(set func(*Shot, string)) func(*intake, *Row, string, []byte) {
	return func(in *intake, row *Row, field string, value []byte) {
		if text, err := jsonText(value); in.accept(row, field, err) {
			set(&row.Shot, text)
		}
	}
}

func readOrder(in *intake, row *Row, field string, value []byte) {
	if !isNumber(value) {
		in.accept(row, field, wrongKind(value, "a whole number"))
		return
	}
	if order, err := parseOrder(string(value)); in.accept(row, field, err) {
		row.Shot.Order = order
	}
}

func readTime(in *intake, row *Row, field string, value []byte) {
	text, err := jsonText(value)
	if !in.accept(row, field, err) {
		return
	}
	if t, err := parseTime(text); in.accept(row, field, err) {
		row.Shot.Time = t
	}
}

func readErrors(in *intake, row *Row, field string, value []byte) {
	if value[0] != '{' {
		in.accept(row, field, wrongKind(value, "an object of standard errors"))
		return
	}
	in.readMembers(row, field, value, errorKeys)
}

func readStanding(in *intake, row *Row, field string, value []byte) {
	if value[0] != '[' {
		in.accept(row, field, wrongKind(value, "an array of pin numbers, [] for a strike"))
		return
	}
	pins := make([]int, 0, 10)
	var wrong error
	eachElement(value, func(pin []byte) {
		n, err := parseOrder(string(pin))
		if err != nil && wrong == nil {
			wrong = fmt.Errorf(
				"%s is not a pin: write an array of pin numbers 1 to 10, [] for a strike",
				quoted(string(pin)),
			)
		}
		pins = append(pins, n)
	})
	if !in.accept(row, field, wrong) {
		return
	}
	if set, err := lane.Pins(pins...); in.accept(row, field, err) {
		row.Shot.Standing = &set
	}
}

func readTrack(in *intake, row *Row, field string, value []byte) {
	if value[0] != '[' {
		in.accept(row, field, wrongKind(value, "an array of points"))
		return
	}
	read := len(row.Faults)
	var track []TrackPoint
	eachElement(value, func(point []byte) {
		track = append(track, readPoint(in, row, fmt.Sprintf("%s/%d", field, len(track)), point))
	})
	if len(row.Faults) == read {
		row.Shot.Track = track
	}
}

// readPoint reads {"ft": ..., "board": ...}, both of which a point has.
func readPoint(in *intake, row *Row, field string, value []byte) TrackPoint {
	if value[0] != '{' {
		in.accept(row, field, wrongKind(value, "an object with ft and board"))
		return TrackPoint{}
	}
	var point TrackPoint
	var seen uint8
	eachMember(value, func(key, value []byte) {
		place, target := 0, &point.Ft
		switch string(key) {
		case "ft":
		case "board":
			place, target = 1, &point.Board
		default:
			row.fault(field, CodeUnknown, unknownKey(key, pointKeys))
			return
		}
		if seen&(1<<place) != 0 {
			row.fault(field+"/"+string(key), CodeRepeated, "this key is there twice: keep one")
			return
		}
		seen |= 1 << place
		v, err := jsonNumber(value)
		if in.accept(row, field+"/"+pointKeys[place], err) {
			*target = v
		}
	})
	if bits.OnesCount8(seen) < len(pointKeys) {
		row.fault(field, CodeRequired, "a point needs its distance ft and its board: write both, or take the point out")
	}
	return point
}
