package synctest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
)

// lines writes items as NDJSON.
func lines(t testing.TB, items []item) []byte {
	t.Helper()
	var body bytes.Buffer
	encoder := json.NewEncoder(&body)
	for _, one := range items {
		if err := encoder.Encode(one); err != nil {
			t.Fatal(err)
		}
	}
	return body.Bytes()
}

// newWire starts a server on a socket, and returns a coach with a squad ready for shots.
func newWire(t testing.TB) (*server, *person, base) {
	t.Helper()
	s := newServer(t, 8)
	coach := signUp(t, &client{http: http.DefaultClient, base: s.listen(t)}, "Coach")
	return s, coach, coach.newBase(t)
}

func TestPushOfManyPieces(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	const n = 4_500
	body := lines(t, b.shots(n, 1))
	for _, want := range []string{"stored", "same"} {
		next := 0
		_, err := coach.pushLines(t.Context(), b.squad, bytes.NewReader(body), func(o outcome) {
			if o.Index != next || o.Outcome != want {
				t.Errorf("outcome %d is %+v, want %s", next, o, want)
			}
			next++
		})
		if err != nil {
			t.Error(err)
		}
		if next != n {
			t.Errorf("%d outcomes, want %d", next, n)
		}
	}
}

// TestPushStreams sends a piece and keeps the body open: the piece is stored and answered without
// waiting for the rest, so that a long push over a slow line gets on, and takes no more memory than
// a piece.
func TestPushStreams(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	const pieces, piece = 3, 1_000
	answered := make(chan int, pieces*piece)
	body, send := io.Pipe()
	pushed := make(chan error, 1)
	go func() {
		_, err := coach.pushLines(ctx, b.squad, body, func(o outcome) { answered <- o.Index })
		pushed <- err
	}()
	for p := range pieces {
		if _, err := send.Write(lines(t, b.shots(piece, 1+p*piece))); err != nil {
			t.Fatal(err)
		}
		for i := range piece {
			select {
			case got := <-answered:
				if want := p*piece + i; got != want {
					t.Fatalf("outcome of item %d, want %d", got, want)
				}
			case <-ctx.Done():
				t.Fatalf("piece %d is not answered before the body ends", p)
			}
		}
	}
	if err := send.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-pushed; err != nil {
		t.Error(err)
	}
}

// TestFailedPushIsNotWaitedFor sends a piece that is turned away and keeps the body open: the answer
// comes without the rest.
func TestFailedPushIsNotWaitedFor(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	body, send := io.Pipe()
	defer send.Close()
	piece := lines(t, b.shots(1_001, 1))
	go func() { _, _ = send.Write(piece) }() // until the pipe is closed
	response, err := coach.send(ctx, http.MethodPost, "/v1/squads/"+b.squad+"/push?seen=made-up", body,
		"Content-Type", "application/x-ndjson")
	if err == nil {
		_ = response.Body.Close() // what it says does not matter
	}
	if statusOf(err) != http.StatusBadRequest {
		t.Errorf("%v, want 400", err)
	}
}

