package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Decode reads a record of a kind from the contract's JSON, strictly: an unknown field is a fault.
// The record is nil when the JSON cannot be read as one; otherwise faults is everything wrong with
// it. An absent id stays zero.
func Decode(kind Kind, data []byte) (Record, []Fault) {
	record := New(kind)
	if record == nil {
		return nil, []Fault{{
			Pointer: "/kind",
			Code:    "unknown",
			Detail:  fmt.Sprintf("%q is not a kind of record", kind),
		}}
	}
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(record); err != nil {
		return nil, []Fault{decodeFault(err)}
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, []Fault{{Code: "format", Detail: "more follows after the record: send one JSON object"}}
	}
	tidy(record)
	return record, record.Faults()
}

func decodeFault(err error) Fault {
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) {
		return Fault{
			Pointer: "/" + strings.ReplaceAll(wrong.Field, ".", "/"), Code: "format",
			Detail: fmt.Sprintf("is a %s where a %s is wanted", wrong.Value, wrong.Type),
		}
	}
	return Fault{Code: "format", Detail: strings.TrimPrefix(err.Error(), "json: ")}
}

// tidy brings a record into the one form it is stored and compared in.
func tidy(record Record) {
	switch r := record.(type) {
	case *Shot:
		r.Shot = r.Canonical()
	case *Drill:
		r.Sentences = nil
	}
}

// MergeFields merges two edits of one record, given the version both are based on, field by field.
// A field that both changed, and not to the same value, is named in met. The id is not a field.
func MergeFields(base, mine, theirs []byte) (merged []byte, met []string, err error) {
	var was, my, their map[string]json.RawMessage
	for data, into := range map[*[]byte]*map[string]json.RawMessage{&base: &was, &mine: &my, &theirs: &their} {
		if err := json.Unmarshal(*data, into); err != nil {
			return nil, nil, fmt.Errorf("merge: %w", err)
		}
	}
	names := make(map[string]bool)
	for _, fields := range []map[string]json.RawMessage{was, my, their} {
		for name := range fields {
			names[name] = true
		}
	}
	for name := range names {
		switch {
		case equalJSON(my[name], was[name]), equalJSON(my[name], their[name]):
			// theirs stays
		case equalJSON(their[name], was[name]):
			if value, ok := my[name]; ok {
				their[name] = value
			} else {
				delete(their, name)
			}
		default:
			met = append(met, name)
		}
	}
	slices.Sort(met)
	merged, err = json.Marshal(their)
	return merged, met, err
}

// equalJSON compares two values as JSON, so that the database's spelling of a number or a space
// makes no difference.
func equalJSON(a, b json.RawMessage) bool {
	if len(a) == 0 || len(b) == 0 {
		return len(a) == len(b)
	}
	var left, right any
	if json.Unmarshal(a, &left) != nil || json.Unmarshal(b, &right) != nil {
		return bytes.Equal(a, b)
	}
	x, errX := json.Marshal(left)
	y, errY := json.Marshal(right)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}
