//go:build unix

package dbtest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"laneward/db/pgprivate"
)

// childVariable makes TestChild behave as a test of another package would, in a process of its own.
const childVariable = "DBTEST_CHILD"

func TestChild(t *testing.T) {
	mode := os.Getenv(childVariable)
	if mode == "" {
		t.Skip("this is a program for the tests of this file")
	}
	made := New(t)
	server, err := sharedServer()
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(
		"way:",
		server.way,
		"address:",
		server.adminURL,
		"user:",
		query(t, made.ServiceURL, "select current_user::text"),
	)
	switch mode {
	case "panic":
		panic("as a broken test does")
	case "hang":
		select {}
	}
}

// child returns the command that runs TestChild with these variables, and none of those that choose
// a server.
func child(mode string, env ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], "-test.run=^TestChild$", "-test.v")
	for _, variable := range os.Environ() {
		name, _, _ := strings.Cut(variable, "=")
		if !slices.Contains([]string{wayVariable, urlVariable, imageVariable, "DOCKER_HOST", "XDG_RUNTIME_DIR"}, name) {
			cmd.Env = append(cmd.Env, variable)
		}
	}
	cmd.Env = append(append(cmd.Env, childVariable+"="+mode), env...)
	return cmd
}

// tempDir is a new folder that a server started by root can reach, unlike t.TempDir.
func tempDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "dbtest-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o711); err != nil {
		t.Fatal(err)
	}
	return dir
}

var socketPattern = regexp.MustCompile(`host=%2Ftmp%2F(laneward-pg-\d+)`)

// checkGone fails unless the private server that a child reported has left nothing behind.
func checkGone(t *testing.T, out, temp string) {
	t.Helper()
	match := socketPattern.FindStringSubmatch(out)
	if match == nil {
		t.Fatalf("the child reports no private server:\n%s", out)
	}
	runs, err := filepath.Glob(filepath.Join(temp, "laneward-dbtest-run-*"))
	if err != nil {
		t.Fatal(err)
	}
	if len(runs) > 0 {
		t.Errorf("data directories left behind: %v", runs)
	}
	if _, err := os.Stat(filepath.Join("/tmp", match[1])); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the server's socket directory is left: %v", err)
	}
}

// TestPrivateServerEndsWithTheProcess ends a test process in each of its ways.
func TestPrivateServerEndsWithTheProcess(t *testing.T) {
	t.Parallel()
	for _, mode := range []string{"pass", "panic"} {
		t.Run(mode, func(t *testing.T) {
			t.Parallel()
			temp := tempDir(t)
			out, err := child(mode, wayVariable+"=private", "TMPDIR="+temp).CombinedOutput()
			if (err == nil) != (mode == "pass") {
				t.Errorf("%v:\n%s", err, out)
			}
			if !strings.Contains(string(out), "user: "+namePrefix) {
				t.Errorf("the test did not get to its database:\n%s", out)
			}
			checkGone(t, string(out), temp)
		})
	}
	t.Run("kill", func(t *testing.T) {
		t.Parallel()
		temp := tempDir(t)
		cmd := child("hang", wayVariable+"=private", "TMPDIR="+temp)
		stdout, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		stderrDone := endOf(t, cmd)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		line := ""
		for scanner := bufio.NewScanner(stdout); !strings.HasPrefix(line, "way:"); line = scanner.Text() {
			if !scanner.Scan() {
				t.Fatalf("the child ended early: %v", cmd.Wait())
			}
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		stderrDone()
		_ = cmd.Wait() // killed
		checkGone(t, line, temp)
	})
}

// endOf gives the command a standard error that a keeper shares, and returns a function that waits
// until the last of them has ended, as `go test` does.
func endOf(t *testing.T, cmd *exec.Cmd) func() {
	t.Helper()
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = write
	return func() {
		if err := write.Close(); err != nil {
			t.Error(err)
		}
		var text strings.Builder
		if _, err := bufio.NewReader(read).WriteTo(&text); err != nil {
			t.Error(err)
		}
		if text.Len() > 0 {
			t.Errorf("the keeper complains: %s", &text)
		}
	}
}

// runAtOnce runs the same child several times in parallel, as `go test ./...` does, and fails
// unless all pass.
func runAtOnce(t *testing.T, env ...string) {
	t.Helper()
	type result struct {
		out []byte
		err error
	}
	results := make(chan result, 4)
	for range cap(results) {
		go func() {
			out, err := child("pass", env...).CombinedOutput()
			results <- result{out, err}
		}()
	}
	for range cap(results) {
		if r := <-results; r.err != nil || !strings.Contains(string(r.out), "user: "+namePrefix) {
			t.Errorf("%v:\n%s", r.err, r.out)
		}
	}
}

func TestProcessesAtOnce(t *testing.T) {
	t.Parallel()
	t.Run("private", func(t *testing.T) {
		t.Parallel()
		temp := tempDir(t)
		runAtOnce(t, wayVariable+"=private", "TMPDIR="+temp)
		prepared, err := filepath.Glob(filepath.Join(temp, "laneward-dbtest-*", "pg*"))
		if err != nil || len(prepared) != 1 {
			t.Errorf("one prepared directory is wanted: %v, %v", prepared, err)
		}
	})
	t.Run("url", func(t *testing.T) {
		t.Parallel()
		server := startServerForURL(t)
		runAtOnce(t, urlVariable+"="+server.URL("postgres"))
		got := query(
			t,
			server.URL("postgres"),
			"select string_agg(split_part(datname, '_', 2), ' ') from pg_database where starts_with(datname, 'laneward')",
		)
		if got != "template" {
			t.Errorf("one template and no test's database is wanted: %s", got)
		}
		roles := query(
			t,
			server.URL("postgres"),
			"select count(*)::text from pg_roles where starts_with(rolname, $1)",
			namePrefix,
		)
		if roles != "0" {
			t.Errorf("%s roles left", roles)
		}
	})
}

func startServerForURL(t *testing.T) *pgprivate.Server {
	t.Helper()
	server, err := pgprivate.Start(
		t.Context(),
		pgprivate.Config{DataDir: filepath.Join(tempDir(t), "data"), Settings: testSettings},
	)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := server.Stop(ctx); err != nil {
			t.Error(err)
		}
	})
	return server
}

