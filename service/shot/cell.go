package shot

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
)

// The parsers of this file read one cell of a CSV log, never empty and without the spaces around
// it. Their errors are sentences for the person who wrote the log: they show the cell and how to
// write it instead.

const timeExample = "2026-03-01T18:05:00+01:00"

// parseNumber reads a decimal number with a point. Unlike strconv it accepts neither hexadecimal,
// nor underscores, nor infinity.
func parseNumber(text, unit string) (float64, error) {
	for i := range len(text) {
		switch c := text[i]; {
		case c >= '0' && c <= '9', c == '.', c == '-', c == '+', c == 'e', c == 'E':
		default:
			return 0, numberError(text, unit)
		}
	}
	v, err := strconv.ParseFloat(text, 64)
	if errors.Is(err, strconv.ErrRange) {
		return 0, fmt.Errorf("%s is too large a number: write it in %s", quoted(text), cmp.Or(unit, "digits"))
	}
	if err != nil {
		return 0, numberError(text, unit)
	}
	return v, nil
}

var (
	decimalComma = regexp.MustCompile(`^[-+]?\d*,\d+$`)
	threeDigits  = regexp.MustCompile(`^[-+]?[1-9]\d{0,2},\d{3}$`)
	numberFirst  = regexp.MustCompile(`^([-+]?\d+(?:\.\d+)?)\s*[\pL%°][^\d]*$`)
)

// thousands are the ways in which a number is written with a thousands separator, and what turns
// each into a plain number.
var thousands = []struct {
	written *regexp.Regexp
	plain   *strings.Replacer
}{
	{regexp.MustCompile(`^[-+]?\d{1,3}(?:,\d{3})+(?:\.\d+)?$`), strings.NewReplacer(",", "")},
	{regexp.MustCompile(`^[-+]?\d{1,3}(?:\.\d{3})+(?:,\d+)?$`), strings.NewReplacer(".", "", ",", ".")},
	{
		regexp.MustCompile(`^[-+]?\d{1,3}(?:[ '’\x{a0}\x{2009}\x{202f}]\d{3})+(?:[.,]\d+)?$`),
		strings.NewReplacer(" ", "", "'", "", "’", "", "\u00a0", "", "\u2009", "", "\u202f", "", ",", "."),
	},
}

// numberError says how to write a cell that [parseNumber] refuses.
func numberError(text, unit string) error {
	inUnit := ""
	if unit != "" {
		inUnit = ", in " + unit
	}
	const blank = "leave the cell blank when it was not measured"
	for _, way := range thousands {
		if way.written.MatchString(text) && !threeDigits.MatchString(text) {
			return fmt.Errorf("%s has a thousands separator: write %s", quoted(text), way.plain.Replace(text))
		}
	}
	switch {
	case threeDigits.MatchString(text):
		return fmt.Errorf(
			"%s can be read as %s or as %s: write it with a decimal point and without a thousands separator",
			quoted(text),
			strings.Replace(text, ",", ".", 1),
			strings.Replace(text, ",", "", 1),
		)
	case decimalComma.MatchString(text):
		return fmt.Errorf("%s has a decimal comma: write %s", quoted(text), strings.Replace(text, ",", ".", 1))
	case strings.HasPrefix(text, "#"):
		return fmt.Errorf("%s is a spreadsheet's error: write the number, or %s", quoted(text), blank)
	case numberFirst.MatchString(text):
		return fmt.Errorf(
			"%s holds more than a number: write %s alone%s",
			quoted(text),
			numberFirst.FindStringSubmatch(text)[1],
			inUnit,
		)
	case !strings.ContainsAny(text, "0123456789"):
		return fmt.Errorf("%s is not a number: %s", quoted(text), blank)
	}
	return fmt.Errorf("%s is not a number: write digits with a decimal point, such as 10.5%s", quoted(text), inUnit)
}

// parseOrder reads a whole number.
func parseOrder(text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0, fmt.Errorf("%s is not a whole number: number the athlete's shots 1, 2, 3 and so on", quoted(text))
	}
	return n, nil
}

