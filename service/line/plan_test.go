package line

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
)

func readFilm(tb testing.TB, name string) *oil.Film {
	tb.Helper()
	data, err := os.ReadFile(filepath.Join("../../testdata/motion", name))
	if err != nil {
		tb.Fatal(err)
	}
	var film oil.Film
	if err := json.Unmarshal(data, &film); err != nil {
		tb.Fatal(err)
	}
	return &film
}

// usual is a request for an invented right-hander of middling release over a film of the reference
// maps.
func usual(tb testing.TB, film string) Request {
	tb.Helper()
	return Request{
		Film:     readFilm(tb, film),
		Friction: motion.NominalFriction(),
		Ball:     motion.DefaultBall(),
		Athlete: Athlete{
			Side:              lane.Right,
			SpeedMPH:          17.5,
			RevRPM:            350,
			RotationDeg:       50,
			TiltDeg:           12,
			SlideOffsetBoards: 6,
		},
	}
}

func find(tb testing.TB, request Request) *Plan {
	tb.Helper()
	plan, err := Find(context.Background(), request, nil)
	if err != nil {
		tb.Fatal(err)
	}
	return plan
}

func prepared(tb testing.TB, request Request) (Request, *scorer) {
	tb.Helper()
	if err := request.prepare(); err != nil {
		tb.Fatal(err)
	}
	s, err := newScorer(request)
	if err != nil {
		tb.Fatal(err)
	}
	return request, s
}

func TestPlanIsConsistent(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		request, s := prepared(t, usual(t, film))
		plan := find(t, request)
		if len(plan.Lines) < 3 {
			t.Fatalf("%s: %d lines", film, len(plan.Lines))
		}
		misses := request.Athlete.Scatter.draws(request.evenDraws(finalDraws))
		for i, line := range plan.Lines {
			if line.Rank != i+1 || line.FeetBoard != line.LaydownBoard+6 || line.Shots != len(misses) {
				t.Errorf("%s: line %d: rank %d, feet %g, %d shots", film, i+1, line.Rank, line.FeetBoard, line.Shots)
			}
			if i > 0 && (line.Equal && !plan.Lines[i-1].Equal ||
				!line.Equal && !plan.Lines[i-1].Equal && line.Pins > plan.Lines[i-1].Pins) {
				t.Errorf("%s: line %d is worth %g after %g", film, i+1, line.Pins, plan.Lines[i-1].Pins)
			}
			if again := s.score(line.Aim, misses); again.Value != line.Value {
				t.Errorf("%s: line %d says %+v, scored again %+v", film, i+1, line.Value, again.Value)
			}
			if at := line.Path.Stations[15]; at.Ft != 15 || line.ArrowsBoard != at.Board {
				t.Errorf("%s: line %d crosses 15 ft at %g, its path at %g", film, i+1, line.ArrowsBoard, at.Board)
			}
			if ft := request.Arrows.Ft(line.TargetBoard); math.Abs(ft-line.TargetFt) > 0.01 {
				t.Errorf(
					"%s: line %d: target %g at %g ft, the arrows lie at %g",
					film,
					i+1,
					line.TargetBoard,
					line.TargetFt,
					ft,
				)
			}
			if !s.pocket.holds(line.Path.Outcome) {
				t.Errorf("%s: the typical delivery of line %d misses the pocket", film, i+1)
			}
			if line.FeetBoard > lastFeetBoard || line.TargetBoard < firstTarget-0.5 {
				t.Errorf("%s: line %d: feet %g, target %g", film, i+1, line.FeetBoard, line.TargetBoard)
			}
			if len(line.Misses) != 10 || !strings.HasSuffix(line.Reason, ".") || strings.Contains(line.Reason, "  ") {
				t.Errorf("%s: line %d: %d misses, reason %q", film, i+1, len(line.Misses), line.Reason)
			}
			for j, other := range plan.Lines[:i] {
				if other.near(line.Aim) {
					t.Errorf("%s: lines %d and %d are the same line", film, j+1, i+1)
				}
			}
		}
	}
}

