package service

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/shot"
)

// tableRow is a shot as it is sent: cells are JSON by the member's name.
type tableRow struct {
	id              uuid.UUID
	order, micros   int64
	version, schema string // JSON, "" for none
	cells           map[string]string
}

// item is the row as an item of its own, with what is alike first.
func (r tableRow) item(alike map[string]string) []byte {
	record := []string{
		fmt.Sprintf(`"order":%d,"time":%q`, r.order, time.UnixMicro(r.micros).UTC().Format(time.RFC3339Nano)),
	}
	rest := maps.Clone(r.cells)
	maps.DeleteFunc(rest, func(name, _ string) bool { _, once := alike[name]; return once })
	for _, cells := range []map[string]string{alike, rest} {
		for _, name := range slices.Sorted(maps.Keys(cells)) {
			record = append(record, strconv.Quote(name)+":"+cells[name])
		}
	}
	text := `{"kind":"shot","id":"` + r.id.String() + `",`
	if r.version != "" {
		text += `"version":` + r.version + `,`
	}
	if r.schema != "" {
		text += `"schema":` + r.schema + `,`
	}
	return []byte(text + `"record":{` + strings.Join(record, ",") + `}}`)
}

// tableItem writes rows as the contract's PushTableItem, from its words alone.
func tableItem(rows []tableRow, alike map[string]string) string {
	columns := make(map[string][]string)
	var ids [16][]byte
	differences := func(value func(tableRow) int64) string {
		var list []string
		before := int64(0)
		for _, row := range rows {
			list = append(list, fmt.Sprint(value(row)-before))
			before = value(row)
		}
		return "[" + strings.Join(list, ",") + "]"
	}
	for i, row := range rows {
		for at := range ids {
			ids[at] = append(ids[at], row.id[at])
		}
		cells := maps.Clone(row.cells)
		for name, text := range map[string]string{"version": row.version, "schema": row.schema} {
			if text != "" {
				cells[name] = text
			}
		}
		for name, text := range cells {
			if _, ok := alike[name]; ok {
				continue
			}
			if columns[name] == nil {
				columns[name] = slices.Repeat([]string{"null"}, len(rows))
			}
			columns[name][i] = text
		}
	}
	parts := []string{
		fmt.Sprintf(`"count":%d`, len(rows)),
		`"id":"` + base64.StdEncoding.EncodeToString(slices.Concat(ids[:]...)) + `"`,
		`"order":` + differences(func(r tableRow) int64 { return r.order }),
		`"time":` + differences(func(r tableRow) int64 { return r.micros }),
	}
	for _, name := range slices.Sorted(maps.Keys(columns)) {
		parts = append(parts, strconv.Quote(name)+":["+strings.Join(columns[name], ",")+"]")
	}
	var all []string
	for _, name := range slices.Sorted(maps.Keys(alike)) {
		all = append(all, strconv.Quote(name)+":"+alike[name])
	}
	if all != nil {
		parts = append(parts, `"all":{`+strings.Join(all, ",")+`}`)
	}
	return `{"kind":"shot","table":{` + strings.Join(parts, ",") + `}}`
}

// cellsOf are values of a shot's members, right and wrong ones.
var cellsOf = func() map[string][]string {
	const id = `"01890a5d-ac96-774b-bcce-b302099a8057"`
	numbers := []string{"17", "16.5", "0", "-1", "39.25", "1e1", "2.0", "1E400", `"17"`, "true", "[]", "null", "12345678901234567890"}
	ids := []string{id, strings.ToUpper(id), `"01890a5dac96774bbcceb302099a8057"`, `"x"`, "7", "null", `"00000000-0000-0000-0000-000000000000"`}
	texts := []string{`"eye"`, `""`, `"right"`, `"é"`, `"a\nb"`, `"\ud83d\ude00"`, `"\ud83d"`, "\"\xff\"", "5", "null", `{"a":1}`}
	all := map[string][]string{
		"session_id": ids, "athlete_id": ids, "ball_id": ids, "drill_id": ids,
		"gutter": texts, "source": texts, "note": texts,
		"standing":  {"[]", "[1,2,10]", "[11]", "[1.0]", "[1,1]", "[null]", `"1"`, "null", "[[]]"},
		"track":     {`[{"ft":40,"board":9.5}]`, "[]", `[{"ft":40}]`, `[{"ft":1,"ft":2,"board":3}]`, `[{"FT":1,"board":2}]`, `[{"ft":null,"board":2}]`, `[{"ft":2,"board":2},{"ft":1,"board":2}]`, "7", "null"},
		"errors":    {`{"board":0.4}`, `{}`, `{"board":null}`, `{"board":0.4,"board":1}`, `{"boards":1}`, `{"board":"x"}`, "[]", "null", `{"\u0062oard":1}`},
		"unknown":   {"1", "null"},
		"Speed_mph": {"17"},
		"rev_rate":  {"300"},
	}
	for _, m := range shot.Measures() {
		if !m.IsError() {
			all[m.Field] = numbers
		}
	}
	return all
}()

