package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

// withCopyOf makes a squad with an athlete, a drill and a session, and a copy of it on a person's
// computer.
func (c *centre) withCopyOf(person string) {
	c.t.Helper()
	c.signUp(person)
	c.must(person, "squad", "create", "Tuesday squad")
	c.must(person, "add", "athlete", "Rhea", "--side", "right")
	c.must(person, "add", "session", "Practice", "--date", "2026-11-20")
	c.must(
		person,
		"add",
		"drill",
		"Inside",
		"--sentence",
		"keep the ball at board 10 or inside at the breakpoint",
		"--reps",
		"30",
		"--pass",
		"80%",
	)
	c.must(person, "assign", "Inside", "--to", "Rhea", "--from", "2026-11-19")
	c.must(person, "sync")
}

// Everything but the first copy works with no network at all: a new session and its shots go when
// there is one again.
func TestLogWithoutNetwork(t *testing.T) {
	t.Parallel()
	off := false
	c := newCentre(t, func(real http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if off {
				t.Errorf("%s %s is asked without a network", r.Method, r.URL.Path)
			}
			real.ServeHTTP(w, r)
		})
	})
	c.withCopyOf("cora")
	off = true
	// The answers: a new session with its usual name, and the drill by number; then two shots.
	exit, stdout, stderr := c.run(t.Context(), "cora", "n\n\n1\n- - 9@42\n- - 12@42 - x\n", "log", "--athlete", "rhea")
	if exit != terminal.ExitOK || !strings.Contains(stdout, "Saved 2") ||
		!strings.Contains(stderr, "2 shots are on this computer") {
		t.Fatalf("exit %d\n%s%s", exit, stdout, stderr)
	}
	if out := c.must("cora", "sync", "status", "--json"); !strings.Contains(out, `"queued":3`) {
		t.Errorf("the status is %s", out)
	}
	if out := c.must("cora", "sync", "status"); !strings.Contains(out, "UNSENT") {
		t.Errorf("the status is %s", out)
	}
	off = false
	if out := c.must("cora", "sync"); out != "Tuesday squad: sent 3 changes." {
		t.Errorf("sync says %q", out)
	}
	today := c.now().Format(time.DateOnly)
	var list openapi.ShotPage
	if err := json.Unmarshal(
		[]byte(c.must("cora", "list", "shots", "--session", today, "--json")),
		&list,
	); err != nil ||
		len(list.Items) != 2 {
		t.Fatalf("%d shots, %v", len(list.Items), err)
	}
	// The drill's standing in the terminal is the server's.
	score := c.must("cora", "score", "Inside", "--athlete", "Rhea", "--session", today, "--json")
	var scored openapi.DrillAdherence
	if err := json.Unmarshal([]byte(score), &scored); err != nil || len(scored.Athletes) != 1 {
		t.Fatalf("%v: %s", err, score)
	}
	told := fmt.Sprintf("Inside: %d of %d kept", scored.Athletes[0].KeptShare.Count, scored.Athletes[0].KeptShare.Of)
	if told != "Inside: 1 of 2 kept" || !strings.Contains(stdout, told) {
		t.Errorf("the server says %q, and the terminal said\n%s", told, stdout)
	}
	// Who signs out leaves what is unsent, and finds it again.
	if exit, _, stderr := c.run(
		t.Context(),
		"cora",
		"- - 11@42\n",
		"log",
		"--athlete",
		"Rhea",
		"--session",
		today,
		"--drill",
		"none",
	); exit != terminal.ExitOK {
		t.Fatal(stderr)
	}
	if exit, _, stderr := c.run(
		t.Context(),
		"cora",
		"",
		"sign-out",
	); exit != terminal.ExitOK ||
		!strings.Contains(stderr, "1 change stays unsent on this computer, for you alone") {
		t.Errorf("exit %d: %s", exit, stderr)
	}
	if exit, _, stderr := c.run(t.Context(), "cora", "", "log"); exit != terminal.ExitAuth {
		t.Errorf("exit %d: %s", exit, stderr)
	}
	c.signUp("eve") // on the same computer, by the same directories
	if exit, _, stderr := c.run(t.Context(), "cora", passphrase+"\n", "sign-in", "eve@example.org"); exit != terminal.ExitOK {
		t.Fatal(stderr)
	}
	if out := c.must("cora", "sync", "status", "--json"); !strings.Contains(out, `"squads":[]`) {
		t.Errorf("somebody else sees %s", out)
	}
	if exit, _, stderr := c.run(t.Context(), "cora", passphrase+"\n", "sign-in", "cora@example.org"); exit != terminal.ExitOK {
		t.Fatal(stderr)
	}
	if out := c.must("cora", "sync"); out != "Tuesday squad: sent 1 change." {
		t.Errorf("sync says %q", out)
	}
}

