package record

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Fault is one thing wrong with what was sent: where, as a JSON Pointer (RFC 6901), and what to do
// about it.
type Fault struct {
	Pointer string `json:"pointer"`
	Code    string `json:"code,omitempty"`
	Detail  string `json:"detail"`
}

// MaxFaults is how many faults of one thing are listed; the rest are counted.
const MaxFaults = 20

// Faults is everything wrong with what was sent, as an error when there is any.
type Faults []Fault

func (f Faults) Error() string {
	if len(f) == 1 {
		return f[0].Detail
	}
	return fmt.Sprintf("%d problems; the first: %s", len(f), f[0].Detail)
}

// Add adds a fault if something is wrong.
func (f *Faults) Add(wrong bool, pointer, code, format string, values ...any) {
	if wrong {
		*f = append(*f, Fault{Pointer: pointer, Code: code, Detail: fmt.Sprintf(format, values...)})
	}
}

// within checks an optional number against its range.
func (f *Faults) within(value *float64, low, high float64, pointer, unit string) {
	f.Add(
		value != nil && !(*value >= low && *value <= high),
		pointer,
		"range",
		"is outside %g to %g %s",
		low,
		high,
		unit,
	)
}

func (f *Faults) name(value string) {
	f.Add(!visible(value), "/name", "required", "give it a name that can be seen")
	f.line(value, "/name")
}

// The longest texts, in characters, as the contract counts them.
const (
	maxLine = 200
	maxNote = 4_000
)

// line checks a text of one line.
func (f *Faults) line(value, pointer string) {
	long := utf8.RuneCountInString(value) > maxLine
	f.Add(long, pointer, "length", "is longer than %d characters: shorten it", maxLine)
	f.characters(value, pointer, "")
}

// NameFaults is everything wrong with a name.
func NameFaults(name string) []Fault {
	var f Faults
	f.name(name)
	return f
}

// visible reports whether a text has anything to see.
func visible(text string) bool {
	return strings.ContainsFunc(text, func(r rune) bool {
		return unicode.IsGraphic(r) && !unicode.IsSpace(r) && !strings.ContainsRune(blanks, r)
	})
}

// blanks are letters and symbols that are drawn as nothing.
const blanks = "\u115f\u1160\u2800\u3164\uffa0"

// characters refuses control characters, not all of which the database can store, and those that
// turn the direction of the text around them (Unicode Standard Annex 9, sections 2.1 to 2.4).
func (f *Faults) characters(value, pointer, allowed string) {
	for _, r := range value {
		switch {
		case unicode.IsControl(r) && !strings.ContainsRune(allowed, r):
			f.Add(true, pointer, "format", "holds the control character %U: take it out", r)
			return
		case r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069:
			f.Add(true, pointer, "format", "holds %U, an invisible character that turns text around: take it out", r)
			return
		}
	}
}

func (f *Faults) note(value string) {
	long := utf8.RuneCountInString(value) > maxNote
	f.Add(long, "/note", "length", "is longer than %d characters: shorten it", maxNote)
	f.characters(value, "/note", "\n\r\t")
}
