package client

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/openapi"
)

// issuer is a server that gives tokens and knows which are good: access-N and refresh-token-…N are
// the N-th pair. As the real one, it answers the last spent refresh token with the same successor,
// and ends the sign-in when an older one is used.
type issuer struct {
	mu        sync.Mutex
	current   int
	ended     bool
	refreshes int
	lose      int  // so many answers to refreshes are lost
	unknown   bool // access tokens are not believed whatever they are
}

func (s *issuer) asked() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.refreshes
}

func refreshToken(n int) string { return fmt.Sprintf("refresh-token-%07d", n) }

func (s *issuer) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch r.URL.Path {
	case "/v1/tokens/refresh":
		s.refresh(w, r)
	case "/v1/me":
		if s.ended || s.unknown || r.Header.Get("Authorization") != fmt.Sprintf("Bearer access-%d", s.current) {
			answer(w, 401, "application/problem+json", problem("unauthenticated", 401))
			return
		}
		answer(
			w,
			200,
			"application/json",
			`{"user_id":"01890a5d-ac96-774b-bcce-b302099a8057","email":"cora@example.org","name":"Cora","squads":[]}`,
		)
	default:
		http.NotFound(w, r)
	}
}

func (s *issuer) refresh(w http.ResponseWriter, r *http.Request) {
	s.refreshes++
	var body openapi.Refresh
	if err := json.NewDecoder(r.Body).Decode(&body); err != nil {
		http.Error(w, err.Error(), 400)
		return
	}
	switch {
	case s.ended || body.Device != "laptop":
		s.ended = true
	case body.RefreshToken == refreshToken(s.current):
		s.current++
	case body.RefreshToken == refreshToken(s.current-1):
	default:
		s.ended = true
	}
	if s.ended {
		answer(w, 401, "application/problem+json", problem("unauthenticated", 401))
		return
	}
	if s.lose > 0 {
		s.lose--
		panic(http.ErrAbortHandler)
	}
	answer(
		w,
		201,
		"application/json",
		fmt.Sprintf(
			`{"access_token":"access-%d","token_type":"Bearer","expires_in":900,"refresh_token":%q,"user_id":"01890a5d-ac96-774b-bcce-b302099a8057"}`,
			s.current,
			refreshToken(s.current),
		),
	)
}

func ranOut() SignIn {
	signIn := signedIn()
	signIn.AccessExpires = newFrozen().at.Add(-time.Hour)
	return signIn
}

func TestRefresh(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		server    *issuer
		signIn    SignIn
		refreshes int
		code      Code
		held      string // the refresh token that is held afterwards
	}{
		"a good token is used":                  {&issuer{}, signedIn(), 0, "", refreshToken(0)},
		"a token that ran out is renewed first": {&issuer{}, ranOut(), 1, "", refreshToken(1)},
		"a token the server does not believe":   {&issuer{current: 1}, signedIn(), 1, "", refreshToken(1)},
		"one lost answer":                       {&issuer{lose: 1}, ranOut(), 2, "", refreshToken(1)},
		"three lost answers":                    {&issuer{lose: 3}, ranOut(), 4, "", refreshToken(1)},
		"all answers are lost, and the token is kept": {
			&issuer{lose: 99},
			ranOut(),
			attempts,
			Unreachable,
			refreshToken(0),
		},
		"the sign-in has ended": {&issuer{ended: true}, ranOut(), 1, SignedOut, ""},
		"no access token is believed: it asks but once": {
			&issuer{unknown: true},
			signedIn(),
			1,
			Unauthenticated,
			refreshToken(1),
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			api, _ := newClient(t, c.server, c.signIn)
			if _, err := api.Me(t.Context()); CodeOf(err) != c.code {
				t.Errorf("failed with %v, want code %q", err, c.code)
			}
			if got := c.server.asked(); got != c.refreshes {
				t.Errorf("%d refreshes, want %d", got, c.refreshes)
			}
			held, err := api.store.Load()
			if err != nil {
				t.Fatal(err)
			}
			kept := held.SignIns[api.server]
			if kept.RefreshToken != c.held || kept.Email != "cora@example.org" || kept.UserID == uuid.Nil {
				t.Errorf("holds %+v, want refresh token %q and the user", kept, c.held)
			}
		})
	}
}