func anyTableRow(t *rapid.T) tableRow {
	names := slices.Sorted(maps.Keys(cellsOf))
	row := tableRow{
		id:     uuid.Must(uuid.FromBytes(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))),
		order:  rapid.OneOf(rapid.Int64Range(1, 9), rapid.Int64()).Draw(t, "order"),
		micros: rapid.OneOf(rapid.Int64Range(0, 7_258_118_399_999_999), rapid.Int64Range(-6e16, 25e16)).Draw(t, "time"),
		cells:  map[string]string{},
	}
	for _, name := range []string{"session_id", "athlete_id"} { // a shot without is refused for that
		row.cells[name] = cellsOf[name][0]
	}
	for range rapid.IntRange(0, 6).Draw(t, "cells") {
		name := rapid.SampledFrom(names).Draw(t, "name")
		row.cells[name] = rapid.SampledFrom(cellsOf[name]).Draw(t, "value")
	}
	row.version = rapid.SampledFrom([]string{"", "", `"17.AAAA"`, `"17"`, `"\u0031"`, "17", `""`, "\"\xff\""}).Draw(t, "version")
	row.schema = rapid.SampledFrom([]string{"", "", "1", "3", "-1", "1.5", `"1"`}).Draw(t, "schema")
	return row
}

// read is what a push makes of some items: the changes and what is refused.
func read(items []PushItem, faults map[int]string) string {
	pushed := decodePush(items, Schema)
	var out []string
	for n, change := range pushed.changes {
		text, err := json.Marshal(change.Record)
		out = append(out, fmt.Sprint(pushed.at[n], pushed.bases[n], change.Schema, change.Delete, string(text), err))
	}
	for i, o := range pushed.outcomes {
		if faults[i] != "" {
			out = append(out, fmt.Sprint(i, faults[i]))
			continue
		}
		out = append(out, fmt.Sprint(i, o))
	}
	return strings.Join(out, "\n")
}

// Whatever shots are sent, right and wrong ones, a table of them means what the items do one by one.
func TestTableMeansItsItems(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.Custom(anyTableRow), 1, 5).Draw(t, "rows")
		alike := map[string]string{}
		for _, name := range slices.Sorted(maps.Keys(rows[0].cells)) {
			text := rows[0].cells[name]
			if !slices.ContainsFunc(rows, func(r tableRow) bool { return r.cells[name] != text }) &&
				rapid.Bool().Draw(t, "alike") {
				alike[name] = text
			}
		}
		var want []PushItem
		wantFaults, gotFaults := map[int]string{}, map[int]string{}
		for i := range rows {
			maps.DeleteFunc(rows[i].cells, func(name, text string) bool {
				_, once := alike[name]
				return text == "null" && !once // in a column it is as if left out
			})
			item, faults := ReadPushItem(rows[i].item(alike))
			if want = append(want, item); len(faults) > 0 {
				wantFaults[i] = fmt.Sprint(faults)
			}
		}
		table, err := shot.ReadPushTable([]byte(tableItem(rows, alike)))
		if err != nil {
			t.Fatal(err)
		}
		got, faults := ReadPushTable(table)
		for i, found := range faults {
			gotFaults[i] = fmt.Sprint(found)
		}
		if diff := cmp.Diff(read(want, wantFaults), read(got, gotFaults)); diff != "" {
			t.Fatalf("-items +table:\n%s", diff)
		}
	})
}

func someRows(n int) []tableRow {
	rows := make([]tableRow, n)
	for i := range rows {
		rows[i] = tableRow{
			id:     uuid.Must(uuid.NewV7()),
			order:  int64(i + 1),
			micros: 1_773_507_600_000_000 + int64(i)*40_000_000,
			cells: map[string]string{
				"session_id": cellsOf["session_id"][0],
				"athlete_id": cellsOf["athlete_id"][0],
				"speed_mph":  fmt.Sprint(16 + float64(i%10)/10),
			},
		}
	}
	return rows
}

