package service

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode"

	"github.com/google/uuid"
)

// Kind names a kind of synced record.
type Kind string

// The kinds of record, parents before children.
const (
	KindSquad      Kind = "squad"
	KindAthlete    Kind = "athlete"
	KindMember     Kind = "member"
	KindPattern    Kind = "pattern"
	KindBall       Kind = "ball"
	KindSession    Kind = "session"
	KindDrill      Kind = "drill"
	KindAssignment Kind = "assignment"
	KindShot       Kind = "shot"
)

// Kinds lists every kind, parents before children.
var Kinds = []Kind{
	KindSquad,
	KindAthlete,
	KindMember,
	KindPattern,
	KindBall,
	KindSession,
	KindDrill,
	KindAssignment,
	KindShot,
}

// Record is one synced record of a squad. Its JSON is the contract's, with `rev` the revision it
// was read at, absent when new.
type Record interface {
	Kind() Kind
	Key() uuid.UUID
	Revision() int64
	// Owner is the athlete whose record it is; nil when it is the squad's.
	Owner() *uuid.UUID
	// Parents are the records it refers to.
	Parents() []Ref
	// Faults is everything wrong with what it says.
	Faults() []Fault

	stamp(id uuid.UUID, rev int64)
}

// Ref points at a record of the same squad; Pointer is the field that does, as a JSON Pointer.
type Ref struct {
	Kind    Kind
	ID      uuid.UUID
	Pointer string
}

// Head is what every record begins with.
type Head struct {
	ID  uuid.UUID `json:"id"`
	Rev int64     `json:"rev,omitempty"`
}

// Key returns the record's id.
func (h *Head) Key() uuid.UUID { return h.ID }

// Revision returns the revision the record was read at; 0 when it is new.
func (h *Head) Revision() int64 { return h.Rev }

func (h *Head) stamp(id uuid.UUID, rev int64) { h.ID, h.Rev = id, rev }

// payload is the record's JSON without its revision: what is hashed, and what the history keeps.
func payload(record Record) ([]byte, error) {
	id, rev := record.Key(), record.Revision()
	record.stamp(id, 0)
	defer record.stamp(id, rev)
	if s, ok := record.(*ShotRecord); ok {
		return s.appendJSON(make([]byte, 0, 512)), nil
	}
	data, err := json.Marshal(record)
	if err != nil {
		return nil, fmt.Errorf("write %s %s: %w", record.Kind(), id, err)
	}
	return data, nil
}

// hashLength is enough for telling a resent payload from another one: 128 bits of SHA-256.
const hashLength = 16

func hashOf(payload []byte) []byte {
	sum := sha256.Sum256(payload)
	return sum[:hashLength]
}

// Day is a calendar day, YYYY-MM-DD, with no time zone.
type Day struct{ time.Time }

const dayLayout = "2006-01-02"

// ParseDay reads YYYY-MM-DD.
func ParseDay(text string) (Day, error) {
	day, err := time.Parse(dayLayout, text)
	if err != nil {
		return Day{}, fmt.Errorf("%q is not a day: write YYYY-MM-DD, such as 2026-03-14", text)
	}
	return Day{day}, nil
}

func (d Day) String() string { return d.Format(dayLayout) }

// MarshalJSON writes YYYY-MM-DD.
func (d Day) MarshalJSON() ([]byte, error) { return json.Marshal(d.String()) }

// UnmarshalJSON reads YYYY-MM-DD.
func (d *Day) UnmarshalJSON(data []byte) error {
	var text string
	if err := json.Unmarshal(data, &text); err != nil {
		return fmt.Errorf("a day is a string YYYY-MM-DD: %w", err)
	}
	day, err := ParseDay(text)
	if err != nil {
		return err
	}
	*d = day
	return nil
}

func dayPointer(t *time.Time) *Day {
	if t == nil {
		return nil
	}
	return &Day{*t}
}

func timePointer(d *Day) *time.Time {
	if d == nil {
		return nil
	}
	return &d.Time
}

// faults collects what is wrong with a record.
type faults []Fault

func (f *faults) add(wrong bool, pointer, code, format string, values ...any) {
	if wrong {
		*f = append(*f, Fault{Pointer: pointer, Code: code, Detail: fmt.Sprintf(format, values...)})
	}
}

// within checks an optional number against the range it may lie in.
func (f *faults) within(value *float64, low, high float64, pointer, unit string) {
	f.add(
		value != nil && !(*value >= low && *value <= high),
		pointer,
		"range",
		"is outside %g to %g %s",
		low,
		high,
		unit,
	)
}

func (f *faults) name(value string) {
	f.add(strings.TrimSpace(value) == "", "/name", "required", "give it a name")
	f.line(value, "/name")
}

// line checks a text of one line.
func (f *faults) line(value, pointer string) {
	f.add(len(value) > 200, pointer, "length", "is longer than 200 bytes: shorten it")
	f.characters(value, pointer, "")
}

// characters refuses control characters, of which the database cannot store them all.
func (f *faults) characters(value, pointer, allowed string) {
	for _, r := range value {
		if unicode.IsControl(r) && !strings.ContainsRune(allowed, r) {
			f.add(true, pointer, "format", "holds the control character %U: take it out", r)
			return
		}
	}
}

func (f *faults) note(value string) {
	f.add(len(value) > 4000, "/note", "length", "is longer than 4000 bytes: shorten it")
	f.characters(value, "/note", "\n\r\t")
}

func optionalRef(kind Kind, id *uuid.UUID, pointer string) []Ref {
	if id == nil {
		return nil
	}
	return []Ref{{kind, *id, pointer}}
}
