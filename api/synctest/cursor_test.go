package synctest

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"pgregory.net/rapid"

	"laneward/service"
)

// ownerDoes runs SQL as the owner of the database, who may what the service may not.
func (s *server) ownerDoes(t *testing.T, statement string, values ...any) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.db.OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), statement, values...); err != nil {
		t.Fatal(err)
	}
}

// reads are the ways to send a cursor.
var reads = map[string]func(c *person, t *testing.T, squad, cursor string) error{
	"feed": func(c *person, t *testing.T, squad, cursor string) error {
		_, err := c.feed(t.Context(), squad, cursor, 10)
		return err
	},
	"feed as lines": func(c *person, t *testing.T, squad, cursor string) error {
		return c.stream(t.Context(), "/v1/squads/"+squad+"/feed?after="+cursor, func(page) error { return nil })
	},
	"live": func(c *person, t *testing.T, squad, cursor string) error {
		_, body, err := c.live(t.Context(), squad, cursor)
		if err == nil {
			err = body.Close()
		}
		return err
	},
	"snapshot": func(c *person, t *testing.T, squad, cursor string) error {
		_, err := c.snapshot(t.Context(), squad, cursor, 10)
		return err
	},
	"snapshot as lines": func(c *person, t *testing.T, squad, cursor string) error {
		return c.stream(t.Context(), "/v1/squads/"+squad+"/snapshot?page="+cursor, func(page) error { return nil })
	},
}

func ofFeed(name string) bool { return !strings.HasPrefix(name, "snapshot") }

// places are a cursor of the feed and a place in a snapshot.
func (c *person) places(t *testing.T, squad string) (cursor, at string) {
	t.Helper()
	got, err := c.snapshot(t.Context(), squad, "", 1)
	if err != nil {
		t.Fatal(err)
	}
	cursor, _ = c.end(t, squad)
	return cursor, got.Page
}

func TestCursorsThatCannotBeGoneOnFrom(t *testing.T) {
	t.Parallel()
	s := newServer(t, 4)
	coach := signUp(t, wireClient(s.listen(t)), "Coach")
	mine, other := coach.newBase(t), coach.newBase(t)
	cursor, at := coach.places(t, mine.squad)
	othersCursor, othersAt := coach.places(t, other.squad)
	const only = "only for the feed" // a snapshot's own cursor is held against what is remembered at its end
	cut := func(word string) string { return word[:len(word)-4] }
	for name, tc := range map[string]struct {
		forFeed, forSnapshot string
		prepare              string // SQL, with the squad as $1
		want                 int
	}{
		"good":                           {cursor, at, "", http.StatusOK},
		"of another kind of reading":     {at, cursor, "", http.StatusBadRequest},
		"cut short":                      {cut(cursor), cut(at), "", http.StatusBadRequest},
		"made up":                        {"AQAB", "AQAB", "", http.StatusBadRequest},
		"not in the alphabet":            {"é" + cursor[2:], "%" + at[1:], "", http.StatusBadRequest},
		"of another squad":               {othersCursor, othersAt, "", http.StatusNotFound},
		"ahead of the server":            {cursor, at, "UPDATE squads_clock SET rev = 1 WHERE squad_id = $1", http.StatusGone},
		"of another history":             {cursor, at, "UPDATE squads_clock SET head = decode(repeat('a1', 16), 'hex') WHERE squad_id = $1", http.StatusGone},
		"past, of this history":          {cursor, at, "UPDATE squads_clock SET rev = rev + 1, head = decode(repeat('a1', 16), 'hex') WHERE squad_id = $1", http.StatusOK},
		"past, of a head forgotten":      {cursor, at, "UPDATE squads_clock SET rev = rev + 1, heads_floor = rev WHERE squad_id = $1", http.StatusGone},
		"older than what is remembered":  {cursor, only, "UPDATE squads_clock SET floor = rev + 1 WHERE squad_id = $1", http.StatusGone},
		"as old as what is remembered":   {cursor, at, "UPDATE squads_clock SET floor = rev WHERE squad_id = $1", http.StatusOK},
		"none, when much was forgotten":  {"", "", "UPDATE squads_clock SET floor = rev WHERE squad_id = $1", http.StatusOK},
		"none, after a restore":          {"", "", "UPDATE squads_clock SET head = decode(repeat('a1', 16), 'hex') WHERE squad_id = $1", http.StatusOK},
		"of another squad and a restore": {othersCursor, othersAt, "UPDATE squads_clock SET head = decode(repeat('a1', 16), 'hex') WHERE squad_id = $1", http.StatusNotFound},
	} {
		t.Run(name, func(t *testing.T) {
			if tc.prepare != "" {
				s.ownerDoes(
					t,
					"CREATE TABLE before AS SELECT rev, floor, head, heads_floor FROM squads_clock WHERE squad_id = '"+mine.squad+"'",
				)
				s.ownerDoes(t, tc.prepare, mine.squad)
				defer s.ownerDoes(
					t,
					"UPDATE squads_clock c SET rev = b.rev, floor = b.floor, head = b.head, heads_floor = b.heads_floor "+
						"FROM before b WHERE squad_id = '"+mine.squad+"'; DROP TABLE before",
				)
			}
			for how, read := range reads {
				word := tc.forSnapshot
				if ofFeed(how) {
					word = tc.forFeed
				}
				if word == only {
					continue
				}
				err := read(coach, t, mine.squad, strings.ReplaceAll(word, "%", "%25"))
				got := http.StatusOK
				if err != nil {
					got = statusOf(err)
				}
				if got != tc.want {
					t.Errorf("%s: %v, want %d", how, err, tc.want)
				}
				if got == http.StatusGone &&
					err.(*problem).Snapshot != "/v1/squads/"+mine.squad+"/snapshot" {
					t.Errorf("%s: no address to begin again: %+v", how, err)
				}
			}
		})
	}
}