// TestBadItemsHoldUpNobody pushes items that cannot be stored among good ones: each is told alone,
// with its reason, and the good ones are stored.
func TestBadItemsHoldUpNobody(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	shot := func(change fields) fields {
		record := b.shot(1).Record
		for name, value := range change {
			record[name] = value
		}
		return record
	}
	pattern := func(name string) fields { return fields{"id": newID(), "name": name, "length_ft": 40} }
	bad := map[string]struct {
		item any
		want string
	}{
		"no kind":        {fields{"record": shot(nil)}, "refused"},
		"unknown kind":   {fields{"kind": "lane", "record": fields{"id": newID()}}, "refused"},
		"unknown field":  {fields{"kind": "shot", "record": shot(fields{"colour": "red"})}, "refused"},
		"unknown member": {fields{"kind": "shot", "record": shot(nil), "colour": "red"}, "refused"},
		"a number":       {7, "refused"},
		"null":           {nil, "refused"},
		"out of range":   {fields{"kind": "shot", "record": shot(fields{"speed_mph": 900})}, "refused"},
		"another type":   {fields{"kind": "shot", "record": shot(fields{"speed_mph": "fast"})}, "refused"},
		"no id":          {fields{"kind": "shot", "record": shot(fields{"id": nil})}, "refused"},
		"nil id": {
			fields{"kind": "shot", "record": shot(fields{"id": "00000000-0000-0000-0000-000000000000"})},
			"refused",
		},
		"no UUID": {fields{"kind": "shot", "record": shot(fields{"id": "shot-1"})}, "refused"},
		"two ids": {fields{"kind": "shot", "id": newID(), "record": shot(nil)}, "refused"},
		"deletes and stores": {
			fields{"kind": "shot", "id": newID(), "deleted": true, "record": shot(nil)},
			"refused",
		},
		"deletes nothing":   {fields{"kind": "shot", "id": newID(), "rev": 3, "deleted": true}, "refused"},
		"edits nothing":     {fields{"kind": "shot", "record": shot(fields{"rev": 3})}, "refused"},
		"negative revision": {fields{"kind": "shot", "record": shot(fields{"rev": -3})}, "refused"},
		"a member":          {fields{"kind": "member", "id": newID(), "rev": 2, "deleted": true}, "refused"},
		"the squad":         {fields{"kind": "squad", "id": b.squad, "rev": 1, "deleted": true}, "refused"},
		"no such parent":    {fields{"kind": "shot", "record": shot(fields{"session_id": newID()})}, "waiting"},
		"no such ball":      {fields{"kind": "shot", "record": shot(fields{"ball_id": newID()})}, "waiting"},
		"NUL in a name":     {fields{"kind": "pattern", "record": pattern("a\x00b")}, "refused"},
		"NUL in a note":     {fields{"kind": "shot", "record": shot(fields{"note": "a\x00b"})}, "refused"},
		"NUL in a centre": {
			fields{
				"kind":   "session",
				"record": fields{"id": newID(), "kind": "block", "name": "B", "date": "2026-03-14", "centre": "a\x00"},
			},
			"refused",
		},
		"NUL in an athlete": {
			fields{
				"kind":   "athlete",
				"record": fields{"id": newID(), "name": "A", "side": "right", "guardian_name": "a\x00"},
			},
			"refused",
		},
		"NUL in a ball": {
			fields{
				"kind":   "ball",
				"record": fields{"id": newID(), "name": "B\x00", "weight_lb": 15, "athlete_id": b.athlete},
			},
			"refused",
		},
		"NUL in a drill": {
			fields{"kind": "drill", "record": merge(drillFields(newID()), "note", "a\x00")},
			"refused",
		},
		"NUL in an order": {
			fields{
				"kind": "assignment",
				"record": fields{
					"id":          newID(),
					"drill_id":    b.drill,
					"athlete_id":  b.athlete,
					"assigned_on": "2026-03-14",
					"note":        "\x00",
				},
			},
			"refused",
		},
		"a day that is none": {
			fields{
				"kind":   "session",
				"record": fields{"id": newID(), "kind": "block", "name": "B", "date": "2026-02-30"},
			},
			"refused",
		},
		"a year long ago": {
			fields{"kind": "shot", "record": shot(fields{"time": "0001-01-01T00:00:00Z"})},
			"refused",
		},
		"name of 201 letters 丈": {fields{"kind": "pattern", "record": pattern(strings.Repeat("丈", 201))}, "refused"},
	}
	names := slices.Sorted(maps.Keys(bad))
	var items []any
	for i, name := range names {
		items = append(
			items,
			bad[name].item,
			fields{"kind": "shot", "record": shot(fields{"id": newID(), "order": i + 2})},
		)
	}
	var result pushResult
	if err := coach.call(
		t.Context(),
		http.MethodPost,
		"/v1/squads/"+b.squad+"/push",
		fields{"items": items},
		&result,
	); err != nil {
		t.Fatal(err)
	}
	for i, name := range names {
		told, after := result.Outcomes[2*i], result.Outcomes[2*i+1]
		if told.Outcome != bad[name].want || len(told.Errors) == 0 || told.Errors[0].Detail == "" {
			t.Errorf("%s: %+v, want %s with a reason", name, told, bad[name].want)
		}
		if after.Outcome != "stored" {
			t.Errorf("the good shot after %s: %+v", name, after)
		}
	}
}

