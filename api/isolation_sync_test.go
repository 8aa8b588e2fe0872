package api_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/google/uuid"

	"laneward/openapi"
)

// newWalk makes the two squads and who else the walk needs.
func newWalk(t *testing.T) *walk {
	t.Helper()
	s := newServer(t)
	return &walk{
		server:  s,
		own:     s.newSquad(t, "Quillfen"),
		foreign: s.newSquad(t, "Brackenlow"),
		nobody:  s.signUp(t, "Nobody"),
		keeper:  s.keeper(t),
	}
}

// TestStreamsAreRefusedBeforeTheyBegin holds that a stream to somebody who may not have it is a
// problem with its status, and no broken 200.
func TestStreamsAreRefusedBeforeTheyBegin(t *testing.T) {
	t.Parallel()
	w := newWalk(t)
	ndjson := map[string]string{"Accept": "application/x-ndjson", "Content-Type": "application/x-ndjson"}
	for name, c := range map[string]call{
		"feed":     {method: http.MethodGet, path: w.own.path("feed"), header: ndjson},
		"snapshot": {method: http.MethodGet, path: w.own.path("snapshot"), header: ndjson},
		"push":     {method: http.MethodPost, path: w.own.path("push"), header: ndjson, body: `{"kind":"pattern","id":"` + uuid.NewString() + `","record":{"name":"p","length_ft":40}}`},
	} {
		c.token = w.foreign.coach.token
		w.refused(t, name+" by the coach of another squad", c, http.StatusNotFound)
		c.token = w.own.removed.token
		w.refused(t, name+" by a removed member", c, http.StatusNotFound)
		c.token = ""
		w.refused(t, name+" without a token", c, http.StatusUnauthorized)
		t.Run(name+" by the coach", func(t *testing.T) { // the control
			c.token = w.own.coach.token
			w.do(t, c).want(http.StatusOK)
		})
	}
}

// TestCursorsOfOthers takes cursors where they do not belong: to another squad (404) and to a
// member who sees something else (410).
func TestCursorsOfOthers(t *testing.T) {
	t.Parallel()
	w := newWalk(t)
	feedCursor := func(q *squad, who person) string {
		var page openapi.FeedPage
		w.do(t, call{method: http.MethodGet, path: q.path("feed?limit=2"), token: who.token}).
			want(http.StatusOK).
			into(&page)
		return page.Cursor
	}
	snapshotPage := func(q *squad, who person) string {
		var page openapi.SnapshotPage
		w.do(t, call{method: http.MethodGet, path: q.path("snapshot?limit=2"), token: who.token}).
			want(http.StatusOK).
			into(&page)
		if page.Page == nil {
			t.Fatal("the snapshot has one page only")
		}
		return *page.Page
	}
	own, other := w.own.athletes[0], w.own.athletes[1]
	for name, tc := range map[string]struct {
		cursor, page string
		reader       person
		want         int
	}{
		"the own":                     {feedCursor(w.own, w.own.coach), snapshotPage(w.own, w.own.coach), w.own.coach, http.StatusOK},
		"another coach's":             {feedCursor(w.own, w.own.coach), snapshotPage(w.own, w.own.coach), w.own.analyst, http.StatusOK}, // they see the same
		"of another squad":            {feedCursor(w.foreign, w.foreign.coach), snapshotPage(w.foreign, w.foreign.coach), w.own.coach, http.StatusNotFound},
		"of another athlete":          {feedCursor(w.own, other), snapshotPage(w.own, other), own, http.StatusGone},
		"a coach's, to an athlete":    {feedCursor(w.own, w.own.coach), snapshotPage(w.own, w.own.coach), own, http.StatusGone},
		"an athlete's, to the coach":  {feedCursor(w.own, own), snapshotPage(w.own, own), w.own.coach, http.StatusGone},
		"one letter changed":          {spoil(feedCursor(w.own, w.own.coach)), spoil(snapshotPage(w.own, w.own.coach)), w.own.coach, http.StatusBadRequest},
		"invented":                    {"AAAA", "AAAA", w.own.coach, http.StatusBadRequest},
		"each in the other's place":   {snapshotPage(w.own, w.own.coach), feedCursor(w.own, w.own.coach), w.own.coach, http.StatusBadRequest},
		"no longer a member":          {feedCursor(w.own, w.own.coach), snapshotPage(w.own, w.own.coach), w.own.removed, http.StatusNotFound},
		"with the other squad's path": {feedCursor(w.own, w.own.coach), snapshotPage(w.own, w.own.coach), w.foreign.coach, http.StatusNotFound},
	} {
		for place, c := range map[string]call{
			"feed":          {method: http.MethodGet, path: w.own.path("feed?after=" + url.QueryEscape(tc.cursor))},
			"live":          {method: http.MethodGet, path: w.own.path("live?after=" + url.QueryEscape(tc.cursor))},
			"Last-Event-ID": {method: http.MethodGet, path: w.own.path("live"), header: map[string]string{"Last-Event-ID": tc.cursor}},
			"snapshot":      {method: http.MethodGet, path: w.own.path("snapshot?page=" + url.QueryEscape(tc.page))},
		} {
			t.Run(name+"/"+place, func(t *testing.T) {
				c.token = tc.reader.token
				a := w.do(t, c).want(tc.want)
				w.keepsQuiet(t, a)
				if p := a; tc.want == http.StatusGone && p.problem().Snapshot == nil {
					t.Error("410 without the snapshot's address")
				}
			})
		}
	}
}

