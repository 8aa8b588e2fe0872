package main

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/alecthomas/kong"
	openapitypes "github.com/oapi-codegen/runtime/types"
)

// day is a calendar day on a command line.
type day struct{ openapitypes.Date }

// parseDay reads YYYY-MM-DD, or today, yesterday or tomorrow as of now.
func parseDay(text string, now time.Time) (day, error) {
	if ahead, relative := map[string]int{"today": 0, "yesterday": -1, "tomorrow": 1}[text]; relative {
		return day{dayOf(now.AddDate(0, 0, ahead))}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return day{}, fmt.Errorf(
			"%q is not a day: write year, month and day as 2026-11-20, or today, yesterday or tomorrow",
			text,
		)
	}
	return day{openapitypes.Date{Time: t}}, nil
}

// days has kong read days as of now.
func days(now func() time.Time) kong.Option {
	return kong.TypeMapper(
		reflect.TypeFor[day](),
		kong.MapperFunc(func(ctx *kong.DecodeContext, target reflect.Value) error {
			var text string
			if err := ctx.Scan.PopValueInto("day", &text); err != nil {
				return err
			}
			d, err := parseDay(text, now())
			if err != nil {
				return err
			}
			target.Set(reflect.ValueOf(d))
			return nil
		}),
	)
}

// dayOf returns the calendar day of t in its zone.
func dayOf(t time.Time) openapitypes.Date {
	return openapitypes.Date{Time: time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)}
}

// today returns the day on the person's calendar.
func (env environment) today() openapitypes.Date { return dayOf(env.now()) }

// local returns t as the clock on the person's wall shows it.
func (env environment) local(t time.Time) time.Time { return t.In(env.now().Location()) }

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
