package motion

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"laneward/service/lane"
	"laneward/service/oil"
)

// wornBy is a film after so many shots of the athlete of the table along a line, scattered by 0.8
// board and 0.3 degree.
func wornBy(t testing.TB, wear oil.Wear, film *oil.Film, line Release, shots int) oil.Worn {
	t.Helper()
	random := rand.New(rand.NewPCG(7, 44))
	worn := oil.Worn{Film: film}
	for range shots {
		release := line
		release.LaydownBoard += 0.8 * random.NormFloat64()
		release.LaunchAngleDeg += 0.3 * random.NormFloat64()
		path, err := Trace(FilmSurface(worn.Film, NominalFriction(), lane.Right), DefaultBall(), release, EveryFoot())
		if err != nil {
			t.Fatal(err)
		}
		if worn, err = wear.After(worn.Film, []oil.Track{path.Track(lane.Right)}); err != nil {
			t.Fatal(err)
		}
	}
	return worn
}

var wearFilms = []struct {
	name string
	film *oil.Film
}{
	{"house-like 40", houseLike.film(40)},
	{"flat 38", flat.film(38)},
	{"flat 44", flat.film(44)},
	{"flat 48", flat.film(48)},
}

// A ball on its own track hooks earlier and more the more shots have been thrown, and most of all
// without carry-down, which alone straightens it.
func TestWornOilHooksMore(t *testing.T) {
	wear := oil.AssumedWear()
	for _, c := range wearFilms {
		t.Run(c.name, func(t *testing.T) {
			line, ok := findLine(t, c.film, NominalFriction())
			if !ok {
				t.Fatal("no line")
			}
			at := func(wear oil.Wear, shots int) float64 {
				return pinOn(t, wornBy(t, wear, c.film, line.release, shots).Film, line.release) - line.path.PinBoard
			}
			twenty, forty, sixty := at(wear, 20), at(wear, 40), at(wear, 60)
			if twenty < 0 || forty < twenty+0.3 || sixty < forty+0.3 || sixty < 1.5 {
				t.Errorf("shifts %.2f, %.2f, %.2f boards after 20, 40, 60 shots: want it to hook more and more", twenty, forty, sixty)
			}
			if alone := at(wear.WithoutCarrydown(), 40); alone <= forty {
				t.Errorf("after 40 shots %.2f boards without carry-down, %.2f with it: carry-down straightens", alone, forty)
			}
		})
	}
}

func pinOn(t testing.TB, film *oil.Film, release Release) float64 {
	t.Helper()
	path, err := Trace(FilmSurface(film, NominalFriction(), lane.Right), DefaultBall(), release, nil)
	if err != nil {
		t.Fatal(err)
	}
	return path.PinBoard
}

// wearTable is the part of the table that wear makes.
func wearTable(t testing.TB) string {
	t.Helper()
	var out strings.Builder
	wear := oil.AssumedWear()
	fmt.Fprintf(&out, "\nShift at the pins after 20, 40 and 60 shots of one athlete on the track (strip %g boards, lift %g, keep %g, carry %g ft);\n",
		wear.StripBoards, wear.LiftShare, wear.KeepShare, wear.CarryFt)
	fmt.Fprintf(&out, "practice: 2 to 3 boards after a game or two of several athletes.\n")
	for _, c := range wearFilms {
		line, ok := findLine(t, c.film, NominalFriction())
		if !ok {
			t.Fatal("no line")
		}
		fmt.Fprintf(&out, "%-16s", c.name)
		for _, shots := range []int{20, 40, 60} {
			worn := wornBy(t, wear, c.film, line.release, shots)
			fmt.Fprintf(&out, " %+6.1f", pinOn(t, worn.Film, line.release)-line.path.PinBoard)
		}
		alone := wornBy(t, wear.WithoutCarrydown(), c.film, line.release, 40)
		fmt.Fprintf(&out, "   40 without carry-down %+6.1f\n", pinOn(t, alone.Film, line.release)-line.path.PinBoard)
	}
	return out.String()
}
