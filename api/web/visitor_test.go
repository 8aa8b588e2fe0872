package web_test

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// visitor is a browser without a window: it keeps cookies, and follows no redirect by itself.
type visitor struct {
	w      *world
	client *http.Client
}

func (w *world) visitor() *visitor {
	w.t.Helper()
	jar, err := cookiejar.New(nil)
	must(w.t, err)
	stay := func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return &visitor{w, &http.Client{Jar: jar, CheckRedirect: stay}}
}

// signedIn is a visitor who has signed in.
func (w *world) signedIn(email string) *visitor {
	w.t.Helper()
	return w.signInWith(email, password)
}

func (w *world) signInWith(email, password string) *visitor {
	w.t.Helper()
	v := w.visitor()
	if got := v.post("/sign-in", "email", email, "password", password); got.status != http.StatusSeeOther {
		w.t.Fatalf("sign in as %s: %d\n%s", email, got.status, got.body)
	}
	return v
}

// reply is a page as it came.
type reply struct {
	status int
	header http.Header
	body   string
}

func (v *visitor) send(request *http.Request) reply {
	v.w.t.Helper()
	response, err := v.client.Do(request)
	must(v.w.t, err)
	body, err := io.ReadAll(response.Body)
	must(v.w.t, err)
	must(v.w.t, response.Body.Close())
	return reply{response.StatusCode, response.Header, string(body)}
}

func (v *visitor) request(method, path string, body io.Reader) *http.Request {
	v.w.t.Helper()
	request, err := http.NewRequestWithContext(v.w.t.Context(), method, v.w.server.URL+path, body)
	must(v.w.t, err)
	return request
}

func (v *visitor) get(path string) reply {
	v.w.t.Helper()
	return v.send(v.request(http.MethodGet, path, nil))
}

// post sends a form of names and values by turns.
func (v *visitor) post(path string, fields ...string) reply {
	v.w.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	request := v.request(http.MethodPost, path, strings.NewReader(form.Encode()))
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return v.send(request)
}

// upload sends a file as a browser does.
func (v *visitor) upload(path, name, log string, fields ...string) reply {
	v.w.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for i := 0; i+1 < len(fields); i += 2 {
		must(v.w.t, form.WriteField(fields[i], fields[i+1]))
	}
	part, err := form.CreateFormFile("log", name)
	must(v.w.t, err)
	_, err = io.WriteString(part, log)
	must(v.w.t, err)
	must(v.w.t, form.Close())
	request := v.request(http.MethodPost, path, &body)
	request.Header.Set("Content-Type", form.FormDataContentType())
	return v.send(request)
}

// wants checks a reply's status and that its text holds each of the parts; tags do not count as
// text.
func (r reply) wants(t *testing.T, status int, parts ...string) {
	t.Helper()
	if r.status != status {
		t.Fatalf("the answer is %d, want %d:\n%s", r.status, status, r.body)
	}
	text := r.text()
	for _, part := range parts {
		if !strings.Contains(text, part) {
			t.Errorf("the page does not say %q:\n%s", part, text)
		}
	}
}

var (
	tagRE   = regexp.MustCompile(`<[^>]*>`)
	blankRE = regexp.MustCompile(`\s+`)
)

func (r reply) text() string {
	return blankRE.ReplaceAllString(
		strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&lt;", "<", "&amp;", "&").
			Replace(tagRE.ReplaceAllString(r.body, " ")),
		" ",
	)
}

func (r reply) location(t *testing.T) string {
	t.Helper()
	if r.status != http.StatusSeeOther {
		t.Fatalf("the answer is %d, want %d:\n%s", r.status, http.StatusSeeOther, r.body)
	}
	return r.header.Get("Location")
}

func (w *world) at(parts ...string) string {
	return "/squads/" + w.squad.String() + strings.Join(parts, "")
}
