package shot

import (
	"encoding/base64"
	"strconv"
	"time"

	"github.com/google/uuid"
)

// AppendTable appends shots as one JSON object of columns: the same values as rows of
// [Shot.AppendJSON], transposed. Compressed, it is half the size of the rows, because similar
// values are adjacent. revs are the shots' revisions.
//
// Every column is an array with a value a shot, null where it was not measured, and left out when
// that is so throughout. Three columns are written otherwise: id is the bytes of all ids one after
// the other in base64 (RFC 4648, with padding), and rev and order are the first value and then the
// difference to the one before.
func AppendTable(b []byte, shots []*Shot, revs []int64) []byte {
	b = strconv.AppendInt(append(b, `{"count":`...), int64(len(shots)), 10)
	ids := make([]byte, 0, 16*len(shots))
	for _, s := range shots {
		ids = append(ids, s.ID[:]...)
	}
	b = append(b, `,"id":"`...)
	b = base64.StdEncoding.AppendEncode(b, ids)
	b = append(b, '"')
	b = appendDifferences(b, `,"rev":[`, len(shots), func(i int) int64 { return revs[i] })
	b = appendDifferences(b, `,"order":[`, len(shots), func(i int) int64 { return int64(shots[i].Order) })
	b = appendColumn(b, "time", shots, func(b []byte, s *Shot) []byte {
		return append(s.Time.AppendFormat(append(b, '"'), time.RFC3339Nano), '"')
	})
	for _, column := range idColumns {
		b = appendColumn(b, column.name, shots, func(b []byte, s *Shot) []byte {
			if id := column.id(s); id != nil {
				return appendID(b, *id)
			}
			return b
		})
	}
	for i := range measures {
		if m := &measures[i]; !m.IsError() {
			b = appendColumn(b, m.Field, shots, func(b []byte, s *Shot) []byte { return appendMeasure(b, "", m, s) })
		}
	}
	b = appendColumn(b, "track", shots, func(b []byte, s *Shot) []byte { return s.appendTrack(b, "") })
	b = appendColumn(b, "gutter", shots, func(b []byte, s *Shot) []byte { return appendText(b, "", string(s.Gutter)) })
	b = appendColumn(b, "standing", shots, func(b []byte, s *Shot) []byte { return s.appendStanding(b, "") })
	b = appendColumn(b, "source", shots, func(b []byte, s *Shot) []byte { return appendText(b, "", s.Source) })
	b = appendColumn(b, "errors", shots, func(b []byte, s *Shot) []byte { return s.appendErrors(b, "") })
	b = appendColumn(b, "note", shots, func(b []byte, s *Shot) []byte { return appendText(b, "", s.Note) })
	return append(b, '}')
}

var idColumns = []struct {
	name string
	id   func(s *Shot) *uuid.UUID
}{
	{"session_id", func(s *Shot) *uuid.UUID { return &s.SessionID }},
	{"athlete_id", func(s *Shot) *uuid.UUID { return &s.AthleteID }},
	{"ball_id", func(s *Shot) *uuid.UUID { return s.BallID }},
	{"drill_id", func(s *Shot) *uuid.UUID { return s.DrillID }},
}

func appendDifferences(b []byte, open string, n int, value func(i int) int64) []byte {
	b = append(b, open...)
	before := int64(0)
	for i := range n {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendInt(b, value(i)-before, 10)
		before = value(i)
	}
	return append(b, ']')
}

// appendColumn appends a column; write appends a shot's value, or nothing when there is none.
func appendColumn(b []byte, name string, shots []*Shot, write func(b []byte, s *Shot) []byte) []byte {
	start, measured := len(b), false
	b = append(b, ',', '"')
	b = append(b, name...)
	b = append(b, `":[`...)
	for i, s := range shots {
		if i > 0 {
			b = append(b, ',')
		}
		before := len(b)
		if b = write(b, s); len(b) > before {
			measured = true
		} else {
			b = append(b, "null"...)
		}
	}
	if !measured {
		return b[:start]
	}
	return append(b, ']')
}
