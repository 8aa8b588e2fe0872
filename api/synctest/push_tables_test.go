package synctest

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
)

const tablesMedia = "application/vnd.laneward.tables+json"

// tableOf writes shots as the contract's PushTableItem, with the members of alike once.
func tableOf(t testing.TB, items []item, alike ...string) any {
	t.Helper()
	table := fields{"count": len(items)}
	column := func(name string) []any {
		if table[name] == nil {
			table[name] = make([]any, len(items))
		}
		return table[name].([]any)
	}
	ids := make([]byte, 16*len(items))
	lastOrder, lastTime := 0, int64(0)
	for i, one := range items {
		text, err := json.Marshal(one.Record)
		if err != nil {
			t.Fatal(err)
		}
		var record struct {
			ID    uuid.UUID
			Order int
			Time  time.Time
		}
		if err := json.Unmarshal(text, &record); err != nil {
			t.Fatal(err)
		}
		for at, b := range record.ID {
			ids[at*len(items)+i] = b
		}
		column("order")[i], column("time")[i] = record.Order-lastOrder, record.Time.UnixMicro()-lastTime
		lastOrder, lastTime = record.Order, record.Time.UnixMicro()
		for name, value := range one.Record {
			if name != "id" && name != "order" && name != "time" {
				column(name)[i] = value
			}
		}
		if one.Version != "" {
			column("version")[i] = one.Version
		}
	}
	table["id"] = base64.StdEncoding.EncodeToString(ids)
	all := fields{}
	for _, name := range alike {
		all[name] = items[0].Record[name]
		delete(table, name)
	}
	table["all"] = all
	return fields{"kind": "shot", "table": table}
}

// tables writes a push of items as they are, tables among them.
func tables(t testing.TB, items ...any) []byte {
	t.Helper()
	body, err := json.Marshal(fields{"items": items})
	if err != nil {
		t.Fatal(err)
	}
	return body
}

func (c *client) pushTables(ctx context.Context, squad string, body []byte, header ...string) (result pushResult, err error) {
	response, err := c.send(ctx, http.MethodPost, "/v1/squads/"+squad+"/push", bytes.NewReader(body),
		append([]string{"Content-Type", tablesMedia}, header...)...)
	if err != nil {
		return result, err
	}
	defer response.Body.Close()
	return result, json.NewDecoder(response.Body).Decode(&result)
}

