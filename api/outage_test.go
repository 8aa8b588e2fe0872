package api_test

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// line is the wire to the database, which a test can cut and mend.
type line struct {
	t               testing.TB
	network, behind string // where the server is
	address         string // where the wire begins
	mu              sync.Mutex
	listener        net.Listener
	open            map[net.Conn]bool
}

// newLine lays a wire to the server at url and returns it with the url of its beginning.
func newLine(t testing.TB, serverURL string) (*line, string) {
	t.Helper()
	config, err := pgx.ParseConfig(serverURL)
	if err != nil {
		t.Fatal(err)
	}
	l := &line{t: t, address: "127.0.0.1:0", open: make(map[net.Conn]bool)}
	l.network, l.behind = pgconn.NetworkAddress(config.Host, config.Port)
	l.mend()
	l.address = l.listener.Addr().String()
	t.Cleanup(l.cut)
	parsed, err := url.Parse(serverURL)
	if err != nil {
		t.Fatal(err)
	}
	parsed.Host = l.address
	query := parsed.Query()
	query.Del("host")
	query.Del("port")
	parsed.RawQuery = query.Encode()
	return l, parsed.String()
}

// mend lets connections through.
func (l *line) mend() {
	l.t.Helper()
	listener, err := net.Listen("tcp", l.address)
	if err != nil {
		l.t.Fatal(err)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.listener = listener
	go l.accept(listener)
}

func (l *line) accept(listener net.Listener) {
	for {
		near, err := listener.Accept()
		if err != nil {
			return // cut
		}
		far, err := net.Dial(l.network, l.behind)
		if err != nil {
			near.Close()
			continue
		}
		if !l.keep(listener, near, far) {
			near.Close()
			far.Close()
			return
		}
		go pump(near, far)
		go pump(far, near)
	}
}

func (l *line) keep(listener net.Listener, conns ...net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.listener != listener {
		return false
	}
	for _, conn := range conns {
		l.open[conn] = true
	}
	return true
}

func pump(to, from net.Conn) {
	_, _ = io.Copy(to, from) // ends when either is closed
	to.Close()
	from.Close()
}

// cut breaks every connection and lets none through.
func (l *line) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.listener == nil {
		return
	}
	l.listener.Close()
	l.listener = nil
	for conn := range l.open {
		conn.Close()
	}
	clear(l.open)
}

// onLine is a server whose wire to the database can be cut.
func onLine(t testing.TB) (*server, *line) {
	t.Helper()
	var wire *line
	s := newServer(t, func(how *setUp) {
		how.database = func(url string) (through string) {
			wire, through = newLine(t, url)
			return through
		}
	})
	return s, wire
}

// TestDatabaseAway: without the database the process lives and says what is amiss, and it works
// again when the database is back.
func TestDatabaseAway(t *testing.T) {
	t.Parallel()
	s, wire := onLine(t)
	q := s.newSquad(t, "Quillfen")
	needs := map[string]call{
		"readiness": {method: "GET", path: "/readyz"},
		"me":        {method: "GET", path: "/v1/me", token: q.coach.token},
		"a list":    {method: "GET", path: q.path("balls"), token: q.coach.token},
		"a record":  {method: "POST", path: q.path("patterns"), token: q.coach.token, body: q.patternBody()},
		"a log": {
			method: "POST",
			path:   q.path("sessions/" + q.shared + "/shots"),
			token:  q.coach.token,
			body:   []any{map[string]any{"order": 1}},
		},
		"a feed": {method: "GET", path: q.path("feed"), token: q.coach.token},
		"a sign-in": {
			method: "POST",
			path:   "/v1/tokens",
			body:   map[string]any{"email": q.coach.email, "password": goodPassword, "device": "phone"},
		},
		"a refresh": {
			method: "POST",
			path:   "/v1/tokens/refresh",
			body:   map[string]any{"refresh_token": q.coach.refresh, "device": "phone"},
		},
	}
	wire.cut()
	for name, c := range needs {
		t.Run(name, func(t *testing.T) {
			for range 2 { // on a connection that broke, and without any
				a := s.do(t, c).want(http.StatusServiceUnavailable)
				if p := a.problem(); p.Type != "/problems#unavailable" || a.header.Get("Retry-After") == "" ||
					strings.Contains(a.text(), "127.0.0.1") {
					t.Errorf("Retry-After %q: %s", a.header.Get("Retry-After"), a.text())
				}
			}
		})
	}
	for _, path := range []string{"/healthz", "/openapi.json", "/.well-known/jwks.json"} {
		s.do(t, call{method: "GET", path: path}).want(http.StatusOK)
	}
	s.do(t, call{method: "GET", path: "/v1/me", token: "garbage"}).want(http.StatusUnauthorized)
	wire.mend()
	for name, c := range needs {
		t.Run(name+", mended", func(t *testing.T) {
			if a := s.do(t, c); a.status >= 500 {
				t.Errorf("%d: %s", a.status, a.text())
			}
		})
	}
}