// An editor mends a refused change.
func TestRefusedIsEdited(t *testing.T) {
	t.Parallel()
	c := newCentre(t, nil)
	c.withCopyOf("cora")
	wrong := `{"name":"Max","side":"left","speed_mph":900}`
	c.queue("cora", client.Record{Kind: client.Athlete, ID: uuid.Must(uuid.NewV7()), JSON: []byte(wrong)})
	exit, stdout, stderr := c.run(t.Context(), "cora", "", "sync")
	if exit != terminal.ExitPartial || !strings.Contains(stderr, "1 was refused") {
		t.Fatalf("exit %d: %s%s", exit, stdout, stderr)
	}
	for name, one := range map[string]struct {
		editor, want string
		exit         int
	}{
		"an editor that fails":        {"false", "the editor false failed, so nothing was changed", terminal.ExitFailure},
		"an editor that is not there": {"no-such-editor", "failed, so nothing was changed", terminal.ExitFailure},
		"what is no JSON any more":    {"sed -i s/{//", "that is not a JSON record", terminal.ExitFailure},
	} {
		if exit, stderr := c.edit(
			"cora",
			one.editor,
			"sync",
			"refused",
			"1",
			"--edit",
		); exit != one.exit ||
			!strings.Contains(stderr, one.want) {
			t.Errorf("%s: exit %d, %s", name, exit, stderr)
		}
	}
	if exit, stderr := c.edit(
		"cora",
		"sed -i s/900/17/",
		"sync",
		"refused",
		"1",
		"--edit",
	); exit != terminal.ExitOK ||
		!strings.Contains(stderr, "1 change is in the queue") {
		t.Fatalf("exit %d, %s", exit, stderr)
	}
	c.must("cora", "sync")
	if got := c.must("cora", "show", "athlete", "Max", "--json"); !strings.Contains(got, `"speed_mph":17`) {
		t.Errorf("the server has %s", got)
	}
}

// queue puts a record into the queue of a person's computer, for the squad there.
func (c *centre) queue(person string, record client.Record) {
	c.t.Helper()
	data := filepath.Join(c.dir, person, "data", "laneward")
	store, err := local.Open(c.t.Context(), data, c.address, c.signIn(person).UserID, c.now)
	if err != nil {
		c.t.Fatal(err)
	}
	squads, err := store.Squads(c.t.Context())
	if err == nil {
		err = store.Put(c.t.Context(), squads[0].ID, record)
	}
	if err := errors.Join(err, store.Close()); err != nil {
		c.t.Fatal(err)
	}
}

// edit runs the program with an editor.
func (c *centre) edit(person, editor string, args ...string) (exit int, stderr string) {
	c.t.Helper()
	env := c.environment(person, "", args...)
	var messages bytes.Buffer
	env.Stderr = &messages
	usual := env.Getenv
	env.Getenv = func(name string) string {
		if name == "EDITOR" {
			return editor
		}
		return usual(name)
	}
	return run(c.t.Context(), env), messages.String()
}

// A shot whose session somebody has deleted waits, and the status says for what.
func TestStatusTellsWhatWaits(t *testing.T) {
	t.Parallel()
	c := newCentre(t, nil)
	c.withCopyOf("cora")
	exit, _, stderr := c.run(
		t.Context(),
		"cora",
		"- - 9@42\n",
		"log",
		"--athlete",
		"Rhea",
		"--session",
		"Practice",
		"--drill",
		"none",
	)
	if exit != terminal.ExitOK {
		t.Fatalf("exit %d: %s", exit, stderr)
	}
	c.must("cora", "delete", "session", "Practice")
	exit, stdout, stderr := c.run(t.Context(), "cora", "", "sync")
	if exit != terminal.ExitOK || !strings.Contains(stderr, "1 stays on this computer for now; why: laneward sync status") {
		t.Fatalf("exit %d: %s%s", exit, stdout, stderr)
	}
	if _, _, stderr := c.run(
		t.Context(),
		"cora",
		"",
		"sync",
		"status",
	); !strings.Contains(
		stderr,
		"1 is waiting: session_id: there is no session",
	) {
		t.Errorf("the status says %s", stderr)
	}
}

// childVariable makes this test's program the laneward program.
const childVariable = "LANEWARD_TEST_CHILD"

func TestMain(m *testing.M) {
	if os.Getenv(childVariable) != "" {
		os.Exit(
			run(
				context.Background(),
				terminal.Environment{
					Args:   os.Args[1:],
					Getenv: os.Getenv,
					Now:    time.Now,
					Stdin:  os.Stdin,
					Stdout: os.Stdout,
					Stderr: os.Stderr,
				},
			),
		)
	}
	os.Exit(m.Run())
}