// TestTamperedCursors changes any character of a cursor to any other: it is never taken for a
// cursor, of this squad or of any.
func TestTamperedCursors(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	cursor, at := coach.places(t, b.squad)
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
	rapid.Check(t, func(rt *rapid.T) {
		how := rapid.SampledFrom([]string{"feed", "snapshot"}).Draw(rt, "read")
		word := []byte(map[string]string{"feed": cursor, "snapshot": at}[how])
		i := rapid.IntRange(0, len(word)-1).Draw(rt, "place")
		to := alphabet[rapid.IntRange(0, len(alphabet)-1).Draw(rt, "letter")]
		if word[i] == to {
			rt.Skip("unchanged")
		}
		word[i] = to
		if err := reads[how](coach, t, b.squad, string(word)); statusOf(err) != http.StatusBadRequest {
			rt.Errorf("%s from %s: %v, want 400", how, word, err)
		}
	})
}

// TestClientSchema tells a client that is too old from one that is ahead of the server.
func TestClientSchema(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	for schema, want := range map[int]int{0: http.StatusUpgradeRequired, 1: 0, service.Schema: 0, service.Schema + 1: http.StatusBadRequest} {
		query := fmt.Sprintf("?schema=%d", schema)
		for _, path := range []string{"feed", "snapshot"} {
			if err := coach.call(
				t.Context(),
				http.MethodGet,
				"/v1/squads/"+b.squad+"/"+path+query,
				nil,
				nil,
			); statusOf(
				err,
			) != want {
				t.Errorf("%s with schema %d: %v, want %d", path, schema, err, want)
			}
		}
		err := coach.call(
			t.Context(),
			http.MethodPost,
			"/v1/squads/"+b.squad+"/push"+query,
			fields{"items": []any{}},
			nil,
		)
		if statusOf(err) != want {
			t.Errorf("push with schema %d: %v, want %d", schema, err, want)
		}
	}
}

// TestWaitFor reads one's own write.
func TestWaitFor(t *testing.T) {
	t.Parallel()
	s := newServer(t, 4)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	cursor, rev := coach.end(t, b.squad)
	read := make(chan error, 1)
	var got page
	go func() {
		path := fmt.Sprintf("/v1/squads/%s/feed?after=%s&wait_for=%d", b.squad, cursor, rev+3)
		read <- coach.call(t.Context(), http.MethodGet, path, nil, &got)
	}()
	for i := range 3 {
		coach.mustPush(t, b.squad, b.shots(1, 1+i), "stored")
	}
	if err := <-read; err != nil || len(got.Items) != 3 || got.Rev < rev+3 {
		t.Errorf("%d items at revision %d, %v; want 3 at %d", len(got.Items), got.Rev, err, rev+3)
	}
}
