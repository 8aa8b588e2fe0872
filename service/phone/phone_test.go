package phone_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"laneward/service/phone"
)

const (
	athlete  = "01890a5d-ac96-774b-bcce-b302099a8000"
	drill    = "01890a5d-ac96-774b-bcce-b302099a8001"
	other    = "01890a5d-ac96-774b-bcce-b302099a8002"
	earlier  = "01890a5d-ac96-774b-bcce-b302099a8003" // a session before the drill was assigned
	session  = "01890a5d-ac96-774b-bcce-b302099a8004"
	shotForm = "01890a5d-ac96-774b-bcce-b302099a9%03d"
)

// opening asks for a practice of an invented athlete who plays "at board 10 or inside" twelve times,
// with shots as {session, order, board, drill}.
func opening(t *testing.T, rules string, shots ...[4]string) string {
	t.Helper()
	var list []string
	for i, s := range shots {
		named := ""
		if s[3] != "" {
			named = fmt.Sprintf(`,"drill_id":%q`, s[3])
		}
		list = append(list, fmt.Sprintf(
			`{"id":%q,"session_id":%q,"athlete_id":%q,"order":%s,"breakpoint_board":%s,"breakpoint_ft":42%s}`,
			fmt.Sprintf(shotForm, i), s[0], athlete, s[1], s[2], named,
		))
	}
	return fmt.Sprintf(`{
		"athlete": {"id":%q,"name":"Ansel Quorrie","side":"right"}, "session": %q,
		"drill": {"id":%q,"name":"Play inside","reps":12,"pass_share":0.8,"rules":[%s]},
		"sessions": [{"id":%q,"date":"2026-03-07"},{"id":%q,"date":"2026-03-14"}],
		"assignments": [{"drill_id":%q,"athlete_id":%q,"assigned_on":"2026-03-10"},
			{"drill_id":%q,"athlete_id":%q,"assigned_on":"2026-03-01"}],
		"shots": [%s]}`,
		athlete, session, drill, rules, earlier, session, drill, athlete, other, athlete, strings.Join(list, ","))
}

const inside = `{"measure":"board","at":"breakpoint","min":10}`

func call[Answer any](t *testing.T, e *phone.Engine, name, request string) (answer Answer) {
	t.Helper()
	body, err := e.Call(name, []byte(request))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(body, &answer); err != nil {
		t.Fatalf("%s: %v", body, err)
	}
	return answer
}

func TestOnlyWhatCountsIsJudged(t *testing.T) {
	opened := call[phone.Standing](t, phone.New(), "open", opening(t, inside,
		[4]string{session, "2", "4", ""},
		[4]string{session, "1", "14", drill},
		[4]string{session, "1", "15", ""}, // a second one in that place
		[4]string{session, "3", "14", other},
		[4]string{earlier, "1", "14", ""},
	))
	if want := []string{"1", "1b", "2", "3"}; !slices.Equal(opened.Numbers, want) {
		t.Errorf("the session's shots are called %q, want %q", opened.Numbers, want)
	}
	if opened.Score.Judged != 3 || opened.Score.Kept != 2 || opened.SessionScore.Judged != 3 {
		t.Errorf("%d of %d kept, in the session of %d: want 2 of 3, of 3",
			opened.Score.Kept, opened.Score.Judged, opened.SessionScore.Judged)
	}
	if opened.Run != 0 {
		t.Errorf("a run of %d after a broken shot", opened.Run)
	}
	if got := opened.Score.Rules[0].Sentence; got != "Keep the ball at board 10 or inside at the breakpoint" {
		t.Errorf("the rule reads %q", got)
	}
}

