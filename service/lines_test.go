package service

import (
	"context"
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/line"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/picture"
	"laneward/service/reading"
	"laneward/service/record"
	"laneward/service/shot"
)

var update = flag.Bool("update", false, "write golden files")

// planning is a squad with a pattern that has lines, a right-hander whose release is known and who
// has thrown, and a left-hander of whom nothing is known. Everything is invented.
type planning struct {
	*fixture
	squad, coach  uuid.UUID
	known, other  *record.Athlete
	ball, foreign *record.Ball
	pattern, bare *record.Pattern
	session       *record.Session
}

func newPlanning(t testing.TB) planning {
	t.Helper()
	p := planning{
		fixture: newFixture(t, 4),
		known:   newAthlete("Ansel"),
		other:   newAthlete("Bettany"),
		pattern: newPattern("Quill 41"),
		bare:    newPattern("Bare 41"),
	}
	p.squad, p.coach = p.fixture.squad(t)
	p.other.Side = lane.Left
	speed, revs, rotation, tilt, slide := 17.2, 330.0, 50.0, 12.0, 5.0
	p.known.SpeedMPH, p.known.RevRateRPM, p.known.RotationDeg, p.known.TiltDeg, p.known.SlideOffset = &speed, &revs, &rotation, &tilt, &slide
	p.pattern.Loads = []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 2, ULPerBoard: 80, StartFt: 0, EndFt: 26},
		{Direction: oil.Out, FromBoard: 8, ToBoard: 32, Count: 3, ULPerBoard: 80, StartFt: 0, EndFt: 36},
		{Direction: oil.Back, FromBoard: 11, ToBoard: 29, Count: 4, ULPerBoard: 80, StartFt: 41, EndFt: 2},
	}
	p.ball, p.foreign = newBall(p.known.ID), newBall(p.other.ID)
	gyration, grit := 2.52, int32(3000)
	p.ball.RGIn, p.ball.SurfaceGrit = &gyration, &grit
	p.session = newSession(p.known.ID)
	p.session.AthleteID, p.session.PatternID = nil, &p.pattern.ID
	p.store(t, p.squad, p.coach, p.known, p.other, p.pattern, p.bare, p.ball, p.foreign, p.session)
	return p
}

func (p planning) query() advice.Query {
	return advice.Query{Athlete: p.known.ID, Ball: &p.ball.ID, Pattern: p.pattern.ID}
}

// throw stores shots of an athlete, each changed from a usual one.
func (p planning) throw(
	t testing.TB,
	athlete *record.Athlete,
	ball *uuid.UUID,
	n int,
	change func(i int, s *shot.Shot),
) {
	t.Helper()
	records := make([]record.Record, n)
	for i := range records {
		usual := shot.Shot{
			ID:        newID(),
			SessionID: p.session.ID,
			AthleteID: athlete.ID,
			BallID:    ball,
			Order:     i + 1,
			Time:      p.session.Date.Add(18 * time.Hour),
		}
		change(i, &usual)
		records[i] = &record.Shot{Shot: usual}
	}
	p.store(t, p.squad, p.coach, records...)
}

// member lets somebody into the squad.
func (p planning) member(t testing.TB, role record.Role, athlete *uuid.UUID) uuid.UUID {
	t.Helper()
	invitation, err := p.Invite(t.Context(), p.coach, p.squad, role, athlete)
	if err != nil {
		t.Fatal(err)
	}
	user := p.person(t)
	if _, _, err := p.Join(t.Context(), user, invitation.Code); err != nil {
		t.Fatal(err)
	}
	return user
}

