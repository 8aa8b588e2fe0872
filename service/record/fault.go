package record

import (
	"fmt"
	"strings"
	"unicode"
)

// Fault is one thing wrong with what was sent: where, as a JSON Pointer (RFC 6901), and what to do
// about it.
type Fault struct {
	Pointer string `json:"pointer"`
	Code    string `json:"code,omitempty"`
	Detail  string `json:"detail"`
}

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
	f.Add(strings.TrimSpace(value) == "", "/name", "required", "give it a name")
	f.line(value, "/name")
}

// line checks a text of one line.
func (f *Faults) line(value, pointer string) {
	f.Add(len(value) > 200, pointer, "length", "is longer than 200 bytes: shorten it")
	f.characters(value, pointer, "")
}

// characters refuses control characters, not all of which the database can store.
func (f *Faults) characters(value, pointer, allowed string) {
	for _, r := range value {
		if unicode.IsControl(r) && !strings.ContainsRune(allowed, r) {
			f.Add(true, pointer, "format", "holds the control character %U: take it out", r)
			return
		}
	}
}

func (f *Faults) note(value string) {
	f.Add(len(value) > 4000, "/note", "length", "is longer than 4000 bytes: shorten it")
	f.characters(value, "/note", "\n\r\t")
}
