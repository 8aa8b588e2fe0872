package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/tools/txtar"

	"laneward/api"
	"laneward/cmd/laneward/terminal"
	"laneward/db"
	"laneward/db/dbtest"
	"laneward/service"
)

// ordinaryDay is when the dialogues take place: no day that one of them names.
var ordinaryDay = time.Date(2027, time.March, 9, 15, 0, 0, 0, time.UTC)

// centre is a real server over a real database, with people who each have a computer of their own
// and share one clock.
type centre struct {
	t       testing.TB
	address string
	dir     string
	now     func() time.Time
}

func newCentre(t testing.TB, wrap func(http.Handler) http.Handler) *centre {
	t.Helper()
	return newCentreAt(t, wrap, clockFrom(ordinaryDay))
}

func newCentreAt(t testing.TB, wrap func(http.Handler) http.Handler, now func() time.Time) *centre {
	t.Helper()
	return newCentreOn(t, dbtest.New(t).ServiceURL, wrap, now)
}

func newCentreOn(
	t testing.TB,
	database string,
	wrap func(http.Handler) http.Handler,
	now func() time.Time,
) *centre {
	t.Helper()
	opened, err := db.Open(t.Context(), database, db.Options{Wait: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(opened.Close)
	keys, err := service.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	svc := service.New(service.Config{DB: opened, Keys: keys, Log: log, Now: now, Patience: time.Hour})
	t.Cleanup(svc.Close)
	made, err := api.NewHandler(api.Config{Service: svc, Log: log, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	var handler http.Handler = made
	if wrap != nil {
		handler = wrap(made)
	}
	server := httptest.NewServer(handler)
	t.Cleanup(server.Close)
	return &centre{t: t, address: server.URL, dir: t.TempDir(), now: now}
}

// environment is what a person's computer gives to a run.
func (c *centre) environment(person, stdin string, args ...string) terminal.Environment {
	return terminal.Environment{
		Args: args, Now: c.now, Stdin: strings.NewReader(stdin), Stdout: io.Discard, Stderr: io.Discard,
		Getenv: func(name string) string {
			return map[string]string{
				"XDG_CONFIG_HOME": filepath.Join(c.dir, person), "XDG_DATA_HOME": filepath.Join(c.dir, person, "data"), "LANEWARD_SERVER": c.address,
			}[name]
		},
	}
}

// run runs the program on a person's computer and returns the exit code and what was printed.
func (c *centre) run(ctx context.Context, person, stdin string, args ...string) (code int, stdout, stderr string) {
	c.t.Helper()
	env := c.environment(person, stdin, args...)
	var out, messages bytes.Buffer
	env.Stdout, env.Stderr = &out, &messages
	code = run(ctx, env)
	return code, out.String(), messages.String()
}

// must runs what has to succeed and returns what went to stdout.
func (c *centre) must(person string, args ...string) string {
	c.t.Helper()
	code, stdout, stderr := c.run(c.t.Context(), person, "", args...)
	if code != terminal.ExitOK {
		c.t.Fatalf("%s$ laneward %s: exit %d\n%s%s", person, strings.Join(args, " "), code, stdout, stderr)
	}
	return strings.TrimSpace(stdout)
}

const passphrase = "four unrelated words"

func (c *centre) signUp(person string) {
	c.t.Helper()
	code, _, stderr := c.run(c.t.Context(), person, passphrase+"\n", "sign-up", person+"@example.org", "--name", person)
	if code != terminal.ExitOK {
		c.t.Fatalf("sign-up: exit %d\n%s", code, stderr)
	}
}

// A dialogue is a session at the command line as it looked: PERSON$ laneward …, then what was
// printed, and the exit code when not 0. Files follow in the txtar format. A word @FILE stands for
// the file's content, < FILE and > FILE do what they do in a shell.
func TestDialogues(t *testing.T) {
	t.Parallel()
	for _, path := range dialogues(t) {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txtar"), func(t *testing.T) {
			t.Parallel()
			compareDialogue(t, newCentre(t, nil), path)
		})
	}
}

// Without a server, a network and a sign-in, the commands on files do all that they do, and leave
// nothing behind.
func TestDialoguesOffline(t *testing.T) {
	t.Parallel()
	paths, err := filepath.Glob("testdata/offline/*.txtar")
	if err != nil || len(paths) == 0 {
		t.Fatalf("%d dialogues, %v", len(paths), err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txtar"), func(t *testing.T) {
			t.Parallel()
			alone := &centre{t: t, address: "http://127.0.0.1:1", dir: t.TempDir(), now: clockFrom(ordinaryDay)}
			compareDialogue(t, alone, path)
			if _, err := os.Stat(filepath.Join(alone.dir, "cora")); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("settings or a state were written: %v", err)
			}
		})
	}
}

