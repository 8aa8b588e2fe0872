package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/google/go-cmp/cmp"

	"laneward/cmd/laneward/desk"
	"laneward/cmd/laneward/lines"
	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
)

// practiceLog is a log of n shots.
func practiceLog(n int) string {
	var b strings.Builder
	b.WriteString("order,time,breakpoint_board\n")
	for i := range n {
		fmt.Fprintf(
			&b,
			"%d,%s,%.1f\n",
			i+1,
			time.Date(2026, 11, 20, 10, 0, i, 0, time.UTC).Format(time.RFC3339),
			8+float64(i%50)/10,
		)
	}
	return b.String()
}

// A run that is stopped during an import leaves what the same command finishes.
func TestImportStoppedAndResumed(t *testing.T) {
	t.Parallel()
	ctx, stop := context.WithCancel(t.Context())
	stopped := false
	c := newCentre(t, func(real http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if strings.HasSuffix(r.URL.Path, "/shots") && !stopped {
				stopped = true
				real.ServeHTTP(discard{http.Header{}}, r.WithContext(context.WithoutCancel(r.Context())))
				stop() // as Ctrl-C does, when the rows are stored and the answer is on its way
				<-r.Context().Done()
				panic(http.ErrAbortHandler)
			}
			real.ServeHTTP(w, r)
		})
	})
	c.signUp("cora")
	c.must("cora", "squad", "create", "Tuesday squad")
	c.must("cora", "add", "athlete", "Rhea", "--side", "right")
	c.must("cora", "add", "session", "Practice", "--date", "2026-11-20")
	file := filepath.Join(c.dir, "log.csv")
	if err := os.WriteFile(file, []byte(practiceLog(3000)), 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{"import", file, "--session", "Practice", "--athlete", "Rhea", "--json"}
	exit, _, stderr := c.run(ctx, "cora", "", args...)
	if exit != terminal.ExitFailure || !strings.Contains(stderr, "import the same log again") {
		t.Fatalf("exit %d, %s", exit, stderr)
	}
	exit, stdout, stderr := c.run(t.Context(), "cora", "", args...)
	var result openapi.UploadResult
	if err := json.Unmarshal([]byte(stdout), &result); err != nil || exit != terminal.ExitOK {
		t.Fatalf("exit %d, %v, %s", exit, err, stderr)
	}
	if want := (openapi.OutcomeCounts{Same: 3000}); result.Counts != want {
		t.Errorf("the second run finds %+v, want %+v", result.Counts, want)
	}
}

// discard is an answer that is lost.
type discard struct{ header http.Header }

func (d discard) Header() http.Header         { return d.header }
func (d discard) Write(p []byte) (int, error) { return len(p), nil }
func (d discard) WriteHeader(int)             {}

