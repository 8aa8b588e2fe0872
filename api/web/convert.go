package web

import (
	"math"
	"strconv"

	"github.com/google/uuid"

	"laneward/service/record"
)

// idOf writes an optional id as an input's value.
func idOf(id *uuid.UUID) string {
	if id == nil {
		return ""
	}
	return id.String()
}

// known writes an optional number.
func known(value *float64) string {
	if value == nil {
		return ""
	}
	return plain(*value)
}

// dayText writes an optional day as an input's value.
func dayText(day *record.Day) string {
	if day == nil {
		return ""
	}
	return day.String()
}

// plain writes a number with all its digits and no exponent.
func plain(value float64) string { return strconv.FormatFloat(value, 'f', -1, 64) }

// inPercent writes a share as a form takes it: 0.55 is 55, which 100 times the float is not.
func inPercent(share float64) string { return plain(math.Round(1e6*share) / 1e4) }

// newID is an id that comes with a form, so that sending it twice stores once.
func newID() string { return uuid.Must(uuid.NewV7()).String() }
