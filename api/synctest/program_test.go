//go:build unix

package synctest

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// builtProgram is the program, built once for all tests.
var builtProgram = sync.OnceValues(func() (string, error) {
	path := filepath.Join(buildDir, "laneward")
	if out, err := exec.Command("go", "build", "-o", path, "laneward/cmd/laneward").CombinedOutput(); err != nil {
		return "", fmt.Errorf("build the program: %w: %s", err, out)
	}
	return path, nil
})

var buildDir string

func TestMain(m *testing.M) {
	var err error
	if buildDir, err = os.MkdirTemp("", "laneward-synctest-"); err != nil {
		panic(err)
	}
	code := m.Run()
	if err := os.RemoveAll(buildDir); err != nil {
		panic(err)
	}
	os.Exit(code)
}

// program is the real program with a Postgres of its own, which is killed and started again.
type program struct {
	t       testing.TB
	state   string
	mu      sync.Mutex
	cmd     *exec.Cmd
	address string
	log     logBuffer
}

func newProgram(t testing.TB) *program {
	t.Helper()
	state, err := os.MkdirTemp("", "laneward-synctest-state-")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(state, 0o711); err != nil { // where root runs the tests, Postgres's account must get through
		t.Fatal(err)
	}
	p := &program{t: t, state: state}
	t.Cleanup(func() {
		p.stop()
		if err := os.RemoveAll(state); err != nil {
			t.Error(err)
		}
	})
	p.start()
	return p
}

const startLimit = 2 * time.Minute

// start runs the program and returns when it listens.
func (p *program) start() {
	p.t.Helper()
	cmd, address := startProgram(p.t, &p.log, nil, "--state-dir", p.state)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cmd, p.address = cmd, address
}

// startProgram runs the program with more of an environment and of arguments, and returns when it
// listens, and where.
func startProgram(t testing.TB, log *logBuffer, env []string, arguments ...string) (cmd *exec.Cmd, address string) {
	t.Helper()
	path, err := builtProgram()
	if err != nil {
		t.Fatal(err)
	}
	cmd = exec.Command(path, append([]string{"serve", "--listen", "127.0.0.1:0", "--log-format", "json"}, arguments...)...)
	cmd.Env = append(os.Environ(), env...)
	stderr, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	listening := make(chan string, 1)
	go func() {
		for lines := bufio.NewScanner(stderr); lines.Scan(); {
			_, _ = log.Write(append(lines.Bytes(), '\n')) // cannot fail
			var line struct{ Msg, Address string }
			if json.Unmarshal(lines.Bytes(), &line) == nil && line.Msg == "listening" {
				listening <- line.Address
			}
		}
		close(listening)
	}()
	select {
	case address, ok := <-listening:
		if !ok {
			t.Fatalf("the program does not start:\n%s", strings.Join(log.lines(""), ""))
		}
		return cmd, address
	case <-time.After(startLimit):
		t.Fatalf("the program does not listen:\n%s", strings.Join(log.lines(""), ""))
		return nil, ""
	}
}

// at is where the program listens now.
func (p *program) at() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.address
}

// kill ends the program as a power cut would, and starts it again.
func (p *program) kill() {
	p.t.Helper()
	if err := p.cmd.Process.Kill(); err != nil {
		p.t.Fatal(err)
	}
	_ = p.cmd.Wait() // killed
	p.start()
}

// stop lets the program end in order.
func (p *program) stop() {
	if p.cmd == nil {
		return
	}
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		p.t.Error(err)
	}
	if err := p.cmd.Wait(); err != nil {
		p.t.Errorf("the program ended with %v", err)
	}
}

// postmaster is the process id of the program's own Postgres.
func (p *program) postmaster() (int, error) {
	found, err := filepath.Glob(filepath.Join(p.state, "postgres", "*", "postmaster.pid"))
	if err != nil || len(found) != 1 {
		return 0, fmt.Errorf("no pid file of a Postgres: %v, %w", found, err)
	}
	text, err := os.ReadFile(found[0])
	if err != nil {
		return 0, err
	}
	first, _, _ := strings.Cut(string(text), "\n")
	return strconv.Atoi(first)
}

// killPostgres kills the server process, or one of its backends, upon which Postgres restarts
// itself.
func (p *program) killPostgres(backend bool) {
	p.t.Helper()
	pid, err := p.postmaster()
	if err != nil {
		p.t.Fatal(err)
	}
	if backend {
		pid = backendOf(pid)
		if pid == 0 {
			return // none works just now
		}
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
		p.t.Fatal(err)
	}
}

// backendOf is a process of the server that works for a connection; 0 when there is none.
func backendOf(postmaster int) int {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%d/children", postmaster, postmaster))
	if err != nil {
		return 0
	}
	for _, field := range strings.Fields(string(text)) {
		title, err := os.ReadFile("/proc/" + field + "/cmdline")
		if pid, bad := strconv.Atoi(field); err == nil && bad == nil && strings.Contains(string(title), "[local]") {
			return pid
		}
	}
	return 0
}
