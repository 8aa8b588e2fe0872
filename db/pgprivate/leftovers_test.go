//go:build unix

package pgprivate

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// runOwner starts a process that owns a server, and returns it with the server's pid and address.
func runOwner(t *testing.T, dir string) (owner *exec.Cmd, serverPID int, address string) {
	t.Helper()
	owner = exec.Command(os.Args[0])
	owner.Env = append(os.Environ(), ownerVariable+"="+dir)
	stdout, err := owner.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := owner.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = owner.Process.Kill() // the test may have killed it
		awaitNoServer(t, dir)
		if err := os.RemoveAll(socketDir(t, address)); err != nil {
			t.Error(err)
		}
	})
	line, err := bufio.NewReader(stdout).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Sscan(line, &serverPID, &address); err != nil {
		t.Fatalf("the owner says %q: %v", line, err)
	}
	return owner, serverPID, address
}

func TestOwnerKilled(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	owner, serverPID, address := runOwner(t, dir)
	store(t, address)
	if err := owner.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = owner.Wait() // killed

	second := start(t, Config{DataDir: dir})
	checkStored(t, second.URL("postgres"))
	pids, err := serverProcesses(filepath.Join(dir, clusterName))
	if err != nil {
		t.Fatal(err)
	}
	if slices.Contains(pids, serverPID) {
		t.Errorf("the first server (process %d) is still there beside the second: %v", serverPID, pids)
	}
	if _, err := os.Stat(socketDir(t, address)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the first server's socket directory is still there: %v", err)
	}
}

func TestServerDoesNotOutliveItsOwner(t *testing.T) {
	t.Parallel()
	if !canFindServers {
		t.Skip("only Linux has a signal at the parent's death")
	}
	dir := dataDir(t)
	owner, _, _ := runOwner(t, dir)
	if err := owner.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = owner.Wait() // killed
	awaitNoServer(t, dir)
	if _, err := os.Stat(filepath.Join(dir, clusterName, pidFileName)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("it should have shut down in order, and has left its pid file: %v", err)
	}
}

// awaitNoServer returns once no server works in the data directory; it fails when one lives on.
func awaitNoServer(t *testing.T, dir string) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(20 * time.Millisecond) {
		pids, err := serverProcesses(filepath.Join(dir, clusterName))
		if err != nil {
			t.Fatal(err)
		}
		if len(pids) == 0 {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("processes %v live on", pids)
		}
	}
}

// TestOrphanIsStopped has a server on the directory that no owner watches, as after a kill on a
// system without the death signal.
func TestOrphanIsStopped(t *testing.T) {
	t.Parallel()
	if !canFindServers {
		t.Skip("servers left behind are found on Linux only")
	}
	dir := dataDir(t)
	first := start(t, Config{DataDir: dir})
	store(t, first.URL("postgres"))
	stop(t, first)

	orphan, address := startOrphan(t, dir)
	checkStored(t, address)
	second := start(t, Config{DataDir: dir})
	checkStored(t, second.URL("postgres"))
	if err := orphan.Wait(); err != nil {
		t.Errorf("the orphan should have shut down in order: %v", err)
	}
}

// startOrphan runs the server on the data directory without a lock and without the death signal.
func startOrphan(t *testing.T, dir string) (*exec.Cmd, string) {
	t.Helper()
	account, err := serverAccount("")
	if err != nil {
		t.Fatal(err)
	}
	home := &home{dir: dir, cluster: filepath.Join(dir, clusterName), account: account}
	major, err := home.clusterMajor()
	if err != nil {
		t.Fatal(err)
	}
	found, err := findBinaries(t.Context(), "", major)
	if err != nil {
		t.Fatal(err)
	}
	sockets, err := newSocketDir(account)
	if err != nil {
		t.Fatal(err)
	}
	orphan := exec.Command(found.postgres, serverArgs(home.cluster, sockets, nil)...)
	orphan.Dir, orphan.Env = home.cluster, childEnv()
	orphan.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Credential: account.credential()}
	if err := orphan.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = orphan.Process.Kill() // most tests end it
		if err := os.RemoveAll(sockets); err != nil {
			t.Error(err)
		}
	})
	server := &Server{socketDir: sockets}
	for deadline := time.Now().Add(time.Minute); server.ping(t.Context()) != nil; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the orphan takes no connections")
		}
	}
	return orphan, server.URL("postgres")
}

// TestOrphanBackend kills a server under a backend that computes and does not notice: starting a
// second server beside it would corrupt the cluster.
func TestOrphanBackend(t *testing.T) {
	t.Parallel()
	if !canFindServers {
		t.Skip("servers left behind are found on Linux only")
	}
	dir := dataDir(t)
	first := start(t, Config{DataDir: dir})
	store(t, first.URL("postgres"))
	conn, err := pgx.Connect(t.Context(), first.URL("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	backendPID := int(conn.PgConn().PID())
	computing := make(chan error, 1)
	go func() {
		// Big-number factorials do not look up between two of them, and take a while.
		_, err := conn.Exec(
			context.Background(),
			"select sum(length(factorial(n)::text)) from generate_series(20000, 40000) n",
		)
		computing <- err
	}()
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) {
		if query(
			t,
			first.URL("postgres"),
			"select state from pg_stat_activity where pid = $1",
			backendPID,
		) == "active" {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the backend does not compute")
		}
	}
	if err := first.process.Kill(); err != nil {
		t.Fatal(err)
	}
	awaitEnd(t, first)

	cluster := filepath.Join(dir, clusterName)
	if pids, err := serverProcesses(cluster); err != nil || len(pids) == 0 {
		t.Fatalf("the backend should live on, which this test is about: %v, %v", pids, err)
	}
	lone := &home{dir: dir, cluster: cluster}
	if err := lone.stopOrphan(t.Context(), first.process.Pid, 200*time.Millisecond, testLogger(t)); err != nil {
		t.Fatal(err)
	}
	if err := <-computing; err == nil {
		t.Error("the backend finished: it was not cut off")
	}
	second := start(t, Config{DataDir: dir})
	checkStored(t, second.URL("postgres"))
}

// TestStalePIDFile has the dead server's process id go to another program of the same account, as
// happens in a container.
func TestStalePIDFile(t *testing.T) {
	t.Parallel()
	if !canFindServers {
		t.Skip("servers are told from other programs on Linux only")
	}
	dir := dataDir(t)
	first := start(t, Config{DataDir: dir})
	store(t, first.URL("postgres"))
	if err := first.process.Kill(); err != nil {
		t.Fatal(err)
	}
	awaitEnd(t, first)

	other := exec.Command("sleep", "1000")
	other.SysProcAttr = &syscall.SysProcAttr{Credential: first.home.account.credential()}
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := other.Process.Kill(); err != nil {
			t.Errorf("the other program was stopped: %v", err)
		}
		_ = other.Wait() // killed
	})
	path := filepath.Join(dir, clusterName, pidFileName)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), "\n")
	if err := os.WriteFile(path, []byte(strconv.Itoa(other.Process.Pid)+"\n"+rest), 0o600); err != nil {
		t.Fatal(err)
	}
	second := start(t, Config{DataDir: dir})
	checkStored(t, second.URL("postgres"))
}
