package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
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

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/service/lane"
	"laneward/service/shot"
)

func TestParseShot(t *testing.T) {
	t.Parallel()
	full := shot.Shot{
		LaydownBoard:    ptr(15.5),
		ArrowsBoard:     ptr(11.0),
		BreakpointBoard: ptr(9.0),
		BreakpointFt:    ptr(42.0),
		EntryBoard:      ptr(17.0),
	}
	with := func(s shot.Shot, change func(*shot.Shot)) shot.Shot {
		change(&s)
		return s
	}
	left := func(pins ...int) *lane.PinSet {
		set, err := lane.Pins(pins...)
		if err != nil {
			t.Fatal(err)
		}
		return &set
	}
	for line, want := range map[string]shot.Shot{
		"15.5 11 9@42 17 10":              with(full, func(s *shot.Shot) { s.Standing = left(10) }),
		"15,5 11 9@42ft 17 7-10":          with(full, func(s *shot.Shot) { s.Standing = left(7, 10) }),
		"  15.5\t11 9@42 17 x ":           with(full, func(s *shot.Shot) { s.Standing = left() }),
		"15.5 11 9@42 17 STRIKE":          with(full, func(s *shot.Shot) { s.Standing = left() }),
		"15.5 11 9@42 17 -":               full,
		"15.5 11 9@42 17":                 full,
		"9@42":                            {BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0)},
		"- - 9":                           {BreakpointBoard: ptr(9.0)},
		"- - - 17.5 4-9":                  {EntryBoard: ptr(17.5), Standing: left(4, 9)},
		"x":                               {Standing: left()},
		"4-9 15":                          {}, // nothing comes after the pins
		"15 x":                            {LaydownBoard: ptr(15.0), Standing: left()},
		"9@42 17":                         {BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0), EntryBoard: ptr(17.0)},
		"15 9@42 17":                      {LaydownBoard: ptr(15.0), BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0), EntryBoard: ptr(17.0)},
		"bp=9@42 en=17 leave=10":          {BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0), EntryBoard: ptr(17.0), Standing: left(10)},
		"breakpoint=9 at=42":              {BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0)},
		"mph=17.2 rpm=310 rotation=-10":   {SpeedMPH: ptr(17.2), RevRateRPM: ptr(310.0), RotationDeg: ptr(-10.0)},
		"angle=4.5 launch=-1.2 tilt=12":   {EntryAngleDeg: ptr(4.5), LaunchAngleDeg: ptr(-1.2), TiltDeg: ptr(12.0)},
		"x note=late = early, at \"9\" x": {Standing: left(), Note: "late = early, at \"9\" x"},
		`x note="quoted"`:                 {Standing: left(), Note: "quoted"},
		"speed=-":                         {},
	} {
		change, err := parseShot(line)
		if line == "4-9 15" {
			if err == nil {
				t.Errorf("%q: a board after the pins is taken", line)
			}
			continue
		}
		var got shot.Shot
		for _, one := range change {
			one.set(&got)
		}
		if diff := cmp.Diff(want, got); diff != "" || err != nil {
			t.Errorf("%q: %v\n%s", line, err, diff)
		}
	}
	for _, line := range []string{
		"15 11 9 17 10 4", "fast", "speed=", "speed=fast", "x x", "9@42 bp=9", "leave=11", "11-12", "7-7", "colour=blue", "=3", "9@", "@", "1@2@3", "Inf@NaN@", `ball="Blue`,
		"15 11 9@42 17 11", "NaN", "speed=Inf", "0x10", "1_0", "1e1",
	} {
		if change, err := parseShot(line); err == nil {
			t.Errorf("%q is taken as %d settings", line, len(change))
		} else if strings.Contains(err.Error(), "strconv") {
			t.Errorf("%q: %v", line, err)
		}
	}
}

func ptr[T any](v T) *T { return &v }

func TestParseShotClears(t *testing.T) {
	t.Parallel()
	s := shot.Shot{
		BreakpointBoard: ptr(9.0),
		BreakpointFt:    ptr(42.0),
		SpeedMPH:        ptr(17.0),
		Standing:        ptr(lane.PinSet(1)),
		Note:            "late",
	}
	for _, line := range []string{"bp=- leave=-", "speed=- note=-"} {
		change, err := parseShot(line)
		if err != nil {
			t.Fatal(err)
		}
		for _, one := range change {
			one.set(&s)
		}
	}
	if diff := cmp.Diff(shot.Shot{}, s); diff != "" {
		t.Error(diff)
	}
}

