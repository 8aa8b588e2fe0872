package reading

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
)

func TestFreshStandsForTheSpread(t *testing.T) {
	states, spread := Fresh(12, 0.7), Spread()
	if len(states) != 12 || !cmp.Equal(states, Fresh(12, 0.7)) {
		t.Fatal("the draws are not the same every time")
	}
	spread.each(func(number int, deviation *float64) {
		sum, squares := 0.0, 0.0
		for _, state := range states {
			state.each(func(at int, value *float64) {
				if at == number {
					sum += *value
					squares += *value * *value
				}
			})
		}
		if math.Abs(sum) > 1e-12 || math.Abs(math.Sqrt(squares/12)-0.7**deviation) > 1e-12 {
			t.Errorf("number %d: mean %g, deviation %g, want %g", number, sum/12, math.Sqrt(squares/12), 0.7**deviation)
		}
	})
	for i := 0; i < len(states); i += 2 {
		a, b := states[i].Friction(motion.NominalFriction()), states[i+1].Friction(motion.NominalFriction())
		if product := a.MuDry * b.MuDry / math.Pow(motion.NominalFriction().MuDry, 2); math.Abs(product-1) > 1e-9 {
			t.Errorf("states %d and %d are not opposite: %g", i, i+1, product)
		}
	}
}

func anyFilm() *oil.Film {
	film := &oil.Film{LengthFt: 40}
	for b := range film.UL {
		for row := range 40 {
			film.UL[b][row] = 20 - 0.3*float64(row) - 0.2*math.Abs(float64(b-19))
		}
	}
	return film
}

func TestNothingUnknownChangesNothing(t *testing.T) {
	film := anyFilm()
	same := State{}.Film(film, lane.Right)
	for b := range film.UL {
		for row := range film.UL[b] {
			if math.Abs(same.UL[b][row]-film.UL[b][row]) > 1e-9 {
				t.Fatalf("board %d, foot %d: %g became %g", b+1, row, film.UL[b][row], same.UL[b][row])
			}
		}
	}
	if got := (State{}).Friction(motion.NominalFriction()); got != motion.NominalFriction() {
		t.Errorf("%+v", got)
	}
	if got := (State{LogSlip: 1}).Friction(motion.Friction{MuDry: 0.2, Q0: 1}); got.SlipMPS != 0 {
		t.Errorf("a law without slip has one of %g m/s", got.SlipMPS)
	}
}

func TestStatesOfTheFilm(t *testing.T) {
	film := anyFilm()
	if got := (State{LogFilm: math.Log(2)}).Film(film, lane.Right).VolumeUL(); math.Abs(got/film.VolumeUL()-2) > 1e-9 {
		t.Errorf("twice the oil is %g of it", got/film.VolumeUL())
	}
	if got := (State{LengthFt: 4}).Film(film, lane.Right); got.LengthFt != 44 || got.OiledFt(0.1) < 43 {
		t.Errorf("4 ft longer: %g ft, oil to %g ft", got.LengthFt, got.OiledFt(0.1))
	}
	more := State{LogOutside: math.Log(2)}.Film(film, lane.Right)
	for board, want := range map[int]float64{20: 1, 15: 1, 5: 2, 1: 2, 35: 2} {
		if got := more.UL[board-1][10] / film.UL[board-1][10]; math.Abs(got-want) > 1e-9 {
			t.Errorf("board %d has %g times its oil, want %g", board, got, want)
		}
	}
	zone := State{}
	zone.LogZone[1] = math.Log(2)
	worn := zone.Film(film, lane.Right)
	for board, want := range map[int]float64{10: math.Log(2), 5: 0, 15: 0, 1: 0, 30: 0} {
		if got := math.Log(worn.UL[board-1][10] / film.UL[board-1][10]); math.Abs(got-want) > 1e-9 {
			t.Errorf("board %d: log factor %g, want %g", board, got, want)
		}
	}
}

// A left-hander's lanes are the mirror images of a right-hander's.
func TestLanesMirror(t *testing.T) {
	film := anyFilm()
	for b := range film.UL {
		film.UL[b][20] += float64(b) // not symmetric
	}
	for i, state := range Fresh(4, 1) {
		if diff := cmp.Diff(state.Film(film, lane.Right), state.Film(film.Mirror(), lane.Left).Mirror()); diff != "" {
			t.Errorf("state %d (-right +left, mirrored):\n%s", i, diff)
		}
	}
}

func TestPinShift(t *testing.T) {
	state := State{PinShift: [3]float64{1, 2, 4}}
	for board, want := range map[float64]float64{10: -1, 18: 5, 2: 1, -2: 5, -9: 5, 26: 19, 39: 19} {
		if got := state.PinShiftAt(board); math.Abs(got-want) > 1e-12 {
			t.Errorf("outermost at board %g: %g, want %g", board, got, want)
		}
	}
	if got := (State{}).PinShiftAt(8); got != 0 {
		t.Errorf("as stated: %g", got)
	}
}

func TestDrawnLanesAreLanes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := 2 * rapid.IntRange(1, 20).Draw(t, "pairs")
		for _, state := range Fresh(n, rapid.Float64Range(0, 2).Draw(t, "scale")) {
			film, friction := state.Film(anyFilm(), lane.Left), state.Friction(motion.NominalFriction())
			if err := film.Validate(); err != nil {
				t.Fatal(err)
			}
			if err := friction.Validate(); err != nil {
				t.Fatal(err)
			}
			if film.LengthFt > lane.LengthFt || !(state.RevFactor() > 0) {
				t.Fatalf("%+v", state)
			}
		}
	})
}
