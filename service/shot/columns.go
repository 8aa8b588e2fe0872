package shot

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/service/lane"
)

// Column is one column of a CSV log.
type Column struct {
	Name     string // as the header row writes it
	Field    string // the same value's JSON name; a name inside an object follows a slash
	Unit     string // empty for a value without one
	Meaning  string
	Limits   string   // what is accepted, or an example
	Synonyms []string // other names that the header row may give it
	Required bool     // a log without the column, or a row without the value, is refused
}

// Columns returns every column of a CSV log, in the order in which [WriteCSV] writes them. A log
// may leave out all but the required ones, and have them in any order.
func Columns() []Column {
	list := make([]Column, len(columns))
	for i, c := range columns {
		list[i] = c.Column
	}
	return list
}

// column is a [Column] with the way it is read and written. Where nothing was recorded the cell is
// empty, and read is not called.
type column struct {
	Column
	read  func(in *intake, row *Row, text string)
	write func(s *Shot) string
}

// columns is filled once: what the shot is and belongs to, the measured values, the rest.
var columns = func() []column {
	all := append(referenceColumns(), orderColumns()...)
	for i := range measures {
		all = append(all, measureColumn(i))
	}
	return append(all, recordColumns()...)
}()

// columnIndex finds a column by its name or a synonym.
var columnIndex = func() map[string]int {
	index := make(map[string]int, len(columns))
	for i, c := range columns {
		index[c.Name] = i
		for _, synonym := range c.Synonyms {
			index[synonym] = i
		}
	}
	return index
}()

// missing says how to add the column to a log that needs it.
func (c Column) missing() string {
	if c.Required {
		return fmt.Sprintf("add a column %q, for example %s", c.Name, c.Limits)
	}
	return fmt.Sprintf("add a column %q: %s", c.Name, c.Meaning)
}

func columnNames() []string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.Name
	}
	return names
}

// columnOf returns the name of the column that holds a field of a shot.
func columnOf(field string) string {
	i := slices.IndexFunc(columns, func(c column) bool {
		return c.Field == field || strings.HasPrefix(field, c.Field+"/")
	})
	if i < 0 {
		return field
	}
	return columns[i].Name
}

func referenceColumns() []column {
	return []column{
		{
			Column: Column{
				Name:    "shot_id",
				Field:   "id",
				Limits:  "UUID",
				Meaning: "the shot's id; blank: made from session, athlete and order, so that the same row is the same shot when it is sent again",
			},
			read: func(in *intake, row *Row, text string) {
				if id, err := parseID(text); in.accept(row, "shot_id", err) {
					row.Shot.ID = id
				}
			},
			write: func(s *Shot) string { return s.ID.String() },
		},
		{
			Column: Column{
				Name: "session", Field: "session_id", Limits: "UUID",
				Meaning: "the session's id; needed only when the log is not sent to one session",
			},
			read: func(in *intake, row *Row, text string) {
				if id, err := parseID(text); in.accept(row, "session", err) {
					row.Shot.SessionID = id
				}
			},
			write: func(s *Shot) string { return s.SessionID.String() },
		},
		{
			Column: Column{
				Name: "athlete", Field: "athlete_id", Limits: "name or UUID",
				Meaning: "who bowled; needed only when the log is not sent for one athlete",
			},
			read: func(in *intake, row *Row, text string) {
				row.Shot.AthleteID = in.lookUp(row, "athlete", &in.athletes, text)
			},
			write: func(s *Shot) string { return s.AthleteID.String() },
		},
		{
			Column: Column{
				Name:    "ball",
				Field:   "ball_id",
				Meaning: "the ball, out of the athlete's arsenal",
				Limits:  "name or UUID",
			},
			// The athlete may be further right in the row: the ball is looked up when the row is
			// complete.
			read:  func(in *intake, _ *Row, text string) { in.ballText = text },
			write: func(s *Shot) string { return idOrBlank(s.BallID) },
		},
		{
			Column: Column{
				Name:    "drill",
				Field:   "drill_id",
				Meaning: "the drill that the shot was thrown for",
				Limits:  "name or UUID",
			},
			read: func(in *intake, row *Row, text string) {
				if id := in.lookUp(row, "drill", &in.drills, text); id != uuid.Nil {
					row.Shot.DrillID = &id
				}
			},
			write: func(s *Shot) string { return idOrBlank(s.DrillID) },
		},
	}
}

