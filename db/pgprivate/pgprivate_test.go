//go:build unix

package pgprivate

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
)

// ownerVariable turns this test binary into a program that starts a server on the directory it
// names, and then waits to be killed.
const ownerVariable = "PGPRIVATE_TEST_OWNER"

func TestMain(m *testing.M) {
	if dir := os.Getenv(ownerVariable); dir != "" {
		server, err := Start(context.Background(), Config{DataDir: dir})
		if err != nil {
			fmt.Println("error:", err)
			os.Exit(1)
		}
		fmt.Println(server.process.Pid, server.URL("postgres"))
		select {}
	}
	os.Exit(m.Run())
}

// dataDir returns a new folder that the server's account can reach (t.TempDir is closed to it when
// the tests run as root).
func dataDir(t *testing.T) string {
	t.Helper()
	parent, err := os.MkdirTemp("", "pgprivate-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(parent); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(parent, 0o711); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(parent, "data")
}

func testLogger(t *testing.T) *slog.Logger {
	return slog.New(slog.NewTextHandler(t.Output(), nil))
}

func start(t *testing.T, config Config) *Server {
	t.Helper()
	config.Logger = testLogger(t)
	server, err := Start(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := server.Stop(context.Background()); err != nil && !t.Failed() && server.Err() == nil {
			t.Error(err)
		}
	})
	return server
}

func stop(t *testing.T, server *Server) {
	t.Helper()
	if err := server.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func query(t *testing.T, address, sql string, args ...any) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := conn.Close(context.Background()); err != nil {
			t.Error(err)
		}
	}()
	var text string
	if err := conn.QueryRow(t.Context(), sql, args...).Scan(&text); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return text
}

// store writes a table of 1,000 rows; checkStored fails unless it is whole.
func store(t *testing.T, address string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := conn.Exec(
		t.Context(),
		"create table kept as select n, md5(n::text) as hash from generate_series(1, 1000) n",
	); err != nil {
		t.Fatal(err)
	}
	if err := conn.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func checkStored(t *testing.T, address string) {
	t.Helper()
	got := query(t, address, "select count(*) || ' ' || coalesce(bool_and(hash = md5(n::text)), false) from kept")
	if want := "1000 true"; got != want {
		t.Errorf("rows kept: %s, want %s", got, want)
	}
}

// awaitEnd fails when the server does not end by itself within a generous limit.
func awaitEnd(t *testing.T, server *Server) {
	t.Helper()
	select {
	case <-server.Done():
	case <-time.After(time.Minute):
		t.Fatal("the server did not end")
	}
}

func socketDir(t *testing.T, address string) string {
	t.Helper()
	parsed, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	return parsed.Query().Get("host")
}

func TestFreshServer(t *testing.T) {
	t.Parallel()
	server := start(t, Config{DataDir: dataDir(t), Settings: map[string]string{"work_mem": "5MB"}})
	address := server.URL("postgres")

	want := map[string]string{
		"listen_addresses":   "",
		"fsync":              "on",
		"synchronous_commit": "on",
		"full_page_writes":   "on",
		"data_checksums":     "on",
		"server_encoding":    "UTF8",
		"TimeZone":           "UTC",
		"work_mem":           "5MB",
	}
	got := map[string]string{}
	for name := range want {
		got[name] = query(t, address, "select current_setting($1)", name)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("settings (-want +got):\n%s", diff)
	}
	if got := query(t, address, "select current_user::text"); got != Superuser {
		t.Errorf("signed in as %s", got)
	}
	if got := query(t, address, "select lower('Ä') || upper('é')"); got != "äÉ" {
		t.Errorf("letters beyond ASCII: %s", got)
	}
	info, err := os.Stat(socketDir(t, address))
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm() != 0o700 {
		t.Errorf("the socket's directory has mode %v", info.Mode())
	}
	checkNotRoot(t, server)

	stop(t, server)
	if err := server.Err(); err != nil {
		t.Errorf("after a clean stop: %v", err)
	}
	if _, err := os.Stat(socketDir(t, address)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the socket's directory is still there: %v", err)
	}
	if err := server.Stop(t.Context()); err != nil {
		t.Errorf("a second stop: %v", err)
	}
}

func TestRestartKeepsData(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	first := start(t, Config{DataDir: dir})
	store(t, first.URL("postgres"))
	stop(t, first)

	second := start(t, Config{DataDir: dir})
	checkStored(t, second.URL("postgres"))
}

func TestServerKilled(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	first := start(t, Config{DataDir: dir})
	store(t, first.URL("postgres"))
	if err := first.process.Kill(); err != nil {
		t.Fatal(err)
	}
	awaitEnd(t, first)
	err := first.Err()
	if err == nil || !strings.Contains(err.Error(), "killed") ||
		!strings.Contains(err.Error(), "ready to accept connections") {
		t.Errorf("the error must say how it ended and show the log: %v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, clusterName, pidFileName)); err != nil {
		t.Errorf("the crash should leave %s, which this test is about: %v", pidFileName, err)
	}

	second := start(t, Config{DataDir: dir})
	checkStored(t, second.URL("postgres"))
}

func TestTwoStartsOnOneDirectory(t *testing.T) {
	t.Parallel()
	t.Run("same process", func(t *testing.T) {
		t.Parallel()
		dir := dataDir(t)
		first := start(t, Config{DataDir: dir})
		_, err := Start(t.Context(), Config{DataDir: dir})
		if !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), strconv.Itoa(os.Getpid())) {
			t.Errorf("the second start must be refused and name the process: %v", err)
		}
		if address, err := RunningURL(dir, Superuser, "postgres"); err != nil || address != first.URL("postgres") {
			t.Errorf("the running server is said to be at %q, %v", address, err)
		}
		if got := query(t, first.URL("postgres"), "select 'alive'"); got != "alive" {
			t.Errorf("the first server: %s", got)
		}
	})
	t.Run("another process", func(t *testing.T) {
		t.Parallel()
		dir := dataDir(t)
		owner, _, address := runOwner(t, dir)
		_, err := Start(t.Context(), Config{DataDir: dir})
		if !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), strconv.Itoa(owner.Process.Pid)) {
			t.Errorf("the second start must be refused and name the process: %v", err)
		}
		if got := query(t, address, "select 'alive'"); got != "alive" {
			t.Errorf("the first server: %s", got)
		}
	})
	t.Run("at once", func(t *testing.T) {
		t.Parallel()
		dir := dataDir(t)
		results := make(chan error, 4)
		servers := make(chan *Server, cap(results))
		for range cap(results) {
			go func() {
				server, err := Start(t.Context(), Config{DataDir: dir})
				if err == nil {
					servers <- server
				}
				results <- err
			}()
		}
		for range cap(results) {
			if err := <-results; err != nil && !errors.Is(err, ErrInUse) {
				t.Error(err)
			}
		}
		if len(servers) != 1 {
			t.Errorf("%d servers started", len(servers))
		}
		for len(servers) > 0 {
			stop(t, <-servers)
		}
	})
}

