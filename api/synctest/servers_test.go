package synctest

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"testing"
	"time"

	"laneward/api"
	"laneward/db"
)

// beside opens the database of a server once more, as another server on another machine would, and
// serves it.
func (s *server) beside(t testing.TB) *api.Handler {
	t.Helper()
	opened, err := db.Open(t.Context(), s.db.ServiceURL, db.Options{MaxConns: 8, Wait: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(opened.Close)
	return newHandler(t, opened, slog.New(slog.NewJSONHandler(s.log, &slog.HandlerOptions{Level: slog.LevelWarn})))
}

// TestTwoServersAreOne signs in at one server and works at both: each takes the other's access tokens
// and cursors, and what is written through one is on the streams of the other.
func TestTwoServersAreOne(t *testing.T) {
	t.Parallel()
	s, coach, b := newWire(t)
	other := &server{handler: s.beside(t), db: s.db, log: s.log}
	there := coach.via(&client{http: http.DefaultClient, base: other.listen(t)})
	cursor, _ := coach.end(t, b.squad)
	far, near := there.tail(t, b.squad, cursor), coach.tail(t, b.squad, cursor)
	next(t, far, "at")
	next(t, near, "at")
	for i := range 3 {
		for from, to := range map[*person]*eventReader{coach: far, there: near} {
			shot := b.shot(1 + 2*i)
			if from == there {
				shot = b.shot(2 + 2*i)
			}
			from.mustPush(t, b.squad, []item{shot}, "stored")
			for {
				e, err := to.next()
				if err != nil {
					t.Fatal(err)
				}
				it, err := e.item()
				if err != nil {
					t.Fatal(err)
				}
				if it.ID == shot.Record["id"] {
					break // the streams also have what their own server wrote
				}
			}
		}
	}
}

// TestServerLeavesInOrder holds the order in which a server ends: first it only says so, and goes on;
// then nobody new gets in, and the streams end with an event that says to come back.
func TestServerLeavesInOrder(t *testing.T) {
	t.Parallel()
	s, coach, b := newWire(t)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	handler := s.beside(t)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	hurry, served := make(chan struct{}), make(chan error, 1)
	go func() {
		ending := api.Ending{Delay: time.Hour, Now: hurry}
		served <- api.Serve(ctx, listener, handler, ending, slog.New(slog.DiscardHandler))
	}()
	there := coach.via(&client{http: http.DefaultClient, base: "http://" + listener.Addr().String()})
	ready := func() error { return there.call(t.Context(), http.MethodGet, "/readyz", nil, nil) }
	if err := ready(); err != nil {
		t.Fatal(err)
	}
	cursor, _ := coach.end(t, b.squad)
	events := there.tail(t, b.squad, cursor)
	next(t, events, "at")

	stop()
	for err := ready(); statusOf(err) != http.StatusServiceUnavailable; err = ready() {
		if err != nil {
			t.Fatalf("while it leaves: %v", err)
		}
	}
	there.mustPush(t, b.squad, b.shots(1, 1), "stored") // it still answers
	next(t, events, "shot")
	late := there.tail(t, b.squad, cursor)
	next(t, late, "shot")
	next(t, late, "at")

	close(hurry)
	for _, one := range []*eventReader{events, late} {
		next(t, one, "reconnect")
		if one.retry > time.Second {
			t.Errorf("come back after %s", one.retry)
		}
		wantEnd(t, one)
	}
	if conn, err := net.Dial("tcp", listener.Addr().String()); err == nil {
		conn.Close()
		t.Error("the streams have ended and the listener is still open")
	}
	if err := <-served; err != nil {
		t.Error(err)
	}
	// The last id of the stream is good at another server.
	next(t, coach.tail(t, b.squad, events.lastID), "at")
	if _, err := events.lines.ReadByte(); !errors.Is(err, io.EOF) {
		t.Errorf("the stream was cut: %v", err)
	}
}
