package line

import (
	"context"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A line that was found and the same aim worked out are the same line.
func TestAtAgreesWithFind(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		request := usual(t, film)
		plan, err := Find(context.Background(), request, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range plan.Lines {
			got, err := At(request, want.Aim)
			if err != nil {
				t.Fatal(err)
			}
			want.Rank, want.Equal, want.BehindPins, want.BehindError = 1, false, 0, 0
			if diff := cmp.Diff(want, got.Line); diff != "" {
				t.Errorf("%s, %+v (-found +worked out):\n%s", film, want.Aim, diff)
			}
			if len(got.MissPaths) != len(got.Misses) {
				t.Fatalf("%d paths for %d misses", len(got.MissPaths), len(got.Misses))
			}
			for i, miss := range got.Misses {
				path := got.MissPaths[i]
				if path.Reaches() != (miss.PinBoard != 0) ||
					path.Reaches() && math.Abs(path.PinBoard-miss.PinBoard) > 0.05 {
					t.Errorf(
						"%s: a miss of %d %s ends at %g, its path at %g",
						film,
						miss.Boards,
						miss.Side,
						miss.PinBoard,
						path.PinBoard,
					)
				}
			}
		}
	}
}

func TestAtRefuses(t *testing.T) {
	request := usual(t, "house_like.json")
	for _, c := range []struct {
		name   string
		change func(*Request, *Aim)
		says   string
	}{
		{"laydown", func(_ *Request, a *Aim) { a.LaydownBoard = 50 }, "laydown_board 50 is out of range"},
		{"angle", func(_ *Request, a *Aim) { a.LaunchAngleDeg = math.NaN() }, "launch_angle_deg NaN is out of range"},
		{"film", func(r *Request, _ *Aim) { r.Film = nil }, "film is missing"},
		{"pocket", func(r *Request, _ *Aim) {
			r.Pocket = Pocket{BoardLow: 18, BoardHigh: 16, AngleLowDeg: 3, AngleHighDeg: 8}
		}, "board_low 18 must be less than"},
	} {
		asked, aim := request, Aim{LaydownBoard: 24, LaunchAngleDeg: 2}
		c.change(&asked, &aim)
		if _, err := At(asked, aim); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: At fails with %v, want %q", c.name, err, c.says)
		}
		if _, err := Throws(asked, aim, 4); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: Throws fails with %v, want %q", c.name, err, c.says)
		}
	}
	for _, n := range []int{0, -1, maxDraws + 1} {
		if _, err := Throws(request, Aim{LaydownBoard: 24, LaunchAngleDeg: 2}, n); err == nil {
			t.Errorf("%d shots are thrown", n)
		}
	}
}

// The thrown shots scatter as the line was scored: the same share of them reaches the pocket.
func TestThrowsScatterAsScored(t *testing.T) {
	request := usual(t, "house_like.json")
	plan, err := Find(context.Background(), request, nil)
	if err != nil {
		t.Fatal(err)
	}
	best := plan.Lines[0]
	paths, err := Throws(request, best.Aim, finalDraws)
	if err != nil {
		t.Fatal(err)
	}
	if len(paths) != finalDraws {
		t.Fatalf("%d paths, want %d", len(paths), finalDraws)
	}
	hits := 0
	for _, path := range paths {
		if plan.Pocket.holds(path.Outcome) {
			hits++
		}
		if len(path.Stations) < 2 {
			t.Errorf("a path has %d stations", len(path.Stations))
		}
	}
	// The fast paths that scored the line lie within 0.05 board of these, so that few shots at the
	// pocket's edge may differ.
	if got := float64(hits) / finalDraws; math.Abs(got-best.PocketShare) > 0.02 {
		t.Errorf("%g of the thrown shots reach the pocket, the line was scored %g", got, best.PocketShare)
	}
	odd, err := Throws(request, best.Aim, 7)
	if err != nil || len(odd) != 7 {
		t.Errorf("%d shots, %v", len(odd), err)
	}
	if again, _ := Throws(request, best.Aim, 7); !cmp.Equal(odd, again) {
		t.Error("the same shots differ from call to call")
	}
}

// The spread at the foul line is that of the draws themselves.
func TestLaydownSpread(t *testing.T) {
	request := usual(t, "house_like.json")
	for _, scatter := range []Scatter{
		AssumedScatter(),
		{ArrowsBoards: 0.6, LaunchAngleDeg: 0.5, ArrowsAngleCorrelation: 0.3},
		{ArrowsBoards: 1, LaunchAngleDeg: 0, ArrowsAngleCorrelation: 0},
	} {
		for _, aim := range []Aim{{24, 2}, {20, 0}, {30, 6}} {
			usual := request.Athlete.release(aim)
			var xx, xy, yy float64
			draws := scatter.draws(maxDraws)
			for _, miss := range draws {
				release := miss.apply(usual)
				x, y := release.LaydownBoard-aim.LaydownBoard, release.LaunchAngleDeg-aim.LaunchAngleDeg
				xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
			}
			n := float64(len(draws))
			gotXX, gotXY, gotYY := scatter.LaydownSpread(aim)
			for name, pair := range map[string][2]float64{"boards": {gotXX, xx / n}, "covariance": {gotXY, xy / n}, "angle": {gotYY, yy / n}} {
				if math.Abs(pair[0]-pair[1]) > 0.02*math.Max(math.Abs(pair[1]), 0.05) {
					t.Errorf("%+v at %+v: variance of %s %g, of the draws %g", scatter, aim, name, pair[0], pair[1])
				}
			}
		}
	}
}

func TestHitWords(t *testing.T) {
	for _, hit := range []Hit{HitPocket, HitFlat, HitSteep, HitLight, HitHigh, HitCrossover, HitOutside, HitInside, HitGutter, HitShort} {
		if hit.Words() == "" {
			t.Errorf("%s has no words", hit)
		}
	}
}
