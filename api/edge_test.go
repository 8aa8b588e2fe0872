package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"laneward/openapi"
)

// TestRequestID: a plain id is taken over, anything else is replaced; every answer and its log line
// bear it.
func TestRequestID(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	for name, tc := range map[string]struct {
		sent  string
		taken bool
	}{
		"a UUID":               {"0191e2c4-7d00-7000-8000-000000000001", true},
		"letters and the like": {"Phone_7.retry-2", true},
		"64 letters":           {strings.Repeat("a", 64), true},
		"65 letters":           {strings.Repeat("a", 65), false},
		"none":                 {"", false},
		"a line of a log":      {`x" level=ERROR msg="forged`, false},
		"a line break":         {"x\ny", false},
		"other letters":        {"kügel", false},
	} {
		t.Run(name, func(t *testing.T) {
			a := s.do(t, call{method: http.MethodGet, path: "/v1/me", header: map[string]string{"X-Request-Id": tc.sent}}).
				want(http.StatusUnauthorized)
			got := a.header.Get("X-Request-Id")
			if (got == tc.sent) != tc.taken || !regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`).MatchString(got) {
				t.Errorf("sent %q, got %q", tc.sent, got)
			}
			if lines := s.log.lines(`"request_id":"` + got + `"`); len(lines) != 1 {
				t.Errorf("%d log lines: %v", len(lines), lines)
			}
		})
	}
}

// TestLogTellsNoSecrets reads what is logged of a whole life: no token, password, code or address
// of a person.
func TestLogTellsNoSecrets(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	_, code := q.invite(t, "analyst", "")
	s.do(t, call{method: http.MethodPost, path: "/v1/tokens/refresh", body: map[string]any{"refresh_token": q.coach.refresh, "device": "phone"}}).
		want(http.StatusCreated)
	s.do(
		t,
		call{
			method: http.MethodPost,
			path:   "/v1/tokens",
			body:   map[string]any{"email": q.coach.email, "password": "wrong password", "device": "phone"},
		},
	)
	s.do(t, call{method: http.MethodGet, path: "/v1/me?access_token=" + q.coach.token})
	if len(s.log.lines()) < 30 {
		t.Fatal("hardly anything was logged")
	}
	for name, secret := range map[string]string{
		"access token": q.coach.token, "refresh token": q.coach.refresh, "password": goodPassword, "wrong password": "wrong password", "code": code, "address": q.coach.email,
	} {
		if lines := s.log.lines(secret); len(lines) > 0 {
			t.Errorf("the %s is logged: %v", name, lines)
		}
	}
	for _, line := range s.log.lines() {
		var fields map[string]any
		if err := json.Unmarshal(
			[]byte(line),
			&fields,
		); err != nil ||
			fields["msg"] == "request" && (fields["route"] == nil || fields["status"] == nil) {
			t.Errorf("%v: %s", err, line)
		}
	}
}

// TestPanic breaks the service in the middle of a request: the answer is a fixed sentence, the log
// has what happened, and the next request works.
func TestPanic(t *testing.T) {
	t.Parallel()
	var broken atomic.Bool
	clock := newClock()
	s := newServer(t, func(how *setUp) {
		how.now = func() time.Time {
			if broken.Load() {
				panic("boom: hunter2secret")
			}
			return clock.now()
		}
	})
	who := s.signUp(t, "Ansa Brightwater")
	me := call{
		method: http.MethodGet,
		path:   "/v1/me",
		token:  who.token,
		header: map[string]string{"X-Request-Id": "broken"},
	}
	broken.Store(true)
	a := s.do(t, me).want(http.StatusInternalServerError)
	broken.Store(false)
	p := a.problem()
	if p.Type != "/problems#internal" || strings.Contains(a.text(), "boom") ||
		strings.Contains(a.text(), "goroutine") ||
		p.Detail != "something went wrong on our side; the request id finds it in the log" {
		t.Errorf("answer %s", a.text())
	}
	failures := s.log.lines(`"level":"ERROR"`)
	if len(failures) != 1 || !strings.Contains(failures[0], "boom") ||
		!strings.Contains(failures[0], `"request_id":"broken"`) ||
		!strings.Contains(failures[0], "edge_test.go") {
		t.Errorf(
			"%d lines of errors, want one with the cause, the place and the request's id: %v",
			len(failures),
			failures,
		)
	}
	s.do(t, me).want(http.StatusOK)
}

// TestPackedRequests: every way to send one body stores the same.
func TestPackedRequests(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	body := `{"name":"packed","length_ft":40}`
	log := "order,time\n1,2026-03-14T18:00:00Z\n"
	for name, encode := range map[string]struct {
		header string
		pack   func([]byte) []byte
	}{
		"plain":              {"", func(b []byte) []byte { return b }},
		"identity":           {"identity", func(b []byte) []byte { return b }},
		"gzip":               {"gzip", func(b []byte) []byte { return packed(t, b) }},
		"GZIP":               {"GZIP", func(b []byte) []byte { return packed(t, b) }},
		"gzip in two pieces": {"gzip", func(b []byte) []byte { return append(packed(t, b[:10]), packed(t, b[10:])...) }}, // RFC 1952, section 2.2
	} {
		t.Run(name, func(t *testing.T) {
			c := call{
				method: http.MethodPost,
				path:   q.path("patterns"),
				token:  q.coach.token,
				body:   encode.pack([]byte(body)),
			}
			if encode.header != "" {
				c = c.with("Content-Encoding", encode.header)
			}
			s.do(t, c).want(http.StatusCreated)
			c.path, c.body = q.path(
				"sessions/"+q.add(t, "sessions", q.sessionBody(0))+"/shots",
			), encode.pack(
				[]byte(log),
			)
			var result openapi.UploadResult
			s.do(t, c.with("Content-Type", "text/csv")).want(http.StatusOK).into(&result)
			if result.Counts.Stored != 1 {
				t.Errorf("%+v", result)
			}
		})
	}
}

// TestLogLimits sends logs at and over their limits.
func TestLogLimits(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	upload := func(body []byte, header ...string) *answer {
		c := call{
			method: http.MethodPost,
			path:   q.path("sessions/" + q.of[0]["session_id"] + "/shots"),
			token:  q.coach.token,
			body:   body,
		}.with(
			"Content-Type",
			"text/csv",
		)
		for i := 0; i < len(header); i += 2 {
			c = c.with(header[i], header[i+1])
		}
		return s.do(t, c)
	}
	rows := func(n int, note string) []byte {
		var b bytes.Buffer
		b.WriteString("order,time,note\n")
		for i := range n {
			fmt.Fprintf(&b, "%d,2026-03-14T18:00:00Z,%s\n", i+1, note)
		}
		return b.Bytes()
	}
	long := rows(9_500, strings.Repeat("n", 3_900))
	bomb := packed(t, long)
	if len(long) < 33<<20 || len(bomb) > 1<<20 {
		t.Fatalf("%d bytes in %d: not what it is meant to be", len(long), len(bomb))
	}
	before := s.keeper(t).fingerprint(t)
	defer func() { s.keeper(t).unchanged(t, before) }()
	for name, a := range map[string]*answer{
		"10,001 rows": upload(rows(10_001, "n")), "too many bytes": upload(long), "a bomb": upload(bomb, "Content-Encoding", "gzip"),
	} {
		p := a.want(http.StatusRequestEntityTooLarge).problem()
		if !strings.Contains(p.Detail, "10000") && !strings.Contains(p.Detail, "10,000") &&
			!strings.Contains(p.Detail, "bytes") &&
			!strings.Contains(p.Detail, "MiB") {
			t.Errorf("%s: detail %q does not say the limit", name, p.Detail)
		}
	}
}

// TestPages reads every list page by page: each record comes once, in the order of the whole.
func TestPages(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	for n := range 5 {
		q.upload(
			t,
			q.coach,
			q.of[0]["session_id"],
			[]any{map[string]any{"order": 10 + n, "time": "2026-03-14T17:00:00Z"}},
		)
	}
	for id, o := range operations() {
		if !contains(o.parameters("query"), "cursor") {
			continue
		}
		t.Run(id, func(t *testing.T) {
			path := strings.NewReplacer("{squad_id}", q.id, "{session_id}", q.of[0]["session_id"]).Replace(o.path)
			list := func(query string) (found []string, next string) {
				var page struct {
					Items []struct{ ID string }
					Next  string
				}
				s.do(t, call{method: http.MethodGet, path: path + query, token: q.coach.token}).
					want(http.StatusOK).
					into(&page)
				for _, item := range page.Items {
					found = append(found, item.ID)
				}
				return found, page.Next
			}
			whole, next := list("?limit=1000")
			if len(whole) < 2 || next != "" {
				t.Fatalf("%d items, next %q", len(whole), next)
			}
			var paged []string
			query := "?limit=1"
			for range len(whole) {
				items, next := list(query)
				if paged = append(paged, items...); next == "" {
					break
				}
				query = "?limit=1&cursor=" + next
			}
			if strings.Join(whole, " ") != strings.Join(paged, " ") {
				t.Errorf("in pages: %v, want %v", paged, whole)
			}
		})
	}
}

// TestContractIsServed: what anybody can read is the contract.
func TestContractIsServed(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	var served, want any
	s.do(t, call{method: http.MethodGet, path: "/openapi.json"}).want(http.StatusOK).into(&served)
	data, err := document().MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	if got, wanted := mustJSON(t, served), mustJSON(t, want); got != wanted {
		t.Error("the served contract is another")
	}
}

func mustJSON(t testing.TB, value any) string {
	t.Helper()
	data, err := json.Marshal(value)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestWhereARequestComesFrom: only a trusted proxy is believed about it, and of what it passes on
// only what it saw itself. Failed sign-ins are counted by it. The tests' requests come from
// 192.0.2.1.
func TestWhereARequestComesFrom(t *testing.T) {
	t.Parallel()
	_, proxy, err := net.ParseCIDR("192.0.2.0/24")
	if err != nil {
		t.Fatal(err)
	}
	for name, tc := range map[string]struct {
		proxies []*net.IPNet
		header  string
		want    string
	}{
		"directly":                        {nil, "", "192.0.2.1/32"},
		"directly, with a forged header":  {nil, "203.0.113.9", "192.0.2.1/32"},
		"by a proxy":                      {[]*net.IPNet{proxy}, "203.0.113.9", "203.0.113.9/32"},
		"by a proxy, with a forged part":  {[]*net.IPNet{proxy}, "198.51.100.1, 203.0.113.9", "203.0.113.9/32"},
		"by two proxies":                  {[]*net.IPNet{proxy}, "203.0.113.9, 192.0.2.7", "203.0.113.9/32"},
		"by a proxy, from IPv6":           {[]*net.IPNet{proxy}, "2001:db8:1:2:3::4", "2001:db8:1:2::/64"},
		"by a proxy that says nothing":    {[]*net.IPNet{proxy}, "", "192.0.2.1/32"},
		"by a proxy that passes nonsense": {[]*net.IPNet{proxy}, "nonsense", "192.0.2.1/32"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := newServer(t, func(how *setUp) { how.proxies = tc.proxies })
			c := call{
				method: http.MethodPost,
				path:   "/v1/tokens",
				body:   map[string]any{"email": "nobody@invented.example", "password": "wrong", "device": "phone"},
			}
			if tc.header != "" {
				c = c.with("X-Forwarded-For", tc.header)
			}
			s.do(t, c).want(http.StatusUnauthorized)
			var subject string
			if err := s.keeper(t).
				conn.QueryRow(t.Context(), "SELECT subject FROM sign_in_failures WHERE subject LIKE 'network:%'").
				Scan(&subject); err != nil ||
				subject != "network:"+tc.want {
				t.Errorf("counted for %s, want %s (%v)", subject, tc.want, err)
			}
		})
	}
}