func (p planning) plan(t testing.TB, query advice.Query) *advice.Plan {
	t.Helper()
	plan, err := p.PlanLines(t.Context(), p.coach, p.squad, query, nil)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// says holds that one of the sentences holds the words.
func says(t testing.TB, sentences []string, words string) {
	t.Helper()
	if !slices.ContainsFunc(sentences, func(s string) bool { return strings.Contains(s, words) }) {
		t.Errorf("nothing says %q:\n%s", words, strings.Join(sentences, "\n"))
	}
}

// A plan is what the planner finds for what is stored, and nothing is assumed of what is known.
func TestPlanIsOfWhatIsStored(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	plan := p.plan(t, p.query())
	film, err := oil.Table{Name: p.pattern.Name, Loads: p.pattern.Loads}.Film()
	if err != nil {
		t.Fatal(err)
	}
	request := line.Request{
		Film:     film,
		Friction: motion.NominalFriction(),
		Ball:     motion.Ball{RadiusIn: motion.DefaultRadiusIn, GyrationIn: 2.52, SurfaceGrit: 3000},
		Athlete: line.Athlete{
			Side:              lane.Right,
			SpeedMPH:          17.2,
			RevRPM:            330,
			RotationDeg:       50,
			TiltDeg:           12,
			SlideOffsetBoards: 5,
		},
	}
	for _, state := range reading.Fresh(12, 0.7) {
		request.Lanes = append(request.Lanes, line.Lane{
			Film:        state.Film(film, lane.Right),
			Friction:    state.Friction(request.Friction),
			Weight:      1,
			RevFactor:   state.RevFactor(),
			RotationDeg: state.Rotation,
			PinShift:    state.PinShiftAt,
		})
	}
	want, err := line.Find(t.Context(), request, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Lines) < 3 {
		t.Fatalf("the test pattern has %d lines", len(want.Lines))
	}
	got := make([]line.Line, len(plan.Lines))
	for i, one := range plan.Lines {
		got[i] = one.Line
	}
	if diff := cmp.Diff(want.Lines, got); diff != "" {
		t.Errorf("lines (-found +planned):\n%s", diff)
	}
	for _, assumption := range plan.Subject.Assumptions {
		for _, word := range []string{"speed of Ansel", "rev rate of", "axis", "slide offset", "gyration"} {
			if strings.Contains(assumption, word) {
				t.Errorf("what is known is assumed: %s", assumption)
			}
		}
	}
	for _, words := range []string{"3000 grit", "The friction is nominal", "The pocket is taken", "There are no stored shots of Ansel", "The film is fresh", "rigid sphere"} {
		says(t, plan.Subject.Assumptions, words)
	}
	if plan.Subject.Friction.Q0OnSurface >= plan.Subject.Friction.Q0 {
		t.Errorf(
			"a shinier ball than 2000 grit: q0 %g on the surface, %g off it",
			plan.Subject.Friction.Q0OnSurface,
			plan.Subject.Friction.Q0,
		)
	}
}

func TestPlanSaysWhatItAssumes(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	plan := p.plan(t, advice.Query{Athlete: p.other.ID, Pattern: p.pattern.ID})
	for _, words := range []string{
		"The speed of Bettany is not known: 17 mph", "The rev rate of Bettany is not known: 300 rpm", "The axis rotation of Bettany is not known: 45",
		"The axis tilt of Bettany is not known: 12", "The slide offset of Bettany is not known: 6 boards", "No ball is named",
	} {
		says(t, plan.Subject.Assumptions, words)
	}
	unknown := p.plan(t, advice.Query{Athlete: p.known.ID, Ball: &p.foreign.ID, Pattern: p.pattern.ID})
	for _, words := range []string{"is another athlete's", `radius of gyration of "Blue solid" is not known`, `surface of "Blue solid" is not known`} {
		says(t, unknown.Subject.Assumptions, words)
	}
	given := p.query()
	given.Friction = &motion.Friction{MuDry: 0.2, MuOil: 0.01, Q0: 2}
	given.Pocket = &line.Pocket{BoardLow: 17, BoardHigh: 18, AngleLowDeg: 3, AngleHighDeg: 6}
	told := p.plan(t, given).Subject
	if told.Friction.Friction != *given.Friction || told.Pocket != *given.Pocket {
		t.Errorf("%+v, %+v", told.Friction, told.Pocket)
	}
	for _, assumption := range told.Assumptions {
		if strings.Contains(assumption, "nominal") || strings.Contains(assumption, "pocket is taken") {
			t.Errorf("what is given is assumed: %s", assumption)
		}
	}
}

// The athlete's own stored shots make the scatter, drawn toward the default by how many there are.
func TestPlanEstimatesTheScatter(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	loose := p.plan(t, p.query())
	p.throw(t, p.known, &p.ball.ID, 60, func(i int, s *shot.Shot) {
		arrows, angle, speed, revs := 15+0.2*float64(i%2), 2+0.1*float64(i%2), 17.2, 330.0
		s.ArrowsBoard, s.LaunchAngleDeg, s.SpeedMPH, s.RevRateRPM = &arrows, &angle, &speed, &revs
		exact := 0.01 // without it the readings would be taken to be off by more than the shots differ
		s.Errors = shot.StandardErrors{Board: &exact, AngleDeg: &exact, SpeedMPH: &exact, RevRateRPM: &exact}
	})
	tight := p.plan(t, p.query())
	scatter := tight.Subject.Scatter
	if scatter.Shots != 60 || scatter.ArrowsBoards >= loose.Subject.Scatter.ArrowsBoards/2 ||
		scatter.SpeedMPH >= loose.Subject.Scatter.SpeedMPH {
		t.Errorf("%+v", scatter)
	}
	names := make([]string, len(scatter.Measures))
	for i, m := range scatter.Measures {
		names[i] = m.Name
		if m.Pairs != 59 || m.Name != "arrows_angle_correlation" && !(m.Used > m.Own && m.Used < m.Default) {
			t.Errorf("%+v", m)
		}
	}
	if want := []string{
		"arrows_boards",
		"launch_angle_deg",
		"speed_mph",
		"rev_rate_rpm",
		"arrows_angle_correlation",
	}; !slices.Equal(
		names,
		want,
	) {
		t.Errorf("measures %v, want %v", names, want)
	}
	// Over what the lane may be, the lanes decide; on the lane as given, the scatter does.
	if tight.Lines[0].PocketShareAsGiven <= loose.Lines[0].PocketShareAsGiven {
		t.Errorf(
			"a tighter scatter reaches the pocket no more often: %g, before %g",
			tight.Lines[0].PocketShareAsGiven,
			loose.Lines[0].PocketShareAsGiven,
		)
	}
	says(t, tight.Subject.Assumptions, "the latest 60 shots, up to 59 pairs")
}

// The scatter looks at the latest shots, and at no more than the bound.
func TestScatterIsBounded(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	p.throw(t, p.known, nil, 900, func(_ int, s *shot.Shot) {})
	p.session = newSession(p.known.ID) // a later session
	p.session.Date = record.Day{Time: p.session.Date.AddDate(0, 0, 1)}
	p.store(t, p.squad, p.coach, p.session)
	p.throw(t, p.known, nil, advice.MaxScatterShots, func(i int, s *shot.Shot) {
		arrows := 15 + float64(i%2)
		s.ArrowsBoard = &arrows
	})
	scatter := p.plan(t, p.query()).Subject.Scatter
	if scatter.Shots != advice.MaxScatterShots || scatter.Measures[0].Pairs != advice.MaxScatterShots-1 {
		t.Errorf("%d shots, %d pairs", scatter.Shots, scatter.Measures[0].Pairs)
	}
}

func TestFilmOrNoFilm(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	query := p.query()
	query.Pattern = p.bare.ID
	_, err := p.PlanLines(t.Context(), p.coach, p.squad, query, nil)
	if known := wantCode(t, err, Conflict); !strings.Contains(known.Detail, "only a length") {
		t.Errorf("detail %q", known.Detail)
	}
	if _, err := p.PatternFilm(t.Context(), p.coach, p.squad, p.bare.ID, nil); err == nil {
		t.Error("a film of a pattern that has none")
	}
	// A film map given directly plays as the load table that lays it.
	film, err := advice.FilmOf(p.pattern)
	if err != nil {
		t.Fatal(err)
	}
	mapped := newPattern("Mapped 41")
	for b := range film.UL {
		mapped.Film = append(mapped.Film, film.UL[b][:])
	}
	p.store(t, p.squad, p.coach, mapped)
	query.Pattern = mapped.ID
	if diff := cmp.Diff(p.plan(t, p.query()).Lines[0].Line, p.plan(t, query).Lines[0].Line); diff != "" {
		t.Errorf("table (-) and map (+):\n%s", diff)
	}
}

// Who may ask: an athlete for themself, with what they may see; everybody else in the squad for
// everybody.
func TestWhoMayPlan(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	athlete, analyst := p.member(t, record.RoleAthlete, &p.known.ID), p.member(t, record.RoleAnalyst, nil)
	foreign := p.query()
	foreign.Ball = &p.foreign.ID
	other := p.query()
	other.Athlete, other.Ball = p.other.ID, nil
	aim := LineAssignment{Aim: line.Aim{LaydownBoard: 21, LaunchAngleDeg: 1.9}}
	for _, c := range []struct {
		name  string
		user  uuid.UUID
		query advice.Query
		code  Code
	}{
		{"athlete, own", athlete, p.query(), ""},
		{"athlete, another's ball", athlete, foreign, NotFound},
		{"athlete, another athlete", athlete, other, NotFound},
		{"analyst", analyst, other, ""},
		{"stranger", p.person(t), p.query(), NotFound},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := p.PlanLines(t.Context(), c.user, p.squad, c.query, nil)
			switch {
			case c.code == "" && err != nil:
				t.Error(err)
			case c.code != "":
				wantCode(t, err, c.code)
			}
			_, err = p.CompareLines(
				t.Context(),
				c.user,
				p.squad,
				p.query(),
				advice.Against{
					Athlete: &c.query.Athlete,
					Ball:    c.query.Ball,
					Pattern: &p.pattern.ID,
					Worn:    &advice.WornBy{Shots: 4},
				},
				nil,
			)
			if c.code != "" {
				wantCode(t, err, c.code)
			} else if err != nil {
				t.Error(err)
			}
			if c.user != p.coach {
				_, _, _, err := p.AssignLine(t.Context(), c.user, p.squad, p.query(), aim)
				want := Forbidden
				if c.name == "stranger" {
					want = NotFound
				}
				wantCode(t, err, want)
			}
		})
	}
}

