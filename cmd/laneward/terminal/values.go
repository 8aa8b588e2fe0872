package terminal

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/alecthomas/kong"
	openapitypes "github.com/oapi-codegen/runtime/types"
)

// Day is a calendar day on a command line.
type Day struct{ openapitypes.Date }

// ParseDay reads YYYY-MM-DD, or today, yesterday or tomorrow as of now.
func ParseDay(text string, now time.Time) (Day, error) {
	if ahead, relative := map[string]int{"today": 0, "yesterday": -1, "tomorrow": 1}[text]; relative {
		return Day{dayOf(now.AddDate(0, 0, ahead))}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return Day{}, fmt.Errorf(
			"%q is not a day: write year, month and day as 2026-11-20, or today, yesterday or tomorrow",
			text,
		)
	}
	return Day{openapitypes.Date{Time: t}}, nil
}

// Days has kong read days as of now.
func Days(now func() time.Time) kong.Option {
	return kong.TypeMapper(
		reflect.TypeFor[Day](),
		kong.MapperFunc(func(ctx *kong.DecodeContext, target reflect.Value) error {
			var text string
			if err := ctx.Scan.PopValueInto("day", &text); err != nil {
				return err
			}
			d, err := ParseDay(text, now())
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

// Share is a share of shots on a command line, 0 to 1.
type Share float64

// UnmarshalText reads 80%, 80 or 0.8.
func (s *Share) UnmarshalText(text []byte) error {
	number, percent := strings.CutSuffix(strings.TrimSpace(string(text)), "%")
	value, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || !(value > 0) || value > 100 {
		return fmt.Errorf("%q is not a share of shots: write 80%% or 0.8", text)
	}
	if percent || value > 1 {
		value /= 100
	}
	*s = Share(value)
	return nil
}

// Number writes a number with the digits it has, "" for nil.
func Number(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// WithUnit is [Number] with a unit: 17.5 mph.
func WithUnit(v *float64, unit string) string {
	if v == nil {
		return ""
	}
	return Number(v) + " " + unit
}

// Count writes a whole number, "" for nil.
func Count(v *int) string {
	if v == nil {
		return ""
	}
	return strconv.Itoa(*v)
}

// Percent writes a share, 0 to 1, as whole percent.
func Percent(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) }

// Word returns a text, "" for nil.
func Word[T ~string](v *T) string {
	if v == nil {
		return ""
	}
	return string(*v)
}

// DayText writes a day as 2026-11-20, "" for nil.
func DayText(d *openapitypes.Date) string {
	if d == nil {
		return ""
	}
	return d.String()
}

// Joined writes values one after another.
func Joined[T any](values []T, separator string) string {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = fmt.Sprint(v)
	}
	return strings.Join(texts, separator)
}

// Decimals writes a number with so many decimals.
func Decimals(v float64, places int) string { return strconv.FormatFloat(v, 'f', places, 64) }

// Things counts things: 1 change, 2 changes.
func Things(n int, one string) string {
	return Counted(n, one, one+"s")
}

// Counted counts with the words for one and for many: 1 change is, 2 changes are.
func Counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}
