package api_test

import (
	"bytes"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"laneward/service"
)

// spoiled makes of a good request one that must fail, for the failures that every operation of a
// shape can answer with. A request that cannot be spoiled so is not asked.
var spoiled = map[int]func(c call) call{
	http.StatusBadRequest: func(c call) call {
		c.path = withQuery(c.path, "nonsense=1")
		return c
	},
	http.StatusPreconditionFailed: func(c call) call {
		if member, ok := c.body.(map[string]any); ok && member["role"] != nil {
			c.body = map[string]any{"role": "coach"} // the role they have needs no change, whatever the version
		}
		return c.with("If-Match", `"999999999"`)
	},
	http.StatusPreconditionRequired: func(c call) call { return c.with("If-Match", "") },
	http.StatusRequestEntityTooLarge: func(c call) call {
		c.body = bytes.Repeat([]byte(" "), service.MaxLogBytes+2<<20)
		return c
	},
	http.StatusUnsupportedMediaType: func(c call) call { return c.with("Content-Type", "application/pdf") },
	http.StatusUpgradeRequired: func(c call) call {
		c.path = withQuery(c.path, "schema=0")
		return c
	},
}

func withQuery(path, query string) string {
	if strings.Contains(path, "?") {
		return path + "&" + query
	}
	return path + "?" + query
}

// TestCommonFailures spoils every operation's good request in each of the ways that its contract
// names.
func TestCommonFailures(t *testing.T) {
	t.Parallel()
	w := newWalk(t)
	for _, id := range slices.Sorted(maps.Keys(operations())) {
		o := operations()[id]
		for _, status := range slices.Sorted(maps.Keys(spoiled)) {
			if o.spec.Responses.Value(strconv.Itoa(status)) == nil {
				continue
			}
			t.Run(id+" "+strconv.Itoa(status), func(t *testing.T) {
				w.do(t, spoiled[status](w.request(t, o, accessRows[id], 0))).want(status)
			})
		}
	}
}

// TestServerFailures takes the database away, and then breaks the service itself, under every
// operation.
func TestServerFailures(t *testing.T) {
	t.Parallel()
	var broken atomic.Bool
	var wire *line
	clock := newClock()
	s := newServer(t, func(how *setUp) {
		how.database = func(url string) (through string) {
			wire, through = newLine(t, url)
			return through
		}
		how.now = func() time.Time {
			if broken.Load() {
				panic("the clock has stopped")
			}
			return clock.now()
		}
	})
	w := &walk{server: s, own: s.newSquad(t, "Quillfen")}
	requests := make(map[string]call)
	for id, o := range operations() {
		requests[id] = w.request(t, o, accessRows[id], 0)
	}
	ask := func(status int) {
		for _, id := range slices.Sorted(maps.Keys(requests)) {
			if operations()[id].spec.Responses.Value(strconv.Itoa(status)) != nil {
				t.Run(id+" "+strconv.Itoa(status), func(t *testing.T) { s.do(t, requests[id]).want(status) })
			}
		}
	}
	clock.move(time.Minute) // within a sign-in's life, and past what is taken on trust
	wire.cut()
	ask(http.StatusServiceUnavailable)
	broken.Store(true)
	ask(http.StatusInternalServerError)
}

// kindsByPath are the records that are made, read and changed alike, by their place in an address.
var kindsByPath = map[string]func(*squad) map[string]any{
	"athletes":    func(q *squad) map[string]any { return athleteBody(q, 0) },
	"balls":       func(q *squad) map[string]any { return q.ballBody(0) },
	"patterns":    func(q *squad) map[string]any { return q.patternBody() },
	"sessions":    func(q *squad) map[string]any { return q.sessionBody(0) },
	"drills":      func(q *squad) map[string]any { return q.drillBody(0) },
	"assignments": func(q *squad) map[string]any { return q.assignmentBody(0) },
}

