package api

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"laneward/openapi"
	"laneward/service/record"
)

// wholeRecords are valid records of each kind that a client writes, and their schemas in the
// contract.
var wholeRecords = map[string]struct {
	kind record.Kind
	json string
}{
	"Athlete": {record.KindAthlete, `{"name":"A","side":"right"}`},
	"Pattern": {record.KindPattern, `{"name":"P","length_ft":40}`},
	"Ball":    {record.KindBall, `{"name":"B","athlete_id":"` + exampleID + `","weight_lb":12}`},
	"Session": {record.KindSession, `{"name":"S","kind":"block","date":"2026-03-14"}`},
	"Drill": {
		record.KindDrill,
		`{"name":"D","reps":10,"pass_share":0.7,"rules":[{"measure":"speed","min":17}]}`,
	},
	"Assignment": {
		record.KindAssignment,
		`{"drill_id":"` + exampleID + `","athlete_id":"` + exampleID + `","assigned_on":"2026-03-14"}`,
	},
	"Shot": {
		record.KindShot,
		`{"session_id":"` + exampleID + `","athlete_id":"` + exampleID + `","order":1,"time":"2026-03-14T18:05:00Z"}`,
	},
}

// A client that keeps to the contract while it is offline is not refused later, and the other way
// round: for every field of a record the contract and the server have the same limits.
func TestContractAndServerHaveTheSameLimits(t *testing.T) {
	c, err := loadContract(openapi.Contract)
	if err != nil {
		t.Fatal(err)
	}
	for name, whole := range wholeRecords {
		schema := c.document.Components.Schemas[name].Value
		for field, property := range schema.Properties {
			if field == "rev" || field == "due_on" {
				continue // a revision is not of the record, and the day it is due depends on another field
			}
			for _, value := range probes(property.Value) {
				body := map[string]any{}
				if err := json.Unmarshal([]byte(whole.json), &body); err != nil {
					t.Fatal(err)
				}
				body[field] = value
				data, err := json.Marshal(body)
				if err != nil {
					t.Fatal(err)
				}
				compareLimits(t, schema, whole.kind, field, data)
			}
		}
	}
}

func compareLimits(t *testing.T, schema *openapi3.Schema, kind record.Kind, field string, data []byte) {
	t.Helper()
	value, err := readJSON(data)
	if err != nil {
		t.Fatal(err)
	}
	check := bodyCheck{}
	check.visit(schema, value, nil)
	if !yearsFit(schema.Properties[field].Value, value.(map[string]any)[field]) {
		check.add(record.Fault{Pointer: "/" + field, Detail: "is of another year"})
	}
	_, faults := record.Decode(kind, data)
	at := func(faults []record.Fault) string {
		for _, fault := range faults {
			if strings.HasPrefix(fault.Pointer, "/"+field) || len(faults) == 1 {
				return fault.Detail
			}
		}
		return ""
	}
	byContract, byServer := at(check.faults), at(faults)
	if (byContract == "") != (byServer == "") {
		t.Errorf("%s.%s in %.200s: by the contract %q, by the server %q", kind, field, data, byContract, byServer)
	}
}

// yearsFit reports whether a day or a time lies in the years that the contract states as x-years,
// for which it has no other words.
func yearsFit(schema *openapi3.Schema, value any) bool {
	years, ok := schema.Extensions["x-years"].([]any)
	text, isText := value.(string)
	if !ok || !isText {
		return true
	}
	year, err := strconv.Atoi(text[:4])
	return err == nil && float64(year) >= years[0].(float64) && float64(year) <= years[1].(float64)
}

// probes are values at, within and beyond the limits of a schema, and far beyond all limits.
func probes(schema *openapi3.Schema) (values []any) {
	for _, part := range schema.AllOf {
		values = append(values, probes(part.Value)...)
	}
	switch {
	case schema.Type.Is(openapi3.TypeNumber):
		values = append(values, -1e9, -1e4, -500.0, -1.0, 0.0, 1.0, 40.0, 500.0, 1e4, 1e9)
		for _, limit := range []*float64{schema.Min, schema.Max} {
			if limit != nil {
				values = append(values, *limit, *limit-0.01, *limit+0.01)
			}
		}
	case schema.Type.Is(openapi3.TypeInteger):
		values = append(values, -1, 0, 1, 100, 1_000, 10_000, 100_001, 2_147_483_647)
		for _, limit := range []*float64{schema.Min, schema.Max} {
			if limit != nil {
				values = append(values, int(*limit), int(*limit)-1, int(*limit)+1)
			}
		}
	case schema.Type.Is(openapi3.TypeString) && schema.Format == "" && len(schema.Enum) == 0 && schema.Pattern == "":
		values = append(values, strings.Repeat("x", 100_000), strings.Repeat("丈", 70), "x")
		if schema.MaxLength != nil {
			most := int(*schema.MaxLength)
			values = append(values, strings.Repeat("x", most), strings.Repeat("x", most+1), strings.Repeat("丈", most))
		}
	case schema.Format == "date", schema.Format == "date-time":
		rest := map[string]string{"date": "-06-15", "date-time": "-06-15T12:00:00Z"}[schema.Format]
		for _, year := range []int{1, 1899, 1900, 1969, 1970, 2026, 2199, 2200, 9999} {
			values = append(values, fmt.Sprintf("%04d%s", year, rest))
		}
	}
	return values
}
