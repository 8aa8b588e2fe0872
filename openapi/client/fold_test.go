package client

import (
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/openapi"
	"laneward/service/shot"
)

// itemsOf reads the items of a push as the server does, tables as the items they are of.
func itemsOf(t interface{ Fatalf(string, ...any) }, body []byte) (items []map[string]any, tables int) {
	var push struct{ Items []json.RawMessage }
	if err := json.Unmarshal(body, &push); err != nil {
		t.Fatalf("%v in %s", err, body)
	}
	add := func(text []byte) {
		var item map[string]any
		if err := json.Unmarshal(text, &item); err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		items = append(items, item)
	}
	for _, item := range push.Items {
		table, err := shot.ReadPushTable(item)
		switch {
		case err != nil:
			t.Fatalf("%v in %s", err, item)
		case table == nil:
			add(item)
		default:
			tables++
			for row := range table.Rows() {
				add(row.AppendItem(nil))
			}
		}
	}
	return items, tables
}

// plainItem is a change as an item of its own: without null, which is the same as left out, with the
// time as it is kept, and the id outside.
func plainItem(t *rapid.T, change Change) (item map[string]any) {
	text, err := json.Marshal(change)
	if err == nil {
		err = json.Unmarshal(text, &item)
	}
	if err != nil {
		t.Fatalf("%v", err)
	}
	return item
}

func plainRecord(item map[string]any) {
	record, _ := item["record"].(map[string]any)
	delete(record, "id")
	for name, value := range record {
		if value == nil {
			delete(record, name)
		}
	}
	if text, ok := record["time"].(string); ok {
		if at, err := time.Parse(time.RFC3339, text); err == nil {
			record["time"] = at.UTC().Truncate(time.Microsecond).Format(time.RFC3339Nano)
		}
	}
}

func anyChange(t *rapid.T) Change {
	change := Change{
		Kind:    rapid.SampledFrom([]Kind{Shot, Shot, Shot, Shot, Shot, Session}).Draw(t, "kind"),
		ID:      uuid.Must(uuid.FromBytes(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))),
		Version: rapid.SampledFrom([]string{"", "", "", "17.head<"}).Draw(t, "version"),
		Schema:  rapid.SampledFrom([]int{0, 0, 0, 1}).Draw(t, "schema"),
		Deleted: rapid.IntRange(0, 9).Draw(t, "deleted") == 9,
	}
	if change.Deleted {
		return change
	}
	fields := map[string]string{
		"order":      rapid.SampledFrom([]string{"1", "2", "7", "1.5", `"1"`}).Draw(t, "order"),
		"time":       rapid.SampledFrom([]string{`"2026-03-14T17:00:00Z"`, `"2026-03-14T18:00:00.123456789+01:00"`, `"x"`, "1"}).Draw(t, "time"),
		"session_id": `"01890a5d-ac96-774b-bcce-b302099a8000"`,
		"source":     rapid.SampledFrom([]string{`"eye"`, `"sensor"`}).Draw(t, "source"),
	}
	for range rapid.IntRange(0, 4).Draw(t, "more") {
		name := rapid.SampledFrom([]string{"speed_mph", "note", "track", "id", "rev", "all", "é<"}).Draw(t, "name")
		fields[name] = rapid.SampledFrom([]string{"17", "16.5", "null", `"<a> \n"`, `[{"ft": 1, "board": 2}]`, `"` + change.ID.String() + `"`}).Draw(t, "value")
	}
	var members []string
	for name, value := range fields {
		members = append(members, fmt.Sprintf("%q: %s", name, value))
	}
	change.Record = []byte("{" + strings.Join(members, ", ") + "}")
	return change
}

// Whatever changes are sent, the tables mean the changes, in their order.
func TestTablesMeanTheChanges(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var changes []Change
		var want []map[string]any
		for range rapid.IntRange(0, 12).Draw(t, "changes") {
			change := anyChange(t)
			changes = append(changes, change)
			want = append(want, plainItem(t, change))
		}
		body, err := writeTables(changes)
		if err != nil {
			t.Fatal(err)
		}
		got, _ := itemsOf(t, body)
		for i := range want {
			plainRecord(want[i])
		}
		for i := range got {
			plainRecord(got[i])
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("-changes +tables:\n%s", diff)
		}
	})
}

