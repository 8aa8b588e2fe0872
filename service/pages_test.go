package service

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/picture"
	"laneward/service/record"
)

// practice is a squad with a pattern, a drill on the breakpoint, two athletes of either side and a
// session with a log of each.
type practice struct {
	*fixture
	squad, coach uuid.UUID
	right, left  *record.Athlete
	pattern      *record.Pattern
	drill        *record.Drill
	session      *record.Session
}

func newPractice(t *testing.T) practice {
	t.Helper()
	p := practice{
		fixture: newFixture(t, 2),
		right:   newAthlete("Ansel"),
		left:    newAthlete("Bettany"),
		pattern: newPattern("Quill 41"),
	}
	p.squad, p.coach = p.fixture.squad(t)
	p.left.Side = lane.Left
	p.pattern.Loads = []oil.Load{
		{Direction: oil.Out, FromBoard: 3, ToBoard: 37, Count: 2, ULPerBoard: 40, StartFt: 0, EndFt: 41},
	}
	edge := 10.0
	p.drill = &record.Drill{
		Head: record.Head{
			ID: newID(),
		},
		Name:      "Play inside",
		Rules:     []drill.Rule{{Measure: drill.Board, At: drill.Breakpoint, Min: &edge}},
		Reps:      30,
		PassShare: 0.8,
	}
	p.session = newSession(p.right.ID)
	p.session.AthleteID, p.session.PatternID = nil, &p.pattern.ID
	p.store(t, p.squad, p.coach, p.right, p.left, p.pattern, p.drill, p.session)
	for _, a := range []*record.Athlete{p.right, p.left} {
		p.store(
			t,
			p.squad,
			p.coach,
			&record.Assignment{
				Head:       record.Head{ID: newID()},
				DrillID:    p.drill.ID,
				AthleteID:  a.ID,
				AssignedOn: p.session.Date,
			},
		)
	}
	p.upload(t, p.right, "12,42,strike", "9.4,41,10", "11,40,", ",,strike")
	p.upload(t, p.left, "12,42,7-10", "9.6,43,strike")
	return p
}

// upload stores shots, each the cells breakpoint_board, breakpoint_ft and standing.
func (p practice) upload(t *testing.T, athlete *record.Athlete, shots ...string) {
	t.Helper()
	var log strings.Builder
	log.WriteString("order,time,breakpoint_board,breakpoint_ft,standing\n")
	for i, cells := range shots {
		fmt.Fprintf(&log, "%d,%s,%s\n", i+1, p.session.Date.Add(18*time.Hour).Format(time.RFC3339), cells)
	}
	result, err := p.Upload(
		t.Context(),
		p.coach,
		p.squad,
		Log{Format: LogCSV, Body: strings.NewReader(log.String()), Session: p.session.ID, Athlete: athlete.ID},
	)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range result.Outcomes {
		if row.Status != StatusStored {
			t.Fatal(row)
		}
	}
}

func TestDrillLanesAgreeWithTheScores(t *testing.T) {
	p := newPractice(t)
	query := DrillQuery{Drill: p.drill.ID}
	record, lanes, err := p.DrillLanes(t.Context(), p.coach, p.squad, query)
	if err != nil {
		t.Fatal(err)
	}
	scores, err := p.Adherence(t.Context(), p.coach, p.squad, query)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(scores.Drill.Sentences, record.Sentences); diff != "" {
		t.Errorf("the sentences differ (-scores +lanes):\n%s", diff)
	}
	if len(lanes) != 2 {
		t.Fatalf("%d lanes, want 2", len(lanes))
	}
	for i, one := range lanes {
		if diff := cmp.Diff(scores.Scores[i].Adherence, one.Adherence); diff != "" {
			t.Errorf("the score of %s differs (-scores +lanes):\n%s", one.Athlete.Name, diff)
		}
		if one.Lane.Side != one.Athlete.Side || len(one.Lane.Corridors) != 1 || one.Lane.Corridors[0].FromBoard != 9.5 {
			t.Errorf("the lane of %s is %+v", one.Athlete.Name, one.Lane)
		}
		if _, err := one.Lane.Scene(); err != nil {
			t.Errorf("the lane of %s cannot be drawn: %v", one.Athlete.Name, err)
		}
	}
	want := []picture.Verdict{picture.Kept, picture.Broken, picture.Kept} // the fourth has no breakpoint
	var got []picture.Verdict
	for _, mark := range lanes[0].Lane.Shots {
		got = append(got, mark.Verdict)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("the marks differ (-want +got):\n%s", diff)
	}
}