// TestRecordStatuses takes a record of each kind through what can become of it: stored, stored
// again, another under its id, read again unchanged, deleted while it is needed, and stored again
// when its deletion is forgotten.
func TestRecordStatuses(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	post := func(t *testing.T, many string, body map[string]any) *answer {
		return s.do(t, call{method: http.MethodPost, path: q.path(many), token: q.coach.token, body: body})
	}
	made := make(map[string]map[string]any)
	for many, body := range kindsByPath {
		t.Run(many, func(t *testing.T) {
			record := body(q)
			record["id"] = uuid.NewString()
			made[many] = record
			stored := post(t, many, record).want(http.StatusCreated)
			post(t, many, record).want(http.StatusOK)
			other := maps.Clone(record)
			other["note"] = "another"
			post(t, many, other).want(http.StatusConflict)
			one := call{method: http.MethodGet, path: stored.header.Get("Location"), token: q.coach.token}
			s.do(t, one.with("If-None-Match", stored.header.Get("ETag"))).want(http.StatusNotModified)
			one.method = http.MethodDelete
			s.do(t, one.with("If-Match", "*")).want(http.StatusNoContent)
			if many != "assignments" { // nothing refers to an assignment
				one.path = q.path(many + "/" + q.of[0][strings.TrimSuffix(many, "s")+"_id"])
				s.do(t, one.with("If-Match", "*")).want(http.StatusConflict)
			}
		})
	}
	s.clock.move(service.TombstoneLife + time.Hour)
	if _, err := s.service.Forget(t.Context()); err != nil {
		t.Fatal(err)
	}
	q.signIn(t)
	for many, record := range made {
		t.Run(many+", forgotten", func(t *testing.T) { post(t, many, record).want(http.StatusGone) })
	}
	line := lineBody(goodAim)(q, 0).(map[string]any)
	line["id"] = made["drills"]["id"]
	post(t, "line-drills", line).want(http.StatusGone)
	assign := map[string]any{"assigned_on": "2026-03-14", "drill": q.drillBody(0)}
	post(t, "drills/"+made["drills"]["id"].(string)+"/assign", assign).want(http.StatusGone)
}

// signIn gives the coach a token of today.
func (q *squad) signIn(t testing.TB) {
	t.Helper()
	var tokens struct {
		AccessToken string `json:"access_token"`
	}
	q.server.do(t, call{
		method: http.MethodPost, path: "/v1/tokens",
		body: map[string]any{"email": q.coach.email, "password": goodPassword, "device": "phone"},
	}).want(http.StatusCreated).into(&tokens)
	q.coach.token = tokens.AccessToken
}

// TestOtherStatuses asks for what only one operation or two can answer.
func TestOtherStatuses(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	bare := q.add(t, "patterns", map[string]any{"name": "length alone", "length_ft": 40})
	onBare := func(body any) any { return replaced(body, "pattern_id", bare) }
	_, code := q.invite(t, "analyst", "")
	squadOfOwn := map[string]any{"id": uuid.NewString(), "name": "Second"}
	shot, member := q.path("shots/"+q.of[0]["shot_id"]), q.path("members/"+memberOf(t, q, q.coach))
	for _, tc := range []struct {
		name   string
		call   call
		status int
	}{
		{"lines compared without a film", call{method: "POST", path: q.path("comparisons"), body: onBare(accessRows["compareLines"].body(q, 0))}, 409},
		{"a line without a film", call{method: "POST", path: q.path("paths"), body: onBare(accessRows["studyLine"].body(q, 0))}, 409},
		{"lines without a film", call{method: "POST", path: q.path("plans"), body: onBare(lineBody(nil)(q, 0))}, 409},
		{"joined already", call{method: "POST", path: "/v1/invitations/accept", body: map[string]any{"code": code}}, 409},
		{"a squad", call{method: "POST", path: "/v1/squads", body: squadOfOwn}, 201},
		{"a squad again", call{method: "POST", path: "/v1/squads", body: squadOfOwn}, 200},
		{"a squad of another name", call{method: "POST", path: "/v1/squads", body: map[string]any{"id": squadOfOwn["id"], "name": "Third"}}, 409},
		{"the last coach", call{method: "PUT", path: member, body: map[string]any{"role": "analyst"}, header: map[string]string{"If-Match": "*"}}, 409},
		{"a shot held", call{method: "GET", path: shot, header: map[string]string{"If-None-Match": "*"}}, 304},
		{"a squad held", call{method: "GET", path: "/v1/squads/" + q.id, header: map[string]string{"If-None-Match": "*"}}, 304},
		{"a wrong refresh token", call{method: "POST", path: "/v1/tokens/refresh", body: map[string]any{"refresh_token": strings.Repeat("garbage", 5), "device": "phone"}}, 401},
	} {
		t.Run(tc.name, func(t *testing.T) {
			tc.call.token = q.coach.token
			s.do(t, tc.call).want(tc.status)
		})
	}
	t.Run("too many from one network", func(t *testing.T) {
		s.asOwner(t, "UPDATE sign_in_failures SET failures = 1000 WHERE subject LIKE 'sign-up:%'")
		c := call{method: http.MethodPost, path: "/v1/users", body: accessRows["signUp"].body(q, 0)}
		if a := s.do(t, c).want(http.StatusTooManyRequests); a.header.Get("Retry-After") == "" {
			t.Error("no Retry-After")
		}
	})
}

// asOwner changes the database behind the server's back.
func (s *server) asOwner(t testing.TB, sql string, args ...any) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.db.OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), sql, args...); err != nil {
		t.Fatal(err)
	}
}