// parseTime reads a time as RFC 3339 writes it: date, T, time of day and offset from UTC.
func parseTime(text string) (time.Time, error) {
	var t time.Time
	if err := t.UnmarshalText([]byte(text)); err != nil {
		return time.Time{}, timeError(text)
	}
	return t, nil
}

var (
	dateOnly     = regexp.MustCompile(`^\d{4}-\d\d-\d\d$`)
	withoutZone  = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d(?::\d\d(?:\.\d+)?)?)$`)
	ambiguous    = regexp.MustCompile(`^\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}`)
	daysNumber   = regexp.MustCompile(`^\d+([.,]\d+)?$`)
	withoutT     = regexp.MustCompile(`^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d(\.\d+)?(Z|[-+]\d\d:\d\d)$`)
	minutesOfDay = regexp.MustCompile(`^\d\d:\d\d$`)
)

// timeError says how to write a time that RFC 3339 does not allow.
func timeError(text string) error {
	switch {
	case withoutZone.MatchString(text):
		parts := withoutZone.FindStringSubmatch(text)
		clock := parts[2]
		if minutesOfDay.MatchString(clock) {
			clock += ":00"
		}
		return fmt.Errorf(
			"%s does not say which offset from UTC its clock has: write %sT%s+01:00 with the offset of the place, or Z for UTC",
			quoted(text),
			parts[1],
			clock,
		)
	case withoutT.MatchString(text):
		return fmt.Errorf(
			"%s has a blank between date and time: write %s",
			quoted(text),
			strings.Replace(text, " ", "T", 1),
		)
	case dateOnly.MatchString(text):
		return fmt.Errorf(
			"%s has no time of day: write %sT18:05:00+01:00 with the time and the offset from UTC",
			quoted(text),
			text,
		)
	case ambiguous.MatchString(text):
		return fmt.Errorf(
			"%s can be read with the day or the month first: write year, month and day, T, time and offset from UTC, such as %s",
			quoted(text),
			timeExample,
		)
	case daysNumber.MatchString(text):
		return fmt.Errorf(
			"%s is a number and not a time: format the column as text and write the time such as %s",
			quoted(text),
			timeExample,
		)
	}
	return fmt.Errorf(
		"%s is not a time: write date, T, time and offset from UTC, such as %s",
		quoted(text),
		timeExample,
	)
}

// parseID reads a UUID in its standard form of 36 characters.
func parseID(text string) (uuid.UUID, error) {
	if len(text) == 36 {
		if id, err := uuid.Parse(text); err == nil && id != uuid.Nil {
			return id, nil
		}
	}
	return uuid.Nil, fmt.Errorf(
		"%s is not an id: write a UUID, such as 01890a5d-ac96-774b-bcce-b302099a8057",
		quoted(text),
	)
}

// parseTrack reads points "distance:board" separated by spaces, such as "15:10.2 30:8.1".
func parseTrack(text string) ([]TrackPoint, error) {
	points := make([]TrackPoint, 0, strings.Count(text, ":"))
	for point := range strings.FieldsSeq(text) {
		ftText, boardText, found := strings.Cut(point, ":")
		if !found || ftText == "" || boardText == "" {
			return nil, fmt.Errorf(
				"%s is not a point of the path: write distance in feet, a colon and board, and a blank between points, "+
					"such as 15:10.2 30:8.1",
				quoted(point),
			)
		}
		ft, err := parseNumber(ftText, "ft")
		if err != nil {
			return nil, fmt.Errorf("point %d, distance: %w", len(points)+1, err)
		}
		board, err := parseNumber(boardText, "boards")
		if err != nil {
			return nil, fmt.Errorf("point %d, board: %w", len(points)+1, err)
		}
		points = append(points, TrackPoint{Ft: ft, Board: board})
	}
	return points, nil
}

// formatTrack writes what [parseTrack] reads.
func formatTrack(track []TrackPoint) string {
	var b strings.Builder
	for i, p := range track {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(number(p.Ft))
		b.WriteByte(':')
		b.WriteString(number(p.Board))
	}
	return b.String()
}

// quoted shows a text of the log inside a sentence, cut to what can be read at a glance.
func quoted(text string) string {
	const most = 40
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:most]) + "…"
	}
	return strconv.Quote(text)
}