func TestSessionLanes(t *testing.T) {
	p := newPractice(t)
	lanes, err := p.SessionLanes(t.Context(), p.coach, p.squad, p.session.ID)
	if err != nil {
		t.Fatal(err)
	}
	type counted struct {
		Name                                                   string
		Shots, Strikes, StrikesKnown, WithoutBreakpoint, Drawn int
	}
	var got []counted
	for _, one := range lanes {
		got = append(
			got,
			counted{
				one.Athlete.Name,
				one.Shots,
				one.Strikes,
				one.StrikesKnown,
				one.WithoutBreakpoint,
				len(one.Lane.Shots),
			},
		)
		if one.Lane.Film == nil || one.Lane.Film.UL[19][10] == 0 || one.Lane.Film.UL[19][50] != 0 {
			t.Errorf("the pattern does not lie under the shots of %s", one.Athlete.Name)
		}
	}
	want := []counted{{"Ansel", 4, 2, 3, 1, 3}, {"Bettany", 2, 1, 2, 0, 2}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("the lanes differ (-want +got):\n%s", diff)
	}
}

func TestPagesShowAnAthleteTheirOwn(t *testing.T) {
	p := newPractice(t)
	athlete := p.person(t)
	p.store(
		t,
		p.squad,
		p.coach,
		&record.Member{Head: record.Head{ID: newID()}, UserID: athlete, Name: "Bettany", Role: record.RoleAthlete, AthleteID: &p.left.ID},
	)
	_, lanes, err := p.DrillLanes(t.Context(), athlete, p.squad, DrillQuery{Drill: p.drill.ID})
	if err != nil || len(lanes) != 1 || lanes[0].Athlete.ID != p.left.ID {
		t.Errorf("an athlete sees the lanes %v, %v", lanes, err)
	}
	thrown, err := p.SessionLanes(t.Context(), athlete, p.squad, p.session.ID)
	if err != nil || len(thrown) != 1 || thrown[0].Athlete.ID != p.left.ID {
		t.Errorf("an athlete sees the session %v, %v", thrown, err)
	}
	stranger := p.person(t)
	_, _, err = p.DrillLanes(t.Context(), stranger, p.squad, DrillQuery{Drill: p.drill.ID})
	wantCode(t, err, NotFound)
	_, err = p.SessionLanes(t.Context(), stranger, p.squad, p.session.ID)
	wantCode(t, err, NotFound)
	_, _, err = p.Pattern(t.Context(), stranger, p.squad, p.pattern.ID)
	wantCode(t, err, NotFound)
}

func TestPatternFilm(t *testing.T) {
	p := newPractice(t)
	_, film, err := p.Pattern(t.Context(), p.coach, p.squad, p.pattern.ID)
	if err != nil {
		t.Fatal(err)
	}
	if want := p.pattern.Loads[0].VolumeUL(); math.Abs(film.VolumeUL()-want) > 1e-9*want {
		t.Errorf("the film holds %g microlitres, the load table %g", film.VolumeUL(), want)
	}
	short := newPattern("Length only")
	given := newPattern("Film given")
	given.Film = make([][]float64, lane.Boards)
	for board := range given.Film {
		given.Film[board] = make([]float64, oil.Rows)
	}
	given.Film[4][7] = 3
	p.store(t, p.squad, p.coach, short, given)
	if _, film, err = p.Pattern(t.Context(), p.coach, p.squad, short.ID); err != nil || film != nil {
		t.Errorf("a pattern known by its length has the film %v, %v", film, err)
	}
	if _, film, err = p.Pattern(
		t.Context(),
		p.coach,
		p.squad,
		given.ID,
	); err != nil || film.UL[4][7] != 3 ||
		film.VolumeUL() != 3 {
		t.Errorf("a given film is read as %v, %v", film, err)
	}
}
