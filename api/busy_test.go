package api_test

import (
	"context"
	"net/http"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
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
