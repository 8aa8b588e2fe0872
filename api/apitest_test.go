package api_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"

	"laneward/api"
	"laneward/db"
	"laneward/db/dbtest"
	"laneward/openapi"
	"laneward/service"
)

// server is the whole HTTP surface over a real database that one test has for itself.
type server struct {
	t       testing.TB
	db      *dbtest.DB
	handler http.Handler
	service *service.Service
	clock   *clock
	key     ed25519.PrivateKey // what the server signs access tokens with, so that a test can forge around it
	log     *logBuffer
}

// setUp is what a test may have otherwise than usual.
type setUp struct {
	database func(url string) string // where the server looks for the database, given where it is
	conns    int32
	wait     time.Duration    // for a connection
	now      func() time.Time // instead of the server's clock
	proxies  []*net.IPNet     // those that are trusted
	public   string           // the public URL
	limits   service.Limits
}

// publicURL is how the servers of these tests are reached.
const publicURL = "https://lanes.invented.example"

// newServer starts a server with a clock that stands still until the test moves it.
func newServer(t testing.TB, setUps ...func(*setUp)) *server {
	t.Helper()
	s := &server{t: t, db: dbtest.New(t), clock: newClock(), log: &logBuffer{}}
	how := setUp{database: func(url string) string { return url }, conns: 4, wait: time.Minute, now: s.clock.now, public: publicURL}
	for _, change := range setUps {
		change(&how)
	}
	opened, err := db.Open(t.Context(), how.database(s.db.ServiceURL), db.Options{MaxConns: how.conns, Wait: how.wait})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(opened.Close)
	var keys *service.Keys
	keys, s.key = newKeys(t)
	logger := slog.New(slog.NewJSONHandler(s.log, nil))
	svc := service.New(service.Config{
		DB:       opened,
		Keys:     keys,
		Log:      logger,
		Now:      how.now,
		Patience: time.Hour,
		Limits:   how.limits,

		PublicURL: how.public,
	})
	t.Cleanup(svc.Close)
	s.service = svc
	if s.handler, err = api.NewHandler(
		api.Config{Service: svc, Log: logger, Version: "test", TrustedProxies: how.proxies},
	); err != nil {
		t.Fatal(err)
	}
	return s
}

// newKeys makes the file of signing keys as an operator would, and keeps the key.
func newKeys(t testing.TB) (*service.Keys, ed25519.PrivateKey) {
	t.Helper()
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "keys.pem")
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	keys, err := service.LoadKeys(path)
	if err != nil {
		t.Fatal(err)
	}
	return keys, private
}