// The coarse search does not lose the best line: nothing on the whole miss map is worth much more
// than the plan's first.
func TestPlanFindsWhatTheWholeMapHolds(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		request := usual(t, film)
		request.Draws = 256
		grid := Grid{steps(3, 1, 30), steps(-2, 0.2, 51)}
		whole, err := Map(context.Background(), request, grid, nil)
		if err != nil {
			t.Fatal(err)
		}
		best, at := 0.0, Aim{}
		for i, row := range whole.Cells {
			for j, cell := range row {
				if cell.Hit == HitPocket && cell.Pins > best {
					best, at = cell.Pins, Aim{grid.LaydownBoards[i], grid.LaunchAnglesDeg[j]}
				}
			}
		}
		first := find(t, request).Lines[0]
		// The first may give up what cannot be told apart; 256 draws make the map's maximum lucky.
		if first.Pins < best-equalPins-0.2 {
			t.Errorf("%s: the plan's first line is worth %.2f, the map holds %.2f at %+v", film, first.Pins, best, at)
		}
	}
}

// The fixed draws agree with plain random sampling over the lanes and the scatter, and the standard
// error is of the right size.
func TestValueAgainstRandomSampling(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		request, s := prepared(t, freshLanes(readFilm(t, film), athletes()[0]))
		random := rand.New(rand.NewPCG(1, 2))
		scatter := request.Athlete.Scatter
		for _, line := range find(t, request).Lines {
			const n = 20_000
			var sum Value
			grown := s.athlete.Habit.growth(line.LaunchAngleDeg)
			for range n {
				z, r := random.NormFloat64(), scatter.ArrowsAngleCorrelation
				one := miss{
					scatter.ArrowsBoards * z, scatter.LaunchAngleDeg * (r*z + math.Sqrt(1-r*r)*random.NormFloat64()),
					scatter.SpeedMPH * random.NormFloat64(), scatter.RevRPM * random.NormFloat64(),
				}
				on := s.lanes[random.IntN(len(s.lanes))]
				s.add(&sum, on.run(s.ball, one.scaled(grown).apply(on.athlete.release(line.Aim))), 1.0/n)
			}
			// The standard error of the random ones is 0.03 pins, and 0.003 of a share.
			if math.Abs(line.Pins-sum.Pins) > 0.25 ||
				math.Abs(line.PocketShare-sum.PocketShare) > 0.03 || math.Abs(line.SplitShare-sum.SplitShare) > 0.02 ||
				math.Abs(
					line.HeadPinShare-sum.HeadPinShare,
				) > 0.03 || math.Abs(line.GutterShare-sum.GutterShare) > 0.02 {
				t.Errorf("%s, line %d: %+v, by random draws %+v", film, line.Rank, line.Value, sum)
			}
		}
	}
}

// The standard error is that of a few lanes drawn: over many more, a line is worth as much give or
// take three of them, and the error is less.
func TestStandardErrorHoldsForMoreLanes(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		few := freshLanes(readFilm(t, film), athletes()[0])
		many := few
		many.Lanes = lanesOf(few, 96)
		for _, line := range find(t, few).Lines {
			over, err := At(many, line.Aim)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(line.Pins-over.Pins) > 3*line.StandardError || over.StandardError > line.StandardError {
				t.Errorf(
					"%s, line %d: %.2f +- %.2f, over 96 lanes %.2f +- %.2f",
					film, line.Rank, line.Pins, line.StandardError, over.Pins, over.StandardError,
				)
			}
		}
	}
}

func TestPlanDoesNotDependOnCores(t *testing.T) {
	request := usual(t, "flat_long.json")
	want := find(t, request)
	before := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(before)
	if diff := cmp.Diff(want, find(t, request)); diff != "" {
		t.Error(diff)
	}
}