func TestVerdictIsWithdrawn(t *testing.T) {
	e := phone.New()
	var shots [][4]string
	for i := range 12 {
		shots = append(shots, [4]string{session, fmt.Sprint(i + 1), "20", ""})
	}
	opened := call[phone.Standing](t, e, "open", opening(t, inside, shots...))
	if opened.Score.Verdict != "met" || opened.Run != 12 {
		t.Fatalf("twelve shots ten boards inside are %q, a run of %d", opened.Score.Verdict, opened.Run)
	}
	for i := range shots {
		changed := call[phone.Standing](t, e, "replace", fmt.Sprintf(
			`{"practice":1,"shot":{"id":%q,"session_id":%q,"athlete_id":%q,"order":%d,"breakpoint_board":2}}`,
			fmt.Sprintf(shotForm, i), session, athlete, i+1,
		))
		if len(changed.InSession) != 12 {
			t.Fatalf("%d shots after one was replaced", len(changed.InSession))
		}
		if changed.Score.Verdict != "met" {
			if changed.Score.Withdrawn != "met" {
				t.Errorf("%q, and withdrawn is %q", changed.Score.Verdict, changed.Score.Withdrawn)
			}
			return
		}
	}
	t.Error("met still, after every shot was replaced by one that broke the rule")
}

func TestLook(t *testing.T) {
	const move = `{"measure":"move","of":"board","at":"breakpoint","min":2,"max":4}`
	edit := func(i int) string {
		return fmt.Sprintf(`{"id":%q,"order":%d,"breakpoint_board":20}`, fmt.Sprintf(shotForm, i), i+1)
	}
	shots := [][4]string{{session, "1", "12", ""}, {session, "2", "15", ""}, {session, "3", "30", ""}}
	tests := []struct {
		name, rules, shot string
		verdict           string
		low, high         float64 // of the corridor; 0 for none
	}{
		{"inside", inside, `{"breakpoint_board":14}`, "kept", 9.5, 39.5},
		{"outside", inside, `{"breakpoint_board":3}`, "broken", 9.5, 39.5},
		{"a move from the last shot", move, `{"breakpoint_board":33}`, "kept", 31.5, 34.5},
		{"an edit, from the shot before it", move, edit(1), "broken", 13.5, 16.5},
		{"the first shot moves from none", move, edit(0), "unknown", 0, 0},
		{"a speed has no corridor", `{"measure":"speed","min":16}`, `{"speed_mph":17}`, "kept", 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := phone.New()
			call[phone.Standing](t, e, "open", opening(t, tt.rules, shots...))
			shot := strings.Replace(tt.shot, "{", fmt.Sprintf(`{"session_id":%q,"athlete_id":%q,`, session, athlete), 1)
			look := call[phone.Look](t, e, "look", fmt.Sprintf(`{"practice":1,"shot":%s}`, shot))
			if look.Judged == nil || string(look.Judged.Verdict) != tt.verdict {
				t.Errorf("judged %+v, want %s", look.Judged, tt.verdict)
			}
			want := []phone.Corridor{}
			if tt.high > 0 {
				want = append(want, phone.Corridor{Low: tt.low, High: tt.high})
			}
			if !slices.Equal(look.Corridors, want) {
				t.Errorf("corridors %v, want %v", look.Corridors, want)
			}
			empty := call[phone.Look](t, e, "look", fmt.Sprintf(`{"practice":1,"empty":true,"shot":%s}`, shot))
			if empty.Judged != nil {
				t.Errorf("what is empty is judged %+v", empty.Judged)
			}
		})
	}
}

func TestFaultsAreTold(t *testing.T) {
	tests := []struct{ name, call, request, want string }{
		{"unknown call", "dance", `{}`, "no such call"},
		{"no JSON", "open", `{`, "unexpected end"},
		{"not open", "remove", `{"practice":4}`, "practice 4 is not open"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := phone.New().Call(tt.call, []byte(tt.request)); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("the error is %v, want %q in it", err, tt.want)
			}
		})
	}
	e := phone.New()
	call[phone.Standing](t, e, "open", opening(t, inside))
	call[struct{}](t, e, "close", `{"practice":1}`)
	if _, err := e.Call("remove", []byte(`{"practice":1}`)); err == nil {
		t.Error("a closed practice answers")
	}
}