// TestOverlongLines pushes lines longer than the server reads, with and without an end, among good
// ones.
func TestOverlongLines(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	for i, size := range []int{256<<10 + 1, 1 << 20} {
		long := bytes.Repeat([]byte{'x'}, size)
		good := lines(t, b.shots(2, 1+2*i))
		first, second, _ := bytes.Cut(good, []byte{'\n'})
		body := slices.Concat(long, []byte{'\n'}, first, []byte{'\n'}, long, []byte{'\n'}, second, long)
		var got []string
		if _, err := coach.pushLines(t.Context(), b.squad, bytes.NewReader(body), func(o outcome) {
			got = append(got, o.Outcome)
			if o.Outcome == "refused" &&
				(len(o.Errors) != 1 || !strings.Contains(o.Errors[0].Detail, "longer than 262144 bytes")) {
				t.Errorf("%d bytes: refused with %+v", size, o.Errors)
			}
		}); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]string{"refused", "stored", "refused", "stored", "refused"}, got); diff != "" {
			t.Errorf("%d bytes: %s", size, diff)
		}
	}
}

// TestPushReadsNoMoreThanItMust pushes into a new database, whose plans were made while its tables
// were empty: what a squad has already must not be read again with each push.
func TestPushReadsNoMoreThanItMust(t *testing.T) {
	t.Parallel()
	const pushes, piece = 12, 1_000
	s := newServer(t, 1) // one connection, which keeps its plans
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	for i := range pushes {
		coach.mustPush(t, b.squad, b.shots(piece, 1+i*piece), "stored")
	}
	owner, err := pgx.Connect(t.Context(), s.db.OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close(context.Background())
	var written, read int64
	for deadline := time.Now().Add(20 * time.Second); written < pushes*piece; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("Postgres has counted %d shots of %d", written, pushes*piece)
		}
		// A connection's counts are told with the end of a transaction, a second after the last.
		if err := coach.call(t.Context(), http.MethodGet, "/v1/me", nil, nil); err != nil {
			t.Fatal(err)
		}
		if err := owner.QueryRow(t.Context(), "SELECT n_tup_ins, seq_tup_read + idx_tup_fetch FROM pg_stat_user_tables WHERE relname = 'shots'").
			Scan(&written, &read); err != nil {
			t.Fatal(err)
		}
	}
	if read > pushes*piece {
		t.Errorf("%d shots were read while %d new ones were stored", read, written)
	}
}

func merge(record fields, name string, value any) fields {
	record[name] = value
	return record
}

// TestOneRecordTwiceInAPush takes several changes of one record in turn, and what they say about
// each other's parents.
func TestOneRecordTwiceInAPush(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	_, rev := coach.end(t, b.squad)
	id := newID()
	pattern := func(name string, base int64) item {
		record := fields{"id": id, "name": name, "length_ft": 40}
		if base > 0 {
			record["rev"] = base
		}
		return item{Kind: "pattern", Record: record}
	}
	session := func(date string) item {
		return item{
			Kind:   "session",
			Record: fields{"id": newID(), "kind": "block", "name": "Block", "date": date, "pattern_id": id},
		}
	}
	result, err := coach.push(t.Context(), b.squad, []item{
		pattern("first", 0), session("2026-03-14"), pattern("second", rev+1), pattern("first", 0), pattern("other", 0),
		{Kind: "pattern", ID: id, Rev: rev + 1, Deleted: true},
	})
	if err != nil {
		t.Fatal(err)
	}
	// Nobody was given the revision that the pattern has got by this push: no head proves it yet.
	want := []string{"stored", "stored", "conflict", "same", "conflict", "conflict"}
	for i, o := range result.Outcomes {
		if o.Outcome != want[i] {
			t.Errorf("%d: %+v, want %s", i, o, want[i])
		}
	}
	if result.Rev != rev+2 {
		t.Errorf("revision %d, want %d", result.Rev, rev+2)
	}
}