// A left-hander on the mirrored film gets the right-hander's plan, with right and left changed.
func TestLeftHandedPlanIsTheMirror(t *testing.T) {
	athlete := athletes()[3]
	film := readFilm(t, "house_like.json")
	film.UL[4][30] += 40 // not symmetric
	right := find(t, freshLanes(film, athlete))
	athlete.Side = lane.Left
	left := find(t, freshLanes(film.Mirror(), athlete))
	swap := strings.NewReplacer(
		"left,",
		"right,",
		"right,",
		"left,",
		"left.",
		"right.",
		"right.",
		"left.",
		"left:",
		"right:",
		"right:",
		"left:",
	)
	for i := range left.Lines {
		left.Lines[i].Reason = swap.Replace(left.Lines[i].Reason)
		for j := range left.Lines[i].Misses {
			miss := &left.Lines[i].Misses[j]
			if (miss.Side == outside) != (miss.Toward == "left") {
				t.Fatalf("a left-hander's miss %s is toward the %s", miss.Side, miss.Toward)
			}
			miss.Toward = map[string]string{"left": "right", "right": "left"}[miss.Toward]
		}
	}
	if diff := cmp.Diff(right, left); diff != "" {
		t.Error(diff)
	}
}

func TestAWiderPocketIsNeverHarder(t *testing.T) {
	request, s := prepared(t, usual(t, "house_like.json"))
	draws := request.Athlete.Scatter.draws(64)
	rapid.Check(t, func(t *rapid.T) {
		aim := Aim{rapid.Float64Range(10, 30).Draw(t, "laydown"), rapid.Float64Range(0, 4).Draw(t, "angle")}
		last := -1.0
		for _, wider := range []float64{0, 0.3, 1, 2} {
			scorer := *s
			scorer.pocket = Pocket{"", 17 - wider, 18 + wider, 4 - wider, 6 + wider}
			value := scorer.score(aim, draws)
			if value.PocketShare < last || value.PocketShare+value.GutterShare > 1+1e-9 {
				t.Fatalf("wider by %g: %+v after %g in the pocket", wider, value.Value, last)
			}
			last = value.PocketShare
		}
	})
}

func TestMissedAimCrossesTheArrowsThere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		aim := Aim{rapid.Float64Range(5, 35).Draw(t, "laydown"), rapid.Float64Range(-2, 6).Draw(t, "angle")}
		boards := rapid.Float64Range(-5, 5).Draw(t, "boards")
		at := func(a Aim) float64 { return a.LaydownBoard - 15*math.Tan(a.LaunchAngleDeg*math.Pi/180)*12/(41.5/39) }
		if missed := aim.missed(
			boards,
		); math.Abs(at(missed)-at(aim)-boards) > 1e-9 ||
			missed.LaydownBoard != aim.LaydownBoard {
			t.Fatalf("%+v missed by %g is %+v, which crosses %g boards away", aim, boards, missed, at(missed)-at(aim))
		}
	})
}

func TestNoLineSaysWhy(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Request)
		want   string
	}{
		{"no hook", func(r *Request) { r.Athlete.RevRPM = 0 }, "no shot enters at 3 degrees"},
		{"no friction", func(r *Request) { r.Friction = motion.Friction{Q0: 1} }, "no shot enters at 3 degrees"},
	} {
		request := usual(t, "house_like.json")
		c.change(&request)
		plan := find(t, request)
		if plan.Lines == nil || len(plan.Lines) > 0 || !strings.Contains(plan.Note, c.want) {
			t.Errorf("%s: %d lines, note %q", c.name, len(plan.Lines), plan.Note)
		}
	}
}

