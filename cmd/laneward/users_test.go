package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"laneward/cmd/laneward/terminal"
	"laneward/db"
	"laneward/db/pgprivate"
)

// onServer runs a command of whoever runs the server.
func onServer(t *testing.T, variables map[string]string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, messages bytes.Buffer
	code = run(t.Context(), terminal.Environment{
		Args: args, Now: clockFrom(ordinaryDay), Stdin: strings.NewReader(""), Stdout: &out, Stderr: &messages,
		Getenv: func(name string) string { return variables[name] },
	})
	return code, out.String(), messages.String()
}

// TestUsersReset makes a code in the program's own database while another process runs that.
func TestUsersReset(t *testing.T) {
	t.Parallel()
	server, state := startOwnPostgres(t)
	if err := db.Migrate(t.Context(), server.URL("postgres")); err != nil {
		t.Fatal(err)
	}
	c := newCentreOn(t, server.URLAs(db.ServiceRole, "postgres"), nil, clockFrom(ordinaryDay))
	c.signUp("cora")
	own := map[string]string{"XDG_STATE_HOME": state}
	code, _, stderr := onServer(t, own, "users", "reset", "nobody@example.org")
	if code != terminal.ExitNotFound || !strings.Contains(stderr, `nobody has signed up as "nobody@example.org"`) {
		t.Errorf("exit %d, %s", code, stderr)
	}
	code, stdout, stderr := onServer(t, own, "users", "reset", "Cora@example.org")
	if code != terminal.ExitOK || !strings.Contains(stderr, "Good once, until 2027-03-16") {
		t.Fatalf("exit %d, %s", code, stderr)
	}
	code, _, stderr = c.run(
		t.Context(), "cora", "seven brass lamps at noon\n", "reset-password", "cora@example.org", strings.TrimSpace(stdout),
	)
	if code != terminal.ExitOK {
		t.Errorf("the code is not taken: exit %d, %s", code, stderr)
	}
}

// startOwnPostgres runs the program's own Postgres as another process would, in a state directory.
func startOwnPostgres(t *testing.T) (server *pgprivate.Server, state string) {
	t.Helper()
	state, err := os.MkdirTemp("", "laneward-state-") // t.TempDir is closed to Postgres's own account
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(state); err != nil {
			t.Error(err)
		}
	})
	dir := filepath.Join(state, "laneward", "postgres")
	if err := errors.Join(os.Chmod(state, 0o711), os.Mkdir(filepath.Dir(dir), 0o711)); err != nil {
		t.Fatal(err)
	}
	server, err = pgprivate.Start(t.Context(), pgprivate.Config{DataDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := server.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return server, state
}