func spoil(cursor string) string {
	letter := byte('A')
	if cursor[10] == letter {
		letter = 'B'
	}
	return cursor[:10] + string(letter) + cursor[11:]
}

// TestPushOfAnotherHistory turns away a push that shows a head which is not of the squad's history.
func TestPushOfAnotherHistory(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	var page struct{ Head string }
	s.do(t, call{method: http.MethodGet, path: q.path("feed?limit=1"), token: q.coach.token}).want(http.StatusOK).into(&page)
	push := call{
		method: http.MethodPost,
		path:   q.path("push?seen=" + page.Head),
		token:  q.coach.token,
		body:   map[string]any{"items": []any{map[string]any{"kind": "pattern", "record": patternBody(q, 0)}}},
	}
	s.do(t, push).want(http.StatusOK)
	s.asOwner(t, "UPDATE squads_clock SET head = uuid_send(gen_random_uuid())")
	gone := s.do(t, push).want(http.StatusGone).problem()
	if gone.Reason == nil || *gone.Reason != "restored" || gone.Snapshot == nil {
		t.Errorf("410 without the reason or the snapshot's address: %+v", gone)
	}
}

// TestPushKeepsToWhatIsOnes pushes every kind of record as people who may not store it.
func TestPushKeepsToWhatIsOnes(t *testing.T) {
	t.Parallel()
	w := newWalk(t)
	bodies := map[string]func(*squad, int) map[string]any{
		"athlete": athleteBody, "pattern": patternBody, "ball": (*squad).ballBody, "session": (*squad).sessionBody,
		"drill": (*squad).drillBody, "assignment": (*squad).assignmentBody, "shot": (*squad).shotBody,
	}
	mayStore := map[string]bool{"ball": true, "session": true, "shot": true} // an athlete, of their own
	mayChange := map[string]bool{"athlete": true, "ball": true, "session": true, "shot": true}
	for kind, body := range bodies {
		item := func(i int, id string, more map[string]any) map[string]any {
			one := map[string]any{"kind": kind, "id": id}
			if more["deleted"] == nil {
				record := body(w.own, i)
				record["note"] = "pushed"
				one["record"] = record
			}
			for name, value := range more {
				one[name] = value
			}
			return map[string]any{"items": []any{one}}
		}
		push := func(who person, body map[string]any) call {
			return call{method: http.MethodPost, path: w.own.path("push"), token: who.token, body: body}
		}
		held := func(i int) string { return w.version(t, kind, w.own.of[i][kind+"_id"]) }
		analyst, athlete := w.own.analyst, w.own.athletes[0]
		w.notStored(t, kind+" new, analyst", push(analyst, item(0, uuid.NewString(), nil)))
		w.notStored(
			t,
			kind+" changed, analyst",
			push(analyst, item(0, w.own.of[0][kind+"_id"], map[string]any{"version": held(0)})),
		)
		w.notStored(
			t,
			kind+" deleted, analyst",
			push(analyst, item(0, w.own.of[0][kind+"_id"], map[string]any{"version": held(0), "deleted": true})),
		)
		w.notStored(t, kind+" new for another, athlete", push(athlete, item(1, uuid.NewString(), nil)))
		w.notStored(
			t,
			kind+" of another changed, athlete",
			push(athlete, item(1, w.own.of[1][kind+"_id"], map[string]any{"version": held(1)})),
		)
		w.notStored(
			t,
			kind+" of another taken, athlete",
			push(athlete, item(0, w.own.of[1][kind+"_id"], map[string]any{"version": held(1)})),
		)
		w.notStored(
			t,
			kind+" of another deleted, athlete",
			push(athlete, item(1, w.own.of[1][kind+"_id"], map[string]any{"version": held(1), "deleted": true})),
		)
		w.notStored(
			t,
			kind+" of another squad changed, coach",
			push(w.own.coach, item(0, w.foreign.of[0][kind+"_id"], map[string]any{"version": held(0)})),
		)
		w.notStored(
			t,
			kind+" of another squad deleted, coach",
			push(w.own.coach, item(0, w.foreign.of[0][kind+"_id"], map[string]any{"version": held(0), "deleted": true})),
		)
		w.refused(
			t,
			kind+" new, coach of another squad",
			push(w.foreign.coach, item(0, uuid.NewString(), nil)),
			http.StatusNotFound,
		)
		if mayStore[kind] {
			w.stored(t, kind+" new, athlete", push(athlete, item(0, uuid.NewString(), nil)))
		} else {
			w.notStored(t, kind+" new, athlete", push(athlete, item(0, uuid.NewString(), nil)))
		}
		if mayChange[kind] {
			w.stored(
				t,
				kind+" changed, athlete",
				push(athlete, item(0, w.own.of[0][kind+"_id"], map[string]any{"version": held(0)})),
			)
		} else {
			w.notStored(
				t,
				kind+" changed, athlete",
				push(athlete, item(0, w.own.of[0][kind+"_id"], map[string]any{"version": held(0)})),
			)
		}
		w.stored(t, kind+" new, coach", push(w.own.coach, item(0, uuid.NewString(), nil)))
	}
	for _, kind := range []string{"squad", "member"} {
		id := w.own.of[0][kind+"_id"]
		w.notStored(
			t,
			kind+" changed, coach",
			call{method: http.MethodPost, path: w.own.path("push"), token: w.own.coach.token, body: map[string]any{
				"items": []any{
					map[string]any{
						"kind":   kind,
						"id":     id,
						"record": map[string]any{"name": "n", "role": "coach", "rev": 1},
					},
				},
			}},
		)
	}
}

// stored sends a push whose one item is to be stored: the control of those that are not.
func (w *walk) stored(t *testing.T, name string, c call) {
	t.Helper()
	t.Run(name, func(t *testing.T) {
		if found := w.do(t, c).want(http.StatusOK).outcomes(); len(found) != 1 || found[0].Outcome != "stored" {
			t.Errorf("outcomes %v", found)
		}
	})
}

// revision is a record's, as the coach reads it.
func (w *walk) version(t testing.TB, kind, id string) string {
	t.Helper()
	path := w.own.path(fmt.Sprintf("%ss/%s", kind, id))
	read := w.do(t, call{method: http.MethodGet, path: path, token: w.own.coach.token}).want(http.StatusOK)
	return strings.Trim(read.header.Get("ETag"), `"`)
}