// Whatever a command prints with --json is JSON of the contract, alone on stdout.
func TestJSON(t *testing.T) {
	t.Parallel()
	c := newCentre(t, nil)
	c.signUp("cora")
	file := filepath.Join(c.dir, "log.csv")
	if err := os.WriteFile(file, []byte(practiceLog(20)), 0o600); err != nil {
		t.Fatal(err)
	}
	steps := []struct {
		line string
		into any
	}{
		{"whoami", &openapi.Me{}},
		{"squad create Tuesday", &openapi.Squad{}},
		{"squads", &openapi.Me{}},
		{"add athlete Rhea --side right", &openapi.Athlete{}},
		{"add athlete Max --side left", &openapi.Athlete{}},
		{"add pattern Long --length 45", &openapi.Pattern{}},
		{"add ball Blue --athlete Rhea --weight 15", &openapi.Ball{}},
		{"add session Practice --date 2026-11-20 --pattern Long", &openapi.Session{}},
		{"add drill Inside --reps 30 --pass 80% --sentence play-inside", nil}, // no such sentence: fails
		{"add drill Inside --reps 30 --pass 80% --sentence board>=10", nil},
		{"invite --role coach", &openapi.Invitation{}},
		{"list athletes", &openapi.AthletePage{}},
		{"list balls", &openapi.BallPage{}},
		{"list patterns", &openapi.PatternPage{}},
		{"list sessions", &openapi.SessionPage{}},
		{"list drills", &openapi.DrillPage{}},
		{"list assignments", &openapi.AssignmentPage{}},
		{"list members", &openapi.MemberPage{}},
		{"list invitations", &openapi.InvitationPage{}},
		{"import " + file + " --session Practice --athlete Rhea", &openapi.UploadResult{}},
		{"list shots --session Practice", &openapi.ShotPage{}},
		{"show shot 1 --session Practice", &openapi.Shot{}},
		{"edit shot 1 --session Practice --speed 17", &openapi.Shot{}},
		{"edit athlete Rhea --speed 17", &openapi.Athlete{}},
		{"show athlete Rhea", &openapi.Athlete{}},
	}
	for _, step := range steps {
		exit, stdout, stderr := c.run(t.Context(), "cora", "", append(strings.Fields(step.line), "--json")...)
		if step.into == nil {
			if exit == terminal.ExitOK || stdout != "" {
				t.Errorf("%s: exit %d, prints %q", step.line, exit, stdout)
			}
			continue
		}
		decoder := json.NewDecoder(strings.NewReader(stdout))
		decoder.DisallowUnknownFields()
		if err := decoder.Decode(step.into); err != nil || exit != terminal.ExitOK || strings.Count(stdout, "\n") != 1 {
			t.Errorf("%s: exit %d, %v\n%s%s", step.line, exit, err, stdout, stderr)
		}
	}
	drill := func(args ...string) (exit int, stdout string) {
		exit, stdout, _ = c.run(t.Context(), "cora", "", args...)
		return exit, stdout
	}
	if exit, _ := drill(
		"add",
		"drill",
		"Inside",
		"--sentence",
		"keep the ball at board 10 or inside",
		"--reps",
		"30",
		"--pass",
		"80%",
		"--json",
	); exit != terminal.ExitOK {
		t.Fatalf("add drill: exit %d", exit)
	}
	c.must("cora", "assign", "Inside", "--all", "--from", "2026-11-19")
	_, text := drill("score", "Inside", "--json")
	var scores openapi.DrillAdherence
	if err := json.Unmarshal([]byte(text), &scores); err != nil || len(scores.Athletes) != 2 {
		t.Errorf("score: %v\n%s", err, text)
	}
	_, text = drill("judgements", "Inside", "Rhea", "--json")
	var judged openapi.Judgements
	if err := json.Unmarshal([]byte(text), &judged); err != nil || len(judged.Items) != 20 {
		t.Errorf("judgements: %v\n%s", err, text)
	}
	if _, text := drill("picture", "Inside", "Rhea"); !strings.HasPrefix(text, "<svg") {
		t.Errorf("picture begins with %.20q", text)
	}
	if _, text := drill("columns", "--json"); !json.Valid([]byte(text)) {
		t.Errorf("columns: %s", text)
	}
}

// Each client command shows how it is used.
func TestEveryCommandHasExamples(t *testing.T) {
	t.Parallel()
	var cli struct {
		Accounts remote.Accounts  `embed:""`
		Desk     desk.Commands    `embed:""`
		Remote   remote.Commands  `embed:""`
		Offline  offline.Commands `embed:""`
	}
	parser, err := kong.New(
		&cli,
		kong.Name("laneward"),
		offline.Defaults(),
		remote.Defaults(),
		lines.Defaults(),
		kong.ExplicitGroups(groups),
	)
	if err != nil {
		t.Fatal(err)
	}
	leaves := parser.Model.Leaves(true)
	if len(leaves) < 25 {
		t.Fatalf("only %d commands", len(leaves))
	}
	for _, leaf := range leaves {
		if leaf.Hidden {
			continue
		}
		if !strings.Contains(leaf.Detail, "Example") ||
			!strings.Contains(leaf.Detail, "    laneward "+strings.TrimPrefix(leaf.FullPath(), "laneward ")) {
			t.Errorf("%s has no example of its own:\n%s", leaf.FullPath(), leaf.Detail)
		}
		for _, flag := range leaf.Flags {
			if flag.Help == "" {
				t.Errorf("%s --%s has no help", leaf.FullPath(), flag.Name)
			}
		}
	}
}

