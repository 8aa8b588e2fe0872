package api_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/openapi"
)

var update = flag.Bool("update", false, "write golden files anew")

// The invented people of testdata/shotlog, with the ids that its JSON logs have.
const (
	logSession = "01890a5d-ac96-774b-bcce-b302099a8057"
	logRight   = "01890a5d-ac96-7b7c-8d2e-000000000001"
	logLeft    = "01890a5d-ac96-7b7c-8d2e-000000000002"
	logDrill   = "01890a5d-ac96-7b7c-8d2e-00000000000d"
)

// logBalls are the balls by name: of the JSON logs, and those of the second athlete, to whom a CSV
// log's names lead.
var logBalls = map[string][2]string{
	"blue solid": {"01890a5d-ac96-7b7c-8d2e-00000000000b", "01890a5d-ac96-7b7c-8d2e-00000000001b"},
	"grey pearl": {"01890a5d-ac96-7b7c-8d2e-00000000000c", "01890a5d-ac96-7b7c-8d2e-00000000001c"},
}

// practice is a squad made ready for the invented logs, in the way a coach makes one: rule from a
// sentence, drill, assignments.
type practice struct {
	*server
	coach, right person
	squad        string
	sentence     string
}

func newPractice(t testing.TB) *practice {
	t.Helper()
	s := newServer(t)
	p := &practice{server: s, coach: s.signUp(t, "Coach of the invented squad")}
	p.squad = s.create(t, p.coach, "/v1/squads", map[string]any{"name": "Invented squad", "invented": true})
	var read struct {
		Rule     map[string]any
		Sentence string
	}
	s.do(t, call{method: "POST", path: p.path("rules/read"), token: p.coach.token, body: map[string]any{
		"sentence": "keep the ball at board 10 or inside at the breakpoint",
	}}).want(http.StatusOK).into(&read)
	p.sentence = read.Sentence
	add := func(many string, body map[string]any) { s.create(t, p.coach, p.path(many), body) }
	add("athletes", map[string]any{"id": logRight, "name": "Onaquill Ferrowby", "side": "right"})
	add("athletes", map[string]any{"id": logLeft, "name": "Jorrit Sandlepath", "side": "left"})
	for name, ids := range logBalls {
		add(
			"balls",
			map[string]any{"id": ids[0], "athlete_id": logRight, "name": strings.ToUpper(name), "weight_lb": 15},
		)
		add("balls", map[string]any{"id": ids[1], "athlete_id": logLeft, "name": name, "weight_lb": 14})
	}
	add("sessions", map[string]any{"id": logSession, "kind": "practice", "name": "Sunday", "date": "2026-03-01"})
	add(
		"drills",
		map[string]any{"id": logDrill, "name": "Play inside", "rules": []any{read.Rule}, "reps": 30, "pass_share": 0.7},
	)
	for _, athlete := range []string{logRight, logLeft} {
		add("assignments", map[string]any{"drill_id": logDrill, "athlete_id": athlete, "assigned_on": "2026-03-01"})
	}
	p.right = s.signUp(t, "Onaquill Ferrowby")
	var made openapi.Invitation
	s.do(t, call{method: "POST", path: p.path("invitations"), token: p.coach.token, body: map[string]any{"role": "athlete", "athlete_id": logRight}}).
		want(http.StatusCreated).
		into(&made)
	s.do(t, call{method: "POST", path: "/v1/invitations/accept", token: p.right.token, body: map[string]any{"code": *made.Code}}).
		want(http.StatusCreated)
	return p
}

func (p *practice) path(rest string) string { return "/v1/squads/" + p.squad + "/" + rest }

