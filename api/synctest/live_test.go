package synctest

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"
)

// tail opens a live tail that ends with the test.
func (c *client) tail(t *testing.T, squad, after string) *eventReader {
	t.Helper()
	events, body, err := c.live(t.Context(), squad, after)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = body.Close() })
	events.lastID = after
	return events
}

// next reads the next event and fails unless it is a caption's.
func next(t *testing.T, events *eventReader, want string) event {
	t.Helper()
	e, err := events.next()
	if err != nil {
		t.Fatalf("%v, want %s", err, want)
	}
	got := e.name
	if e.name == "item" {
		it, err := e.item()
		if err != nil {
			t.Fatal(err)
		}
		got = caption(it)
	}
	if got != want {
		t.Fatalf("event %s (%.200s), want %s", got, e.data, want)
	}
	return e
}

func wantEnd(t *testing.T, events *eventReader) {
	t.Helper()
	if e, err := events.next(); err == nil {
		t.Fatalf("the tail goes on: %+v", e)
	}
}

// TestEventFraming reads the raw bytes of a tail: how soon to come back, then events of an id, a
// name and one line of JSON, each ended by an empty line (HTML Living Standard, section 9.2.5,
// parsing an event stream).
func TestEventFraming(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	response, err := coach.send(
		t.Context(),
		http.MethodGet,
		"/v1/squads/"+b.squad+"/live",
		nil,
		"Accept",
		"text/event-stream",
	)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	for name, want := range map[string]string{"Content-Type": "text/event-stream", "Cache-Control": "no-store", "Content-Encoding": ""} {
		if got := response.Header.Get(name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	note := "two\nlines, a \r and a : at the end:\u2028"
	shot := b.shot(1)
	shot.Record["note"] = strings.ReplaceAll(note, "\r", " ")
	coach.mustPush(t, b.squad, []item{shot}, "stored")
	var raw bytes.Buffer
	one := make([]byte, 1)
	for !bytes.HasSuffix(raw.Bytes(), []byte("\n\n")) || !bytes.Contains(raw.Bytes(), []byte(shot.Record["id"].(string))) {
		if _, err := io.ReadFull(response.Body, one); err != nil {
			t.Fatal(err)
		}
		raw.Write(one)
	}
	form := regexp.MustCompile(`^retry: [0-9]+\n\n(id: [A-Za-z0-9_-]+\nevent: (item|at)\ndata: \{[^\n\r]*\}\n\n)+$`)
	if !form.Match(raw.Bytes()) {
		t.Errorf("not a stream of events:\n%s", raw.Bytes())
	}
	events := strings.Split(strings.TrimSpace(raw.String()), "\n\n")
	_, data, _ := strings.Cut(events[len(events)-1], "data: ")
	var it item
	if err := json.Unmarshal([]byte(data), &it); err != nil || it.Record["note"] != shot.Record["note"] {
		t.Errorf("the last event is %s, %v", data, err)
	}
}

func TestHeartbeat(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("waits for a heartbeat")
	}
	_, coach, b := newWire(t)
	ctx, cancel := context.WithTimeout(t.Context(), 40*time.Second)
	defer cancel()
	cursor, _ := coach.end(t, b.squad)
	response, err := coach.send(
		ctx,
		http.MethodGet,
		"/v1/squads/"+b.squad+"/live?after="+cursor,
		nil,
		"Accept",
		"text/event-stream",
	)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	var raw bytes.Buffer
	for one := make([]byte, 1); !bytes.Contains(raw.Bytes(), []byte("\n: ")) || !bytes.HasSuffix(raw.Bytes(), []byte("\n\n")); {
		if _, err := io.ReadFull(response.Body, one); err != nil {
			t.Fatalf("no comment came to keep the line open: %v after %q", err, raw.Bytes())
		}
		raw.Write(one)
	}
}

// TestResumeAfterAnyEvent cuts a tail after each of its events and goes on from the event's id:
// between the two nothing is lost, also where a parent that was changed last had to come first, and
// where an athlete's drill comes with its assignment.
func TestResumeAfterAnyEvent(t *testing.T) {
	t.Parallel()
	tr := newTroupe(t, overWire(t))
	tr.assign(t, 0)
	gone := tr.assign(t, 1)
	start, err := tr.people[0].feed(t.Context(), tr.squad, "", 3)
	if err != nil {
		t.Fatal(err)
	}
	tr.edit(t, "pattern", tr.pattern, fields{"note": "edited last"})
	tr.unassign(t, gone)
	for _, who := range []*person{tr.coach, tr.people[0]} {
		for name, after := range map[string]string{"from the beginning": "", "from a cursor": start.Cursor} {
			if name == "from a cursor" && who == tr.coach {
				continue // it is the athlete's
			}
			t.Run(who.name+" "+name, func(t *testing.T) {
				whole := tr.tailOf(t, who, after, -1)
				for n := range len(whole) {
					cut := tr.tailOf(t, who, after, n)
					if fmt.Sprint(stateOf(cut)) != fmt.Sprint(stateOf(whole)) {
						t.Errorf(
							"cut after %d of %d events (%s), the device has\n%v\nwant\n%v",
							n,
							len(whole),
							captions(whole),
							stateOf(cut),
							stateOf(whole),
						)
					}
				}
			})
		}
	}
}

func overWire(t *testing.T) func(*server) *client {
	return func(s *server) *client { return wireClient(s.listen(t)) }
}

// tailOf reads a tail's items up to where it tells that it has caught up. It is cut after n items
// and resumed; -1 does not cut it.
func (tr *troupe) tailOf(t *testing.T, who *person, after string, n int) (items []item) {
	t.Helper()
	for {
		events, body, err := who.live(t.Context(), tr.squad, after)
		if err != nil {
			t.Fatal(err)
		}
		events.lastID = after
		for done := false; !done; {
			if done = len(items) == n; done {
				n = -1
				break
			}
			e, err := events.next()
			if err != nil {
				t.Fatal(err)
			}
			if e.name == "at" {
				_ = body.Close()
				return items
			}
			it, err := e.item()
			if err != nil {
				t.Fatal(err)
			}
			items = append(items, it)
		}
		_ = body.Close()
		after = events.lastID
	}
}

func stateOf(items []item) map[key]held {
	s := state{held: map[key]held{}}
	for _, it := range items {
		s.take(it)
	}
	return s.held
}

func captions(items []item) string {
	list := make([]string, len(items))
	for i, it := range items {
		list[i] = fmt.Sprint(caption(it), " ", it.Rev)
	}
	return strings.Join(list, ", ")
}

func TestTailOfAnAthlete(t *testing.T) {
	t.Parallel()
	tr := newTroupe(t, overWire(t))
	cursor, _ := tr.people[0].end(t, tr.squad)
	events := tr.people[0].tail(t, tr.squad, cursor)
	next(t, events, "at")
	id := tr.assign(t, 0)
	next(t, events, "drill added")
	next(t, events, "assignment")
	tr.unassign(t, id)
	next(t, events, "assignment deleted")
	next(t, events, "drill removed")
}

// TestTailEndsWithTheRole holds that a tail does not go on showing what its reader may no longer
// see, whichever way the role changes.
func TestTailEndsWithTheRole(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(tr *troupe, t *testing.T){
		"becomes an analyst":        func(tr *troupe, t *testing.T) { tr.setRole(t, 0, "analyst", "") },
		"becomes another athlete":   func(tr *troupe, t *testing.T) { tr.setRole(t, 0, "athlete", tr.athletes[1]) },
		"is taken out":              func(tr *troupe, t *testing.T) { tr.setRole(t, 0, "", "") },
		"was a coach for a while":   func(tr *troupe, t *testing.T) { tr.setRole(t, 0, "athlete", tr.athletes[0]) },
		"was an analyst, taken out": func(tr *troupe, t *testing.T) { tr.setRole(t, 0, "", "") },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tr := newTroupe(t, overWire(t))
			if strings.HasPrefix(name, "was") {
				tr.setRole(t, 0, map[bool]string{true: "coach", false: "analyst"}[strings.Contains(name, "coach")], "")
			}
			cursor, _ := tr.people[0].end(t, tr.squad)
			events := tr.people[0].tail(t, tr.squad, cursor)
			next(t, events, "at")
			change(tr, t)
			tr.coach.mustPush(
				t,
				tr.squad,
				[]item{{Kind: "pattern", Record: fields{"id": newID(), "name": "After", "length_ft": 40}}},
				"stored",
			)
			for {
				e, err := events.next()
				if err != nil {
					return
				}
				if strings.Contains(e.data, "After") {
					t.Fatalf("the tail goes on: %s", e.data)
				}
			}
		})
	}
}