func TestHelp(t *testing.T) {
	t.Parallel()
	for name, args := range map[string][]string{"help": {"import", "--help"}, "help-add": {"add", "--help"}} {
		var stdout strings.Builder
		exit := run(
			t.Context(),
			terminal.Environment{
				Args:   args,
				Now:    time.Now,
				Stdin:  strings.NewReader(""),
				Stdout: &stdout,
				Stderr: &stdout,
				Getenv: func(string) string { return "" },
			},
		)
		if exit != terminal.ExitOK {
			t.Errorf("%s: exit %d", name, exit)
		}
		compareGolden(t, filepath.Join("client", name+".golden"), stdout.String())
	}
}

func TestCompletion(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		words []string
		want  string // all candidates, or those that must be among them after a +
	}{
		"a command":                 {[]string{"ju"}, "judgements"},
		"commands":                  {[]string{""}, "+add assign import score serve sign-in whoami"},
		"a subcommand":              {[]string{"add", "se"}, "session"},
		"subcommands":               {[]string{"add", ""}, "athlete ball drill pattern session"},
		"flags":                     {[]string{"score", "--a"}, "--athlete"},
		"flags that all have":       {[]string{"score", "--h"}, "--help"},
		"a flag's values":           {[]string{"add", "athlete", "Rhea", "--side", ""}, "left right"},
		"a flag's values, begun":    {[]string{"add", "ball", "--cover", "p"}, "pearl plastic"},
		"a free value":              {[]string{"score", "--athlete", ""}, ""},
		"a kind":                    {[]string{"show", "s"}, "session shot"},
		"a list":                    {[]string{"list", "a"}, "assignments athletes"},
		"a name, after a kind":      {[]string{"show", "session", ""}, ""},
		"a kind after a flag":       {[]string{"list", "--squad", "Tuesday", "d"}, "drills"},
		"a shell":                   {[]string{"completion", ""}, "bash fish zsh"},
		"a file":                    {[]string{"import", "lo"}, ""},
		"flags of a plan on a file": {[]string{"plan", "--r"}, "--reps --rot-deg --rpm"},
		"flags of side B":           {[]string{"compare", "--against-s"}, "--against-scatter-boards --against-side --against-slide-boards --against-spares"},
		"a side's values":           {[]string{"compare", "--film", "a.csv", "--against-side", ""}, "left right"},
		"a format":                  {[]string{"missmap", "--film", "a.csv", "--format", ""}, "csv json text"},
		"a film's file":             {[]string{"line", "--film", "a"}, ""},
		"nothing hidden":            {[]string{"compl"}, "completion"},
		"after a flag with a value": {[]string{"list", "--session=x", "sh"}, "shots"},
	}
	for name, one := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var stdout, stderr strings.Builder
			exit := run(t.Context(), terminal.Environment{
				Args: append(
					[]string{"complete", "--"},
					one.words...),
				Now:    time.Now,
				Stdin:  strings.NewReader(""),
				Stdout: &stdout,
				Stderr: &stderr,
				Getenv: func(string) string { return "" },
			})
			got := strings.Fields(stdout.String())
			if exit != terminal.ExitOK || stderr.String() != "" {
				t.Fatalf("exit %d, %s", exit, stderr.String())
			}
			if some, ok := strings.CutPrefix(one.want, "+"); ok {
				for _, word := range strings.Fields(some) {
					if !slices.Contains(got, word) {
						t.Errorf("%s is missing in %v", word, got)
					}
				}
				return
			}
			if diff := cmp.Diff(one.want, strings.Join(got, " ")); diff != "" {
				t.Error(diff)
			}
		})
	}
}