func TestCompareWhatDiffers(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	_, err := p.CompareLines(
		t.Context(),
		p.coach,
		p.squad,
		p.query(),
		advice.Against{Athlete: &p.known.ID, Pattern: &p.pattern.ID, Fresh: true},
		nil,
	)
	wantCode(t, err, Invalid)
	worn := p.query()
	worn.Worn = &advice.WornBy{Shots: 40}
	for _, c := range []struct {
		name    string
		query   advice.Query
		against advice.Against
		differs []string
	}{
		{"athlete", p.query(), advice.Against{Athlete: &p.other.ID}, []string{"athlete"}},
		{"ball", p.query(), advice.Against{Ball: &p.foreign.ID}, []string{"ball"}},
		{"both", p.query(), advice.Against{Athlete: &p.other.ID, Ball: &p.foreign.ID}, []string{"athlete", "ball"}},
		{"fresh against worn", worn, advice.Against{Fresh: true}, []string{"wear"}},
		{"worn against fresh", p.query(), advice.Against{Worn: &advice.WornBy{Shots: 40}}, []string{"wear"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			both, err := p.CompareLines(t.Context(), p.coach, p.squad, c.query, c.against, nil)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(both.Differs, c.differs) || both.Summary == "" || both.AOnB == nil || both.BOnA == nil ||
				both.Move == nil {
				t.Errorf("differs %v, %q", both.Differs, both.Summary)
			}
			// Side A is the plan of the query itself.
			if diff := cmp.Diff(p.plan(t, c.query).Lines[0].Line, both.A.Lines[0].Line); diff != "" {
				t.Errorf("side A:\n%s", diff)
			}
			if (both.A.Subject.Wear != nil) != (c.query.Worn != nil) ||
				(both.B.Subject.Wear != nil) != (c.against.Worn != nil) {
				t.Errorf("wear %v, %v", both.A.Subject.Wear, both.B.Subject.Wear)
			}
		})
	}
}