func orderColumns() []column {
	return []column{
		{
			Column: Column{
				Name:    "order",
				Field:   "order",
				Limits:  "1 to " + strconv.Itoa(MaxOrder),
				Meaning: "the shot's place among the athlete's shots of the session; a log without this column takes the number of the row",
			},
			read: func(in *intake, row *Row, text string) {
				if order, err := parseOrder(text); in.accept(row, "order", err) {
					row.Shot.Order = order
				}
			},
			write: func(s *Shot) string { return strconv.Itoa(s.Order) },
		},
		{
			Column: Column{
				Name: "time", Field: "time", Limits: timeExample, Required: true,
				Meaning: "when it was bowled: date, T, time of day, and offset from UTC or Z",
			},
			read: func(in *intake, row *Row, text string) {
				if t, err := parseTime(text); in.accept(row, "time", err) {
					row.Shot.Time = t
				}
			},
			write: func(s *Shot) string { return s.Time.Format(time.RFC3339Nano) },
		},
	}
}

func idOrBlank(id *uuid.UUID) string {
	if id == nil {
		return ""
	}
	return id.String()
}

func measureColumn(i int) column {
	m := &measures[i]
	return column{
		Column: Column{
			Name: m.Column, Field: m.Field, Unit: m.Unit,
			Meaning: m.Meaning, Limits: m.limits(), Synonyms: m.Synonyms,
		},
		read: func(in *intake, row *Row, text string) {
			v, err := parseNumber(text, m.Unit)
			if err == nil {
				err = m.Fits(v)
			}
			if in.accept(row, m.Column, err) {
				in.measured(row, i, v)
			}
		},
		write: func(s *Shot) string {
			if v, known := m.Get(s); known {
				return number(v)
			}
			return ""
		},
	}
}

func recordColumns() []column {
	return []column{
		{
			Column: Column{
				Name: "track", Field: "track", Unit: "ft:boards", Limits: "15:10.2 30:8.1",
				Meaning: "points of the path by rising distance, each distance:board, parted by blanks",
			},
			read: func(in *intake, row *Row, text string) {
				if track, err := parseTrack(text); in.accept(row, "track", err) {
					row.Shot.Track = track
				}
			},
			write: func(s *Shot) string { return formatTrack(s.Track) },
		},
		{
			Column: Column{
				Name: "gutter", Field: "gutter", Limits: "right or left", Synonyms: []string{"gutter_side"},
				Meaning: "the lane's gutter that the ball fell into, as seen from the foul line; blank for none",
			},
			read: func(in *intake, row *Row, text string) {
				if side, err := lane.ParseSide(strings.ToLower(text)); in.accept(row, "gutter", err) {
					row.Shot.Gutter = side
				}
			},
			write: func(s *Shot) string { return string(s.Gutter) },
		},
		{
			Column: Column{
				Name:    "standing",
				Field:   "standing",
				Limits:  "7-10, 7 10, strike or x",
				Meaning: "pins standing after the first ball, joined by hyphens or blanks (spreadsheets make a date of hyphens); strike when none stands",
			},
			read: func(in *intake, row *Row, text string) {
				if set, err := lane.ParsePins(text); in.accept(row, "standing", err) {
					row.Shot.Standing = &set
				}
			},
			write: func(s *Shot) string {
				if s.Standing == nil {
					return ""
				}
				return s.Standing.String()
			},
		},
		{
			Column: Column{
				Name: "source", Field: "source", Limits: "at most " + strconv.Itoa(MaxSource) + " characters",
				Meaning: "what measured the shot, such as eye or sensor",
			},
			read:  func(_ *intake, row *Row, text string) { row.Shot.Source = text },
			write: func(s *Shot) string { return s.Source },
		},
		{
			Column: Column{
				Name: "note", Field: "note", Limits: "at most " + strconv.Itoa(MaxNote) + " characters",
				Meaning: "anything else; blanks around it are kept",
			},
			read:  func(_ *intake, row *Row, text string) { row.Shot.Note = text },
			write: func(s *Shot) string { return s.Note },
		},
	}
}