// clock is a time that only the test moves.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func newClock() *clock { return &clock{at: time.Date(2026, 3, 14, 18, 0, 0, 0, time.UTC)} }

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *clock) move(by time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(by)
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

// lines returns the log's lines that hold every one of the words.
func (l *logBuffer) lines(words ...string) (found []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for line := range strings.Lines(l.text.String()) {
		if !slices.ContainsFunc(words, func(word string) bool { return !strings.Contains(line, word) }) {
			found = append(found, line)
		}
	}
	return found
}

// call is one request. A body that is neither nil, string nor bytes goes as JSON.
type call struct {
	method, path string
	token        string
	body         any
	header       map[string]string
}

// with returns the call with one more header.
func (c call) with(name, value string) call {
	header := map[string]string{name: value}
	for n, v := range c.header {
		if n != name {
			header[n] = v
		}
	}
	c.header = header
	return c
}

// answer is one response.
type answer struct {
	t      testing.TB
	call   call
	status int
	header http.Header
	body   []byte
}

// do sends a request through the whole router and holds the answer against the contract, whatever
// its status.
func (s *server) do(t testing.TB, c call) *answer {
	t.Helper()
	a := s.send(t, c)
	a.checkManners()
	a.checkContract()
	return a
}

func (s *server) send(t testing.TB, c call) *answer {
	t.Helper()
	request := c.request(t)
	recorder := httptest.NewRecorder()
	s.handler.ServeHTTP(endless(recorder, &request), request)
	answered.record(c, recorder.Code)
	return &answer{t: t, call: c, status: recorder.Code, header: recorder.Header(), body: recorder.Body.Bytes()}
}

// endless lets a stream of events end: the reader leaves at the first of them.
func endless(recorder *httptest.ResponseRecorder, request **http.Request) http.ResponseWriter {
	ctx, leave := context.WithCancel((*request).Context())
	*request = (*request).WithContext(ctx)
	return &leaver{recorder, leave}
}

// leaver is a reader that leaves when the first event has come.
type leaver struct {
	*httptest.ResponseRecorder
	leave context.CancelFunc
}

func (l *leaver) Write(data []byte) (int, error) {
	if bytes.Contains(data, []byte("\nevent: ")) && l.Header().Get("Content-Type") == "text/event-stream" {
		defer l.leave()
	}
	return l.ResponseRecorder.Write(data)
}

func (c call) request(t testing.TB) *http.Request {
	t.Helper()
	body, contentType := c.payload(t)
	request := httptest.NewRequestWithContext(t.Context(), c.method, c.path, body)
	if contentType != "" {
		request.Header.Set("Content-Type", contentType)
	}
	if c.token != "" {
		request.Header.Set("Authorization", "Bearer "+c.token)
	}
	for name, value := range c.header {
		request.Header.Set(name, value)
	}
	return request
}

func (c call) payload(t testing.TB) (body io.Reader, contentType string) {
	t.Helper()
	switch text := c.body.(type) {
	case nil:
		return nil, ""
	case string:
		return strings.NewReader(text), "application/json"
	case []byte:
		return bytes.NewReader(text), "application/json"
	}
	data, err := json.Marshal(c.body)
	if err != nil {
		t.Fatal(err)
	}
	return bytes.NewReader(data), "application/json"
}

// want fails the test unless the answer has the status.
func (a *answer) want(status int) *answer {
	a.t.Helper()
	if a.status != status {
		a.t.Fatalf("%s %s: status %d, want %d: %s", a.call.method, a.call.path, a.status, status, a.text())
	}
	return a
}

// text is the body for a person to read, its beginning if it is long.
func (a *answer) text() string {
	const most = 2000
	if len(a.body) > most {
		return fmt.Sprintf("%s … (%d bytes)", a.body[:most], len(a.body))
	}
	return string(a.body)
}

// into reads the body as JSON.
func (a *answer) into(value any) {
	a.t.Helper()
	if err := json.Unmarshal(a.body, value); err != nil {
		a.t.Fatalf("%s %s: %v: %s", a.call.method, a.call.path, err, a.text())
	}
}

// problem reads the body as a problem.
func (a *answer) problem() (p openapi.Problem) {
	a.t.Helper()
	a.into(&p)
	return p
}

// checkManners holds what every answer must have, documented or not.
func (a *answer) checkManners() {
	a.t.Helper()
	for name, want := range map[string]string{
		"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "no-referrer",
	} {
		if got := a.header.Get(name); got != want {
			a.t.Errorf("%s %s: %s is %q, want %q", a.call.method, a.call.path, name, got, want)
		}
	}
	if !strings.Contains(a.header.Get("Content-Security-Policy"), "default-src 'self'") {
		a.t.Errorf(
			"%s %s: Content-Security-Policy is %q",
			a.call.method,
			a.call.path,
			a.header.Get("Content-Security-Policy"),
		)
	}
	if a.header.Get("Cache-Control") == "" {
		a.t.Errorf("%s %s: no Cache-Control", a.call.method, a.call.path)
	}
	if a.header.Get("X-Request-Id") == "" {
		a.t.Errorf("%s %s: no X-Request-Id", a.call.method, a.call.path)
	}
	if a.status >= 400 && a.call.method != http.MethodHead {
		a.checkProblem()
	}
}

// checkProblem holds a failure against RFC 9457: its media type and its members.
func (a *answer) checkProblem() {
	a.t.Helper()
	if got := a.header.Get("Content-Type"); got != "application/problem+json" {
		a.t.Errorf(
			"%s %s: %d: Content-Type %q, want application/problem+json: %s",
			a.call.method,
			a.call.path,
			a.status,
			got,
			a.text(),
		)
		return
	}
	var members any
	if err := json.Unmarshal(a.body, &members); err != nil {
		a.t.Errorf("%s %s: problem: %v: %s", a.call.method, a.call.path, err, a.text())
		return
	}
	schema := document().Components.Schemas["Problem"].Value
	if err := schema.VisitJSON(members, openapi3.EnableJSONSchema2020(), openapi3.MultiErrors()); err != nil {
		a.t.Errorf("%s %s: problem does not fit its schema: %v: %s", a.call.method, a.call.path, err, a.text())
	}
	p := a.problem()
	if p.Status != a.status || p.RequestID != a.header.Get("X-Request-Id") ||
		!strings.HasPrefix(p.Type, "/problems#") ||
		p.Title == "" ||
		p.Detail == "" {
		a.t.Errorf("%s %s: %d: problem %s", a.call.method, a.call.path, a.status, a.text())
	}
	if got := a.header.Get("Cache-Control"); got != "no-store" {
		a.t.Errorf("%s %s: %d: Cache-Control %q: a failure must not be kept", a.call.method, a.call.path, a.status, got)
	}
}

// checkContract validates the answer against the contract's description of the operation, if the
// request is for one.
func (a *answer) checkContract() {
	a.t.Helper()
	route, params := findRoute(a.call.method, a.call.path)
	if route == nil {
		return
	}
	request := a.call.request(a.t)
	input := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{
			Request:    request,
			PathParams: params,
			Route:      route,
		},
		Status:  a.status,
		Header:  a.header,
		Body:    io.NopCloser(bytes.NewReader(a.body)),
		Options: &openapi3filter.Options{IncludeResponseStatus: true, MultiError: true},
	}
	if err := openapi3filter.ValidateResponse(context.Background(), input); err != nil {
		a.t.Errorf(
			"%s %s: %d: the answer does not fit the contract: %v\n%s",
			a.call.method,
			a.call.path,
			a.status,
			err,
			a.text(),
		)
	}
}

