package main

import (
	"regexp"
	"strings"
	"testing"

	"laneward/cmd/laneward/terminal"
	"laneward/db"
)

// TestQuota has whoever runs the server give a squad little room, and the squad's coach hear of it:
// what does not fit stays on the computer, and goes when there is more.
func TestQuota(t *testing.T) {
	t.Parallel()
	server, state := startOwnPostgres(t)
	if err := db.Migrate(t.Context(), server.URL("postgres")); err != nil {
		t.Fatal(err)
	}
	c := newCentreOn(t, server.URLAs(db.ServiceRole, "postgres"), nil, clockFrom(ordinaryDay))
	c.signUp("cora")
	c.must("cora", "squad", "create", "Tuesday squad")
	c.must("cora", "add", "athlete", "Rhea", "--side", "right")
	c.must("cora", "add", "session", "Practice", "--date", "2027-03-09", "--athlete", "Rhea")
	c.must("cora", "sync")
	squad := regexp.MustCompile(`[0-9a-f-]{36}`).FindString(c.must("cora", "squads"))
	own := map[string]string{"XDG_STATE_HOME": state}
	quota := func(args ...string) string {
		t.Helper()
		code, stdout, stderr := onServer(t, own, append([]string{"quota", squad}, args...)...)
		if code != terminal.ExitOK {
			t.Fatalf("exit %d, %s", code, stderr)
		}
		return strings.TrimSpace(stdout)
	}
	for _, tc := range []struct {
		name string
		args []string
		want string
	}{
		{"the server's", nil, "2 records; the squad may have 2000000."},
		{"any number", []string{"0"}, "2 records; the squad may have any number."},
		{"its own", []string{"3"}, "2 records; the squad may have 3."},
		{"stays", nil, "2 records; the squad may have 3."},
	} {
		if got := quota(tc.args...); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.name, got, tc.want)
		}
	}
	if got := c.must("cora", "squad", "usage"); got != "The squad has 2 of 3 records." {
		t.Errorf("the coach is told %q", got)
	}
	code, _, stderr := c.run(t.Context(), "cora", "15 11 9@42 17 x\n15 11 10@42 17 x\n",
		"log", "--athlete", "Rhea", "--session", "Practice", "--drill", "none")
	if code != terminal.ExitOK {
		t.Fatalf("log: exit %d, %s", code, stderr)
	}
	code, stdout, stderr := c.run(t.Context(), "cora", "", "sync")
	if code != terminal.ExitOK || !strings.Contains(stdout, "sent 1 change") ||
		!strings.Contains(stderr, "The squad is full: it has 3 of 3 records") ||
		!strings.Contains(stderr, "1 stays on this computer for now") {
		t.Errorf("sync over the quota: exit %d\n%s%s", code, stdout, stderr)
	}
	_, _, stderr = c.run(t.Context(), "cora", "", "sync", "status")
	if !strings.Contains(stderr, "all of the 3 records that it may have") {
		t.Errorf("status does not say why a change waits: %s", stderr)
	}
	code, _, stderr = c.run(t.Context(), "cora", "", "add", "athlete", "Ansa", "--side", "left")
	if code != terminal.ExitConflict || !strings.Contains(stderr, "delete sessions that nobody needs any more") {
		t.Errorf("a new athlete: exit %d, %s", code, stderr)
	}
	quota("default")
	if got := c.must("cora", "sync"); got != "Tuesday squad: sent 1 change." {
		t.Errorf("with room: %s", got)
	}

	for _, tc := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"no id", []string{"quota", "Tuesday"}, terminal.ExitUsage, `"Tuesday" is not a squad's id`},
		{"no number", []string{"quota", squad, "many"}, terminal.ExitUsage, `"many" is not a number of records`},
		{"below 0", []string{"quota", squad, "--", "-1"}, terminal.ExitUsage, `"-1" is not a number of records`},
		{"another's", []string{"quota", "0192b3c4-5d6e-7f80-9102-a3b4c5d6e7f8"}, terminal.ExitNotFound, "there is no squad of this id"},
		{"a limit of none", []string{"serve", "--max-streams", "0"}, terminal.ExitUsage, "--max-streams is 0: write 1 or more"},
	} {
		if code, _, stderr := onServer(t, own, tc.args...); code != tc.code || !strings.Contains(stderr, tc.says) {
			t.Errorf("%s: exit %d, %s", tc.name, code, stderr)
		}
	}
}
