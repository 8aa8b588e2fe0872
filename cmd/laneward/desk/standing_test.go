package desk

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/drill"
	"laneward/service/shot"
)

// Whatever is logged, changed and deleted in a session, with whatever came before and after it, the
// desk says of the drill what a score of all the shots says that is computed from nothing.
func TestStandingIsTheScoreOfAll(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		least := 10.0
		asked := drill.Drill{
			Rules:     []drill.Rule{{Measure: drill.Board, At: drill.Breakpoint, Min: &least}},
			Reps:      rapid.IntRange(1, 40).Draw(t, "reps"),
			PassShare: rapid.SampledFrom([]float64{0.5, 0.8, 1}).Draw(t, "pass share"),
		}
		d := &logDesk{drill: &drillOf{Drill: asked, id: uuid.New(), name: "Inside"}, session: sessionOf{id: uuid.New()}}
		earlier := anyShots(t, d, uuid.New(), "earlier")
		later := anyShots(t, d, uuid.New(), "later")
		d.judgeOthers(slices.Concat(earlier, later), len(earlier))
		var before drill.DrillVerdict
		for range rapid.IntRange(1, 30).Draw(t, "lines") {
			changeAny(t, d)
			d.judge()
			tonight := make([]shot.Shot, len(d.inSession))
			for i, s := range d.inSession {
				tonight[i] = s.Shot
			}
			want := score(asked, earlier, tonight, later)
			want.Withdraw(before)
			before = want.Verdict
			if diff := cmp.Diff(want, *d.whole()); diff != "" {
				t.Fatalf("the score of all (-fresh +desk):\n%s", diff)
			}
			if d.verdict != want.Verdict || drill.Withdrawn(d.before, d.verdict) != want.Withdrawn {
				t.Fatalf("%s (withdrawn %q), want %s (%q)",
					d.verdict, drill.Withdrawn(d.before, d.verdict), want.Verdict, want.Withdrawn)
			}
			if diff := cmp.Diff(score(asked, tonight), d.score); diff != "" {
				t.Fatalf("the score of the session (-fresh +desk):\n%s", diff)
			}
			if got := d.others.shots + d.score.Shots; got != want.Shots ||
				d.others.kept+d.score.Kept != want.Kept || d.others.judged+d.score.Judged != want.Judged {
				t.Fatalf("counts %+v and %+v, want %d of %d of %d", d.others, d.score, want.Kept, want.Judged, want.Shots)
			}
		}
	})
}

// score is that of shots of several sessions, each judged alone: no rule compares two of them.
func score(asked drill.Drill, sessions ...[]shot.Shot) drill.Adherence {
	all := slices.Concat(sessions...)
	return asked.Score(all, asked.Judge(all))
}

func anyShots(t *rapid.T, d *logDesk, session uuid.UUID, label string) []shot.Shot {
	shots := make([]shot.Shot, rapid.IntRange(0, 30).Draw(t, label))
	for i := range shots {
		shots[i] = shot.Shot{ID: uuid.New(), SessionID: session, DrillID: &d.drill.id, Order: i + 1, BreakpointBoard: anyBoard(t)}
	}
	return shots
}

// anyBoard is mostly well inside, sometimes outside, and sometimes not measured.
func anyBoard(t *rapid.T) *float64 {
	board := rapid.SampledFrom([]float64{0, 5, 9, 10, 12, 14, 20, 20, 20}).Draw(t, "board")
	if board == 0 {
		return nil
	}
	return &board
}

// changeAny adds a shot to the session, or changes or deletes one of it.
func changeAny(t *rapid.T, d *logDesk) {
	line := rapid.SampledFrom([]string{"add", "add", "add", "change", "delete"}).Draw(t, "line")
	if line == "add" || len(d.inSession) == 0 {
		d.inSession = append(d.inSession, loggedShot{Shot: shot.Shot{
			ID: uuid.New(), SessionID: d.session.id, DrillID: &d.drill.id, Order: d.nextOrder(), BreakpointBoard: anyBoard(t),
		}})
		return
	}
	at := rapid.IntRange(0, len(d.inSession)-1).Draw(t, "at")
	if line == "delete" {
		d.inSession = slices.Delete(d.inSession, at, at+1)
		return
	}
	d.inSession[at].BreakpointBoard = anyBoard(t)
}

// What is said of this session comes first, and each share stands behind what it covers.
func TestStandingWords(t *testing.T) {
	t.Parallel()
	share := func(a float64, unknown int) drill.Adherence {
		return drill.Adherence{TrueShare: drill.TrueShare{Share: &a}, Unknown: unknown, Shots: 3}
	}
	session, whole := share(0.62, 0), share(0.81, 0)
	session.Shots, session.Judged, session.Kept = 2, 2, 1
	missing := share(0.62, 1)
	missing.Judged, missing.Kept = 2, 1
	missing.TrueShare.Bounds.Low, missing.TrueShare.Bounds.High = 0.4, 0.75
	others := counts{shots: 150, judged: 150, kept: 122}
	for name, c := range map[string]struct {
		others        counts
		score         drill.Adherence
		whole         *drill.Adherence
		verdict, from drill.DrillVerdict
		want          string
	}{
		"nothing yet": {verdict: drill.TooFewShots, want: "Inside: none measured yet, 30 to go"},
		"this session alone": {
			score: session, verdict: drill.TooFewShots,
			want: "Inside: 1 of 2 kept, 62 %, too few to tell, 28 to go",
		},
		"after a line": {
			others: others, score: session, verdict: drill.Met,
			want: "Inside: 1 of 2 kept this session, 62 %; 123 of 152 in all, met",
		},
		"one not measured": {
			others: others, score: missing, verdict: drill.Met,
			want: "Inside: 1 of 2 kept this session, 62 % (40 to 75 %: 1 of 3 not measured); 123 of 152 in all, met",
		},
		"of all": {
			others: others, score: session, whole: &whole, verdict: drill.Met,
			want: "Inside: 1 of 2 kept this session, 62 %; 123 of 152 in all, 81 %, met",
		},
		"before the first shot": {
			others: others, whole: &whole, verdict: drill.Met,
			want: "Inside: 122 of 150 kept, 81 %, met",
		},
		"withdrawn": {
			score: session, verdict: drill.TooFewShots, from: drill.NotMet,
			want: "Inside: 1 of 2 kept, 62 %, too few to tell, 28 to go; " +
				"it was not met, but a shot behind that verdict has changed",
		},
	} {
		t.Run(name, func(t *testing.T) {
			d := &logDesk{
				drill:    &drillOf{Drill: drill.Drill{Reps: 30}, name: "Inside"},
				practice: practice{others: c.others, score: c.score, verdict: c.verdict, before: c.from},
			}
			if got := d.standingWords(c.whole); got != c.want {
				t.Errorf("\n got %s\nwant %s", got, c.want)
			}
		})
	}
}
