package line

import (
	"math"
	"slices"
	"strings"
	"testing"

	"laneward/service/motion"
)

// valued is a candidate of so many pins on every pair of draws, give or take noise.
func valued(laydown, angleDeg, pins, noise float64) candidate {
	const pairs = 100
	c := candidate{aim: Aim{laydown, angleDeg}}
	c.Pins, c.lanes = pins, 1
	for i := range pairs {
		c.blocks = append(c.blocks, block{pins + noise*float64(i%2*2-1), 1.0 / pairs})
	}
	return c
}

func ranks(candidates []candidate, n int) []ranked {
	s := &search{scorer: &scorer{athlete: athletes()[0], ball: motion.DefaultBall()}}
	s.athlete.Habit = AssumedHabit()
	return s.rank(candidates, n)
}

func TestRank(t *testing.T) {
	steep, usual, worse, near := valued(
		8,
		0.2,
		15,
		0,
	), valued(
		16,
		1.1,
		14.9,
		0,
	), valued(
		24,
		2,
		14.5,
		0,
	), valued(
		16.5,
		1.2,
		14.8,
		0,
	)
	picked := ranks([]candidate{steep, usual, near, worse}, 3)
	for i, want := range []struct {
		aim   Aim
		equal bool
	}{{usual.aim, true}, {steep.aim, true}, {worse.aim, false}} {
		if picked[i].aim != want.aim || picked[i].equal != want.equal {
			t.Errorf("place %d: %+v, equal %v", i+1, picked[i].aim, picked[i].equal)
		}
	}
	if math.Abs(picked[0].behind-0.1) > 1e-9 || picked[1].behind != 0 {
		t.Errorf("behind by %g and %g", picked[0].behind, picked[1].behind)
	}
	// What is worth more by 0.2 is equal only as long as the draws leave it open.
	if ranks([]candidate{steep, valued(16, 1.1, 14.8, 0)}, 1)[0].aim != steep.aim {
		t.Error("0.2 pins that all draws agree on are no difference")
	}
	if ranks([]candidate{steep, valued(16, 1.1, 14.8, 2)}, 1)[0].aim != usual.aim {
		t.Error("0.2 pins with a standard error of 0.2 are a difference")
	}
	if ranks(nil, 3) != nil {
		t.Error("nothing is ranked")
	}
}

// Of two lines that cannot be told apart the unsure one is not put before the other.
func TestAnUnsureLineDoesNotComeFirst(t *testing.T) {
	best, near := valued(8, 0.2, 15, 0), valued(16, 1.1, 14.9, 0)
	best.StandardError, near.StandardError = 0.1, 0.14
	if got := ranks([]candidate{best, near}, 2)[0].aim; got != near.aim {
		t.Errorf("as sure as the best: first is %+v", got)
	}
	near.StandardError = 0.3
	if got := ranks([]candidate{best, near}, 2)[0].aim; got != best.aim {
		t.Errorf("three times as unsure: first is %+v", got)
	}
}

// A line is called equal only beside another one of the list that it cannot be told from.
func TestEqualTakesTwo(t *testing.T) {
	best, habitual := valued(15.5, 1, 15, 0), valued(16, 1.1, 14.9, 0)
	for _, c := range []struct {
		name   string
		others []candidate
		want   []bool
	}{
		{"alone", nil, []bool{false}},
		{"the best is the same line, the other worse", []candidate{valued(24, 2, 14.5, 0)}, []bool{false, false}},
		{"three", []candidate{valued(24, 2, 14.95, 0), valued(30, 2, 14.9, 0)}, []bool{true, true, true}},
	} {
		var got []bool
		for _, one := range ranks(append([]candidate{best, habitual}, c.others...), 5) {
			got = append(got, one.equal)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: equal %v, want %v", c.name, got, c.want)
		}
	}
}

func TestTies(t *testing.T) {
	s := &search{scorer: &scorer{athlete: athletes()[0], ball: motion.DefaultBall()}}
	s.athlete.Habit = AssumedHabit()
	for _, c := range []struct {
		name  string
		lines []Line
		says  string
	}{
		{"none", []Line{{}, {BehindPins: 0.4}}, ""},
		{"two", []Line{{Equal: true, BehindPins: 0.1}, {Equal: true}, {BehindPins: 0.4}}, "Lines 1 and 2 are equal"},
		{"the better one is not listed", []Line{{BehindPins: 0.1}, {BehindPins: 0.4}}, "0.10 pins a frame less than the best one"},
	} {
		if got := s.ties(c.lines); (got == "") != (c.says == "") || !strings.Contains(got, c.says) {
			t.Errorf("%s: %q, want %q", c.name, got, c.says)
		}
	}
}

func TestWhereTheAthleteStandsAlready(t *testing.T) {
	stay := Aim{8, 0.2}
	s := &search{scorer: &scorer{athlete: Athlete{Habit: AssumedHabit()}}, request: Request{Stay: &stay}}
	other := valued(16, 1.1, 15, 0)
	if got := s.rank([]candidate{other, valued(8, 0.2, 14.9, 0)}, 1)[0].aim; got != stay {
		t.Errorf("moved to %+v for what cannot be told", got)
	}
	if got := s.rank([]candidate{other, valued(8, 0.2, 14, 0)}, 1)[0].aim; got != other.aim {
		t.Error("stayed on a line that is worse")
	}
}

// The error of a difference is that of the pairs, not of the two lines: common draws cancel.
func TestDifferencesAreKnownBetterThanValues(t *testing.T) {
	request, s := prepared(t, freshLanes(readFilm(t, "flat_long.json"), athletes()[0]))
	misses := request.Athlete.Scatter.draws(request.evenDraws(768))
	lines := find(t, request).Lines
	first := s.score(lines[0].Aim, misses)
	for _, line := range lines[1:] {
		other := s.score(line.Aim, misses)
		pins, standardErr := other.behind(first)
		if back, _ := first.behind(other); back != -pins {
			t.Errorf("behind by %g one way and %g the other", pins, back)
		}
		if standardErr >= math.Hypot(first.StandardError, other.StandardError) {
			t.Errorf(
				"line %d: %g, the lines %g and %g",
				line.Rank,
				standardErr,
				first.StandardError,
				other.StandardError,
			)
		}
	}
}