// A run that ends between question and answer leaves the old token; the next run sends it again and
// gets the same successor.
func TestRefreshAfterARunThatEnded(t *testing.T) {
	t.Parallel()
	s := &issuer{lose: 99}
	server := httptest.NewServer(s)
	t.Cleanup(server.Close)
	store := OpenStore(t.TempDir())
	first, _ := clientOf(t, server.URL, store, ranOut())
	if _, err := first.Me(t.Context()); CodeOf(err) != Unreachable {
		t.Fatalf("failed with %v", err)
	}
	s.mu.Lock()
	s.lose = 0
	s.mu.Unlock()
	second, _ := clientOf(t, server.URL, store, SignIn{})
	if _, err := second.Me(t.Context()); err != nil {
		t.Fatalf("the next run is signed out: %v", err)
	}
}

func TestManyAskAtOnce(t *testing.T) {
	t.Parallel()
	s := &issuer{}
	server := httptest.NewServer(s)
	t.Cleanup(server.Close)
	store := OpenStore(t.TempDir())
	_, _ = clientOf(t, server.URL, store, ranOut())
	var wait sync.WaitGroup
	for range 4 {
		api, _ := clientOf(
			t,
			server.URL,
			OpenStore(filepath.Dir(store.Path())),
			SignIn{},
		) // as another process would open it
		for range 4 {
			wait.Go(func() {
				if _, err := api.Me(t.Context()); err != nil {
					t.Error(err)
				}
			})
		}
	}
	wait.Wait()
	if got := s.asked(); got != 1 {
		t.Errorf("%d refreshes, want 1: whoever waits for the lock uses what the first one got", got)
	}
}

func TestNobodyIsSignedIn(t *testing.T) {
	t.Parallel()
	s := &issuer{}
	api, _ := newClient(t, s, SignIn{})
	if _, err := api.Me(t.Context()); CodeOf(err) != SignedOut || s.asked() != 0 {
		t.Errorf("failed with %v after %d refreshes", err, s.asked())
	}
}

// The tokens of one server are never sent to another.
func TestTokensStayWithTheirServer(t *testing.T) {
	t.Parallel()
	store := OpenStore(t.TempDir())
	_, _ = clientOf(t, "http://127.0.0.1:1", store, signedIn())
	elsewhere := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		t.Errorf("%s %s with Authorization %q", r.Method, r.URL.Path, r.Header.Get("Authorization"))
	}))
	t.Cleanup(elsewhere.Close)
	api, _ := clientOf(t, elsewhere.URL, store, SignIn{})
	if _, err := api.Me(t.Context()); CodeOf(err) != SignedOut {
		t.Errorf("failed with %v", err)
	}
}

func TestStore(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "deep", "laneward")
	store := OpenStore(dir)
	if held, err := store.Load(); err != nil || len(held.SignIns) != 0 {
		t.Fatalf("a store that was never written to holds %v, %v", held, err)
	}
	const writers = 20
	var wait sync.WaitGroup
	for i := range writers {
		wait.Go(func() {
			err := OpenStore(dir).Update(t.Context(), func(held *Credentials) error {
				held.SignIns[fmt.Sprintf("https://%d.example.org", i)] = signedIn()
				return nil
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	held, err := store.Load()
	if err != nil || len(held.SignIns) != writers {
		t.Errorf("%d sign-ins, %v; want %d: writers overwrote each other", len(held.SignIns), err, writers)
	}
	for path, want := range map[string]os.FileMode{store.Path(): 0o600, dir: 0o700} {
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != want {
			t.Errorf("%s: mode %v, %v; want %v", path, info.Mode().Perm(), err, want)
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 2 {
		t.Errorf("the directory holds %v, %v; want the file and its lock", entries, err)
	}
}

func TestStoreRefuses(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		text string
		mode os.FileMode
	}{
		"a file that others can read": {`{"sign_ins":{}}`, 0o644},
		"a file that is cut short":    {`{"sign_ins":`, 0o600},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			store := OpenStore(t.TempDir())
			if err := os.WriteFile(store.Path(), []byte(c.text), c.mode); err != nil {
				t.Fatal(err)
			}
			if _, err := store.Load(); err == nil {
				t.Error("loads")
			}
			if err := store.Update(t.Context(), func(*Credentials) error { return nil }); err == nil {
				t.Error("writes over it")
			}
		})
	}
}
