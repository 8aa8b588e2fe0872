package desk

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

const (
	testServer    = "http://127.0.0.1:1"
	testSession   = 50 // shots
	testDrillJSON = `{"id":"01890a5d-ac96-774b-bcce-b302099a8003","name":"Inside","reps":30,"pass_share":0.8,
		"rules":[{"measure":"board","at":"breakpoint","min":10}]}`
)

// deskWith is a desk with a drill over a store that holds so many shots of an athlete, in sessions
// of fifty on one day each.
func deskWith(tb testing.TB, shots int) (d *logDesk, printed *bytes.Buffer) {
	tb.Helper()
	ctx, user := tb.Context(), uuid.New()
	now := func() time.Time { return time.Date(2026, time.November, 20, 18, 0, 0, 0, time.UTC) }
	store, err := local.Open(ctx, tb.TempDir(), testServer, user, now)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := store.Close(); err != nil {
			tb.Error(err)
		}
	})
	squad, athlete, id := local.Squad{ID: uuid.New()}, uuid.New(), uuid.New()
	fill(tb, store.File(), squad.ID, athlete, shots)
	printed = new(bytes.Buffer)
	env := terminal.Environment{Getenv: func(string) string { return "" }, Now: now, Stdout: printed, Stderr: printed}
	d = &logDesk{
		copyConnection: &copyConnection{remote.Connection{Console: terminal.Console{Env: env}}, store},
		squad:          squad,
		athlete:        openapi.Athlete{ID: &athlete, Name: "Rhea"},
		session: sessionOf{id: id, new: true, Session: openapi.Session{
			ID: &id, Kind: openapi.Practice, Name: "Tonight", Date: env.Today(), AthleteID: &athlete,
		}},
	}
	asked := client.Record{Kind: client.Drill, ID: testDrill, JSON: json.RawMessage(testDrillJSON)}
	if err := d.takeDrill(ctx, asked); err != nil {
		tb.Fatal(err)
	}
	if err := d.load(ctx); err != nil {
		tb.Fatal(err)
	}
	return d, printed
}

var testDrill = uuid.MustParse("01890a5d-ac96-774b-bcce-b302099a8003")