func TestStopOutOfTime(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	first := start(t, Config{DataDir: dir})
	store(t, first.URL("postgres"))
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := first.Stop(ended); !errors.Is(err, context.Canceled) {
		t.Errorf("stop with an ended context: %v", err)
	}
	awaitEnd(t, first)
	second := start(t, Config{DataDir: dir})
	checkStored(t, second.URL("postgres"))
}

func TestStartGivenUp(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Start(ended, Config{DataDir: dir}); !errors.Is(err, context.Canceled) {
		t.Fatalf("start with an ended context: %v", err)
	}
	start(t, Config{DataDir: dir}) // and the directory is free and whole
}

func TestFaultsThatAUserCanMend(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name    string
		prepare func(t *testing.T, config *Config)
		want    []string
	}{
		{"no directory", func(_ *testing.T, config *Config) { config.DataDir = "" }, []string{"needs a data directory"}},
		{
			"a setting that does not exist",
			func(_ *testing.T, config *Config) { config.Settings = map[string]string{"work_mum": "1MB"} },
			[]string{"unrecognized configuration parameter", "work_mum"},
		},
		{
			"a folder that is no cluster",
			func(t *testing.T, config *Config) {
				if err := os.MkdirAll(filepath.Join(config.DataDir, clusterName), 0o700); err != nil {
					t.Fatal(err)
				}
			},
			[]string{"is no Postgres cluster", "choose another data directory"},
		},
		{
			"binaries that are not there",
			func(t *testing.T, config *Config) { config.BinDir = t.TempDir() },
			[]string{"no usable PostgreSQL", "LANEWARD_PG_BIN", "postgres and initdb"},
		},
		{
			"a cluster of a version that is not installed",
			func(t *testing.T, config *Config) {
				cluster := filepath.Join(config.DataDir, clusterName)
				if err := errors.Join(os.MkdirAll(cluster, 0o700), os.WriteFile(filepath.Join(cluster, "PG_VERSION"), []byte("11\n"), 0o600)); err != nil {
					t.Fatal(err)
				}
			},
			[]string{"no usable PostgreSQL", "version 11, which made the data directory", "apt-get install postgresql-11"},
		},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			config := Config{DataDir: dataDir(t)}
			test.prepare(t, &config)
			_, err := Start(t.Context(), config)
			if err == nil {
				t.Fatal("it started")
			}
			for _, want := range test.want {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("the error does not say %q:\n%v", want, err)
				}
			}
		})
	}
}

// TestInitialisationCutShort has the remains of an initdb that was killed.
func TestInitialisationCutShort(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	remains := filepath.Join(dir, freshName)
	if err := errors.Join(
		os.MkdirAll(remains, 0o700),
		os.Chmod(dir, 0o711),
		os.WriteFile(filepath.Join(remains, "PG_VERSION"), []byte("15\n"), 0o600),
	); err != nil {
		t.Fatal(err)
	}
	start(t, Config{DataDir: dir})
}

func TestLogIsTurnedOver(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	path := filepath.Join(dir, logName)
	if err := errors.Join(
		os.MkdirAll(dir, 0o711),
		os.WriteFile(path, nil, 0o600),
		os.Truncate(path, maxLogBytes+1),
	); err != nil {
		t.Fatal(err)
	}
	start(t, Config{DataDir: dir})
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Size() == 0 || info.Size() > 1<<20 {
		t.Errorf("the new log has %d bytes", info.Size())
	}
	if _, err := os.Stat(path + ".1"); err != nil {
		t.Error(err)
	}
}
