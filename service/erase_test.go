package service

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"laneward/db"
	"laneward/service/drill"
	"laneward/service/record"
	"laneward/service/shot"
)

// life stores a record of every kind for an athlete, each changed once and some deleted, so that
// the history speaks of them too.
func (f *fixture) life(
	t testing.TB,
	squad, coach uuid.UUID,
	athlete *record.Athlete,
) (session *record.Session, ball *record.Ball) {
	t.Helper()
	session, ball = newSession(athlete.ID), newBall(athlete.ID)
	asked := &record.Drill{
		Head: record.Head{ID: newID()}, Name: "Play inside", Reps: 30, PassShare: 0.7,
		Rules: []drill.Rule{{Measure: drill.Board, At: drill.Breakpoint, Min: new(10.0)}},
	}
	given := &record.Assignment{
		Head:       record.Head{ID: newID()},
		DrillID:    asked.ID,
		AthleteID:  athlete.ID,
		AssignedOn: record.Day{Time: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)},
	}
	thrown := &record.Shot{
		Shot: shot.Shot{
			ID:        newID(),
			SessionID: session.ID,
			AthleteID: athlete.ID,
			BallID:    &ball.ID,
			Order:     1,
			Time:      f.clock.now(),
		},
	}
	gone := &record.Shot{
		Shot: shot.Shot{ID: newID(), SessionID: session.ID, AthleteID: athlete.ID, Order: 2, Time: f.clock.now()},
	}
	f.store(t, squad, coach, athlete, session, ball, asked, given, thrown, gone)
	f.join(t, squad, coach, record.RoleAthlete, &athlete.ID)
	f.invite(t, squad, coach, record.RoleAthlete, &athlete.ID)
	mark := "a word about " + athlete.Name
	athlete.Note, session.Note, ball.Note, given.Note, thrown.Note = mark, mark, mark, mark, mark
	f.store(t, squad, coach, athlete, session, ball, given, thrown)
	for _, o := range f.apply(t, squad, coach, Change{Record: gone, Delete: true}) {
		if o.Status != StatusStored {
			t.Fatal(o)
		}
	}
	return session, ball
}

