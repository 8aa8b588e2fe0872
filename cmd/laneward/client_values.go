package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	openapitypes "github.com/oapi-codegen/runtime/types"
)

// day is a calendar day on a command line.
type day struct{ openapitypes.Date }

// UnmarshalText reads YYYY-MM-DD, today, yesterday or tomorrow.
func (d *day) UnmarshalText(text []byte) error {
	ahead, relative := map[string]int{"today": 0, "yesterday": -1, "tomorrow": 1}[string(text)]
	if relative {
		d.Date = dayOf(time.Now().AddDate(0, 0, ahead))
		return nil
	}
	t, err := time.Parse(time.DateOnly, string(text))
	if err != nil {
		return fmt.Errorf("%q is no day: write year, month and day as 2026-11-20, or today, yesterday or tomorrow", text)
	}
	d.Time = t
	return nil
}

// dayOf is the day on the calendar where the program runs.
func dayOf(t time.Time) openapitypes.Date {
	return openapitypes.Date{Time: time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)}
}

func dateOf(d *day) *openapitypes.Date {
	if d == nil {
		return nil
	}
	return &d.Date
}

// share is a share of shots on a command line, 0 to 1.
type share float64

// UnmarshalText reads 80%, 80 or 0.8.
func (s *share) UnmarshalText(text []byte) error {
	number, percent := strings.CutSuffix(strings.TrimSpace(string(text)), "%")
	value, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || !(value > 0) || value > 100 {
		return fmt.Errorf("%q is no share of shots: write 80%% or 0.8", text)
	}
	if percent || value > 1 {
		value /= 100
	}
	*s = share(value)
	return nil
}

// The functions below write values for reading.

func number(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

func withUnit(v *float64, unit string) string {
	if v == nil {
		return ""
	}
	return number(v) + " " + unit
}

func count(v *int) string {
	if v == nil {
		return ""
	}
	return strconv.Itoa(*v)
}

func percent(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) }

func word[T ~string](v *T) string {
	if v == nil {
		return ""
	}
	return string(*v)
}

func dayText(d *openapitypes.Date) string {
	if d == nil {
		return ""
	}
	return d.String()
}

// set takes over what was given.
func set[T any](field **T, given *T) {
	if given != nil {
		*field = given
	}
}

// setWord takes over a text that was given.
func setWord[T ~string](field **T, given string) {
	if given != "" {
		value := T(given)
		*field = &value
	}
}
