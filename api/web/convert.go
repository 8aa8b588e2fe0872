package web

import (
	"strconv"

	"github.com/google/uuid"

	"laneward/service/record"
)

// idOf writes an id that may not be there, as an input takes it.
func idOf(id *uuid.UUID) string {
	if id == nil {
		return ""
	}
	return id.String()
}

// known writes a number that may not be known.
func known(value *float64) string {
	if value == nil {
		return ""
	}
	return plain(*value)
}

// dayText writes a day that may not be known, as an input takes it.
func dayText(day *record.Day) string {
	if day == nil {
		return ""
	}
	return day.String()
}

// plain writes a number with all its digits and no exponent.
func plain(value float64) string { return strconv.FormatFloat(value, 'f', -1, 64) }

// newID is an id that comes with a form, so that sending it twice stores once.
func newID() string { return uuid.Must(uuid.NewV7()).String() }