// A table of shots comes to what its shots come to one by one: new ones, resent ones, edits of what
// is stored, with and without a version, and what is wrong, each told of its shot alone.
func TestTablesComeToWhatTheirShotsDo(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	one, other := coach.newBase(t), coach.newBase(t)
	push := func(b base, shots []item, asTable bool) pushResult {
		t.Helper()
		stranger := fields{"kind": "session", "id": newID(), "record": fields{"kind": "practice", "name": "S", "date": "2026-03-14"}}
		list := []any{stranger}
		if asTable {
			list = append(list, tableOf(t, shots, "session_id", "athlete_id"))
		} else {
			for _, shot := range shots {
				list = append(list, shot)
			}
		}
		got, err := coach.pushTables(t.Context(), b.squad, tables(t, append(list, fields{"kind": "shot", "id": newID(), "deleted": true})...))
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	same := func(what string, change func(b base, shots []item)) {
		t.Helper()
		var results []pushResult
		for _, b := range []base{one, other} {
			shots := b.shots(30, 1)
			if change != nil {
				change(b, shots)
			}
			results = append(results, push(b, shots, b == one))
		}
		ignore := cmp.Options{
			cmpopts.IgnoreFields(outcome{}, "ID"),
			cmpopts.IgnoreMapEntries(func(name string, _ any) bool { return strings.HasSuffix(name, "id") }),
			cmpopts.IgnoreFields(pushResult{}, "Head"),
		}
		if diff := cmp.Diff(results[1], results[0], ignore); diff != "" {
			t.Errorf("%s (-items +table):\n%s", what, diff)
		}
		if n := len(results[0].Outcomes); n != 32 {
			t.Errorf("%s: %d outcomes, want 32", what, n)
		}
	}
	stored := map[base][]item{}
	same("new", func(b base, shots []item) { stored[b] = shots })
	again := func(change func(b base, shots []item)) func(base, []item) {
		return func(b base, shots []item) {
			copy(shots, stored[b])
			for i := range shots {
				record := fields{}
				for name, value := range shots[i].Record {
					record[name] = value
				}
				shots[i].Record = record
			}
			if change != nil {
				change(b, shots)
			}
		}
	}
	same("sent again", again(nil))
	same("changed without a version", again(func(_ base, shots []item) { shots[3].Record["note"] = "x" }))
	same("changed", again(func(b base, shots []item) {
		page, err := coach.feed(t.Context(), b.squad, "", 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range []int{3, 4, 5} {
			shots[i].Record["note"] = "edited"
			shots[i].Version = fmt.Sprintf("%d.%s", coach.revOf(t, b.squad, shots[i].Record["id"].(string)), page.Head)
		}
		shots[5].Version = "7.made-up"
		shots[6].Version = "not a version"
	}))
	same("wrong", func(_ base, shots []item) {
		shots[1].Record["speed_mph"] = 99
		shots[2].Record["speed_mph"] = "17"
		shots[3].Record["lane"] = 1.5
		shots[4].Record["speed"] = 17
		shots[5].Record["note"] = "NUL\x00"
		shots[6].Record["track"] = []any{fields{"ft": 1, "bord": 2}}
		shots[7].Record["ball_id"] = "01890a5d-ac96-774b-bcce-b302099a8057"
		shots[8].Record["note"] = "with \"quotes\" and é"
		shots[9].Record["order"] = 0
	})
}

// revOf is a shot's revision.
func (p *person) revOf(t *testing.T, squad, id string) int64 {
	t.Helper()
	var record struct{ Rev int64 }
	if err := p.call(t.Context(), http.MethodGet, "/v1/squads/"+squad+"/shots/"+id, nil, &record); err != nil {
		t.Fatal(err)
	}
	return record.Rev
}

// TestTablesOfManyPieces pushes tables that do not fit into pieces evenly.
func TestTablesOfManyPieces(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	shots := b.shots(2_500, 1)
	body := gzipped(t, tables(t, tableOf(t, shots[:700]), tableOf(t, shots[700:1_700]), shots[1_700], tableOf(t, shots[1_701:])))
	for _, want := range []string{"stored", "same"} {
		got, err := coach.pushTables(t.Context(), b.squad, body, "Content-Encoding", "gzip")
		if err != nil || len(got.Outcomes) != len(shots) {
			t.Fatalf("%d outcomes, %v", len(got.Outcomes), err)
		}
		for i, o := range got.Outcomes {
			if o.Index != i || o.Outcome != want || o.ID != shots[i].Record["id"] {
				t.Fatalf("outcome %d is %+v, want %s of %s", i, o, want, shots[i].Record["id"])
			}
		}
	}
	atomic := tables(t, tableOf(t, b.shots(600, 3_000)), tableOf(t, b.shots(400, 3_600)))
	response, err := coach.send(t.Context(), http.MethodPost, "/v1/squads/"+b.squad+"/push?atomic=true", bytes.NewReader(atomic),
		"Content-Type", tablesMedia)
	if err != nil {
		t.Fatal(err)
	}
	if err := response.Body.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestTablesThatAreNotTaken sends what is too much, damaged or not whole: nothing of it is stored,
// and none is the server's failure.
func TestTablesThatAreNotTaken(t *testing.T) {
	t.Parallel()
	s, coach, b := newWire(t)
	table := tableOf(t, b.shots(4, 1))
	good := tables(t, table)
	tiny, err := json.Marshal(table)
	if err != nil {
		t.Fatal(err)
	}
	thousand, err := json.Marshal(tableOf(t, b.shots(1_000, 1), "session_id", "athlete_id"))
	if err != nil {
		t.Fatal(err)
	}
	many := func(text []byte, n int) []byte {
		return append(append([]byte(`{"items":[`), bytes.Repeat(append(text, ','), n-1)...), append(text, ']', '}')...)
	}
	first := tables(t, b.shots(1, 1)[0])
	for name, tc := range map[string]struct {
		body   []byte
		media  string
		packed bool
		path   string
		want   int
		says   string
	}{
		"more shots than a push has":    {many(thousand, 101), tablesMedia, true, "", http.StatusRequestEntityTooLarge, "100000 items"},
		"more shots than an atomic has": {many(tiny, 251), tablesMedia, false, "?atomic=true", http.StatusRequestEntityTooLarge, "1000 items"},
		"a bomb of spaces":              {append([]byte(`{"items":[`), bytes.Repeat([]byte(" "), 64<<20)...), tablesMedia, true, "", http.StatusRequestEntityTooLarge, ""},
		"a count of a thousand million": {bytes.Replace(good, []byte(`"count":4`), []byte(`"count":1000000000`), 1), tablesMedia, false, "", http.StatusBadRequest, "1 to 1000 shots"},
		"a column too short":            {bytes.Replace(good, []byte(`"count":4`), []byte(`"count":5`), 1), tablesMedia, false, "", http.StatusBadRequest, "/items/0"},
		"not whole behind a good item":  {append(append(first[:len(first)-2:len(first)-2], ','), []byte(`{"kind":"shot","table":{}}]}`)...), tablesMedia, false, "", http.StatusBadRequest, "/items/1"},
		"cut":                           {good[:len(good)-1], tablesMedia, false, "", http.StatusBadRequest, "ends in the middle"},
		"and more":                      {append(bytes.Clone(good), good...), tablesMedia, false, "", http.StatusBadRequest, "more follows"},
	} {
		t.Run(name, func(t *testing.T) {
			header := []string{"Content-Type", tc.media}
			if tc.packed {
				header, tc.body = append(header, "Content-Encoding", "gzip"), gzipped(t, tc.body)
			}
			response, err := coach.send(t.Context(), http.MethodPost, "/v1/squads/"+b.squad+"/push"+tc.path, bytes.NewReader(tc.body), header...)
			if err == nil {
				text, _ := io.ReadAll(response.Body) // to say what came
				_ = response.Body.Close()            // as above
				t.Fatalf("answered %d: %.300s", response.StatusCode, text)
			}
			if statusOf(err) != tc.want || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("%v, want %d with %q", err, tc.want, tc.says)
			}
		})
	}
	for _, media := range []string{"application/json", "application/x-ndjson"} { // which have no tables
		result, err := coach.send(t.Context(), http.MethodPost, "/v1/squads/"+b.squad+"/push", bytes.NewReader(
			map[string][]byte{"application/json": good, "application/x-ndjson": tiny}[media]), "Content-Type", media)
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(result.Body)
		_ = result.Body.Close() // it has been read
		if err != nil || !bytes.Contains(text, []byte(`"refused"`)) {
			t.Errorf("a table as %s: %s, %v", media, text, err)
		}
	}
	if page, err := coach.feed(t.Context(), b.squad, "", 1_000); err != nil || strings.Contains(fmt.Sprint(page.Items), "shot") {
		t.Errorf("something is stored: %v, %v", page.Items, err)
	}
	if failures := s.log.lines(`"level":"ERROR"`); len(failures) > 0 {
		t.Errorf("the server failed: %s", failures[0])
	}
}
