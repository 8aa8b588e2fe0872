// Package synctest holds the sync to its promises from outside: devices that know only the
// contract, against the whole HTTP surface and a real Postgres, with a network that loses, repeats
// and delays, and machines that are killed.
package synctest

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"laneward/api"
	"laneward/db"
	"laneward/db/dbtest"
	"laneward/service"
)

// server is the whole HTTP surface over a database of its own.
type server struct {
	handler http.Handler
	db      *dbtest.DB
	log     *logBuffer
}

// newServer starts a server whose clock hardly moves, so that nobody's access token runs out however
// long the test: a microsecond each time it is looked at, for no two commits are of one moment.
func newServer(t testing.TB, conns int32) *server {
	t.Helper()
	s := &server{db: dbtest.New(t), log: &logBuffer{}}
	opened, err := db.Open(t.Context(), s.db.ServiceURL, db.Options{MaxConns: conns, Wait: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(opened.Close)
	s.handler = newHandler(t, opened, slog.New(slog.NewJSONHandler(s.log, &slog.HandlerOptions{Level: slog.LevelWarn})))
	return s
}

func newHandler(t testing.TB, opened *db.DB, log *slog.Logger) *api.Handler {
	t.Helper()
	keys, err := service.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	stands := time.Date(2026, 3, 14, 18, 0, 0, 0, time.UTC)
	var looks atomic.Int64
	now := func() time.Time { return stands.Add(time.Duration(looks.Add(1)) * time.Microsecond) }
	svc := service.New(service.Config{
		DB:     opened,
		Keys:   keys,
		Log:    log,
		Now:    now,
		Limits: service.Limits{StreamsOfUser: 20_000}, // one person's devices stand for many people's
	})
	t.Cleanup(svc.Close)
	if err := svc.Share(t.Context()); err != nil {
		t.Fatal(err)
	}
	handler, err := api.NewHandler(api.Config{Service: svc, Log: log, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	// Tails end before the database is closed under them.
	t.Cleanup(handler.Drain)
	return handler
}

// listen serves on a socket of the machine's own and returns where.
func (s *server) listen(t testing.TB) string {
	t.Helper()
	listener := httptest.NewServer(s.handler)
	t.Cleanup(func() {
		listener.CloseClientConnections()
		listener.Close()
	})
	return listener.URL
}

// direct sends requests to a handler without a network.
type direct struct{ handler http.Handler }

// RoundTrip answers a request. A handler that breaks off is a broken connection, as it would be on
// the wire.
func (d direct) RoundTrip(request *http.Request) (response *http.Response, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the connection broke: %v", r)
		}
	}()
	request.RemoteAddr = "192.0.2.1:1234" // as a listener would say
	recorder := httptest.NewRecorder()
	d.handler.ServeHTTP(recorder, request)
	return recorder.Result(), nil
}

// logBuffer keeps what the server logs.
type logBuffer struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

// lines returns the log's lines that hold the word.
func (l *logBuffer) lines(word string) (found []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for line := range strings.Lines(l.text.String()) {
		if strings.Contains(line, word) {
			found = append(found, line)
		}
	}
	return found
}

// counter counts up from 1, for many at once.
type counter struct{ n atomic.Int64 }

func (c *counter) next() int { return int(c.n.Add(1)) }

var people counter
