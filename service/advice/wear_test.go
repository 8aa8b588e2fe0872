package advice

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
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

func TestWornByFaults(t *testing.T) {
	id := uuid.New()
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
		{"nothing", WornBy{}, "/subject/worn"},
		{"too many", WornBy{Shots: MaxWornShots + 1}, "/subject/worn/shots"},
		{"half a line", WornBy{Shots: 5, LaydownBoard: &board}, "/subject/worn"},
		{"a session on a line", WornBy{Session: &id, LaydownBoard: &board, LaunchAngleDeg: &angle}, "/subject/worn/laydown_board"},
		{"another athlete's own", WornBy{Shots: 5, Athlete: &id}, "/subject/worn/athlete_id"},
		{"another ball's own", WornBy{Shots: 5, Ball: &id}, "/subject/worn/ball_id"},
	} {
		found := c.by.Faults()
		if c.at == "" && len(found) > 0 || c.at != "" && (len(found) != 1 || found[0].Pointer != c.at) {
			t.Errorf("%s: %v", c.name, found)
		}
	}
}