// compareDialogue plays a dialogue, and holds what is printed against what it says.
func compareDialogue(t *testing.T, c *centre, path string) {
	t.Helper()
	archive, got := c.replay(path)
	if *update {
		archive.Comment = []byte(got)
		if err := os.WriteFile(path, txtar.Format(archive), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if diff := cmp.Diff(string(archive.Comment), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

// The dialogues read the same on any day: a leap day, the nights in which each of two zones sets
// its clocks, and an evening that is the next year's first day elsewhere.
func TestDialoguesOnAnyDay(t *testing.T) {
	t.Parallel()
	days := map[string][]string{
		"Europe/Berlin":    {"2028-02-29 12:00", "2026-10-25 02:30", "2026-12-31 22:00"},
		"America/New_York": {"2028-02-29 12:00", "2026-11-01 01:30", "2026-12-31 22:00"},
	}
	for name, starts := range days {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, start := range starts {
			first, err := time.ParseInLocation("2006-01-02 15:04", start, zone)
			if err != nil {
				t.Fatal(err)
			}
			for _, path := range dialogues(t) {
				t.Run(name+" "+start+" "+filepath.Base(path), func(t *testing.T) {
					t.Parallel()
					archive, got := newCentreAt(t, nil, clockFrom(first)).replay(path)
					if diff := cmp.Diff(string(archive.Comment), got); diff != "" {
						t.Errorf("on %s (-want +got):\n%s", first, diff)
					}
				})
			}
		}
	}
}

// clockFrom returns a clock that shows start now and goes on from there.
func clockFrom(start time.Time) func() time.Time {
	began := time.Now()
	return func() time.Time { return start.Add(time.Since(began)) }
}

func dialogues(t *testing.T) []string {
	t.Helper()
	paths, err := filepath.Glob("testdata/client/*.txtar")
	if err != nil || len(paths) == 0 {
		t.Fatalf("%d dialogues, %v", len(paths), err)
	}
	return paths
}

// replay runs the commands of a dialogue.
func (c *centre) replay(path string) (archive *txtar.Archive, got string) {
	c.t.Helper()
	archive, err := txtar.ParseFile(path)
	if err != nil {
		c.t.Fatal(err)
	}
	for _, file := range archive.Files {
		if err := os.WriteFile(filepath.Join(c.dir, file.Name), file.Data, 0o600); err != nil {
			c.t.Fatal(err)
		}
	}
	return archive, c.play(string(archive.Comment))
}

var (
	prompt = regexp.MustCompile(`^([a-z]+)\$ laneward ?(.*)$`)
	words  = regexp.MustCompile(`"[^"]*"|\S+`)
	ids    = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}`)
	moment = regexp.MustCompile(`until \d{4}-\d\d-\d\d \d\d:\d\d`)
	code   = regexp.MustCompile(`\b[A-Z2-9]{32}\b`)
	clock  = regexp.MustCompile(`\b\d{4}-\d\d-\d\d \d\d:\d\d:\d\d\b`)
)

// play runs the commands of a dialogue and returns it with what they print today.
func (c *centre) play(dialogue string) string {
	c.t.Helper()
	var b strings.Builder
	remarks := ""
	var known []string
	for line := range strings.Lines(dialogue) {
		found := prompt.FindStringSubmatch(strings.TrimSuffix(line, "\n"))
		if found == nil {
			if strings.HasPrefix(line, "#") {
				remarks += line
			}
			continue
		}
		if b.Len() > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(remarks + line)
		remarks = ""
		printed := c.playOne(found[1], words.FindAllString(found[2], -1))
		printed = strings.NewReplacer(c.address, "SERVER", c.dir+string(filepath.Separator), "").Replace(printed)
		printed = c.dated(printed)
		printed = moment.ReplaceAllString(code.ReplaceAllString(printed, "CODE"), "until TIME")
		b.WriteString(ids.ReplaceAllStringFunc(printed, func(id string) string {
			if !slices.Contains(known, id) {
				known = append(known, id)
			}
			return fmt.Sprintf("ID-%d", slices.Index(known, id)+1)
		}))
	}
	return b.String()
}

// dated writes a clock's times as UTC, those of the dialogue itself as NOW, and the days around today by their names.
func (c *centre) dated(printed string) string {
	now := c.now()
	printed = clock.ReplaceAllStringFunc(printed, func(text string) string {
		t, err := time.ParseInLocation(time.DateTime, text, now.Location())
		if err != nil {
			c.t.Fatal(err)
		}
		if t.Sub(now).Abs() < time.Hour { // what the dialogue itself has just done
			return "NOW"
		}
		return t.UTC().Format(time.DateTime)
	})
	for days, name := range map[int]string{-1: "YESTERDAY", 0: "TODAY", 1: "TOMORROW"} {
		printed = strings.ReplaceAll(printed, now.AddDate(0, 0, days).Format(time.DateOnly), name)
	}
	return printed
}

func (c *centre) playOne(person string, args []string) string {
	c.t.Helper()
	var stdin, target string
	for i := 0; i < len(args); i++ {
		args[i] = strings.Trim(args[i], `"`)
		switch {
		case args[i] == "<":
			stdin = c.read(args[i+1])
			args = slices.Delete(args, i, i+2)
			i--
		case args[i] == ">":
			target = filepath.Join(c.dir, args[i+1])
			args = slices.Delete(args, i, i+2)
			i--
		case strings.HasPrefix(args[i], "@"):
			args[i] = strings.TrimSpace(c.read(args[i][1:]))
		default:
			if _, err := os.Stat(filepath.Join(c.dir, args[i])); err == nil && strings.Contains(args[i], ".") {
				args[i] = filepath.Join(c.dir, args[i])
			}
		}
	}
	env := c.environment(person, stdin, args...)
	var printed, data bytes.Buffer
	env.Stdout, env.Stderr = &printed, &printed
	if target != "" {
		env.Stdout = &data
	}
	exit := run(c.t.Context(), env)
	if target != "" {
		if err := os.WriteFile(target, data.Bytes(), 0o600); err != nil {
			c.t.Fatal(err)
		}
	}
	if exit != terminal.ExitOK {
		fmt.Fprintf(&printed, "[exit %d]\n", exit)
	}
	return printed.String()
}

func (c *centre) read(name string) string {
	c.t.Helper()
	text, err := os.ReadFile(filepath.Join(c.dir, name))
	if err != nil {
		c.t.Fatal(err)
	}
	return string(text)
}