// What is not a whole table fails as a whole, and says why.
func TestTableThatIsNotWhole(t *testing.T) {
	whole := tableItem(someRows(2), map[string]string{"source": `"eye"`})
	for name, one := range map[string]struct{ old, new, says string }{
		"no object":              {whole, `{"kind":"shot","table":[1]}`, "an array"},
		"another kind":           {`"kind":"shot"`, `"kind":"ball"`, "only shots"},
		"an id beside":           {`"kind":"shot"`, `"kind":"shot","id":"x"`, "beside kind and table"},
		"two tables":             {`{"kind":"shot",`, `{"kind":"shot","table":{},`, "beside kind and table"},
		"no count":               {`"count":2,`, ``, "no count"},
		"a count in words":       {`"count":2,`, `"count":"2",`, `"count"`},
		"more than there are":    {`"count":2,`, `"count":3,`, "has 2 values for 3 shots"},
		"none":                   {`"count":2,`, `"count":0,`, "1 to 1000"},
		"a thousand million":     {`"count":2,`, `"count":1000000000,`, "1 to 1000"},
		"no ids":                 {`"id":"`, `"ids":"`, `"ids"`},
		"ids of no alphabet":     {`"id":"`, `"id":"!`, `"id"`},
		"an id cut":              {`"id":"`, `"id":"AAAA`, `part of an id`},
		"orders missing":         {`"order":[1,1]`, `"order":[1]`, `"order" has 1 values`},
		"a fraction of an order": {`"order":[1,1]`, `"order":[1,0.5]`, "whole numbers"},
		"an order that is null":  {`"order":[1,1]`, `"order":[1,null]`, "whole numbers"},
		"a column cut":           {`"speed_mph":[16,16.1]`, `"speed_mph":[16]`, `"speed_mph" has 1 values`},
		"no column":              {`"speed_mph":[16,16.1]`, `"speed_mph":16`, "an array with a value a shot"},
		"a column twice":         {`"order"`, `"speed_mph":[1,2],"order"`, "comes twice"},
		"a revision":             {`"order"`, `"rev":[1,2],"order"`, "as version"},
		"alike and in a column":  {`"all":{`, `"all":{"speed_mph":17,`, `in "all" too`},
		"alike, and no object":   {`"all":{"source":"eye"}`, `"all":7`, "an object"},
		"much alike":             {`"all":{`, `"all":{"note":"` + strings.Repeat("x", 1_024) + `",`, "more than 1024 bytes"},
		"too many columns":       {`"order"`, manyColumns() + `"order"`, "more than 64 columns"},
	} {
		t.Run(name, func(t *testing.T) {
			text := strings.Replace(whole, one.old, one.new, 1)
			if text == whole || !json.Valid([]byte(text)) {
				t.Fatalf("not the table that is meant: %s", text)
			}
			if table, err := shot.ReadPushTable([]byte(text)); err == nil || !strings.Contains(err.Error(), one.says) {
				t.Errorf("%v, %v; want %q", table, err, one.says)
			}
		})
	}
}

func manyColumns() string {
	var b strings.Builder
	for i := range 64 {
		fmt.Fprintf(&b, `"c%d":[null,null],`, i)
	}
	return b.String()
}

// FuzzPushTable: no item makes the reader panic, or give other than a table's count of items.
func FuzzPushTable(f *testing.F) {
	f.Add([]byte(tableItem(someRows(2), map[string]string{"source": `"eye"`})))
	f.Add([]byte(`{"kind":"shot","table":{"count":1,"id":"AAAAAAAAAAAAAAAAAAAAAA==","order":[1],"time":[0],"note":["\ud800"],"version":[1]}}`))
	f.Add([]byte(`{"kind":"shot","record":{}}`))
	f.Fuzz(func(t *testing.T, item []byte) {
		if !json.Valid(item) || len(item) == 0 {
			return
		}
		table, err := shot.ReadPushTable([]byte(strings.TrimSpace(string(item))))
		if err != nil || table == nil {
			return
		}
		items, faults := ReadPushTable(table)
		if len(items) != table.Count || len(faults) > len(items) {
			t.Errorf("%d items of %d shots, %d with faults", len(items), table.Count, len(faults))
		}
		decodePush(items, Schema)
	})
}

// The two ways to send the same shots.
func BenchmarkReadPush(b *testing.B) {
	rows := someRows(shot.MaxTableShots)
	alike := map[string]string{"session_id": cellsOf["session_id"][0], "athlete_id": cellsOf["athlete_id"][0]}
	b.Run("items", func(b *testing.B) {
		var lines [][]byte
		for _, row := range rows {
			lines = append(lines, row.item(alike))
		}
		for b.Loop() {
			items := make([]PushItem, len(lines))
			for i, line := range lines {
				items[i], _ = ReadPushItem(line)
			}
			decodePush(items, Schema)
		}
	})
	b.Run("table", func(b *testing.B) {
		text := []byte(tableItem(rows, alike))
		for b.Loop() {
			table, err := shot.ReadPushTable(text)
			if err != nil {
				b.Fatal(err)
			}
			items, _ := ReadPushTable(table)
			decodePush(items, Schema)
		}
	})
}