// fill puts shots into a store as a sync would have, from a connection of its own.
func fill(tb testing.TB, file string, squad, athlete uuid.UUID, shots int) {
	tb.Helper()
	db, err := sql.Open("sqlite", "file:"+file+"?_pragma=busy_timeout(15000)")
	if err != nil {
		tb.Fatal(err)
	}
	defer db.Close()
	tx, err := db.BeginTx(tb.Context(), nil)
	if err != nil {
		tb.Fatal(err)
	}
	put := func(kind client.Kind, id uuid.UUID, format string, values ...any) {
		_, err := tx.ExecContext(tb.Context(), `INSERT INTO records (squad, kind, id, rev, copy, body) VALUES (?, ?, ?, 1, 0, ?)`,
			squad.String(), string(kind), id.String(), fmt.Sprintf(format, values...))
		if err != nil {
			tb.Fatal(err)
		}
	}
	var session uuid.UUID
	for i := range shots {
		if i%testSession == 0 {
			session = uuid.New()
			day := time.Date(2020, time.January, 1+i/testSession, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
			put(client.Session, session, `{"id":%q,"kind":"practice","name":"P","date":%q,"athlete_id":%q}`, session, day, athlete)
		}
		id := uuid.New()
		put(client.Shot, id, `{"id":%q,"session_id":%q,"athlete_id":%q,"drill_id":%q,"order":%d,
			"time":"2026-11-20T10:00:00Z","breakpoint_board":%d,"breakpoint_ft":42,"standing":[10]}`,
			id, session, athlete, testDrill, i%testSession+1, 8+i%6)
	}
	if err := tx.Commit(); err != nil {
		tb.Fatal(err)
	}
}

// A typed line costs the same however many shots the athlete has stored. What is measured is a line
// and its undo, each on the disk when it returns.
func BenchmarkLine(b *testing.B) {
	for _, shots := range []int{100, 100_000} {
		b.Run(fmt.Sprintf("shots=%d", shots), func(b *testing.B) {
			d, _ := deskWith(b, shots)
			for b.Loop() {
				for _, line := range []string{"- - 9@42 - x", "undo"} {
					if err := d.load(b.Context()); err != nil {
						b.Fatal(err)
					}
					if err := d.obey(b.Context(), line); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
	}
}

// What is kept in memory while lines are typed is what reading everything anew gives.
func TestPracticeIsWhatIsStored(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	d, printed := deskWith(t, 120)
	for _, line := range []string{"- - 9@42 - x", "- - 12@42", "- - 11@42 17", "edit 2 bp=8@40", "delete 1", "undo", "- - 14@42"} {
		if err := d.obey(ctx, line); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		same(t, line, d)
	}
	if !strings.Contains(printed.String(), "1 of 2 kept this session, 61 %; 81 of 122 in all, met.") {
		t.Errorf("the standing does not tell this session from all:\n%s", printed)
	}
	printed.Reset()
	d.goodbye()
	if want := d.standingWords(d.whole()) + ".\n"; !strings.HasPrefix(printed.String(), want) {
		t.Errorf("at the end: %q, want first %q", printed, want)
	}
	before := d.inSession[0].Order
	fill(t, d.File(), d.squad.ID, *d.athlete.ID, 3) // as another process does
	if err := d.load(ctx); err != nil {
		t.Fatal(err)
	}
	if got := d.others.shots; got != 123 || d.inSession[0].Order != before {
		t.Errorf("%d shots of other sessions after another process wrote three to 120", got)
	}
	same(t, "after another process wrote", d)
}

// After another process has written, what has changed is read and the rest is kept.
func TestReadsWhatChanged(t *testing.T) {
	t.Parallel()
	d, _ := deskWith(t, 40)
	var ids []uuid.UUID
	for id, s := range d.read {
		s.Source = "kept"
		d.read[id] = s
		ids = append(ids, id)
	}
	elsewhere(t, d.File(), `UPDATE records SET rev = 2, body = json_set(body, '$.source', 'changed') WHERE id = ?`, ids[0])
	elsewhere(t, d.File(), `DELETE FROM records WHERE id = ?`, ids[1])
	fill(t, d.File(), d.squad.ID, *d.athlete.ID, 3)
	if err := d.load(t.Context()); err != nil {
		t.Fatal(err)
	}
	got := map[string]int{}
	for _, s := range d.read {
		got[s.Source]++
	}
	if diff := cmp.Diff(map[string]int{"kept": 38, "changed": 1, "": 3}, got); diff != "" {
		t.Errorf("shots by where they come from (-want +got):\n%s", diff)
	}
}

// elsewhere runs a statement about a record as another process would.
func elsewhere(tb testing.TB, file, statement string, id uuid.UUID) {
	tb.Helper()
	db, err := sql.Open("sqlite", "file:"+file+"?_pragma=busy_timeout(15000)")
	if err != nil {
		tb.Fatal(err)
	}
	defer db.Close()
	result, err := db.ExecContext(tb.Context(), statement, id.String())
	if err != nil {
		tb.Fatal(err)
	}
	if n, err := result.RowsAffected(); err != nil || n != 1 {
		tb.Fatalf("%d records, %v", n, err)
	}
}

// What a line costs after another process has stored a shot.
func BenchmarkLineAfterAnother(b *testing.B) {
	d, _ := deskWith(b, 100_000)
	for b.Loop() {
		fill(b, d.File(), d.squad.ID, *d.athlete.ID, 1)
		if err := d.load(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
}

// same holds the desk's practice against one that is read anew.
func same(t *testing.T, after string, d *logDesk) {
	t.Helper()
	again := *d
	again.practice = practice{}
	if err := again.load(context.WithoutCancel(t.Context())); err != nil {
		t.Fatal(err)
	}
	kept, anew := d.practice, again.practice
	kept.version, anew.version = 0, 0
	kept.read, anew.read = nil, nil   // what was changed here is read when another process has written
	kept.before, anew.before = "", "" // what stood before is not stored
	if diff := cmp.Diff(anew, kept, cmp.AllowUnexported(practice{}, loggedShot{}, thrown{}, counts{})); diff != "" {
		t.Errorf("%s: the practice in memory is not what is stored (-stored +memory):\n%s", after, diff)
	}
}
