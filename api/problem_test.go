package api_test

import (
	"bytes"
	"compress/gzip"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/api/problem"
	"laneward/openapi"
)

// oneSquad is a server with one squad, for tests of the edge.
func oneSquad(t testing.TB) (*server, *squad) {
	t.Helper()
	s := newServer(t)
	return s, s.newSquad(t, "Quillfen")
}

// TestFailures asks for every kind of failure. That each is a whole problem (RFC 9457) and fits the
// contract is held by the harness.
func TestFailures(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	ball, athlete := q.path("balls/"+q.of[0]["ball_id"]), q.path("athletes/"+q.of[0]["athlete_id"])
	match := map[string]string{"If-Match": "*"}
	for name, tc := range map[string]struct {
		call   call
		status int
		kind   string
		says   string // what the detail must hold
	}{
		"not JSON":                        {call{method: "POST", path: q.path("balls"), token: q.coach.token, body: `{"name":`}, 400, "invalid", "cannot be read"},
		"an unknown field":                {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: `{"name":"p","length_ft":40,"lenght":3}`}, 400, "invalid", "lenght"},
		"an unknown query parameter":      {call{method: "GET", path: q.path("balls?limt=3"), token: q.coach.token}, 400, "invalid", "limit"},
		"a parameter out of range":        {call{method: "GET", path: q.path("balls?limit=0"), token: q.coach.token}, 400, "invalid", "limit"},
		"a limit that is no number":       {call{method: "GET", path: q.path("balls?limit=many"), token: q.coach.token}, 400, "invalid", "limit"},
		"a cursor that is none":           {call{method: "GET", path: q.path("balls?cursor=x"), token: q.coach.token}, 400, "invalid", "cursor"},
		"an id that is none":              {call{method: "GET", path: q.path("balls/7"), token: q.coach.token}, 400, "invalid", "ball_id"},
		"no token":                        {call{method: "GET", path: "/v1/me"}, 401, "unauthenticated", "Authorization"},
		"a wrong password":                {call{method: "POST", path: "/v1/tokens", body: map[string]any{"email": q.coach.email, "password": "wrong", "device": "phone"}}, 401, "unauthenticated", "password"},
		"another role":                    {call{method: "POST", path: q.path("patterns"), token: q.analyst.token, body: q.patternBody()}, 403, "forbidden", "ask a coach"},
		"no such record":                  {call{method: "GET", path: q.path("balls/" + uuid.NewString()), token: q.coach.token}, 404, "not-found", "no ball"},
		"no such squad":                   {call{method: "GET", path: "/v1/squads/" + uuid.NewString(), token: q.coach.token}, 404, "not-found", "squad"},
		"no such address":                 {call{method: "GET", path: "/v1/nothing", token: q.coach.token}, 404, "not-found", "address"},
		"no such address, no token":       {call{method: "GET", path: "/v1/nothing"}, 404, "not-found", "address"},
		"no such address below a squad":   {call{method: "POST", path: q.path("nothing"), token: q.coach.token, body: "{}"}, 404, "not-found", "address"},
		"a slash too many":                {call{method: "GET", path: "/v1/me/", token: q.coach.token}, 404, "not-found", "address"},
		"another method":                  {call{method: "DELETE", path: "/v1/me", token: q.coach.token}, 405, "method-not-allowed", "Allow"},
		"another method of a record":      {call{method: "POST", path: ball, token: q.coach.token, body: "{}"}, 405, "method-not-allowed", "Allow"},
		"a patch":                         {call{method: "PATCH", path: ball, token: q.coach.token, body: "{}"}, 405, "method-not-allowed", "Allow"},
		"signed up already":               {call{method: "POST", path: "/v1/users", body: map[string]any{"email": q.coach.email, "name": "n", "password": goodPassword, "device": "d"}}, 409, "conflict", "signed up already"},
		"another record under the id":     {call{method: "POST", path: q.path("balls"), token: q.coach.token, body: map[string]any{"id": q.of[0]["ball_id"], "athlete_id": q.of[0]["athlete_id"], "name": "another", "weight_lb": 14}}, 409, "conflict", "another record"},
		"deleted in use":                  {call{method: "DELETE", path: athlete, token: q.coach.token, header: match}, 409, "conflict", "still refer to it"},
		"the last coach":                  {call{method: "DELETE", path: q.path("members/" + memberOf(t, q, q.coach)), token: q.coach.token, header: match}, 409, "conflict", "needs a coach"},
		"a stale version":                 {call{method: "PUT", path: ball, token: q.coach.token, body: renamed((*squad).ballBody)(q, 0), header: map[string]string{"If-Match": `"1"`}}, 412, "stale", "again"},
		"no version":                      {call{method: "PUT", path: ball, token: q.coach.token, body: q.ballBody(0)}, 428, "needs-revision", "If-Match"},
		"a body too large":                {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: strings.Repeat(" ", 2<<20+1)}, 413, "too-large", "bytes"},
		"a body too large, unsaid":        {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: strings.Repeat(" ", 2<<20+1), header: map[string]string{"Transfer-Encoding": "chunked"}}, 413, "too-large", "bytes"},
		"a small body that unpacks large": {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: packed(t, bytes.Repeat([]byte(" "), 3<<20)), header: map[string]string{"Content-Encoding": "gzip"}}, 413, "too-large", "bytes"},
		"another media type":              {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: "name=p", header: map[string]string{"Content-Type": "application/x-www-form-urlencoded"}}, 415, "media-type", "application/json"},
		"another media type of a log":     {call{method: "POST", path: q.path("sessions/" + q.of[0]["session_id"] + "/shots"), token: q.coach.token, body: "x", header: map[string]string{"Content-Type": "application/pdf"}}, 415, "media-type", "text/csv"},
		"a log that is not UTF-8":         {call{method: "POST", path: q.path("sessions/" + q.of[0]["session_id"] + "/shots"), token: q.coach.token, body: "x", header: map[string]string{"Content-Type": "text/csv; charset=iso-8859-1"}}, 415, "media-type", "UTF-8"},
		"another encoding":                {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: "x", header: map[string]string{"Content-Encoding": "br"}}, 415, "media-type", "gzip"},
		"an encoding twice":               {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: "x", header: map[string]string{"Content-Encoding": "gzip, gzip"}}, 415, "media-type", "gzip"},
		"said to be gzip and not":         {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: "x", header: map[string]string{"Content-Encoding": "gzip"}}, 400, "invalid", "gzip"},
		"gzip that breaks off":            {call{method: "POST", path: q.path("patterns"), token: q.coach.token, body: packed(t, []byte(`{"name":"p","length_ft":40}`))[:20], header: map[string]string{"Content-Encoding": "gzip"}}, 400, "invalid", ""},
		"no body":                         {call{method: "POST", path: q.path("patterns"), token: q.coach.token}, 400, "invalid", ""},
		"a log without rows":              {call{method: "POST", path: q.path("sessions/" + q.of[0]["session_id"] + "/shots"), token: q.coach.token, body: "[]"}, 400, "invalid", "nothing was stored"},
		"a client of tomorrow":            {call{method: "GET", path: q.path("feed?schema=9999"), token: q.coach.token}, 400, "invalid", "older"},
	} {
		t.Run(name, func(t *testing.T) {
			a := s.do(t, tc.call).want(tc.status)
			p := a.problem()
			if p.Type != "/problems#"+tc.kind || !strings.Contains(p.Detail, tc.says) {
				t.Errorf("%s: %q, want %s and %q", p.Type, p.Detail, tc.kind, tc.says)
			}
			if tc.status == http.StatusMethodNotAllowed && !strings.Contains(a.header.Get("Allow"), "GET") {
				t.Errorf("Allow is %q (RFC 9110, section 15.5.6)", a.header.Get("Allow"))
			}
		})
	}
}

