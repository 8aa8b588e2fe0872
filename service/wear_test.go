package service

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"laneward/service/advice"
	"laneward/service/record"
	"laneward/service/shot"
)

func TestFilmWornByASession(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	at := func(v float64) *float64 { return &v }
	p.throw(t, p.known, &p.ball.ID, 10, func(_ int, s *shot.Shot) {
		s.LaydownBoard, s.ArrowsBoard, s.EntryBoard = at(20), at(14), at(17)
	})
	p.throw(t, p.other, nil, 5, func(i int, s *shot.Shot) {
		if i > 0 { // the first was not seen anywhere
			s.LaydownBoard, s.EntryBoard = at(20), at(17)
		}
	})
	fresh, err := p.PatternFilm(t.Context(), p.coach, p.squad, p.pattern.ID, nil)
	if err != nil || fresh.Report.Wear != nil {
		t.Fatalf("%v, %v", fresh.Report.Wear, err)
	}
	for _, c := range []struct {
		name            string
		by              advice.WornBy
		passes, leftOut int
	}{
		{"all", advice.WornBy{}, 14, 1},
		{"the first", advice.WornBy{Shots: 4}, 3, 1}, // both athletes' first two, one of them not seen
		{"one athlete's", advice.WornBy{Athlete: &p.known.ID}, 10, 0},
		{"one ball's", advice.WornBy{Ball: &p.ball.ID}, 10, 0},
		{"another ball's", advice.WornBy{Ball: &p.foreign.ID}, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.by.Session = &p.session.ID
			worn, err := p.PatternFilm(t.Context(), p.coach, p.squad, p.pattern.ID, &c.by)
			if err != nil {
				t.Fatal(err)
			}
			if worn.Report.Wear.Passes != c.passes || worn.Report.Wear.PassesLeftOut != c.leftOut {
				t.Errorf(
					"%d passes, %d left out, want %d and %d",
					worn.Report.Wear.Passes,
					worn.Report.Wear.PassesLeftOut,
					c.passes,
					c.leftOut,
				)
			}
			if got := worn.Report.VolumeUL + worn.Report.Wear.OnBallsUL; math.Abs(got-fresh.Report.VolumeUL) > 1e-9*fresh.Report.VolumeUL {
				t.Errorf("%g uL with what left on balls, before %g", got, fresh.Report.VolumeUL)
			}
			if (worn.Report.VolumeUL < fresh.Report.VolumeUL) != (c.passes > 0) {
				t.Errorf("%g uL after %d passes, before %g", worn.Report.VolumeUL, c.passes, fresh.Report.VolumeUL)
			}
			says(t, worn.Report.Assumptions, "is assumed, not measured")
		})
	}
	// A session on another pattern wears it all the same, and the report says so.
	elsewhere := newSession(p.known.ID)
	elsewhere.Name = "Elsewhere"
	p.store(t, p.squad, p.coach, elsewhere)
	worn, err := p.PatternFilm(t.Context(), p.coach, p.squad, p.pattern.ID, &advice.WornBy{Session: &elsewhere.ID})
	if err != nil {
		t.Fatal(err)
	}
	says(t, worn.Report.Assumptions, `"Elsewhere" was not held on this pattern`)
	// An athlete sees the wear of the own shots only, and is told.
	athlete := p.member(t, record.RoleAthlete, &p.known.ID)
	own, err := p.PatternFilm(t.Context(), athlete, p.squad, p.pattern.ID, &advice.WornBy{Session: &p.session.ID})
	if err != nil || own.Report.Wear.Passes != 10 {
		t.Errorf("%+v, %v", own.Report.Wear, err)
	}
	says(t, own.Report.Assumptions, "Only your own shots")
}

func TestFilmWornByOwnShots(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	worn, err := p.PatternFilm(
		t.Context(),
		p.coach,
		p.squad,
		p.pattern.ID,
		&advice.WornBy{Athlete: &p.known.ID, Ball: &p.ball.ID, Shots: 30},
	)
	if err != nil {
		t.Fatal(err)
	}
	if worn.Report.Wear.Passes != 30 || worn.Report.Wear.OnBallsUL <= 0 {
		t.Errorf("%+v", worn.Report.Wear)
	}
	says(t, worn.Report.Assumptions, "as they scatter along the best line on the fresh film")
	says(t, worn.Report.Assumptions, "run as on the fresh one")
	for name, by := range map[string]*advice.WornBy{"nobody": {Shots: 30}, "no shots": {Athlete: &p.known.ID}} {
		_, err := p.PatternFilm(t.Context(), p.coach, p.squad, p.pattern.ID, by)
		if err == nil {
			t.Errorf("%s: worn", name)
			continue
		}
		wantCode(t, err, Invalid)
	}
}

// Wear moves the plan: a film that many shots have worn along a line is another film.
func TestPlanOnAWornFilm(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	fresh := p.plan(t, p.query())
	query := p.query()
	query.Worn = &advice.WornBy{Shots: 200}
	worn := p.plan(t, query)
	if worn.Subject.Wear == nil || worn.Subject.Wear.Passes+worn.Subject.Wear.PassesLeftOut != 200 {
		t.Fatalf("%+v", worn.Subject.Wear)
	}
	if worn.Subject.Pattern.VolumeUL >= fresh.Subject.Pattern.VolumeUL ||
		cmp.Equal(worn.Lines[0].Aim, fresh.Lines[0].Aim) {
		t.Errorf(
			"%g uL and %+v, on the fresh film %g and %+v",
			worn.Subject.Pattern.VolumeUL,
			worn.Lines[0].Aim,
			fresh.Subject.Pattern.VolumeUL,
			fresh.Lines[0].Aim,
		)
	}
	board, angle := 24.0, 2.0
	query.Worn = &advice.WornBy{Shots: 30, LaydownBoard: &board, LaunchAngleDeg: &angle}
	says(t, p.plan(t, query).Subject.Assumptions, "along the line asked for: laydown 24.0, 2.00 degrees")
	query.Worn = &advice.WornBy{Shots: -1}
	_, err := p.PlanLines(t.Context(), p.coach, p.squad, query, nil)
	if known := wantCode(t, err, Invalid); !strings.HasPrefix(known.Faults[0].Pointer, "/subject/worn") {
		t.Errorf("%v", known.Faults)
	}
}