func TestAssignLine(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	plan := p.plan(t, p.query())
	at := slices.IndexFunc(
		plan.Lines,
		func(l advice.PlannedLine) bool { return l.Drill != nil && l.Corridor.At == line.AtBreakpoint },
	)
	if at < 0 {
		t.Fatal("no line of the test pattern has a drill at the breakpoint")
	}
	best := plan.Lines[at]
	id := newID()
	due := record.Day{Time: time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC)}
	asked := LineAssignment{ID: &id, Aim: best.Aim, DueOn: &due}
	d, a, created, err := p.AssignLine(t.Context(), p.coach, p.squad, p.query(), asked)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	if d.ID != id || d.Name != best.Drill.Name || d.Reps != 30 || d.PassShare != best.Corridor.PassShare ||
		*d.PatternID != p.pattern.ID ||
		!slices.Equal(d.Sentences, best.Drill.Sentences) {
		t.Errorf("drill %+v, suggested %+v", d, best.Drill)
	}
	if a.DrillID != id || a.AthleteID != p.known.ID || a.AssignedOn.String() != "2026-03-14" ||
		a.DueOn.String() != "2026-04-01" {
		t.Errorf("assignment %+v", a)
	}
	// The drill allows the line it was made from.
	low, high := d.Rules[0].Edges()
	if low != float64(best.Corridor.OuterBoard)-0.5 || high != float64(best.Corridor.InnerBoard)+0.5 ||
		best.Path.BreakpointBoard < low || best.Path.BreakpointBoard > high {
		t.Errorf("%q for a line that turns at %g", d.Sentences[0], best.Path.BreakpointBoard)
	}
	if !strings.Contains(d.Note, fmt.Sprintf("would keep %.0f %%", 100*best.Corridor.KeptShare)) {
		t.Errorf("note %q", d.Note)
	}
	// Sent again it is stored once; what else is sent under the id is a conflict.
	if _, _, created, err := p.AssignLine(t.Context(), p.coach, p.squad, p.query(), asked); err != nil || created {
		t.Errorf("sent again: created %v, %v", created, err)
	}
	asked.Name = "Another"
	_, _, _, err = p.AssignLine(t.Context(), p.coach, p.squad, p.query(), asked)
	wantCode(t, err, Conflict)
	scores, err := p.Adherence(t.Context(), p.coach, p.squad, DrillQuery{Drill: id})
	if err != nil || len(scores.Scores) != 1 || !scores.Scores[0].Assigned {
		t.Errorf("%+v, %v", scores, err)
	}
}

