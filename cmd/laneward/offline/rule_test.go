package offline

import (
	"encoding/json"
	"strings"
	"testing"

	"laneward/cmd/laneward/terminal"
)

const ruleLog = `order;time;breakpoint_board;standing;ball;source
1;2026-11-20T10:00:00Z;12;strike;Blue;sensor
2;2026-11-20T10:01:00Z;8;10;Blue;sensor
3;2026-11-20T10:02:00Z;;1-2-3-4-5-6-7-8-9-10;Red;sensor
4;2026-11-20T10:03:00Z;;7;Red;sensor
`

func runRule(t *testing.T, c ruleCommand) (string, error) {
	t.Helper()
	var out strings.Builder
	if c.Side == "" {
		c.Side = "right"
	}
	err := c.Run(terminal.Environment{Stdin: strings.NewReader(ruleLog), Stdout: &out, Stderr: &out})
	return out.String(), err
}

func TestRuleAlone(t *testing.T) {
	out, err := runRule(t, ruleCommand{Sentence: []string{"breakpoint 8 to 10 at 43 to 46 ft", "leave no splits"}})
	want := "Keep the ball between boards 8 and 10 at the breakpoint.\n  Kept from 7.5 to 10.5 boards.\n" +
		"Keep the breakpoint between 43 and 46 ft.\n  Kept from 43 to 46 ft.\nLeave no split.\n"
	if err != nil || out != want {
		t.Errorf("%v\n%s", err, out)
	}
}

func TestRuleJudgesALog(t *testing.T) {
	out, err := runRule(t, ruleCommand{Sentence: []string{"board 10 or inside, 3 of 4"}, Shots: "-", JSON: true})
	if err != nil {
		t.Fatal(err)
	}
	var got ruleReport
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	a := got.Adherence
	if got.Reps != 4 || got.PassShare != 0.75 || a.Kept != 1 || a.Broken != 2 || a.Unknown != 1 || a.GutterBalls != 1 ||
		a.Shots != 4 {
		t.Errorf("%+v", got)
	}
	for i, want := range []string{"kept", "broken", "broken", "unknown"} {
		if string(got.Items[i].Verdict) != want {
			t.Errorf("shot %d: %s, want %s", i+1, got.Items[i].Verdict, want)
		}
	}
	for _, says := range []string{"1 of 3 measured shots", "1 of 4 not measured", "1 in the gutter"} {
		if !strings.Contains(a.Reading, says) {
			t.Errorf("%q does not say %q", a.Reading, says)
		}
	}
}

// "Do not leave the 10" is the 7 for a left-hander, and a full rack keeps neither.
func TestRuleOfALeftHander(t *testing.T) {
	for side, want := range map[string][]string{
		"right": {"kept", "broken", "broken", "kept"},
		"left":  {"kept", "kept", "broken", "broken"},
	} {
		out, err := runRule(
			t,
			ruleCommand{Sentence: []string{"do not leave the 10"}, Shots: "-", Side: side, JSON: true},
		)
		if err != nil {
			t.Fatal(err)
		}
		var got ruleReport
		if err := json.Unmarshal([]byte(out), &got); err != nil {
			t.Fatal(err)
		}
		for i := range want {
			if string(got.Items[i].Verdict) != want[i] {
				t.Errorf("%s-handed, shot %d: %s, want %s", side, i+1, got.Items[i].Verdict, want[i])
			}
		}
	}
}

func TestRuleRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		command ruleCommand
		says    string
	}{
		"two meanings": {ruleCommand{Sentence: []string{"throw 17"}}, "is it a board"},
		"no such ball": {ruleCommand{Sentence: []string{`use the ball "Green"`}, Shots: "-"}, "no ball"},
		"no such file": {ruleCommand{Sentence: []string{"leave no splits"}, Shots: "/nowhere.csv"}, "nowhere"},
		"no shots":     {ruleCommand{Sentence: []string{"leave no splits"}, Shots: "-", Reps: -1}, "1 to 1000"},
	} {
		t.Run(name, func(t *testing.T) {
			if out, err := runRule(t, c.command); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v\n%s", err, out)
			}
		})
	}
}

func TestRuleNamesTheBallsOfALog(t *testing.T) {
	out, err := runRule(t, ruleCommand{Sentence: []string{`use the ball "blue"`}, Shots: "-"})
	if err != nil || !strings.Contains(out, `Use the ball "Blue".`) || !strings.Contains(out, "2 of 4 shots") {
		t.Errorf("%v\n%s", err, out)
	}
}