// TestFailsWithoutAServer: the message says what to do, and the test is not skipped.
func TestFailsWithoutAServer(t *testing.T) {
	t.Parallel()
	nowhere := filepath.Join(t.TempDir(), "nowhere")
	noEngine, noBinaries := "DOCKER_HOST=unix://"+nowhere, "LANEWARD_PG_BIN="+nowhere
	for _, test := range []struct {
		name string
		env  []string
		says []string
	}{
		{
			"none of the three ways",
			[]string{noEngine, noBinaries},
			[]string{
				"three ways", "LANEWARD_TEST_DATABASE_URL=postgres://", "deploy/image/postgres/build", "apt-get install postgresql",
				"url: not there", "the Docker engine at DOCKER_HOST does not answer", "private: no usable PostgreSQL",
			},
		},
		{"url forced and not set", []string{wayVariable + "=url"}, []string{"LANEWARD_TEST_DATABASE_URL is not set"}},
		{"a server that does not answer is not replaced", []string{urlVariable + "=postgres://u@127.0.0.1:1/postgres"}, []string{"connect"}},
		{"container forced and no engine", []string{wayVariable + "=testcontainers", noEngine}, []string{"does not answer"}},
		{"private forced and no Postgres", []string{wayVariable + "=private", noBinaries}, []string{"no usable PostgreSQL"}},
		{"an unknown way", []string{wayVariable + "=sqlite"}, []string{`"sqlite" is not a way`, "url, testcontainers or private"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			out, err := child("pass", test.env...).CombinedOutput()
			if err == nil || !strings.Contains(string(out), "--- FAIL: TestChild") {
				t.Errorf("it did not fail: %v", err)
			}
			for _, want := range test.says {
				if !strings.Contains(string(out), want) {
					t.Errorf("it does not say %q", want)
				}
			}
			if t.Failed() {
				t.Logf("%s", out)
			}
		})
	}
}

// TestOrderOfTheWays: an engine that fails is passed over, and the test's log says so.
func TestOrderOfTheWays(t *testing.T) {
	t.Parallel()
	out, err := child("pass", "DOCKER_HOST=unix://"+filepath.Join(t.TempDir(), "nowhere")).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "way: private") ||
		!strings.Contains(string(out), "the way testcontainers did not work") {
		t.Errorf("%v:\n%s", err, out)
	}
}

func TestCacheOfSomebodyElseIsRefused(t *testing.T) {
	t.Parallel()
	temp := tempDir(t)
	cache := filepath.Join(temp, fmt.Sprintf("laneward-dbtest-%d", os.Geteuid()))
	if err := errors.Join(os.Mkdir(cache, 0o777), os.Chmod(cache, 0o777)); err != nil {
		t.Fatal(err)
	}
	out, err := child("pass", wayVariable+"=private", "TMPDIR="+temp).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "not a folder of this user's alone") {
		t.Errorf("%v:\n%s", err, out)
	}
}

func TestClearCache(t *testing.T) {
	t.Parallel()
	cache := t.TempDir()
	now := time.Now()
	for name, age := range map[string]time.Duration{"old": unusedAfter + time.Hour, "new": unusedAfter - time.Hour} {
		folder := filepath.Join(cache, name)
		if err := errors.Join(os.Mkdir(folder, 0o700), os.Chtimes(folder, now.Add(-age), now.Add(-age))); err != nil {
			t.Fatal(err)
		}
	}
	if err := clearCache(cache, now); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(cache)
	if err != nil || len(entries) != 1 || entries[0].Name() != "new" {
		t.Errorf("kept %v, %v", entries, err)
	}
}