// Nothing is stored when one of the two cannot be.
func TestAssignLineIsBothOrNeither(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	counts := func() (drills, assignments int) {
		for kind, n := range map[record.Kind]*int{record.KindDrill: &drills, record.KindAssignment: &assignments} {
			page, err := p.List(t.Context(), p.coach, p.squad, kind, 0, 100)
			if err != nil {
				t.Fatal(err)
			}
			*n = len(page.Records)
		}
		return drills, assignments
	}
	good := line.Aim{LaydownBoard: 21, LaunchAngleDeg: 1.9}
	today := record.Day{Time: time.Date(2026, 3, 14, 0, 0, 0, 0, time.UTC)}
	yesterday := record.Day{Time: time.Date(2026, 3, 13, 0, 0, 0, 0, time.UTC)}
	// An assignment stands already under the id that this drill's would have, as another record.
	taken := newID()
	standing := &record.Drill{
		Head:      record.Head{ID: newID()},
		Name:      "Standing",
		Rules:     onBoard(8),
		Reps:      10,
		PassShare: 0.5,
	}
	p.store(t, p.squad, p.coach, standing, &record.Assignment{
		Head: record.Head{
			ID: record.AssignmentID(taken, p.known.ID, today),
		},
		DrillID:    standing.ID,
		AthleteID:  p.known.ID,
		AssignedOn: yesterday,
	})
	before, beforeAssigned := counts()
	for _, c := range []struct {
		name  string
		asked LineAssignment
		code  Code
	}{
		{"due before it is assigned", LineAssignment{Aim: good, DueOn: &yesterday}, Invalid},
		{"too many shots", LineAssignment{Aim: good, Reps: 100_000}, Invalid},
		{"no corridor", LineAssignment{Aim: line.Aim{LaydownBoard: 35, LaunchAngleDeg: -2}}, Conflict},
		{"no line", LineAssignment{Aim: line.Aim{LaydownBoard: 90, LaunchAngleDeg: 2}}, Invalid},
		{"the assignment's id is taken", LineAssignment{ID: &taken, Aim: good}, Conflict},
	} {
		_, _, _, err := p.AssignLine(t.Context(), p.coach, p.squad, p.query(), c.asked)
		if err == nil {
			t.Errorf("%s: stored", c.name)
			continue
		}
		wantCode(t, err, c.code)
	}
	if drills, assignments := counts(); drills != before || assignments != beforeAssigned {
		t.Errorf("%d drills and %d assignments, before %d and %d", drills, assignments, before, beforeAssigned)
	}
}

