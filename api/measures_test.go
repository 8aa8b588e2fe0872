package api_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"

	"laneward/db"
	"laneward/openapi"
	"laneward/service/shot"
)

// TestEveryPlaceHasEveryMeasure holds that a number which is measured of a shot is in the contract,
// in the database, in JSON and in CSV: a new one is an entry of shot.Measures, a line of the
// contract and a migration. The logger's table and the command line's flags have tests of their own.
func TestEveryPlaceHasEveryMeasure(t *testing.T) {
	t.Parallel()
	document, err := openapi3.NewLoader().LoadFromData(openapi.Contract)
	if err != nil {
		t.Fatal(err)
	}
	typed := make(map[string]string)
	for _, m := range shot.Measures() {
		schema, key := document.Components.Schemas["Shot"].Value, m.Field
		if m.IsError() {
			schema, key = document.Components.Schemas["StandardErrors"].Value, strings.TrimPrefix(m.Field, "errors/")
		}
		kind := "number"
		if m.Whole != nil {
			kind = "integer"
		}
		switch property := schema.Properties[key]; {
		case property == nil:
			t.Errorf("the contract has no %s", m.Field)
		default:
			of := property.Value
			if len(of.AllOf) == 1 {
				of = of.AllOf[0].Value
			}
			if !of.Type.Is(kind) || of.Min != nil && *of.Min != m.Min || of.Max != nil && *of.Max != m.Max {
				t.Errorf("%s is not a %s from %v to %v in the contract", m.Field, kind, m.Min, m.Max)
			}
		}
		if m.Whole != nil {
			_ = db.ShotColumn[*int16](m.Column) // panics when there is none
		} else {
			_ = db.ShotColumn[*float64](m.Column)
		}
		s := shot.Shot{ID: uuid.Max}
		value := m.Max
		m.Set(&s, &value)
		written := append(s.AppendJSON(nil), '}')
		plain, err := json.Marshal(s)
		if err != nil || string(written) != string(plain) || !strings.Contains(string(written), `"`+key+`":`) {
			t.Errorf("%s is written %s, want %s (%v)", m.Field, written, plain, err)
		}
		if !slices.ContainsFunc(shot.Columns(), func(c shot.Column) bool { return c.Name == m.Column && c.Field == m.Field }) {
			t.Errorf("a CSV log has no column %s", m.Column)
		}
		for _, word := range m.Typed {
			if typed[word] != "" {
				t.Errorf("%q is typed for %s and for %s", word, typed[word], m.Field)
			}
			typed[word] = m.Field
		}
		if m.Label == "" || m.Meaning == "" || !m.IsError() && (m.Said == "" || len(m.Typed) == 0) {
			t.Errorf("%s lacks a word: %+v", m.Field, m)
		}
	}
}