// child is the program in a process of its own.
func (c *centre) child(person string, args ...string) *exec.Cmd {
	c.t.Helper()
	self, err := os.Executable()
	if err != nil {
		c.t.Fatal(err)
	}
	command := exec.CommandContext(c.t.Context(), self, args...)
	env := c.environment(person, "")
	command.Env = []string{childVariable + "=1"}
	for _, name := range []string{"XDG_CONFIG_HOME", "XDG_DATA_HOME", "LANEWARD_SERVER"} {
		command.Env = append(command.Env, name+"="+env.Getenv(name))
	}
	return command
}

// A process that is killed in the middle of logging leaves every shot it said was saved, whole, and
// the next one goes on.
func TestLogKilled(t *testing.T) {
	t.Parallel()
	const seed = 20261120
	random := rand.New(rand.NewPCG(seed, 3))
	c := newCentre(t, nil)
	c.withCopyOf("cora")
	saved := make(map[string]bool) // by note
	typed := 0
	for round := range 12 {
		child := c.child("cora", "log", "--athlete", "Rhea", "--session", "Practice", "--drill", "Inside")
		keys, err := child.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		screen, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		go func(from int) {
			for i := range 1000 { // until the process is gone
				if _, err := fmt.Fprintf(keys, "15 11 %d@42 17 x note=shot %d\n", 8+i%5, from+i); err != nil {
					return
				}
			}
		}(typed)
		typed += 1000
		lines := bufio.NewScanner(screen)
		for until := 1 + random.IntN(15); until > 0 && lines.Scan(); {
			if _, note, found := strings.Cut(lines.Text(), `"shot `); found {
				saved[strings.TrimSuffix(note, `"`)] = true
				until--
			}
		}
		time.Sleep(time.Duration(random.IntN(5000)) * time.Microsecond) // anywhere in the next shot
		if err := child.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		for lines.Scan() { // what it said before it died counts
			if _, note, found := strings.Cut(lines.Text(), `"shot `); found && strings.HasSuffix(note, `"`) {
				saved[strings.TrimSuffix(note, `"`)] = true
			}
		}
		if err := child.Wait(); err == nil {
			t.Errorf("round %d: the process was not killed", round)
		}
	}
	// Killed in the middle of a sync it goes on too.
	for range 3 {
		child := c.child("cora", "sync")
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(random.IntN(120)) * time.Millisecond)
		_ = child.Process.Kill() // it may have ended
		_ = child.Wait()
	}
	c.must("cora", "sync", "--verify")
	var list openapi.ShotPage
	if err := json.Unmarshal(
		[]byte(c.must("cora", "list", "shots", "--session", "Practice", "--json")),
		&list,
	); err != nil {
		t.Fatal(err)
	}
	there := make(map[string]int)
	for i, s := range list.Items {
		there[strings.TrimPrefix(*s.Note, "shot ")]++
		if s.Order != i+1 {
			t.Errorf("shot %d has the number %d", i+1, s.Order)
		}
	}
	for note := range saved {
		if there[note] != 1 {
			t.Errorf("shot %s was saved and is on the server %d times", note, there[note])
		}
	}
	t.Logf("%d shots were said to be saved, %d are on the server", len(saved), len(list.Items))
	if len(saved) < 12 || len(list.Items) > len(saved)+12 { // at most one a round that was saved and not yet said
		t.Errorf("%d shots on the server for %d saved", len(list.Items), len(saved))
	}
}

// Two computers of one coach, and what one of them shows of the other's work.
func TestSyncWatch(t *testing.T) {
	t.Parallel()
	c := newCentre(t, nil)
	c.withCopyOf("cora")
	ctx, stop := context.WithCancel(t.Context())
	env := c.environment("cora", "", "sync", "--watch")
	heard, said := io.Pipe()
	var stdout bytes.Buffer
	env.Stdout, env.Stderr = &stdout, said
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, env)
		_ = said.Close()
	}()
	lines := bufio.NewScanner(heard)
	until := func(word string) {
		t.Helper()
		for lines.Scan() {
			if strings.Contains(lines.Text(), word) {
				return
			}
		}
		t.Fatalf("it ended without saying %q", word)
	}
	until("nothing new")
	c.must("cora", "add", "athlete", "Max", "--side", "left")
	until("received 1")
	if exit, _, stderr := c.run(
		t.Context(),
		"cora",
		"9@42\n",
		"log",
		"--athlete",
		"Max",
		"--session",
		"Practice",
		"--drill",
		"none",
	); exit != terminal.ExitOK {
		t.Fatal(stderr)
	}
	until("sent 1 change")
	stop()
	go io.Copy(io.Discard, heard)
	if exit := <-ended; exit != terminal.ExitOK {
		t.Errorf("exit %d", exit)
	}
	if _, err := os.Stat(filepath.Join(c.dir, "cora", "data", "laneward")); err != nil {
		t.Error(err)
	}
}
