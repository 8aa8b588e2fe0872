package api_test

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"laneward/service"
)

// holdUp makes requests that read memberships wait in the database, each with its connection,
// until release is called. waiting blocks until so many of them do.
func holdUp(t *testing.T, s *server) (waiting func(n int), release func()) {
	t.Helper()
	owner, err := pgx.Connect(t.Context(), s.db.OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { owner.Close(context.Background()) })
	tx, err := owner.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), "LOCK TABLE memberships IN ACCESS EXCLUSIVE MODE"); err != nil {
		t.Fatal(err)
	}
	waiting = func(n int) {
		t.Helper()
		const blocked = "SELECT count(*) FROM pg_locks WHERE NOT granted AND relation = 'memberships'::regclass"
		for found := 0; found < n; time.Sleep(5 * time.Millisecond) {
			if err := tx.QueryRow(t.Context(), blocked).Scan(&found); err != nil {
				t.Fatal(err)
			}
		}
	}
	return waiting, func() {
		t.Helper()
		if err := tx.Rollback(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
}

// TestBusy uses up the connections: whoever comes then is soon answered 503 with the time to come
// back, the readiness check too, and the one that has a connection is answered.
func TestBusy(t *testing.T) {
	t.Parallel()
	s := newServer(t, func(how *setUp) { how.conns, how.wait = 1, time.Second })
	q := s.newSquad(t, "Quillfen")
	waiting, release := holdUp(t, s)
	answer := make(chan int, 1)
	go func() {
		answer <- s.send(t, call{method: http.MethodGet, path: q.path("balls"), token: q.coach.token}).status
	}()
	waiting(1)
	for _, path := range []string{"/v1/me", "/readyz"} {
		a := s.do(t, call{method: http.MethodGet, path: path, token: q.coach.token}).want(http.StatusServiceUnavailable)
		if a.header.Get("Retry-After") != "2" {
			t.Errorf("%s: Retry-After is %q", path, a.header.Get("Retry-After"))
		}
	}
	s.do(t, call{method: http.MethodGet, path: "/healthz"}).want(http.StatusOK)
	release()
	if status := <-answer; status != http.StatusOK {
		t.Errorf("the one that had the connection was answered %d", status)
	}
	s.do(t, call{method: http.MethodGet, path: "/readyz"}).want(http.StatusOK)
}

// TestHoarders: who holds as many streams or downloads open as a user may gets no more, and others
// do.
func TestHoarders(t *testing.T) {
	t.Parallel()
	s := newServer(t, func(how *setUp) { how.limits = service.Limits{StreamsOfUser: 1, DownloadsOfUser: 1} })
	q := s.newSquad(t, "Quillfen")
	judgements := q.path("drills/" + q.of[0]["drill_id"] + "/athletes/" + q.of[0]["athlete_id"] + "/judgements")
	lines := map[string]string{"Accept": "application/x-ndjson"}
	for name, tc := range map[string]struct {
		take func(uuid.UUID) (func(), error)
		call call
	}{
		"a live stream": {s.service.Stream, call{path: q.path("live")}},
		"a snapshot":    {s.service.Download, call{path: q.path("snapshot"), header: lines}},
		"a feed":        {s.service.Download, call{path: q.path("feed"), header: lines}},
		"an export":     {s.service.Download, call{path: q.path("athletes/" + q.of[0]["athlete_id"] + "/export")}},
		"judgements":    {s.service.Download, call{path: judgements}},
	} {
		t.Run(name, func(t *testing.T) {
			tc.call.method, tc.call.token = http.MethodGet, q.coach.token
			done, err := tc.take(q.coach.id)
			if err != nil {
				t.Fatal(err)
			}
			a := s.do(t, tc.call).want(http.StatusServiceUnavailable)
			if a.header.Get("Retry-After") != "10" || !strings.Contains(a.problem().Detail, "1 ") {
				t.Errorf("after %q: %s", a.header.Get("Retry-After"), a.problem().Detail)
			}
			other := tc.call
			other.token = q.analyst.token
			if status := s.do(t, other).status; status == http.StatusServiceUnavailable {
				t.Error("another user gets none either")
			}
			done()
			s.do(t, tc.call).want(http.StatusOK)
			s.do(t, tc.call).want(http.StatusOK) // the place was given back
		})
	}
}