func onBoard(n float64) []drill.Rule {
	return []drill.Rule{{Measure: drill.Board, At: drill.Breakpoint, Min: &n}}
}

func TestStudyLine(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	best := p.plan(t, p.query()).Lines[0]
	study, err := p.StudyLine(t.Context(), p.coach, p.squad, p.query(), best.Aim)
	if err != nil {
		t.Fatal(err)
	}
	best.Equal = false // which is said beside other lines
	if diff := cmp.Diff(best.Line, study.Line); diff != "" {
		t.Errorf("the planned line (-) and the studied one (+):\n%s", diff)
	}
	if diff := cmp.Diff(best.Drill, study.Drill); diff != "" {
		t.Errorf("drill:\n%s", diff)
	}
	_, err = p.StudyLine(t.Context(), p.coach, p.squad, p.query(), line.Aim{LaydownBoard: 20, LaunchAngleDeg: 50})
	wantCode(t, err, Invalid)
}

// A miss map says of each aim what the planner says of it alone.
func TestMissMap(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	at := func(v float64) *float64 { return &v }
	grid := advice.GridQuery{
		LaydownFrom: at(20),
		LaydownTo:   at(26),
		LaydownStep: at(2),
		AngleFrom:   at(1),
		AngleTo:     at(3),
		AngleStep:   at(0.5),
	}
	query := p.query()
	query.Draws = 1536 // as a line is valued
	m, err := p.MapMisses(t.Context(), p.coach, p.squad, query, grid, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Cells) != 4 || len(m.Cells[0]) != 5 || len(m.Lines) == 0 {
		t.Fatalf("%d x %d aims, %d lines", len(m.Cells), len(m.Cells[0]), len(m.Lines))
	}
	study, err := p.StudyLine(t.Context(), p.coach, p.squad, p.query(), line.Aim{LaydownBoard: 24, LaunchAngleDeg: 2})
	if err != nil {
		t.Fatal(err)
	}
	if cell := m.Cells[2][2]; cell.PocketShare != study.PocketShare || cell.GutterShare != study.GutterShare {
		t.Errorf(
			"the map says %g and %g of an aim, its line %g and %g",
			cell.PocketShare,
			cell.GutterShare,
			study.PocketShare,
			study.GutterShare,
		)
	}
	if _, err := m.Picture(0); err != nil {
		t.Error(err)
	}
}

