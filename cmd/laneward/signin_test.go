package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client"
)

// credentials is a person's file of sign-ins.
func (c *centre) credentials(person string) string {
	return filepath.Join(c.dir, person, "laneward", "credentials.json")
}

// alter changes a person's sign-in behind the program's back.
func (c *centre) alter(person string, change func(*client.SignIn)) {
	c.t.Helper()
	store := client.OpenStore(filepath.Dir(c.credentials(person)))
	err := store.Update(c.t.Context(), func(held *client.Credentials) error {
		signIn := held.SignIns[c.address]
		change(&signIn)
		held.SignIns[c.address] = signIn
		return nil
	})
	if err != nil {
		c.t.Fatal(err)
	}
}

func (c *centre) signIn(person string) client.SignIn {
	c.t.Helper()
	held, err := client.OpenStore(filepath.Dir(c.credentials(person))).Load()
	if err != nil {
		c.t.Fatal(err)
	}
	return held.SignIns[c.address]
}

func expire(signIn *client.SignIn) { signIn.AccessExpires = time.Now().Add(-time.Hour) }

func TestCredentialsAreForTheirOwnerOnly(t *testing.T) {
	t.Parallel()
	c := newCentre(t, nil)
	c.signUp("cora")
	info, err := os.Stat(c.credentials("cora"))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v; want 0600", info.Mode().Perm(), err)
	}
	text, err := os.ReadFile(c.credentials("cora"))
	if err != nil || strings.Contains(string(text), passphrase) {
		t.Errorf("holds the password, or cannot be read: %v", err)
	}
	if err := os.Chmod(c.credentials("cora"), 0o644); err != nil {
		t.Fatal(err)
	}
	exit, _, stderr := c.run(t.Context(), "cora", "", "whoami")
	if exit != terminal.ExitFailure || !strings.Contains(stderr, "chmod 600 "+c.credentials("cora")) {
		t.Errorf("with a file others can read: exit %d, %s", exit, stderr)
	}
}

// The whole of the real server's rules for refresh tokens, as a device meets them.
func TestStaysSignedIn(t *testing.T) {
	t.Parallel()
	var lose atomic.Int32 // so many answers to refreshes are lost after they were carried out
	var refreshes atomic.Int32
	c := newCentre(t, func(real http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path != "/v1/tokens/refresh" {
				real.ServeHTTP(w, r)
				return
			}
			refreshes.Add(1)
			if lose.Add(-1) >= 0 {
				real.ServeHTTP(httptest.NewRecorder(), r)
				panic(http.ErrAbortHandler)
			}
			real.ServeHTTP(w, r)
		})
	})
	c.signUp("cora")
	before := c.signIn("cora")
	cases := []struct {
		name      string
		change    func(*client.SignIn)
		lose      int32
		exit      int
		refreshes int32
	}{
		{"while the access token is good", func(*client.SignIn) {}, 0, terminal.ExitOK, 0},
		{"when it ran out", expire, 0, terminal.ExitOK, 1},
		{"when the server does not believe it", func(s *client.SignIn) { s.AccessToken += "x" }, 0, terminal.ExitOK, 1},
		{"when the answer is lost", expire, 1, terminal.ExitOK, 2},
		{"when all answers are lost", expire, 99, terminal.ExitFailure, 5},
		{"in the next run after that", func(*client.SignIn) {}, 0, terminal.ExitOK, 1},
		{
			"but not on another device",
			func(s *client.SignIn) { expire(s); s.RefreshToken, s.Device = before.RefreshToken, "stolen" },
			0,
			terminal.ExitAuth,
			1,
		},
		{"nor afterwards", func(*client.SignIn) {}, 0, terminal.ExitAuth, 0},
	}
	for _, step := range cases { // each goes on from the one before
		c.alter("cora", step.change)
		lose.Store(step.lose)
		refreshes.Store(0)
		exit, _, stderr := c.run(t.Context(), "cora", "", "whoami")
		if exit != step.exit || refreshes.Load() != step.refreshes {
			t.Fatalf(
				"%s: exit %d after %d refreshes, want %d after %d\n%s",
				step.name,
				exit,
				refreshes.Load(),
				step.exit,
				step.refreshes,
				stderr,
			)
		}
	}
	left := c.signIn("cora")
	if left.RefreshToken != "" || left.AccessToken != "" || left.UserID != before.UserID ||
		left.Email != "cora@example.org" {
		t.Errorf("after the end it holds %+v, want the user and no tokens", left)
	}
	if _, _, stderr := c.run(
		t.Context(),
		"cora",
		"",
		"whoami",
	); !strings.Contains(
		stderr,
		"the sign-in of cora@example.org to "+c.address+" has ended",
	) {
		t.Errorf("says %s", stderr)
	}
}

