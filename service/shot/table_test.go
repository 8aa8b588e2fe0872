package shot_test

import (
	"encoding/base64"
	"encoding/json"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/shot"
)

// rowsOf turns a table back into the JSON of its rows, from what AppendTable's comment says alone.
func rowsOf(t *rapid.T, table []byte) (rows []map[string]any, revs []int64) {
	var columns map[string]json.RawMessage
	if err := json.Unmarshal(table, &columns); err != nil {
		t.Fatalf("%v in %s", err, table)
	}
	var count int
	var ids []byte
	read := func(name string, into any) {
		if err := json.Unmarshal(columns[name], into); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		delete(columns, name)
	}
	var word string
	read("count", &count)
	read("id", &word)
	ids, err := base64.StdEncoding.DecodeString(word)
	if err != nil || len(ids) != 16*count {
		t.Fatalf("%d bytes of ids for %d shots: %v", len(ids), count, err)
	}
	var orders []int64
	read("rev", &revs)
	read("order", &orders)
	rows = make([]map[string]any, count)
	for i := range rows {
		if i > 0 {
			revs[i] += revs[i-1]
			orders[i] += orders[i-1]
		}
		rows[i] = map[string]any{"id": uuid.UUID(ids[16*i : 16*i+16]).String(), "order": float64(orders[i])}
	}
	for name := range columns {
		var values []any
		read(name, &values)
		for i, value := range values {
			if value != nil {
				rows[i][name] = value
			}
		}
	}
	return rows, revs
}

func TestTableHoldsTheRows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var shots []*shot.Shot
		var revs []int64
		for range rapid.IntRange(0, 5).Draw(t, "shots") {
			s := anyShot(t)
			shots = append(shots, &s)
			revs = append(revs, rapid.Int64Range(0, 1<<50).Draw(t, "rev"))
		}
		rows, gotRevs := rowsOf(t, shot.AppendTable(nil, shots, revs))
		if len(rows) != len(shots) {
			t.Fatalf("%d rows of %d shots", len(rows), len(shots))
		}
		for i, s := range shots {
			var want map[string]any
			if err := json.Unmarshal(append(s.AppendJSON(nil), '}'), &want); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, rows[i]); diff != "" || gotRevs[i] != revs[i] {
				t.Fatalf("row %d, rev %d for %d (-want +got):\n%s", i, gotRevs[i], revs[i], diff)
			}
		}
	})
}
