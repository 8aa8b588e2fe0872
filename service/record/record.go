package record

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"reflect"

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

// New returns an empty record of a kind, to read JSON into; nil when there is no such kind.
func New(kind Kind) Record {
	switch kind {
	case KindSquad:
		return &Squad{}
	case KindAthlete:
		return &Athlete{}
	case KindMember:
		return &Member{}
	case KindPattern:
		return &Pattern{}
	case KindBall:
		return &Ball{}
	case KindSession:
		return &Session{}
	case KindDrill:
		return &Drill{}
	case KindAssignment:
		return &Assignment{}
	case KindShot:
		return &Shot{}
	}
	return nil
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
	// Faults is everything wrong with it.
	Faults() []Fault

	// Stamp sets the id and the revision.
	Stamp(id uuid.UUID, rev int64)

	// Proof is what Prove set: an opaque word which proves that the revision is of the squad's
	// history. It is no part of the record; "" where the record was not read to be changed.
	Proof() string
	Prove(word string)
}

// Ref points at a record of the same squad; Pointer is the field that does, as a JSON Pointer.
type Ref struct {
	Kind    Kind
	ID      uuid.UUID
	Pointer string
}

// Head holds the fields common to all records.
type Head struct {
	ID     uuid.UUID `json:"id"`
	Rev    int64     `json:"rev,omitempty"`
	Proven string    `json:"-"`
}

// Key returns the record's id.
func (h *Head) Key() uuid.UUID { return h.ID }

// Revision returns the revision the record was read at; 0 when it is new.
func (h *Head) Revision() int64 { return h.Rev }

// Stamp sets the id and the revision.
func (h *Head) Stamp(id uuid.UUID, rev int64) { h.ID, h.Rev = id, rev }

// Proof returns what proves the revision.
func (h *Head) Proof() string { return h.Proven }

// Prove sets what proves the revision.
func (h *Head) Prove(word string) { h.Proven = word }

// At returns a copy of a record at a revision.
func At(record Record, rev int64) Record {
	made := reflect.New(reflect.TypeOf(record).Elem())
	made.Elem().Set(reflect.ValueOf(record).Elem())
	stamped := made.Interface().(Record)
	stamped.Stamp(record.Key(), rev)
	return stamped
}

// Payload is the record's JSON without its revision: what is hashed, and what the history keeps.
func Payload(record Record) ([]byte, error) {
	id, rev := record.Key(), record.Revision()
	record.Stamp(id, 0)
	defer record.Stamp(id, rev)
	if s, ok := record.(*Shot); ok {
		return s.AppendRecord(make([]byte, 0, 512)), nil
	}
	data, err := json.Marshal(record)
	if err != nil {
		return nil, fmt.Errorf("write %s %s: %w", record.Kind(), id, err)
	}
	return data, nil
}

// hashLength is enough for telling a resent payload from another one: 128 bits of SHA-256.
const hashLength = 16

// Hash identifies a payload.
func Hash(payload []byte) []byte {
	sum := sha256.Sum256(payload)
	return sum[:hashLength]
}

func optionalRef(kind Kind, id *uuid.UUID, pointer string) []Ref {
	if id == nil {
		return nil
	}
	return []Ref{{kind, *id, pointer}}
}

// SameID reports whether both are nil or the same id.
func SameID(a, b *uuid.UUID) bool { return a == nil && b == nil || a != nil && b != nil && *a == *b }