// memberOf is the id of a person's membership.
func memberOf(t testing.TB, q *squad, who person) string {
	t.Helper()
	var page openapi.MemberPage
	q.server.do(t, call{method: http.MethodGet, path: q.path("members"), token: q.coach.token}).
		want(http.StatusOK).
		into(&page)
	for _, m := range page.Items {
		if m.UserID == who.id {
			return m.ID.String()
		}
	}
	t.Fatal("no such member")
	return ""
}

func packed(t testing.TB, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestTooManySignIns is answered 429 with Retry-After (RFC 6585, section 4), alike for a known and
// an unknown address, and the wait helps.
func TestTooManySignIns(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	who := s.signUp(t, "Ansa Brightwater")
	signIn := func(email, password string) *answer {
		return s.do(
			t,
			call{
				method: http.MethodPost,
				path:   "/v1/tokens",
				body:   map[string]any{"email": email, "password": password, "device": "phone"},
			},
		)
	}
	var last [2]openapi.Problem
	for range 6 {
		for i, email := range []string{who.email, "nobody@invented.example"} {
			a := signIn(email, "wrong")
			last[i] = a.problem()
			last[i].RequestID = ""
			if a.status == http.StatusTooManyRequests && a.header.Get("Retry-After") != "2" {
				t.Errorf("Retry-After is %q", a.header.Get("Retry-After"))
			}
		}
		if diff := cmp.Diff(last[0], last[1]); diff != "" {
			t.Fatalf("a known address is told from an unknown one:\n%s", diff)
		}
	}
	if last[0].Status != http.StatusTooManyRequests || last[0].Type != "/problems#too-many" {
		t.Fatalf("after six failures: %+v", last[0])
	}
	signIn(who.email, goodPassword).want(http.StatusTooManyRequests)
	s.clock.move(2 * time.Second)
	signIn(who.email, goodPassword).want(http.StatusCreated)
}

// TestAllFaultsAtOnce sends a body with several faults, in the contract's sight and in the
// service's.
func TestAllFaultsAtOnce(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	for name, tc := range map[string]struct {
		path string
		body any
		want []string // pointers
	}{
		"what the contract says": {
			"athletes", `{"name":"","side":"middle","speed_mph":99,"tilt_deg":"much","colour":"blue","guardian_name":7}`,
			[]string{"/colour", "/guardian_name", "/name", "/side", "/speed_mph", "/tilt_deg"},
		},
		"what is missing": {"sessions", `{}`, []string{"/date", "/kind", "/name"}},
		"numbers out of range": {
			"balls",
			map[string]any{"athlete_id": q.of[0]["athlete_id"], "name": "b", "weight_lb": 17, "differential_in": 1, "surface_grit": 1},
			[]string{"/differential_in", "/surface_grit", "/weight_lb"},
		},
		"within a list": {
			"drills", `{"name":"d","reps":0,"pass_share":2,"rules":[{"measure":"board","at":"nowhere"},{"measure":"speed","min":3,"more":1}]}`,
			[]string{"/reps", "/rules/0/at", "/rules/1/more"},
		},
		"rules that say nothing": {
			"drills", `{"name":"d","reps":10,"pass_share":0.8,"rules":[{"measure":"board","at":"arrows"},{"measure":"speed","min":9,"max":8}]}`,
			[]string{"/rules/0", "/rules/1"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			a := s.do(t, call{method: http.MethodPost, path: q.path(tc.path), token: q.coach.token, body: tc.body}).
				want(http.StatusBadRequest)
			p := a.problem()
			var pointers []string
			if p.Errors != nil {
				for _, fault := range *p.Errors {
					pointers = append(pointers, fault.Pointer)
					if fault.Detail == "" {
						t.Errorf("%s has no detail", fault.Pointer)
					}
				}
			}
			slices.Sort(pointers)
			for _, want := range tc.want {
				if !slices.ContainsFunc(
					pointers,
					func(got string) bool { return got == want || strings.HasPrefix(got, want+"/") },
				) {
					t.Errorf("no fault at %s: %s", want, a.text())
				}
			}
			if !strings.Contains(p.Detail, "problems; the first") {
				t.Errorf("detail %q does not say that there are several", p.Detail)
			}
		})
	}
}

// TestProblemTypesAreExplained reads the page that types point to: every kind of failure has its
// place there.
func TestProblemTypesAreExplained(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	page := s.send(t, call{method: http.MethodGet, path: "/problems"}).want(http.StatusOK)
	known := make(map[string]bool)
	for _, p := range problem.Kinds() {
		known[string(p.Code)] = true
		if !bytes.Contains(page.body, []byte(`id="`+string(p.Code)+`"`)) {
			t.Errorf("/problems#%s points to nothing", p.Code)
		}
	}
	for _, code := range []string{
		"invalid", "unauthenticated", "forbidden", "not-found", "method-not-allowed", "conflict", "gone", "erased", "stale", "too-large", "media-type",
		"client-too-old", "needs-revision", "too-many", "internal", "unavailable",
	} {
		if !known[code] {
			t.Errorf("%s is not explained at /problems; there is %v", code, slices.Sorted(maps.Keys(known)))
		}
	}
}

// TestCreatingADeletedRecord advises what can be done: neither POST nor PUT takes a deletion's
// revision.
func TestCreatingADeletedRecord(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	pattern := map[string]any{"id": uuid.NewString(), "name": "p", "length_ft": 40}
	create := call{method: http.MethodPost, path: q.path("patterns"), token: q.coach.token, body: pattern}
	s.do(t, create).want(http.StatusCreated)
	s.do(t, call{
		method: http.MethodDelete,
		path:   q.path("patterns/" + pattern["id"].(string)),
		token:  q.coach.token,
		header: map[string]string{"If-Match": "*"},
	}).want(http.StatusNoContent)
	pattern["name"] = "another"
	detail := s.do(t, create).want(http.StatusConflict).problem().Detail
	if !strings.Contains(detail, "under a new id") || strings.Contains(detail, "rev") {
		t.Errorf("advice: %q", detail)
	}
	pattern["id"] = uuid.NewString()
	s.do(t, create).want(http.StatusCreated)
}
