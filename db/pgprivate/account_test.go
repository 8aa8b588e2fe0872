//go:build unix

package pgprivate

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
)

// checkNotRoot reads who runs the server from the owner of its socket.
func checkNotRoot(t *testing.T, server *Server) {
	t.Helper()
	info, err := os.Stat(filepath.Join(server.socketDir, ".s.PGSQL."+socketPort))
	if err != nil {
		t.Fatal(err)
	}
	if owner := info.Sys().(*syscall.Stat_t).Uid; owner == 0 {
		t.Error("the server runs as root")
	}
}

func TestRootChangesTheServersAccount(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("only root may choose the account")
	}
	dir := dataDir(t)
	for _, name := range []string{"nobody", "postgres", "nobody"} {
		if _, err := lookUpAccount(name); err != nil {
			t.Skipf("this machine lacks an account: %v", err)
		}
	}
	first := start(t, Config{DataDir: dir, User: "nobody"})
	store(t, first.URL("postgres"))
	stop(t, first)
	second := start(t, Config{DataDir: dir, User: "postgres"})
	checkStored(t, second.URL("postgres"))
	stop(t, second)
	third := start(t, Config{DataDir: dir, User: "nobody"})
	checkStored(t, third.URL("postgres"))

	_, err := Start(t.Context(), Config{DataDir: dataDir(t), User: "root"})
	if err == nil || !strings.Contains(err.Error(), "ordinary user") {
		t.Errorf("run as root: %v", err)
	}
}

func TestRootWithADirectoryTheAccountCannotReach(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("an ordinary user runs the server under the own account")
	}
	closed := dataDir(t)
	if err := os.Mkdir(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	_, err := Start(t.Context(), Config{DataDir: filepath.Join(closed, "data")})
	if err == nil || !strings.Contains(err.Error(), "may not enter") || !strings.Contains(err.Error(), "/var/lib") {
		t.Errorf("the error must say who may not enter and what to do: %v", err)
	}
}

// TestAsAnOrdinaryUser runs this package's tests once more under an unprivileged account.
func TestAsAnOrdinaryUser(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("these tests already run as an ordinary user")
	}
	account, err := lookUpAccount("nobody")
	if err != nil {
		t.Fatal(err)
	}
	folder := dataDir(t)
	if err := os.Mkdir(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(folder, "pgprivate.test")
	copyProgram(t, os.Args[0], program)
	cmd := exec.CommandContext(t.Context(), program, "-test.v")
	cmd.Dir, cmd.Env = folder, []string{"PATH=" + os.Getenv("PATH"), "HOME=/nonexistent"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: account.credential()}
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Errorf("%v:\n%s", err, regexp.MustCompile(`(?m)^\s*=== .*\n`).ReplaceAll(out, nil))
	}
	if !strings.Contains(string(out), "--- PASS: TestServerKilled") {
		t.Errorf("the tests did not run:\n%s", out)
	}
}

func copyProgram(t *testing.T, from, to string) {
	t.Helper()
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = in.Close() }() // only read
	out, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(out.Chmod(0o755), out.Close()); err != nil {
		t.Fatal(err)
	}
}
