package service

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/shot"
)

func TestSeenTrack(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	cases := []struct {
		name string
		shot shot.Shot
		side lane.Side
		want oil.Track
	}{
		{"nothing", shot.Shot{}, lane.Right, nil},
		{"one place", shot.Shot{ArrowsBoard: at(12)}, lane.Right, nil},
		{"a breakpoint without its distance", shot.Shot{ArrowsBoard: at(12), BreakpointBoard: at(8)}, lane.Right, nil},
		{
			"boards",
			shot.Shot{
				LaydownBoard:    at(20),
				ArrowsBoard:     at(14),
				BreakpointBoard: at(8),
				BreakpointFt:    at(42),
				EntryBoard:      at(17),
			},
			lane.Right,
			oil.Track{{Ft: 0, X: 20}, {Ft: 15, X: 14}, {Ft: 42, X: 8}, {Ft: 60, X: 17}},
		},
		{
			"left",
			shot.Shot{LaydownBoard: at(20), EntryBoard: at(17)},
			lane.Left,
			oil.Track{{Ft: 0, X: 20}, {Ft: 60, X: 23}},
		},
		{
			"a track goes before boards",
			shot.Shot{
				Track:       []shot.TrackPoint{{Ft: 10, Board: 15}, {Ft: 15, Board: 13}},
				ArrowsBoard: at(99),
				EntryBoard:  at(17),
			},
			lane.Right,
			oil.Track{{Ft: 10, X: 15}, {Ft: 15, X: 13}, {Ft: 60, X: 17}},
		},
		{
			"a breakpoint at the arrows",
			shot.Shot{ArrowsBoard: at(9), BreakpointBoard: at(9.2), BreakpointFt: at(15), EntryBoard: at(17)},
			lane.Right,
			oil.Track{{Ft: 15, X: 9}, {Ft: 60, X: 17}},
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if diff := cmp.Diff(c.want, seenTrack(&c.shot, c.side)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// Whatever was seen, a track rises and the wear takes it.
func TestSeenTrackRises(t *testing.T) {
	film := &oil.Film{LengthFt: 40}
	for b := range film.UL {
		for j := range 40 {
			film.UL[b][j] = 10
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		maybe := func(name string, low, high float64) *float64 {
			if !rapid.Bool().Draw(t, name+" seen") {
				return nil
			}
			v := rapid.Float64Range(low, high).Draw(t, name)
			return &v
		}
		s := shot.Shot{
			LaydownBoard: maybe(
				"laydown",
				0,
				40,
			),
			ArrowsBoard:     maybe("arrows", 0, 40),
			BreakpointBoard: maybe("breakpoint", 0, 40),
			BreakpointFt:    maybe("feet", 0, 60),
			EntryBoard:      maybe("entry", 0, 40),
		}
		for range rapid.IntRange(0, 5).Draw(t, "points") {
			s.Track = append(
				s.Track,
				shot.TrackPoint{
					Ft:    float64(rapid.IntRange(0, 60).Draw(t, "ft")),
					Board: rapid.Float64Range(0, 40).Draw(t, "board"),
				},
			)
		}
		track := seenTrack(&s, lane.Left)
		if track == nil {
			return
		}
		worn, report, err := wearDown(film, []oil.Track{track})
		if err != nil {
			t.Fatal(err)
		}
		if got := worn.VolumeUL() + report.OnBallsUL; math.Abs(got-film.VolumeUL()) > 1e-9*film.VolumeUL() {
			t.Fatalf("%g uL before, %g after", film.VolumeUL(), got)
		}
	})
}

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
	if err != nil || fresh.Wear != nil {
		t.Fatalf("%v, %v", fresh.Wear, err)
	}
	for _, c := range []struct {
		name            string
		by              WornBy
		passes, leftOut int
	}{
		{"all", WornBy{}, 14, 1},
		{"the first", WornBy{Shots: 4}, 3, 1}, // both athletes' first two, one of them not seen
		{"one athlete's", WornBy{Athlete: &p.known.ID}, 10, 0},
		{"one ball's", WornBy{Ball: &p.ball.ID}, 10, 0},
		{"another ball's", WornBy{Ball: &p.foreign.ID}, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.by.Session = &p.session.ID
			worn, err := p.PatternFilm(t.Context(), p.coach, p.squad, p.pattern.ID, &c.by)
			if err != nil {
				t.Fatal(err)
			}
			if worn.Wear.Passes != c.passes || worn.Wear.PassesLeftOut != c.leftOut {
				t.Errorf(
					"%d passes, %d left out, want %d and %d",
					worn.Wear.Passes,
					worn.Wear.PassesLeftOut,
					c.passes,
					c.leftOut,
				)
			}
			if got := worn.VolumeUL + worn.Wear.OnBallsUL; math.Abs(got-fresh.VolumeUL) > 1e-9*fresh.VolumeUL {
				t.Errorf("%g uL with what left on balls, before %g", got, fresh.VolumeUL)
			}
			if (worn.VolumeUL < fresh.VolumeUL) != (c.passes > 0) {
				t.Errorf("%g uL after %d passes, before %g", worn.VolumeUL, c.passes, fresh.VolumeUL)
			}
			says(t, worn.Assumptions, "is assumed, not measured")
		})
	}
	// A session on another pattern wears it all the same, and the report says so.
	elsewhere := newSession(p.known.ID)
	elsewhere.Name = "Elsewhere"
	p.store(t, p.squad, p.coach, elsewhere)
	worn, err := p.PatternFilm(t.Context(), p.coach, p.squad, p.pattern.ID, &WornBy{Session: &elsewhere.ID})
	if err != nil {
		t.Fatal(err)
	}
	says(t, worn.Assumptions, `"Elsewhere" was not held on this pattern`)
	// An athlete sees the wear of the own shots only, and is told.
	athlete := p.member(t, Athlete, &p.known.ID)
	own, err := p.PatternFilm(t.Context(), athlete, p.squad, p.pattern.ID, &WornBy{Session: &p.session.ID})
	if err != nil || own.Wear.Passes != 10 {
		t.Errorf("%+v, %v", own.Wear, err)
	}
	says(t, own.Assumptions, "Only your own shots")
}

func TestFilmWornByOwnShots(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	worn, err := p.PatternFilm(
		t.Context(),
		p.coach,
		p.squad,
		p.pattern.ID,
		&WornBy{Athlete: &p.known.ID, Ball: &p.ball.ID, Shots: 30},
	)
	if err != nil {
		t.Fatal(err)
	}
	if worn.Wear.Passes != 30 || worn.Wear.OnBallsUL <= 0 {
		t.Errorf("%+v", worn.Wear)
	}
	says(t, worn.Assumptions, "as they scatter along the best line on the fresh film")
	says(t, worn.Assumptions, "run as on the fresh one")
	for name, by := range map[string]*WornBy{"nobody": {Shots: 30}, "no shots": {Athlete: &p.known.ID}} {
		_, err := p.PatternFilm(t.Context(), p.coach, p.squad, p.pattern.ID, by)
		if err == nil {
			t.Errorf("%s: worn", name)
			continue
		}
		wantCode(t, err, Invalid)
	}
}

func TestWornByFaults(t *testing.T) {
	t.Parallel()
	id := newID()
	board, angle := 24.0, 2.0
	for _, c := range []struct {
		name string
		by   WornBy
		at   string
	}{
		{"a session", WornBy{Session: &id}, ""},
		{"its first shots", WornBy{Session: &id, Shots: 5, Athlete: &id, Ball: &id}, ""},
		{"own shots", WornBy{Shots: 5}, ""},
		{"own shots on a line", WornBy{Shots: 5, LaydownBoard: &board, LaunchAngleDeg: &angle}, ""},
		{"nothing", WornBy{}, "/worn"},
		{"too many", WornBy{Shots: MaxWornShots + 1}, "/worn/shots"},
		{"half a line", WornBy{Shots: 5, LaydownBoard: &board}, "/worn"},
		{"a session on a line", WornBy{Session: &id, LaydownBoard: &board, LaunchAngleDeg: &angle}, "/worn/laydown_board"},
		{"another athlete's own", WornBy{Shots: 5, Athlete: &id}, "/worn/athlete_id"},
		{"another ball's own", WornBy{Shots: 5, Ball: &id}, "/worn/ball_id"},
	} {
		found := c.by.faults()
		if c.at == "" && len(found) > 0 || c.at != "" && (len(found) != 1 || found[0].Pointer != c.at) {
			t.Errorf("%s: %v", c.name, found)
		}
	}
}

// Wear moves the plan: a film that many shots have worn along a line is another film.
func TestPlanOnAWornFilm(t *testing.T) {
	t.Parallel()
	p := newPlanning(t)
	fresh := p.plan(t, p.query())
	query := p.query()
	query.Worn = &WornBy{Shots: 200}
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
	query.Worn = &WornBy{Shots: 30, LaydownBoard: &board, LaunchAngleDeg: &angle}
	says(t, p.plan(t, query).Subject.Assumptions, "along the line asked for: laydown 24.0, 2.00 degrees")
	query.Worn = &WornBy{Shots: -1}
	_, err := p.PlanLines(t.Context(), p.coach, p.squad, query, nil)
	if known := wantCode(t, err, Invalid); !strings.HasPrefix(known.Faults[0].Pointer, "/worn") {
		t.Errorf("%v", known.Faults)
	}
}

func TestLayOil(t *testing.T) {
	t.Parallel()
	service := &Service{}
	loads := []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 2, ULPerBoard: 45, StartFt: 0, EndFt: 40},
	}
	table, err := service.LayOil(OilGiven{Name: "Given", Loads: loads})
	if err != nil || table.VolumeUL < 37*90-1e-9 || table.VolumeUL > 37*90+1e-9 || table.LengthFt != 40 ||
		table.Name != "Given" {
		t.Errorf("%g uL, %g ft, %q, %v", table.VolumeUL, table.LengthFt, table.Name, err)
	}
	mapped, err := service.LayOil(OilGiven{Film: table.FilmUL})
	if err != nil || math.Abs(mapped.VolumeUL-table.VolumeUL) > 1e-9 || mapped.LengthFt != 40 {
		t.Errorf("the film map: %g uL, %g ft, %v", mapped.VolumeUL, mapped.LengthFt, err)
	}
	for _, c := range []struct {
		name  string
		given OilGiven
		at    string
	}{
		{"nothing", OilGiven{}, ""},
		{"both", OilGiven{Loads: loads, Film: table.FilmUL}, "/film"},
		{"a bad load", OilGiven{Loads: []oil.Load{loads[0], {Direction: oil.Out, FromBoard: 2, ToBoard: 50, Count: 1, ULPerBoard: 4, EndFt: 40}}}, "/loads/1/to_board"},
		{"negative oil", OilGiven{Loads: []oil.Load{{Direction: oil.Out, FromBoard: 2, ToBoard: 5, Count: 1, ULPerBoard: -4, EndFt: 40}}}, "/loads/0/ul_per_board"},
		{"a short film", OilGiven{Film: table.FilmUL[:38]}, "/film"},
		{"another length", OilGiven{Loads: loads, LengthFt: 30}, "/length_ft"},
	} {
		_, err := service.LayOil(c.given)
		if err == nil {
			t.Errorf("%s is laid", c.name)
			continue
		}
		if known := wantCode(t, err, Invalid); known.Faults[0].Pointer != c.at {
			t.Errorf("%s: %v, want a fault at %q", c.name, known.Faults, c.at)
		}
	}
}
