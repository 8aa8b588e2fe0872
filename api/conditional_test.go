package api_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/google/uuid"
)

// TestConditionalRequests is RFC 9110, sections 8.8.3.2 (comparison; its table from memory), 13.1.1
// and 13.1.2, on a record whose ETag is known. The record stands at N; M is another number.
func TestConditionalRequests(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	path := q.path("balls/" + q.of[0]["ball_id"])
	read := func() (etag string) {
		return s.do(t, call{method: http.MethodGet, path: path, token: q.coach.token}).
			want(http.StatusOK).
			header.Get(
			"ETag",
		)
	}
	for name, tc := range map[string]struct {
		header    string // N is the record's number, M another
		match     int    // the answer to a change with it as If-Match
		noneMatch int    // the answer to a reading with it as If-None-Match
	}{
		"the tag":                      {`"N"`, 200, 304},
		"another tag":                  {`"M"`, 412, 200},
		"the weak tag":                 {`W/"N"`, 412, 304}, // If-Match compares strongly, If-None-Match weakly
		"another weak tag":             {`W/"M"`, 412, 200},
		"any":                          {`*`, 200, 304},
		"a list with it":               {`"M", "N"`, 200, 304},
		"a list without blanks":        {`"M","N","X"`, 200, 304},
		"a list with it weak":          {`"M", W/"N"`, 412, 304},
		"a list without it":            {`"M", "X"`, 412, 200},
		"a list with empty elements":   {`, "N" ,,`, 200, 304}, // RFC 9110, section 5.6.1.2
		"a tag that is none of ours":   {`"abc"`, 412, 200},
		"a tag with a comma":           {`"a,b", "N"`, 200, 304},
		"a number that is not its own": {`"0N"`, 412, 200},
		"with a sign":                  {`"+N"`, 412, 200},
		"without quotes":               {`N`, 412, 200},
		"a lower-case weak tag":        {`w/"N"`, 412, 200},
		"half a quote":                 {`"N`, 412, 200},
	} {
		t.Run(name, func(t *testing.T) {
			etag := read()
			number := etag[1 : len(etag)-1]
			header := ""
			for _, letter := range tc.header {
				switch letter {
				case 'N':
					header += number
				case 'M':
					header += "999999"
				default:
					header += string(letter)
				}
			}
			get := call{method: http.MethodGet, path: path, token: q.coach.token}.with("If-None-Match", header)
			a := s.do(t, get).want(tc.noneMatch)
			if a.header.Get("ETag") != etag {
				t.Errorf("%d with ETag %q, want %q", a.status, a.header.Get("ETag"), etag)
			}
			if tc.noneMatch == http.StatusNotModified && len(a.body) > 0 {
				t.Errorf("304 with a body: %s", a.text())
			}
			put := call{
				method: http.MethodPut,
				path:   path,
				token:  q.coach.token,
				body:   renamed((*squad).ballBody)(q, 0),
			}.with(
				"If-Match",
				header,
			)
			changed := s.do(t, put).want(tc.match)
			if now := read(); (now != etag) != (tc.match == http.StatusOK) ||
				tc.match == http.StatusOK && changed.header.Get("ETag") != now {
				t.Errorf("If-Match %q: the ETag went from %s to %s", header, etag, now)
			}
		})
	}
}

// TestChangesNeedAVersion: no change goes through without If-Match (RFC 6585, section 3), for every
// operation that takes it.
func TestChangesNeedAVersion(t *testing.T) {
	t.Parallel()
	w := newWalk(t)
	for id, o := range operations() {
		if row, ok := accessRows[id]; ok && contains(o.parameters("header"), "If-Match") {
			t.Run(id, func(t *testing.T) {
				c := w.request(t, o, row, 0)
				delete(c.header, "If-Match")
				before := w.keeper.fingerprint(t)
				w.do(t, c).want(http.StatusPreconditionRequired)
				w.do(t, c.with("If-Match", " ")).want(http.StatusPreconditionRequired)
				w.keeper.unchanged(t, before)
			})
		}
	}
}

