package synctest

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"github.com/google/uuid"
)

// mustBackUp backs a squad up, or with "" everything, and returns what puts the backup back.
func (s *server) mustBackUp(t *testing.T, squad string) (restore func()) {
	t.Helper()
	of := uuid.Nil
	if squad != "" {
		of = uuid.MustParse(squad)
	}
	b, err := s.db.BackUp(t.Context(), of)
	if err != nil {
		t.Fatal(err)
	}
	return func() {
		t.Helper()
		if err := b.Restore(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
}

// feedSeen reads a page and shows a head.
func (c *client) feedSeen(ctx context.Context, squad, after, seen string, limit int) (got page, err error) {
	query := url.Values{"limit": {strconv.Itoa(limit)}}
	for name, word := range map[string]string{"after": after, "seen": seen} {
		if word != "" {
			query.Set(name, word)
		}
	}
	err = c.call(ctx, http.MethodGet, "/v1/squads/"+squad+"/feed?"+query.Encode(), nil, &got)
	return got, err
}

// wantRestored wants the answer to whoever holds what a restore has lost.
func wantRestored(t *testing.T, err error, squad string) {
	t.Helper()
	told, ok := err.(*problem)
	if !ok || told.Status != http.StatusGone || told.Reason != "restored" ||
		told.Snapshot != "/v1/squads/"+squad+"/snapshot" {
		t.Errorf("%v, want 410 with the reason and the snapshot", err)
	}
}

// TestRestore puts a backup back under devices that have read on: of the whole database, and of one
// squad's rows alone.
func TestRestore(t *testing.T) {
	t.Parallel()
	for what, whole := range map[string]bool{"of everything": true, "of one squad": false} {
		for later, n := range map[string]int{"at once": 0, "with less written since": 2, "with as much": 5, "with more": 9} {
			t.Run(what+" "+later, func(t *testing.T) {
				t.Parallel()
				s, coach, b := newWire(t)
				before, _ := coach.end(t, b.squad)
				of := b.squad
				if whole {
					of = ""
				}
				restore := s.mustBackUp(t, of)
				coach.mustPush(t, b.squad, b.shots(5, 1), "stored")
				ahead, rev := coach.end(t, b.squad)
				place, err := coach.snapshot(t.Context(), b.squad, "", 1)
				if err != nil {
					t.Fatal(err)
				}
				restore()
				if n > 0 {
					coach.mustPush(t, b.squad, b.shots(n, 1), "stored")
				}
				for how, read := range reads {
					word := ahead
					if !ofFeed(how) {
						word = place.Page
					}
					t.Log(how)
					wantRestored(t, read(coach, t, b.squad, word), b.squad)
				}
				if got, err := coach.feed(t.Context(), b.squad, before, 100); err != nil || len(got.Items) != n {
					t.Errorf("from before the backup: %d items, %v; want %d", len(got.Items), err, n)
				}
				if now, _ := coach.end(t, b.squad); now == ahead && rev > 0 {
					t.Error("the cursor is the one that was lost")
				}
			})
		}
	}
}

// TestPushesLostBehindTheCursor: a device that has pushed and not pulled since holds a cursor from
// before the backup. It shows the head that the push gave it.
func TestPushesLostBehindTheCursor(t *testing.T) {
	t.Parallel()
	s, coach, b := newWire(t)
	cursor, _ := coach.end(t, b.squad)
	restore := s.mustBackUp(t, b.squad)
	head := coach.mustPush(t, b.squad, b.shots(3, 1), "stored").Head
	if _, err := coach.feedSeen(t.Context(), b.squad, cursor, head, 100); err != nil {
		t.Fatal(err)
	}
	restore()
	coach.mustPush(t, b.squad, b.shots(4, 1), "stored")
	if _, err := coach.feed(t.Context(), b.squad, cursor, 10); err != nil {
		t.Errorf("the cursor alone: %v, want that it stands", err)
	}
	_, err := coach.feedSeen(t.Context(), b.squad, cursor, head, 100)
	wantRestored(t, err, b.squad)
	_, rev := coach.end(t, b.squad)
	_, err = coach.pushSeen(t.Context(), b.squad, head, b.shots(1, 9))
	wantRestored(t, err, b.squad)
	if _, now := coach.end(t, b.squad); now != rev {
		t.Error("the push that was turned away has stored something")
	}
	err = coach.call(t.Context(), http.MethodGet, "/v1/squads/"+b.squad+"/live?after="+cursor+"&seen="+head, nil, nil)
	wantRestored(t, err, b.squad)
	for name, word := range map[string]string{"made up": "AwAB", "of another squad": coach.newBase(t).head(t, coach)} {
		if _, err := coach.feedSeen(t.Context(), b.squad, cursor, word, 100); statusOf(err) != http.StatusBadRequest {
			t.Errorf("a head %s: %v, want 400", name, err)
		}
	}
}

func (b base) head(t *testing.T, c *person) string {
	t.Helper()
	got, err := c.feed(t.Context(), b.squad, "", 1)
	if err != nil {
		t.Fatal(err)
	}
	return got.Head
}

// TestLostVersions holds that a version which a restore has lost is refused, though its revision has
// been given again.
func TestLostVersions(t *testing.T) {
	t.Parallel()
	s, coach, b := newWire(t)
	pattern := newID()
	path := "/v1/squads/" + b.squad + "/patterns/" + pattern
	named := func(note string) fields {
		return fields{"id": pattern, "name": "Long", "length_ft": 44.0, "note": note}
	}
	edit := func(note, etag string) error {
		return coach.call(t.Context(), http.MethodPut, path, named(note), nil, "If-Match", etag)
	}
	etag := func() string {
		t.Helper()
		response, err := coach.send(t.Context(), http.MethodGet, path, nil)
		if err != nil {
			t.Fatal(err)
		}
		defer response.Body.Close()
		return response.Header.Get("ETag")
	}
	coach.mustPush(t, b.squad, []item{{Kind: "pattern", Record: named("as it was")}}, "stored")
	old := etag()
	restore := s.mustBackUp(t, b.squad)
	if err := edit("lost", old); err != nil {
		t.Fatal(err)
	}
	lost := etag()
	restore()
	if again := etag(); again != old {
		t.Errorf("the version from before the backup is %s, was %s", again, old)
	}
	if err := edit("by another coach", old); err != nil {
		t.Fatal(err)
	}
	now := etag()
	if rev := func(tag string) string { r, _, _ := strings.Cut(tag, "."); return r }; rev(now) != rev(lost) {
		t.Fatalf("%s and %s: the test is about one revision given twice", now, lost)
	}
	response, err := coach.send(t.Context(), http.MethodGet, path, nil, "If-None-Match", lost)
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if response.StatusCode != http.StatusOK {
		t.Errorf("If-None-Match with the lost version: %d, want 200", response.StatusCode)
	}
	for what, err := range map[string]error{
		"put":           edit("mine", lost),
		"put by number": edit("mine", strings.Split(lost, ".")[0]+`"`),
		"delete":        coach.call(t.Context(), http.MethodDelete, path, nil, nil, "If-Match", lost),
		"put in a list": edit("mine", lost+`, "x"`),
	} {
		if statusOf(err) != http.StatusPreconditionFailed {
			t.Errorf("%s with the lost version: %v, want 412", what, err)
		}
	}
	word := strings.Trim(lost, `"`)
	for what, tc := range map[string]struct {
		it   item
		want string
	}{
		"edit":                   {item{Kind: "pattern", Version: word, Record: named("mine")}, "conflict"},
		"edit by number":         {item{Kind: "pattern", Version: strings.Split(word, ".")[0], Record: named("mine")}, "refused"},
		"deletion":               {item{Kind: "pattern", ID: pattern, Version: word, Deleted: true}, "conflict"},
		"deletion by number":     {item{Kind: "pattern", ID: pattern, Rev: 1, Deleted: true}, "refused"},
		"what is stored, anyway": {item{Kind: "pattern", Version: word, Record: named("by another coach")}, "same"},
		"edit of what was lost":  {item{Kind: "pattern", Version: word, Record: fields{"id": newID(), "name": "Lost", "length_ft": 40.0}}, "stored"},
		"deletion of what was":   {item{Kind: "pattern", ID: newID(), Version: word, Deleted: true}, "same"},
	} {
		got, err := coach.pushSeen(t.Context(), b.squad, "", []item{tc.it})
		if err != nil || got.Outcomes[0].Outcome != tc.want {
			t.Errorf("push of an %s: %+v, %v; want %s", what, got.Outcomes, err, tc.want)
		}
	}
	if etag() != now {
		t.Error("what stands was overwritten")
	}
}

// TestTailEndsWithTheHistory restores a backup under a tail: the tail ends with an event that says
// why, without anything being written, and cannot be come back to.
func TestTailEndsWithTheHistory(t *testing.T) {
	t.Parallel()
	for what, whole := range map[string]bool{"of everything": true, "of one squad": false} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			s, coach, b := newWire(t)
			of := b.squad
			if whole {
				of = ""
			}
			restore := s.mustBackUp(t, of)
			cursor, _ := coach.end(t, b.squad)
			events := coach.tail(t, b.squad, cursor)
			next(t, events, "at")
			coach.mustPush(t, b.squad, b.shots(5, 1), "stored")
			for range 5 {
				next(t, events, "shot")
			}
			restore()
			end, err := events.next()
			var why problem
			if err != nil || end.name != "end" || json.Unmarshal([]byte(end.data), &why) != nil {
				t.Fatalf("%+v, %v; want the end", end, err)
			}
			wantRestored(t, &why, b.squad)
			wantEnd(t, events)
			_, _, err = coach.live(t.Context(), b.squad, events.lastID)
			wantRestored(t, err, b.squad)
		})
	}
}