// The pictures as a reader who cannot see them gets them.
func TestLinePictures(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	worn := p.query()
	worn.Worn = &advice.WornBy{Shots: 20}
	straight := newAthlete("Straight")
	none := 0.0
	straight.RevRateRPM = &none
	p.store(t, p.squad, p.coach, straight)
	study, err := p.StudyLine(t.Context(), p.coach, p.squad, p.query(), line.Aim{LaydownBoard: 21, LaunchAngleDeg: 1.9})
	if err != nil {
		t.Fatal(err)
	}
	both, err := p.CompareLines(t.Context(), p.coach, p.squad, p.query(), advice.Against{Athlete: &p.other.ID}, nil)
	if err != nil {
		t.Fatal(err)
	}
	mapped, err := p.MapMisses(t.Context(), p.coach, p.squad, p.query(), advice.GridQuery{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, c := range []struct {
		name    string
		picture interface {
			Picture(int) (picture.Scene, error)
		}
	}{
		{"plan", p.plan(t, p.query())},
		{"worn", p.plan(t, worn)},
		{"no line", p.plan(t, advice.Query{Athlete: straight.ID, Pattern: p.pattern.ID})},
		{"one line", study},
		{"comparison", both},
		{"miss map", mapped},
	} {
		for _, width := range []int{390, 900} {
			scene, err := c.picture.Picture(width)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			layers := map[picture.Layer]int{}
			for _, element := range scene.Elements {
				layers[element.Layer]++
			}
			fmt.Fprintf(
				&text,
				"%s, %d px: %s\n  %s\n  paths %d, corridors %d\n",
				c.name,
				width,
				scene.Title,
				scene.Desc,
				layers[picture.LayerPaths],
				layers[picture.LayerCorridor],
			)
			if scene.Width > float64(max(width, 900)) || scene.Width < 320 {
				t.Errorf("%s: %g px wide", c.name, scene.Width)
			}
			if _, err := scene.Image(0.2); err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
		}
		if _, err := c.picture.Picture(10); err == nil {
			t.Errorf("%s: 10 px are drawn", c.name)
		}
	}
	golden(t, "testdata/line-pictures.golden", text.String())
}

func golden(t testing.TB, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

// Progress is told, with lines from the first scoring on; a plan that is no longer wanted ends.
func TestPlanProgressAndCancel(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	stages := map[string]bool{}
	withLines := 0
	_, err := p.PlanLines(t.Context(), p.coach, p.squad, p.query(), func(update line.Progress) {
		stages[update.Stage] = true
		if len(update.Lines) > 0 {
			withLines++
		}
	})
	if err != nil || !stages["score"] || !stages["first lines"] || !stages["final"] || withLines == 0 {
		t.Errorf("stages %v, %d with lines, %v", stages, withLines, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	query := p.query()
	query.Draws = 4096
	_, err = p.PlanLines(ctx, p.coach, p.squad, query, func(line.Progress) { cancel() })
	if known := wantCode(t, err, Unavailable); !strings.Contains(known.Detail, "cancelled") {
		t.Errorf("detail %q", known.Detail)
	}
	if !p.planners.idle() {
		t.Error("a computation is still running")
	}
}

// A miss map that cannot end in time is refused, and nothing is begun.
func TestMapThatTakesTooLong(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	query := p.query()
	query.Draws = 4096
	_, err := p.MapMisses(t.Context(), p.coach, p.squad, query, advice.GridQuery{}, nil)
	if known := wantCode(t, err, Invalid); !strings.Contains(known.Detail, "at most 664 draws") {
		t.Errorf("detail %q", known.Detail)
	}
}