// Whatever is typed is a shot or a mistake; and what a line says of its summary says the same.
func FuzzParseShot(f *testing.F) {
	for _, line := range []string{"15.5 11 9@42 17 10", "- - 9@41 - x", "bp=9@42 speed=17.2 note=late", `ball="Blue solid"`, "4-9 =", "x\x00", "é=1", "NaN Inf 1e9"} {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, line string) {
		change, err := parseShot(line)
		if err != nil {
			if err.Error() == "" {
				t.Error("a mistake without words")
			}
			return
		}
		var s shot.Shot
		for _, one := range change {
			if one.ball == "" {
				one.set(&s)
			}
		}
		if shotLine(&s, "") == "" {
			t.Error("a shot without words")
		}
	})
}

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
	if exit != exitOK || !strings.Contains(stdout, "Saved 2") ||
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
	); exit != exitOK {
		t.Fatal(stderr)
	}
	if exit, _, stderr := c.run(
		t.Context(),
		"cora",
		"",
		"sign-out",
	); exit != exitOK ||
		!strings.Contains(stderr, "1 change stays unsent on this computer, for you alone") {
		t.Errorf("exit %d: %s", exit, stderr)
	}
	if exit, _, stderr := c.run(t.Context(), "cora", "", "log"); exit != exitAuth {
		t.Errorf("exit %d: %s", exit, stderr)
	}
	c.signUp("eve") // on the same computer, by the same directories
	if exit, _, stderr := c.run(t.Context(), "cora", passphrase+"\n", "sign-in", "eve@example.org"); exit != exitOK {
		t.Fatal(stderr)
	}
	if out := c.must("cora", "sync", "status", "--json"); !strings.Contains(out, `"squads":[]`) {
		t.Errorf("somebody else sees %s", out)
	}
	if exit, _, stderr := c.run(t.Context(), "cora", passphrase+"\n", "sign-in", "cora@example.org"); exit != exitOK {
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
	env := c.environment("cora", "")
	err := clientFlags{}.withCopy(t.Context(), env, func(conn *copyConnection) error {
		squads, err := conn.Squads(t.Context())
		if err != nil {
			return err
		}
		id := uuid.Must(uuid.NewV7())
		wrong := `{"name":"Max","side":"left","speed_mph":900}`
		return conn.Put(t.Context(), squads[0].ID, client.Record{Kind: client.Athlete, ID: id, JSON: []byte(wrong)})
	})
	if err != nil {
		t.Fatal(err)
	}
	exit, stdout, stderr := c.run(t.Context(), "cora", "", "sync")
	if exit != exitPartial || !strings.Contains(stderr, "1 was refused") {
		t.Fatalf("exit %d: %s%s", exit, stdout, stderr)
	}
	for name, one := range map[string]struct {
		editor, want string
		exit         int
	}{
		"an editor that fails":        {"false", "the editor false failed, so nothing was changed", exitFailure},
		"an editor that is not there": {"no-such-editor", "failed, so nothing was changed", exitFailure},
		"what is no JSON any more":    {"sed -i s/{//", "that is no record in JSON", exitFailure},
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
	); exit != exitOK ||
		!strings.Contains(stderr, "1 change is in the queue") {
		t.Fatalf("exit %d, %s", exit, stderr)
	}
	c.must("cora", "sync")
	if got := c.must("cora", "show", "athlete", "Max", "--json"); !strings.Contains(got, `"speed_mph":17`) {
		t.Errorf("the server has %s", got)
	}
}

// edit runs the program with an editor.
func (c *centre) edit(person, editor string, args ...string) (exit int, stderr string) {
	c.t.Helper()
	env := c.environment(person, "", args...)
	var messages bytes.Buffer
	env.stderr = &messages
	usual := env.getenv
	env.getenv = func(name string) string {
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
	if exit != exitOK {
		t.Fatalf("exit %d: %s", exit, stderr)
	}
	c.must("cora", "delete", "session", "Practice")
	exit, stdout, stderr := c.run(t.Context(), "cora", "", "sync")
	if exit != exitOK || !strings.Contains(stderr, "1 waits for a record that is not there yet") {
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
				environment{
					args:   os.Args[1:],
					getenv: os.Getenv,
					now:    time.Now,
					stdin:  os.Stdin,
					stdout: os.Stdout,
					stderr: os.Stderr,
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
		command.Env = append(command.Env, name+"="+env.getenv(name))
	}
	return command
}

// A process that is killed in the middle of logging leaves every shot it said was saved, whole, and
// the next one goes on.
func TestLogKilled(t *testing.T) {
	t.Parallel()
	const seed = 20261120
	random := rand.New(rand.NewPCG(seed, 3)) //nolint:gosec // to come out the same
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
	env.stdout, env.stderr = &stdout, said
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
	); exit != exitOK {
		t.Fatal(stderr)
	}
	until("sent 1 change")
	stop()
	go io.Copy(io.Discard, heard) //nolint:errcheck // until it ends
	if exit := <-ended; exit != exitOK {
		t.Errorf("exit %d", exit)
	}
	if _, err := os.Stat(filepath.Join(c.dir, "cora", "data", "laneward")); err != nil {
		t.Error(err)
	}
}