// TestParentDeletedInThePush deletes a session and stores a shot in it by one push: the deletion
// comes first, and the shot waits.
func TestParentDeletedInThePush(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	deletion := item{Kind: "session", ID: b.session, Rev: 4, Deleted: true}
	result, err := coach.push(t.Context(), b.squad, []item{b.shot(1), deletion})
	if err != nil || result.Outcomes[0].Outcome != "waiting" || result.Outcomes[1].Outcome != "stored" {
		t.Errorf("%+v, %v", result.Outcomes, err)
	}
}

// TestAtomicPush stores everything or nothing.
func TestAtomicPush(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	push := func(items []item) (result pushResult, err error) {
		err = coach.call(
			t.Context(),
			http.MethodPost,
			"/v1/squads/"+b.squad+"/push?atomic=true",
			fields{"items": items},
			&result,
		)
		return result, err
	}
	_, before := coach.end(t, b.squad)
	good := b.shots(3, 1)
	orphan := b.shot(9)
	orphan.Record["session_id"] = newID()
	result, err := push(append(slices.Clone(good), orphan))
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range result.Outcomes {
		if want := map[bool]string{true: "refused", false: "waiting"}[i < 3]; o.Outcome != want || o.Rev != 0 ||
			len(o.Errors) == 0 {
			t.Errorf("outcome %d: %+v, want %s", i, o, want)
		}
	}
	if _, now := coach.end(t, b.squad); now != before {
		t.Errorf("revision %d after %d: something was stored", now, before)
	}
	for _, want := range []string{"stored", "same"} {
		if result, err = push(good); err != nil || result.Outcomes[2].Outcome != want {
			t.Errorf("%+v, %v, want %s", result.Outcomes, err, want)
		}
	}
	if _, err := push(b.shots(1_001, 10)); statusOf(err) != http.StatusRequestEntityTooLarge {
		t.Errorf("1001 items at once: %v, want 413", err)
	}
}

// TestIDs takes the forms of RFC 9562 that a device may make, and answers in the one form of
// section 4: lower case, no decoration.
func TestIDs(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	for name, tc := range map[string]struct{ sent, want string }{
		"version 7":  {"01959000-0000-7abc-8def-0123456789ab", "01959000-0000-7abc-8def-0123456789ab"},
		"version 4":  {"f47ac10b-58cc-4372-a567-0e02b2c3d479", "f47ac10b-58cc-4372-a567-0e02b2c3d479"},
		"version 5":  {"74738ff5-5367-5958-9aee-98fffdcd1876", "74738ff5-5367-5958-9aee-98fffdcd1876"},
		"upper case": {"01959000-0000-7ABC-8DEF-0123456789AC", "01959000-0000-7abc-8def-0123456789ac"},
	} {
		shot := b.shot(1)
		shot.Record["id"] = tc.sent
		for _, want := range []string{"stored", "same"} {
			if got := coach.mustPush(t, b.squad, []item{shot}, want).Outcomes[0]; got.ID != tc.want {
				t.Errorf("%s: id %q, want %q", name, got.ID, tc.want)
			}
		}
	}
	if _, _, err := coach.digests(t.Context(), b.squad); err != nil {
		t.Error(err)
	}
}