// asProcess is set in the environment of a test binary that is to be the program.
const asProcess = "LANEWARD_TEST_RUN"

// TestAsProcess is no test: it lets [TestProcessesShareASignIn] run the program as processes of
// their own.
func TestAsProcess(*testing.T) {
	if args := os.Getenv(asProcess); args != "" {
		os.Exit(run(context.Background(), terminal.Environment{
			Args: strings.Fields(
				args,
			),
			Getenv: os.Getenv,
			Now:    time.Now,
			Stdin:  os.Stdin,
			Stdout: os.Stdout,
			Stderr: os.Stderr,
		}))
	}
}

func TestProcessesShareASignIn(t *testing.T) {
	t.Parallel()
	var refreshes atomic.Int32
	c := newCentre(t, func(real http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == "/v1/tokens/refresh" {
				refreshes.Add(1)
			}
			real.ServeHTTP(w, r)
		})
	})
	c.signUp("cora")
	for round := range 3 {
		c.alter("cora", expire)
		refreshes.Store(0)
		var wait sync.WaitGroup
		for range 6 {
			wait.Go(func() {
				command := exec.CommandContext(
					t.Context(),
					os.Args[0],
					"-test.run=^TestAsProcess$",
				)
				command.Env = append(
					os.Environ(),
					asProcess+"=whoami --json",
					"XDG_CONFIG_HOME="+filepath.Join(c.dir, "cora"),
					"LANEWARD_SERVER="+c.address,
				)
				printed, err := command.Output()
				var me struct{ Email string }
				if err != nil || json.Unmarshal(printed, &me) != nil || me.Email != "cora@example.org" {
					t.Errorf("round %d: %v, printed %q", round, err, printed)
				}
			})
		}
		wait.Wait()
		if got := refreshes.Load(); got != 1 {
			t.Errorf("round %d: %d refreshes, want 1", round, got)
		}
	}
}

func TestWhereThePasswordComesFrom(t *testing.T) {
	t.Parallel()
	c := newCentre(t, nil)
	c.signUp("cora")
	file := filepath.Join(c.dir, "password")
	if err := os.WriteFile(file, []byte(passphrase+"\r\nsecond line\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	cases := map[string]struct {
		stdin, variable string
		args            []string
		exit            int
	}{
		"stdin":                        {passphrase + "\n", "", nil, terminal.ExitOK},
		"stdin without an end":         {passphrase, "", nil, terminal.ExitOK},
		"a file by its variable":       {"", file, nil, terminal.ExitOK},
		"a file by its flag":           {"", "", []string{"--password-file", file}, terminal.ExitOK},
		"nothing":                      {"", "", nil, terminal.ExitUsage},
		"a wrong one":                  {"five unrelated words here", "", nil, terminal.ExitAuth},
		"a file that is not there":     {"", "", []string{"--password-file", file + "x"}, terminal.ExitUsage},
		"a flag, which others can see": {"", "", []string{"--password", passphrase}, terminal.ExitUsage},
	}
	for name, one := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			env := c.environment(t.Name(), one.stdin, append([]string{"sign-in", "cora@example.org"}, one.args...)...)
			outer := env.Getenv
			env.Getenv = func(variable string) string {
				if variable == "LANEWARD_PASSWORD_FILE" {
					return one.variable
				}
				return outer(variable)
			}
			if exit := run(t.Context(), env); exit != one.exit {
				t.Errorf("exit %d, want %d", exit, one.exit)
			}
		})
	}
}