// TestDatabaseComesAndGoes cuts the wire again and again under requests: each is answered or 503,
// never 500, and what was acknowledged is stored.
func TestDatabaseComesAndGoes(t *testing.T) {
	t.Parallel()
	for name, disturb := range map[string]func(t *testing.T, s *server, wire *line){
		"the wire is cut": func(_ *testing.T, _ *server, wire *line) {
			wire.cut()
			wire.mend()
		},
		"the server ends its connections": func(t *testing.T, s *server, _ *line) {
			conn, err := pgx.Connect(t.Context(), s.db.OwnerURL)
			if err != nil {
				t.Error(err)
				return
			}
			_, err = conn.Exec(t.Context(), "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()")
			if err := errors.Join(err, conn.Close(context.Background())); err != nil {
				t.Error(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, wire := onLine(t)
			q := s.newSquad(t, "Quillfen")
			var wg sync.WaitGroup
			var mu sync.Mutex
			acknowledged := make(map[string]bool)
			outages := 0
			done := make(chan struct{})
			for range 4 {
				wg.Go(func() {
					for {
						id := uuid.NewString()
						body := q.patternBody()
						body["id"] = id
						a := s.do(t, call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: body})
						mu.Lock()
						switch a.status {
						case http.StatusCreated:
							acknowledged[id] = true
						case http.StatusServiceUnavailable:
							outages++
						default:
							t.Errorf("status %d: %v", a.status, s.log.lines("ERROR", a.header.Get("X-Request-Id")))
						}
						mu.Unlock()
						select {
						case <-done:
							return
						default:
						}
					}
				})
			}
			stored := func() int {
				mu.Lock()
				defer mu.Unlock()
				return len(acknowledged)
			}
			for range 25 {
				for before := stored(); stored() < before+3 && !t.Failed(); { // it recovers each time
					time.Sleep(time.Millisecond)
				}
				disturb(t, s, wire)
			}
			close(done)
			wg.Wait()
			if outages == 0 {
				t.Error("no request met an outage: nothing was tested")
			}
			t.Logf("%d stored, %d met an outage", len(acknowledged), outages)
			var page struct{ Items []struct{ ID string } }
			list := call{method: "GET", path: q.path("patterns?limit=1000"), token: q.coach.token}
			last := s.do(t, list)
			for range 10 { // connections that the last disturbance broke are still found out, one by one
				if last.status != http.StatusServiceUnavailable {
					break
				}
				last = s.do(t, list)
			}
			last.want(http.StatusOK).into(&page)
			for _, item := range page.Items {
				delete(acknowledged, item.ID)
			}
			if len(acknowledged) > 0 && len(page.Items) < 1000 {
				t.Errorf("%d records were acknowledged and are not stored", len(acknowledged))
			}
		})
	}
}