func contains(list []string, name string) bool {
	for _, one := range list {
		if one == name {
			return true
		}
	}
	return false
}

// TestCreateTwice: a record made offline is stored once however often it is sent, and its ETag is
// what a change needs.
func TestCreateTwice(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	body := q.ballBody(0)
	body["id"] = "0191e2c4-7d00-7000-8000-00000000beef"
	create := call{method: http.MethodPost, path: q.path("balls"), token: q.coach.token, body: body}
	first := s.do(t, create).want(http.StatusCreated)
	if got := first.header.Get("Location"); got != q.path("balls/"+body["id"].(string)) {
		t.Errorf("Location %q", got)
	}
	again := s.do(t, create).want(http.StatusOK)
	if first.header.Get("ETag") == "" || first.header.Get("ETag") != again.header.Get("ETag") ||
		string(first.body) != string(again.body) {
		t.Errorf(
			"sent again: %s %s, first %s %s",
			again.header.Get("ETag"),
			again.text(),
			first.header.Get("ETag"),
			first.text(),
		)
	}
	body["note"] = "drilled anew"
	s.do(t, create).want(http.StatusConflict)
	put := call{
		method: http.MethodPut,
		path:   first.header.Get("Location"),
		token:  q.coach.token,
		body:   body,
	}.with(
		"If-Match",
		first.header.Get("ETag"),
	)
	second := s.do(t, put).want(http.StatusOK)
	s.do(t, put).want(http.StatusOK) // the same change again, as after a lost answer, has been made already
	s.do(t, call{method: http.MethodDelete, path: put.path, token: q.coach.token}.with("If-Match", first.header.Get("ETag"))).
		want(http.StatusPreconditionFailed)
	remove := call{
		method: http.MethodDelete,
		path:   put.path,
		token:  q.coach.token,
	}.with(
		"If-Match",
		second.header.Get("ETag"),
	)
	s.do(t, remove).want(http.StatusNoContent)
	s.do(t, remove).want(http.StatusNotFound)
	s.do(t, create).want(http.StatusConflict) // it was deleted: what was offline then does not bring it back
}

// TestHead is RFC 9110, section 9.3.2: what GET answers, without the content.
func TestHead(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	listening := httptest.NewServer(s.handler)
	t.Cleanup(listening.Close)
	ask := func(method, path string) (*http.Response, string) {
		t.Helper()
		request, err := http.NewRequestWithContext(t.Context(), method, listening.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		request.Header.Set("Authorization", "Bearer "+q.coach.token)
		response, err := http.DefaultClient.Do(request)
		if err != nil {
			t.Fatal(err)
		}
		defer response.Body.Close()
		body, err := io.ReadAll(response.Body)
		if err != nil {
			t.Fatal(err)
		}
		return response, string(body)
	}
	for name, path := range map[string]string{
		"a record": q.path("balls/" + q.of[0]["ball_id"]), "a list": q.path("balls"), "the process": "/healthz", "the contract": "/openapi.json", "a page": "/sign-in",
		"nothing": "/v1/nothing", "a record that is none": q.path("balls/" + uuid.NewString()), "the logger": "/logger/",
	} {
		t.Run(name, func(t *testing.T) {
			get, content := ask(http.MethodGet, path)
			head, body := ask(http.MethodHead, path)
			if head.StatusCode != get.StatusCode || body != "" || content == "" {
				t.Errorf("HEAD %s answers %d with %q, GET %d", path, head.StatusCode, body, get.StatusCode)
			}
			for _, field := range []string{"Content-Type", "Etag", "Cache-Control"} {
				if head.Header.Get(field) != get.Header.Get(field) {
					t.Errorf("HEAD %s has %s %q, GET %q", path, field, head.Header.Get(field), get.Header.Get(field))
				}
			}
		})
	}
	if live, _ := ask(
		http.MethodHead,
		q.path("live"),
	); live.StatusCode != http.StatusMethodNotAllowed ||
		live.Header.Get("Allow") != "GET" {
		t.Errorf("HEAD of the live tail answers %d, Allow %q", live.StatusCode, live.Header.Get("Allow"))
	}
}