// A flag goes before the variable, the variable before the file, and the file before the server
// signed in to last.
func TestSettings(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "laneward"), 0o700); err != nil {
		t.Fatal(err)
	}
	const fromFile, fromVariable, fromFlag = "http://127.0.0.1:11", "http://127.0.0.1:12", "http://127.0.0.1:13"
	cases := map[string]struct {
		file     string
		variable string
		args     []string
		exit     int
		says     string
	}{
		"a flag": {
			`{"server": "` + fromFile + `"}`,
			fromVariable,
			[]string{"--server", fromFlag},
			terminal.ExitAuth,
			fromFlag,
		},
		"a variable": {`{"server": "` + fromFile + `"}`, fromVariable, nil, terminal.ExitAuth, fromVariable},
		"the file":   {`{"server": "` + fromFile + `"}`, "", nil, terminal.ExitAuth, fromFile},
		"nothing":    {``, "", nil, terminal.ExitAuth, remote.Defaults()["default_server"]},
		"a file with a slip": {
			`{"sever": "` + fromFile + `"}`,
			"",
			nil,
			terminal.ExitFailure,
			`has "sever", which is not a setting`,
		},
		"a file that is no JSON":     {`server = "x"`, "", nil, terminal.ExitFailure, "cannot be read"},
		"a file with another's flag": {`{"listen": "127.0.0.1:0"}`, "", nil, terminal.ExitAuth, remote.Defaults()["default_server"]},
	}
	for name, one := range cases {
		t.Run(name, func(t *testing.T) { // one file: not parallel
			if err := os.WriteFile(filepath.Join(dir, "laneward", "config.json"), []byte(one.file), 0o600); err != nil {
				t.Fatal(err)
			}
			var stderr strings.Builder
			exit := run(t.Context(), terminal.Environment{
				Args: append(
					[]string{"whoami"},
					one.args...),
				Now:    time.Now,
				Stdin:  strings.NewReader(""),
				Stdout: &stderr,
				Stderr: &stderr,
				Getenv: func(name string) string {
					return map[string]string{"XDG_CONFIG_HOME": dir, "LANEWARD_SERVER": one.variable}[name]
				},
			})
			if exit != one.exit || !strings.Contains(stderr.String(), one.says) {
				t.Errorf("exit %d, says %s; want %d and %q", exit, stderr.String(), one.exit, one.says)
			}
		})
	}
}

// After signing in to a server no command need name it.
func TestServerSignedInToLast(t *testing.T) {
	t.Parallel()
	c := newCentre(t, nil)
	c.signUp("cora")
	var stdout strings.Builder
	env := c.environment("cora", "", "whoami")
	env.Stdout = &stdout
	env.Getenv = func(name string) string {
		return map[string]string{"XDG_CONFIG_HOME": filepath.Join(c.dir, "cora")}[name]
	}
	if exit := run(t.Context(), env); exit != terminal.ExitOK || !strings.Contains(stdout.String(), c.address) {
		t.Errorf("exit %d, prints %s", exit, stdout.String())
	}
}

func TestExitCodes(t *testing.T) {
	t.Parallel()
	cases := map[client.Code]int{
		client.Invalid:         1,
		client.Unauthenticated: 3,
		client.SignedOut:       3,
		client.Forbidden:       3,
		client.NotFound:        4,
		client.Gone:            4,
		client.Conflict:        5,
		client.Stale:           5,
		client.Ambiguous:       2,
		client.Unreachable:     1,
		client.Internal:        1,
		client.TooMany:         1,
		"of-tomorrow":          1,
	}
	for code, want := range cases {
		var said strings.Builder
		err := fmt.Errorf("Rhea: %w", &client.Error{Code: code, Detail: "what it is", RequestID: "r-1"})
		if got := terminal.Report(&said, err); got != want || !strings.HasPrefix(said.String(), "laneward: Rhea: what it is\n") {
			t.Errorf("%s: exit %d, want %d; says %s", code, got, want, said.String())
		}
		if strings.Contains(said.String(), "r-1") != (code == client.Internal) {
			t.Errorf("%s: tells the request id where it does not help, or not where it does: %s", code, said.String())
		}
	}
}