// The contract's example of a table is what it is read and written as.
func TestTableExample(t *testing.T) {
	t.Parallel()
	document, err := openapi3.NewLoader().LoadFromData(openapi.Contract)
	if err != nil {
		t.Fatal(err)
	}
	example := document.Components.Schemas["PushTable"].Value.Example
	var changes []Change
	for _, record := range []string{
		`{"order":1,"time":"2026-03-14T17:00:00Z","speed_mph":16.8,"standing":[],"note":"high"}`,
		`{"order":2,"time":"2026-03-14T17:00:41Z","speed_mph":17.1,"standing":[10],"note":"light"}`,
	} {
		alike := `{"session_id":"01890a5d-ac96-774b-bcce-b302099a8000","athlete_id":"01890a5d-ac96-774b-bcce-b302099a8001","source":"sensor",`
		changes = append(changes, Change{
			Kind:   Shot,
			ID:     uuid.MustParse(fmt.Sprint("01890a5d-ac96-774b-bcce-b302099a805", 7+len(changes))),
			Record: []byte(alike + record[1:]),
		})
	}
	want, err := json.Marshal(map[string]any{"kind": "shot", "table": example})
	if err != nil {
		t.Fatal(err)
	}
	decoded := func(text []byte) (value any) {
		if err := json.Unmarshal(text, &value); err != nil {
			t.Fatal(err)
		}
		return value
	}
	if diff := cmp.Diff(decoded(want), decoded(fold(foldable(changes)))); diff != "" {
		t.Errorf("-contract +written:\n%s", diff)
	}
	read, _ := itemsOf(t, append(append([]byte(`{"items":[`), want...), ']', '}'))
	for i, change := range changes {
		text, err := json.Marshal(change)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(decoded(text), any(read[i])); diff != "" {
			t.Errorf("shot %d (-meant +read):\n%s", i, diff)
		}
	}
}

func TestSendTables(t *testing.T) {
	t.Parallel()
	session := uuid.MustParse(someSquad)
	changes := []Change{{Kind: Session, ID: session, Record: []byte(`{"name":"Practice"}`)}}
	for i := range 1_004 {
		changes = append(changes, Change{Kind: Shot, ID: uuid.Must(uuid.NewV7()), Record: fmt.Appendf(nil,
			`{"session_id":%q,"order":%d,"time":"2026-03-14T17:00:00Z","speed_mph":16.5,"rev_rate_rpm":%d}`, session, i+1, 300+i)})
	}
	changes = append(changes, Change{Kind: Shot, ID: uuid.New(), Version: "4.head", Deleted: true})
	c, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		unpacked, err := gzip.NewReader(r.Body)
		if err != nil {
			t.Error(err)
			return
		}
		body, err := io.ReadAll(unpacked)
		if err != nil {
			t.Error(err)
		}
		items, tables := itemsOf(t, body)
		if len(items) != len(changes) || tables != 2 || len(body) > 60*len(items) {
			t.Errorf("%d items, %d tables, %d bytes", len(items), tables, len(body))
		}
		var outcomes []string
		for i := range items {
			outcomes = append(outcomes, fmt.Sprintf(`{"index":%d,"outcome":"stored","rev":%d}`, i, i+5))
		}
		answer(w, http.StatusOK, "application/json", `{"outcomes":[`+strings.Join(outcomes, ",")+`],"rev":9000,"head":"h"}`)
	}), signedIn())
	sent, err := c.Send(t.Context(), session, "", changes)
	if err != nil || len(sent.Outcomes) != len(changes) || sent.Rev != 9000 || sent.Head != "h" || sent.Outcomes[7].Rev != 12 {
		t.Errorf("%d outcomes, %d, %q, %v", len(sent.Outcomes), sent.Rev, sent.Head, err)
	}
}
