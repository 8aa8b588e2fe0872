package service

import (
	"fmt"
	"strings"
	"testing"

	"laneward/service/drill"
)

// A verdict is held while the shots behind it stand; when some are corrected it is withdrawn, and
// that is told.
func TestWithdrawnVerdictIsTold(t *testing.T) {
	p := newPractice(t)
	log := "order,time,breakpoint_board\n"
	for order := 3; order <= 16; order++ {
		log += fmt.Sprintf("%d,2026-03-01T18:00:00Z,20\n", order)
	}
	sent := Log{Format: LogCSV, Body: strings.NewReader(log), Session: p.session.ID, Athlete: p.left.ID}
	if _, err := p.Upload(t.Context(), p.coach, p.squad, sent); err != nil {
		t.Fatal(err)
	}
	query := DrillQuery{Drill: p.drill.ID, Athlete: &p.left.ID}
	score, judged, err := p.Judgements(t.Context(), p.coach, p.squad, query)
	if err != nil {
		t.Fatal(err)
	}
	if a := score.Scores[0].Adherence; a.Verdict != drill.Met || a.Withdrawn != "" {
		t.Fatalf("%s, withdrawn %q: %s", a.Verdict, a.Withdrawn, a.Reading)
	}
	outside := 2.0
	for _, one := range judged[:8] {
		corrected := *one.Shot
		corrected.BreakpointBoard = &outside
		if _, err := p.Replace(t.Context(), p.coach, p.squad, corrected.ID, p.version(t, p.squad, corrected.Rev), Schema, &corrected); err != nil {
			t.Fatal(err)
		}
	}
	scores, err := p.Adherence(t.Context(), p.coach, p.squad, query)
	if err != nil {
		t.Fatal(err)
	}
	a := scores.Scores[0].Adherence
	const told = "It was met, but a shot behind that verdict has changed."
	if a.Verdict == drill.Met || a.Withdrawn != drill.Met || !strings.Contains(a.Reading, told) {
		t.Errorf("%s, withdrawn %q: %s", a.Verdict, a.Withdrawn, a.Reading)
	}
}