func shotLog(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("../testdata/shotlog", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func (p *practice) upload(t testing.TB, by person, mediaType string, log []byte) (*answer, openapi.UploadResult) {
	t.Helper()
	a := p.do(t, call{method: "POST", path: p.path("sessions/" + logSession + "/shots"), token: by.token, body: log}.with("Content-Type", mediaType)).
		want(http.StatusOK)
	var result openapi.UploadResult
	a.into(&result)
	return a, result
}

func counts(stored, same, conflict, refused int) openapi.OutcomeCounts {
	return openapi.OutcomeCounts{Stored: stored, Same: same, Conflict: conflict, Refused: refused}
}

// TestMistakesAreAnswered uploads the log of common mistakes as its athlete: semicolons, a decimal
// comma, blank cells, a board of 41, a pin 11 and more. The golden file is the whole answer, as a
// person reads it.
func TestMistakesAreAnswered(t *testing.T) {
	t.Parallel()
	p := newPractice(t)
	a, first := p.upload(t, p.right, "text/csv", shotLog(t, "invented-mistakes.csv"))
	var b bytes.Buffer
	if err := json.Indent(&b, a.body, "", "  "); err != nil {
		t.Fatal(err)
	}
	got := regexp.MustCompile(`"id": "[0-9a-f-]{36}"`).
		ReplaceAllString(b.String(), `"id": "(made from session, athlete and order)"`)
	golden := "testdata/upload-mistakes.golden"
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	_, again := p.upload(t, p.right, "text/csv", shotLog(t, "invented-mistakes.csv"))
	if want := counts(
		0,
		first.Counts.Stored,
		0,
		first.Counts.Refused,
	); again.Counts != want || again.Rev != first.Rev ||
		first.Counts.Stored == 0 {
		t.Errorf("sent again: %+v, want %+v", again.Counts, want)
	}
}

// TestOneLogInThreeFormats: the same shots are the same, whichever way they come.
func TestOneLogInThreeFormats(t *testing.T) {
	t.Parallel()
	p := newPractice(t)
	log := shotLog(t, "invented-practice.csv")
	if _, result := p.upload(t, p.coach, "text/csv; charset=utf-8", log); result.Counts != counts(60, 0, 0, 0) {
		t.Fatalf("CSV: %+v", result)
	}
	commas := bytes.ReplaceAll(bytes.TrimPrefix(log, []byte("\xef\xbb\xbf")), []byte(";"), []byte(","))
	for name, tc := range map[string]struct {
		mediaType string
		log       []byte
	}{
		"CSV again":                   {"text/csv", log},
		"CSV with commas, no BOM, LF": {"text/csv", bytes.ReplaceAll(commas, []byte("\r\n"), []byte("\n"))},
		"NDJSON":                      {"application/x-ndjson", ownBalls(shotLog(t, "invented-practice.ndjson"))},
		"JSON":                        {"application/json", ownBalls(shotLog(t, "invented-practice.json"))},
	} {
		t.Run(name, func(t *testing.T) {
			if a, result := p.upload(t, p.coach, tc.mediaType, tc.log); result.Counts != counts(0, 60, 0, 0) {
				t.Errorf("%+v: %s", result.Counts, a.text())
			}
		})
	}
}

// ownBalls gives the second athlete's shots their own ball, as the CSV log does by name.
func ownBalls(log []byte) []byte {
	lines := bytes.Split(log, []byte("\n"))
	for i, line := range lines {
		if bytes.Contains(line, []byte(logLeft)) {
			for _, ids := range logBalls {
				lines[i] = bytes.ReplaceAll(lines[i], []byte(ids[0]), []byte(ids[1]))
			}
		}
	}
	return bytes.Join(lines, []byte("\n"))
}

// TestFromLogToScore is the main job: the coach reads, for each athlete, how many shots kept the
// drill. What is right is counted here from the log itself.
func TestFromLogToScore(t *testing.T) {
	t.Parallel()
	p := newPractice(t)
	if p.sentence != "Keep the ball at board 10 or inside at the breakpoint" {
		t.Errorf("the rule is written back as %q", p.sentence)
	}
	log := shotLog(t, "invented-practice.csv")
	p.upload(t, p.coach, "text/csv", log)
	var score openapi.DrillAdherence
	p.do(t, call{method: "GET", path: p.path("drills/" + logDrill + "/adherence"), token: p.coach.token}).
		want(http.StatusOK).
		into(&score)
	if len(score.Athletes) != 2 {
		t.Fatalf("%d athletes", len(score.Athletes))
	}
	for _, a := range score.Athletes {
		t.Run(a.Name, func(t *testing.T) {
			kept, broken, unknown := judgeByHand(t, log, a.Name)
			if kept == 0 || broken == 0 {
				t.Fatal("the log is of no use here")
			}
			if a.Kept != kept || a.Broken != broken || a.Unknown != unknown || a.Shots != kept+broken+unknown ||
				a.Judged != kept+broken {
				t.Errorf(
					"kept %d, broken %d, unknown %d of %d; want %d, %d, %d",
					a.Kept,
					a.Broken,
					a.Unknown,
					a.Shots,
					kept,
					broken,
					unknown,
				)
			}
			if share := float64(
				kept,
			) / float64(
				kept+broken,
			); a.KeptShare.Share == nil || *a.KeptShare.Share != share || a.KeptShare.Low >= share ||
				a.KeptShare.High <= share {
				t.Errorf("share %+v, want %g inside its interval", a.KeptShare, share)
			}
			if a.OutsideMisses != broken || a.InsideMisses != 0 || len(a.Rules) != 1 ||
				a.Rules[0].Sentence != p.sentence {
				t.Errorf("misses %d outside, %d inside; rules %+v", a.OutsideMisses, a.InsideMisses, a.Rules)
			}
			var judged openapi.Judgements
			p.do(t, call{method: "GET", path: p.path("drills/" + logDrill + "/athletes/" + a.AthleteID.String() + "/judgements"), token: p.coach.token}).
				want(http.StatusOK).
				into(&judged)
			verdicts := make(map[openapi.Verdict]int)
			for _, item := range judged.Items {
				verdicts[item.Verdict]++
			}
			if verdicts["kept"] != kept || verdicts["broken"] != broken || verdicts["unknown"] != unknown {
				t.Errorf("judgements %v", verdicts)
			}
			picture := p.do(t, call{method: "GET", path: p.path("drills/" + logDrill + "/athletes/" + a.AthleteID.String() + "/lane.svg"), token: p.coach.token}).
				want(http.StatusOK)
			if !bytes.HasPrefix(picture.body, []byte("<svg")) || !bytes.Contains(picture.body, []byte(a.Name)) {
				t.Errorf("picture %s", picture.text())
			}
		})
	}
	t.Run("the athlete sees the own score only", func(t *testing.T) {
		var own openapi.DrillAdherence
		a := p.do(t, call{method: "GET", path: p.path("drills/" + logDrill + "/adherence"), token: p.right.token}).
			want(http.StatusOK)
		a.into(&own)
		if len(own.Athletes) != 1 || own.Athletes[0].AthleteID != uuid.MustParse(logRight) ||
			strings.Contains(string(a.body), "Jorrit") {
			t.Errorf("%s", a.text())
		}
	})
}

// judgeByHand counts an athlete's shots by the board at the breakpoint: kept from 9.5 on, the outer
// edge of board 10.
func judgeByHand(t testing.TB, log []byte, athlete string) (kept, broken, unknown int) {
	t.Helper()
	reader := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(log, []byte("\xef\xbb\xbf"))))
	reader.Comma = ';'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := make(map[string]int)
	for i, name := range rows[0] {
		column[name] = i
	}
	for _, row := range rows[1:] {
		if row[column["athlete"]] != athlete {
			continue
		}
		board, err := strconv.ParseFloat(row[column["breakpoint_board"]], 64)
		switch {
		case err != nil:
			unknown++
		case board >= 9.5:
			kept++
		default:
			broken++
		}
	}
	return kept, broken, unknown
}