// dump is every row of every table of a squad as text, but for tombstones.
func (f *fixture) dump(t testing.TB, conn *pgx.Conn, squad uuid.UUID) string {
	t.Helper()
	rows, err := conn.Query(t.Context(), `SELECT c.relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND a.attname = 'squad_id' AND c.relname <> 'tombstones' ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, table := range tables {
		var text *string
		err := conn.QueryRow(t.Context(), fmt.Sprintf("SELECT string_agg('%s: ' || r::text, E'\n' ORDER BY r::text) FROM %s r WHERE squad_id = $1", table, table), squad).
			Scan(&text)
		if err != nil {
			t.Fatal(err)
		}
		if text != nil {
			fmt.Fprintln(&b, *text)
		}
	}
	return b.String()
}

// TestErase removes an athlete for good: no table but that of deletions speaks of them, nobody else
// is touched, and every deletion has a revision of its own for devices to hear of.
func TestErase(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	erased, stays := newAthlete("Ansa Brightwater"), newAthlete("Bero Quill")
	f.life(t, squad, coach, stays)
	conn := f.owner(t)
	before := f.dump(t, conn, squad)
	f.life(t, squad, coach, erased)
	var from int64
	if err := conn.QueryRow(t.Context(), "SELECT rev FROM squads_clock WHERE squad_id = $1", squad).
		Scan(&from); err != nil {
		t.Fatal(err)
	}
	for name, confirm := range map[string]string{"nothing": "", "another name": "Bero Quill", "another case": "ansa brightwater"} {
		_, err := f.Erase(t.Context(), coach, squad, erased.ID, confirm)
		if known := wantCode(t, err, Invalid); len(known.Faults) != 1 || known.Faults[0].Pointer != "/confirm" {
			t.Errorf("confirmed with %s: %+v", name, known.Faults)
		}
	}
	n, err := f.Erase(t.Context(), coach, squad, erased.ID, "Ansa Brightwater")
	if err != nil {
		t.Fatal(err)
	}
	after := f.dump(t, conn, squad)
	for what, word := range map[string]string{"name": "Ansa", "id": erased.ID.String()} {
		text := after
		if what == "id" { // which the log keeps, and the list of what is refused
			text = strings.Join(withoutLines(after, "audit_log", "erased_ids"), "\n")
		}
		if strings.Contains(text, word) {
			t.Errorf("the %s is still there:\n%s", what, linesWith(after, word))
		}
	}
	// All but the squad's clock, its heads, its log, the drill made for the erased and the ids that are
	// refused is as it was before they came.
	if diff := cmp.Diff(
		withoutLines(before, "squads_clock", "heads", "audit_log", "drills", "erased_ids"),
		withoutLines(after, "squads_clock", "heads", "audit_log", "drills", "erased_ids"),
	); diff != "" {
		t.Errorf("(-before +after):\n%s", diff)
	}
	rows, err := conn.Query(
		t.Context(),
		"SELECT rev FROM tombstones WHERE squad_id = $1 AND rev > $2 ORDER BY rev",
		squad,
		from,
	)
	if err != nil {
		t.Fatal(err)
	}
	revs, err := pgx.CollectRows(rows, pgx.RowTo[int64])
	if err != nil || int64(len(revs)) != n ||
		n != 6 { // athlete, member, session, ball, assignment and the one shot that was left
		t.Errorf("%d deletions of %d, %v", len(revs), n, err)
	}
	for i, rev := range revs {
		if rev != from+int64(i)+1 {
			t.Errorf("revisions of the deletions: %v, after %d", revs, from)
			break
		}
	}
	_, err = f.Erase(t.Context(), coach, squad, erased.ID, "Ansa Brightwater")
	wantCode(t, err, NotFound)
}

func linesWith(text, word string) string {
	var found []string
	for line := range strings.Lines(text) {
		if strings.Contains(line, word) {
			found = append(found, line)
		}
	}
	return strings.Join(found, "")
}

func withoutLines(text string, tables ...string) (lines []string) {
	for line := range strings.Lines(text) {
		if !slices.ContainsFunc(tables, func(table string) bool { return strings.HasPrefix(line, table+":") }) {
			lines = append(lines, line)
		}
	}
	return lines
}

// TestExport holds that the archive has all that is stored of the athlete, and nobody else's.
func TestExport(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	exported, other := newAthlete("Ansa Brightwater"), newAthlete("Bero Quill")
	f.life(t, squad, coach, exported)
	f.life(t, squad, coach, other)
	var packed bytes.Buffer
	if err := f.Export(
		t.Context(),
		coach,
		squad,
		exported.ID,
		func() (io.Writer, error) { return &packed, nil },
	); err != nil {
		t.Fatal(err)
	}
	archive, err := zip.NewReader(bytes.NewReader(packed.Bytes()), int64(packed.Len()))
	if err != nil {
		t.Fatal(err)
	}
	files := make(map[string]string)
	for _, file := range archive.File {
		if !file.Modified.Equal(
			f.now().UTC().Truncate(2 * time.Second),
		) { // the oldest part of the format counts in twos
			t.Errorf("%s is of %s", file.Name, file.Modified)
		}
		opened, err := file.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(opened)
		if err != nil {
			t.Fatal(err)
		}
		files[file.Name] = string(text)
		if strings.Contains(string(text), "Bero") || strings.Contains(string(text), other.ID.String()) {
			t.Errorf("%s holds something of another athlete:\n%s", file.Name, text)
		}
	}
	for name, want := range map[string]int{
		"athlete.json": 1, "members.ndjson": 1, "balls.ndjson": 1, "assignments.ndjson": 1, "drills.ndjson": 0, "shots.ndjson": 1, "sessions.ndjson": 1,
		"shots.csv": 0, "replaced-versions.json": 5,
	} {
		text, ok := files[name]
		if !ok {
			t.Errorf("no %s among %v", name, slices.Sorted(maps.Keys(files)))
		}
		if got := strings.Count(text, `"athlete_id"`); name != "athlete.json" && got < want {
			t.Errorf("%s names the athlete %d times, want at least %d:\n%s", name, got, want, text)
		}
	}
}

// meanwhile is a reader that does something else before it reads on.
type meanwhile struct {
	bytes.Buffer
	do func()
}

func (m *meanwhile) Write(data []byte) (int, error) {
	m.do()
	return m.Buffer.Write(data)
}

// TestUnreadExport: while an export is being sent, however slowly, it holds no connection, and its
// file is gone afterwards.
func TestUnreadExport(t *testing.T) {
	f := newFixture(t, 1)
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	squad, coach := f.squad(t)
	athlete := newAthlete("Ansa Brightwater")
	f.life(t, squad, coach, athlete)
	others := 0
	reader := &meanwhile{do: func() {
		if _, err := f.Get(t.Context(), coach, squad, record.KindAthlete, athlete.ID); err != nil {
			t.Errorf("a request beside an unread export: %v", err)
		}
		others++
	}}
	err := f.Export(t.Context(), coach, squad, athlete.ID, func() (io.Writer, error) { return reader, nil })
	if err != nil || others == 0 {
		t.Errorf("%d requests beside it, %v", others, err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestForget forgets old deletions: the feed's floor rises past them, and an old device cannot
// bring a forgotten record back.
func TestForget(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	old, recent := newPattern("old"), newPattern("recent")
	f.store(t, squad, coach, old, recent)
	remove := func(p *record.Pattern) int64 {
		t.Helper()
		return f.apply(t, squad, coach, Change{Record: p, Delete: true})[0].Rev
	}
	first := remove(old)
	page, err := f.Feed(t.Context(), coach, squad, FeedQuery{Limit: 100, Schema: Schema})
	if err != nil {
		t.Fatal(err)
	}
	f.clock.move(TombstoneLife - time.Hour)
	remove(recent)
	if n, err := f.Forget(t.Context()); n != 0 || err != nil {
		t.Fatalf("%d forgotten too early, %v", n, err)
	}
	f.clock.move(2 * time.Hour)
	if n, err := f.Forget(t.Context()); n != 1 || err != nil {
		t.Fatalf("%d forgotten, %v", n, err)
	}
	err = f.db.ReadSquad(t.Context(), squad, func(tx *db.Tx) error {
		floor, err := tx.Clock(t.Context(), db.ClockParams{SquadID: squad})
		if floor.Floor != first {
			t.Errorf("the floor is %d, want %d", floor.Floor, first)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	// Heads are forgotten with the deletions, but for the one that stood at the limit.
	var heads, from int64
	conn := f.owner(t)
	if err := conn.QueryRow(t.Context(), "SELECT count(*), min(rev) FROM heads WHERE squad_id = $1", squad).
		Scan(&heads, &from); err != nil || heads != 2 || from != first {
		t.Errorf("%d heads from revision %d on, %v; want 2 from %d", heads, from, err, first)
	}
	early := f.writeHead(squad, headOf(first-1, make([]byte, headBytes)))
	_, err = f.Feed(t.Context(), coach, squad, FeedQuery{Seen: early, Limit: 100, Schema: Schema})
	if known := wantCode(t, err, Gone); known.Reason != GoneForgotten {
		t.Errorf("a forgotten head is %s, want %s", known.Reason, GoneForgotten)
	}
	// The cursor stands at the forgotten deletion itself: it has been heard of.
	if _, err := f.Feed(
		t.Context(),
		coach,
		squad,
		FeedQuery{After: page.Cursor, Limit: 100, Schema: Schema},
	); err != nil {
		t.Errorf("a cursor from the floor: %v", err)
	}
	back := *old
	back.Rev = 0
	if got := f.apply(t, squad, coach, Change{Record: &back})[0]; got.Status != StatusRefused || got.Code != Gone {
		t.Errorf("a forgotten record sent again: %+v", got)
	}
}

// TestEraseReachesFormerDevices: a member who was one athlete, became another and was erased as that
// leaves the devices of the first too.
func TestEraseReachesFormerDevices(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	first, second := newAthlete("Ansa Brightwater"), newAthlete("Bero Quill")
	f.store(t, squad, coach, first, second)
	device, _ := f.join(t, squad, coach, record.RoleAthlete, &first.ID)
	_, parent := f.join(t, squad, coach, record.RoleAthlete, &first.ID)
	before, err := f.Feed(t.Context(), device, squad, FeedQuery{Limit: 100, Schema: Schema})
	if err != nil || !slices.ContainsFunc(before.Items, func(i Item) bool { return i.ID == parent.ID }) {
		t.Fatalf("%+v, %v; want the other member of the athlete", before.Items, err)
	}
	base := f.version(t, squad, parent.Rev)
	if _, err := f.SetRole(t.Context(), coach, squad, parent.ID, base, record.RoleAthlete, &second.ID); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Erase(t.Context(), coach, squad, second.ID, second.Name); err != nil {
		t.Fatal(err)
	}
	after, err := f.Feed(t.Context(), device, squad, FeedQuery{After: before.Cursor, Limit: 100, Schema: Schema})
	if err != nil || len(after.Items) != 1 || after.Items[0].ID != parent.ID || !after.Items[0].Deleted {
		t.Errorf("%+v, %v; want that the member is gone", after.Items, err)
	}
}