// document is the contract, read anew: the tests do not rely on how the server reads it.
var document = sync.OnceValue(func() *openapi3.T {
	loaded, err := openapi3.NewLoader().LoadFromData(openapi.Contract)
	if err != nil {
		panic(err)
	}
	// Only answers are read with these; the server reads no body of such a type by them.
	for _, media := range []string{"image/svg+xml", "text/event-stream", "application/x-ndjson"} {
		openapi3filter.RegisterBodyDecoder(media, openapi3filter.PlainBodyDecoder)
	}
	return loaded
})

// operation is one operation of the contract.
type operation struct {
	method, path string
	spec         *openapi3.Operation
	item         *openapi3.PathItem
}

// operations are all operations of the contract by their ids.
var operations = sync.OnceValue(func() map[string]operation {
	all := make(map[string]operation)
	for path, item := range document().Paths.Map() {
		for method, spec := range item.Operations() {
			all[spec.OperationID] = operation{method, path, spec, item}
		}
	}
	return all
})

// parameters are the operation's own and its path's.
func (o operation) parameters(in string) (names []string) {
	for _, list := range []openapi3.Parameters{o.item.Parameters, o.spec.Parameters} {
		for _, p := range list {
			if p.Value.In == in {
				names = append(names, p.Value.Name)
			}
		}
	}
	slices.Sort(names)
	return names
}

// public tells that the operation needs no token.
func (o operation) public() bool { return o.spec.Security != nil && len(*o.spec.Security) == 0 }

// findRoute finds the operation a request is for, and its path's parameters; nil for none. Literal
// segments win over parameters.
func findRoute(method, path string) (*routers.Route, map[string]string) {
	path, _, _ = strings.Cut(path, "?")
	var best *routers.Route
	var bestParams map[string]string
	for _, o := range operations() {
		params, ok := match(o.path, path)
		if !ok || o.method != method || best != nil && len(params) >= len(bestParams) {
			continue
		}
		best = &routers.Route{Spec: document(), Path: o.path, PathItem: o.item, Method: o.method, Operation: o.spec}
		bestParams = params
	}
	return best, bestParams
}

func match(template, path string) (map[string]string, bool) {
	want, have := strings.Split(template, "/"), strings.Split(path, "/")
	if len(want) != len(have) {
		return nil, false
	}
	params := make(map[string]string)
	for i, part := range want {
		switch {
		case strings.HasPrefix(part, "{"):
			params[strings.Trim(part, "{}")] = have[i]
		case part != have[i]:
			return nil, false
		}
	}
	return params, true
}

func silent() *slog.Logger { return slog.New(slog.DiscardHandler) }