// Where nothing that can be played enters steeply enough, the lines are flat, and the plan says so.
func TestFlatLinesSayWhy(t *testing.T) {
	request := usual(t, "house_like.json")
	request.Pocket = DefaultPocket()
	request.Pocket.AngleLowDeg = 6
	plan := find(t, request)
	if len(plan.Lines) == 0 || !strings.Contains(plan.Note, "come in flat") {
		t.Fatalf("%d lines, note %q", len(plan.Lines), plan.Note)
	}
	for _, line := range plan.Lines {
		if o := line.Path.Outcome; o.EntryAngleDeg >= 6 || o.EntryAngleDeg < 3 || o.PinBoard < 16.5 || o.PinBoard > 18.5 {
			t.Errorf("enters board %.1f at %.1f degrees", o.PinBoard, o.EntryAngleDeg)
		}
		if line.PocketShareAsGiven > 0.5 {
			t.Errorf("%.2f of the shots are steeper than the line", line.PocketShareAsGiven)
		}
	}
	if plan := find(t, usual(t, "house_like.json")); plan.Note != "" || plan.Lines[0].PocketShareAsGiven <= 0 {
		t.Errorf("note %q, %.2f in the pocket", plan.Note, plan.Lines[0].PocketShareAsGiven)
	}
}

func TestCancellation(t *testing.T) {
	request := usual(t, "flat_long.json")
	ended, end := context.WithCancel(context.Background())
	end()
	if _, err := Find(ended, request, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("a plan under an ended context: %v", err)
	}
	if _, err := Map(ended, request, DefaultGrid(), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("a map under an ended context: %v", err)
	}
	for _, stage := range []string{"score", "first lines", "refine"} {
		running, stop := context.WithCancel(context.Background())
		_, err := Find(running, request, func(p Progress) {
			if p.Stage == stage {
				stop()
			}
		})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("a plan ended at %q: %v", stage, err)
		}
		stop()
	}
	running, stop := context.WithCancel(context.Background())
	defer stop()
	last := 0
	_, err := Map(running, request, DefaultGrid(), func(p Progress) { last = p.Done; stop() })
	if !errors.Is(err, context.Canceled) || last > 33*91/2 {
		t.Errorf("a map ended after its first report: %v, %d aims done", err, last)
	}
}

func TestProgress(t *testing.T) {
	request := usual(t, "house_like.json")
	var stages []string
	done := 0
	_, err := Find(context.Background(), request, func(p Progress) {
		if len(stages) == 0 || stages[len(stages)-1] != p.Stage {
			stages, done = append(stages, p.Stage), 0
		}
		if p.Done < done || p.Done > p.Total {
			t.Errorf("%s: %d of %d after %d", p.Stage, p.Done, p.Total, done)
		}
		done = p.Done
		if (p.Stage == "first lines") != (len(p.Lines) > 0) {
			t.Errorf("%s carries %d lines", p.Stage, len(p.Lines))
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"score", "first lines", "refine", "final"}, stages); diff != "" {
		t.Error(diff)
	}
}

func TestRequestFaultsAreAllNamed(t *testing.T) {
	_, err := Find(context.Background(), Request{
		Friction: motion.Friction{MuDry: -1, Q0: 1}, Draws: 3, Lines: 50,
		Athlete: Athlete{Side: "both", SlideOffsetBoards: math.NaN(), Scatter: Scatter{ArrowsBoards: -1}},
		Pocket:  Pocket{BoardLow: 18, BoardHigh: 17, AngleLowDeg: 6, AngleHighDeg: 4},
	}, nil)
	if err == nil {
		t.Fatal("accepted")
	}
	for _, part := range []string{
		"side", "film", "mu_dry", "draws", "lines", "slide_offset_boards", "arrows_boards", "board_low", "angle_low_deg", "gyration_in",
		"speed_mph",
	} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("the error does not name %s:\n%v", part, err)
		}
	}
	request := usual(t, "house_like.json")
	for name, grid := range map[string]Grid{
		"empty":      {},
		"falling":    {[]float64{10, 9}, []float64{1}},
		"off lane":   {[]float64{10, 50}, []float64{1}},
		"too many":   {steps(5, 0.01, 3000), steps(0, 0.01, 100)},
		"not number": {[]float64{math.NaN()}, []float64{1}},
	} {
		if _, err := Map(
			context.Background(),
			request,
			grid,
			nil,
		); err == nil ||
			!strings.Contains(err.Error(), "grid") {
			t.Errorf("grid %s: %v", name, err)
		}
	}
}
