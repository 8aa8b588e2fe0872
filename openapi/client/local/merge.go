package local

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
)

// fields is a record field by field, without what the server writes itself.
type fields map[string]json.RawMessage

// notFields are names in a record's JSON that are not the person's to change.
var notFields = []string{"id", "rev", "sentences"}

func fieldsOf(body []byte) (fields, error) {
	var all fields
	if err := json.Unmarshal(body, &all); err != nil {
		return nil, fmt.Errorf("a record is not a JSON object: %w", err)
	}
	for _, name := range notFields {
		delete(all, name)
	}
	return all, nil
}

// same compares two values by meaning, not by how they are written. An absent one is nil.
func same(a, b json.RawMessage) bool {
	if len(a) == 0 || len(b) == 0 {
		return len(a) == len(b)
	}
	if bytes.Equal(a, b) {
		return true
	}
	var left, right any
	return json.Unmarshal(a, &left) == nil && json.Unmarshal(b, &right) == nil && reflect.DeepEqual(left, right)
}

// Differing lists the fields in which two versions of a record differ, by name. A nil version has
// none.
func Differing(mine, theirs json.RawMessage) ([]string, error) {
	var sides [2]fields
	for i, body := range []json.RawMessage{mine, theirs} {
		if body == nil {
			continue
		}
		var err error
		if sides[i], err = fieldsOf(body); err != nil {
			return nil, err
		}
	}
	var names []string
	for name := range union(sides[0], sides[1]) {
		if !same(sides[0][name], sides[1][name]) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names, nil
}

func union(all ...fields) map[string]bool {
	names := make(map[string]bool)
	for _, one := range all {
		for name := range maps.Keys(one) {
			names[name] = true
		}
	}
	return names
}

// merge lays an edit on top of what is stored, given what the edit was based on, field by field. ok
// is false when both changed a field to different values.
func merge(base, mine, stands []byte) (merged []byte, ok bool, err error) {
	var was, my, their fields
	for _, one := range []struct {
		body []byte
		into *fields
	}{{base, &was}, {mine, &my}, {stands, &their}} {
		if *one.into, err = fieldsOf(one.body); err != nil {
			return nil, false, err
		}
	}
	for name := range union(was, my, their) {
		switch {
		case same(my[name], was[name]), same(my[name], their[name]):
			// what is stored stays
		case !same(their[name], was[name]):
			return nil, false, nil
		case my[name] == nil:
			delete(their, name)
		default:
			their[name] = my[name]
		}
	}
	merged, err = json.Marshal(their)
	return merged, true, err
}

// plain is a record's JSON as a change keeps it: with its id and without what the server writes.
func plain(body []byte, id fmt.Stringer) ([]byte, error) {
	kept, err := fieldsOf(body)
	if err != nil {
		return nil, err
	}
	if kept == nil {
		return nil, fmt.Errorf("a record is a JSON object, not null")
	}
	if kept["id"], err = json.Marshal(id.String()); err != nil {
		return nil, err
	}
	return json.Marshal(kept)
}
