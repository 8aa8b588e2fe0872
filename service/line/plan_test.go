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
		for i, line := range plan.Lines {
			if line.Rank != i+1 || line.FeetBoard != line.LaydownBoard+6 || line.ScoredShots != finalDraws {
				t.Errorf(
					"%s: rank %d, laydown %g, feet %g, scored by %d",
					film,
					line.Rank,
					line.LaydownBoard,
					line.FeetBoard,
					line.ScoredShots,
				)
			}
			if i > 0 &&
				line.PocketShare-gutterCost*line.GutterShare > plan.Lines[i-1].PocketShare-gutterCost*plan.Lines[i-1].GutterShare+2*centrePreference {
				t.Errorf(
					"%s: line %d has a share of %g, the one before it %g",
					film,
					i+1,
					line.PocketShare,
					plan.Lines[i-1].PocketShare,
				)
			}
			if pocket, gutter := s.shares(
				line.Aim,
				request.Athlete.Scatter.draws(finalDraws),
			); pocket != line.PocketShare ||
				gutter != line.GutterShare {
				t.Errorf(
					"%s: line %d says %g, %g, scored again %g, %g",
					film,
					i+1,
					line.PocketShare,
					line.GutterShare,
					pocket,
					gutter,
				)
			}
			if target := line.Path.Stations[15]; target.Ft != 15 || line.TargetBoard != target.Board {
				t.Errorf("%s: line %d aims at %g, its path is at %g", film, i+1, line.TargetBoard, target.Board)
			}
			if len(line.Misses) != 10 || !strings.HasSuffix(line.Reason, ".") || strings.Count(line.Reason, ".  ") > 0 {
				t.Errorf("%s: line %d: %d misses, reason %q", film, i+1, len(line.Misses), line.Reason)
			}
			for j, other := range plan.Lines[:i] {
				if math.Abs(other.LaydownBoard-line.LaydownBoard) < apartBoards &&
					math.Abs(other.LaunchAngleDeg-line.LaunchAngleDeg) < apartDeg {
					t.Errorf("%s: lines %d and %d are the same line", film, j+1, i+1)
				}
			}
		}
	}
}

// The coarse search does not lose the best line: nothing on the whole miss map scores much better
// than the plan's first.
func TestPlanFindsWhatTheWholeMapHolds(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		request := usual(t, film)
		request.Draws = 256
		grid := Grid{steps(3, 1, 35), steps(-2, 0.2, 51)}
		whole, err := Map(context.Background(), request, grid, nil)
		if err != nil {
			t.Fatal(err)
		}
		best, at := 0.0, Aim{}
		for i, row := range whole.Cells {
			for j, cell := range row {
				if cell.PocketShare > best {
					best, at = cell.PocketShare, Aim{grid.LaydownBoards[i], grid.LaunchAnglesDeg[j]}
				}
			}
		}
		first := find(t, request).Lines[0]
		t.Logf(
			"%s: the map's best is %.3f at %+v, the plan's first %.3f at %+v",
			film,
			best,
			at,
			first.PocketShare,
			first.Aim,
		)
		if first.PocketShare < best-0.05 { // 256 draws: the map's maximum over 1,785 cells is lucky by some hundredths
			t.Errorf(
				"%s: the plan's first line keeps %.3f, the map holds %.3f at %+v",
				film,
				first.PocketShare,
				best,
				at,
			)
		}
	}
}

// The fixed draws agree with plain random sampling.
func TestSharesAgainstRandomSampling(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		request, s := prepared(t, usual(t, film))
		random := rand.New(rand.NewPCG(1, 2))
		scatter := request.Athlete.Scatter
		for _, line := range find(t, request).Lines {
			const n = 20_000
			hits, release := 0, s.athlete.release(line.Aim)
			for range n {
				z := random.NormFloat64()
				r := scatter.ArrowsAngleCorrelation
				one := miss{
					scatter.ArrowsBoards * z, scatter.LaunchAngleDeg * (r*z + math.Sqrt(1-r*r)*random.NormFloat64()),
					scatter.SpeedMPH * random.NormFloat64(), scatter.RevRPM * random.NormFloat64(),
				}
				if s.pocket.holds(s.table.Run(s.ball, one.apply(release))) {
					hits++
				}
			}
			if want := float64(
				hits,
			) / n; math.Abs(
				line.PocketShare-want,
			) > 0.03 { // standard error: 0.003, and 0.015 of independent draws
				t.Errorf(
					"%s, line %d: %.3f by %d draws, %.3f by %d random ones",
					film,
					line.Rank,
					line.PocketShare,
					finalDraws,
					want,
					n,
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
	request := usual(t, "house_like.json")
	request.Film.UL[4][30] += 40 // not symmetric
	right := find(t, request)
	request.Film, request.Athlete.Side = request.Film.Mirror(), lane.Left
	left := find(t, request)
	for i := range left.Lines {
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
			pocket, gutter := scorer.shares(aim, draws)
			if pocket < last || pocket+gutter > 1 {
				t.Fatalf("wider by %g: %g in the pocket after %g, %g in a gutter", wider, pocket, last, gutter)
			}
			last = pocket
		}
	})
}

// The corridor's limit is where misses stop coming back: just inside of it they do, just outside
// they do not.
func TestCorridorLimit(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		request, s := prepared(t, usual(t, film))
		for _, line := range find(t, request).Lines {
			c := line.Corridor
			if !c.Found || c.EdgeOnly {
				continue
			}
			back := func(boards float64) bool {
				o := s.run(line.Aim.missed(-boards))
				return o.Reaches() && o.PinBoard >= s.pocket.BoardLow
			}
			if !back(c.MissBoards) || back(c.MissBoards+0.01) {
				t.Errorf(
					"%s, line %d: back at %g boards %v, at 0.01 more %v",
					film,
					line.Rank,
					c.MissBoards,
					back(c.MissBoards),
					back(c.MissBoards+0.01),
				)
			}
			// The drill never forbids the line itself, and forbids what lies a board outside of the
			// limit.
			own := line.Path.BreakpointBoard
			if n := float64(c.BreakpointBoard); n-0.5 > own+0.01 || n-0.5 < min(c.LimitBoard, own)-1 {
				t.Errorf(
					"%s, line %d: breakpoint %g, limit %g, drill at board %d",
					film,
					line.Rank,
					own,
					c.LimitBoard,
					c.BreakpointBoard,
				)
			}
			if n := float64(c.ArrowsBoard); n-0.5 > line.TargetBoard+0.01 || n-0.5 < line.TargetBoard-c.MissBoards-1 {
				t.Errorf(
					"%s, line %d: arrows %g, miss %g, drill at board %d",
					film,
					line.Rank,
					line.TargetBoard,
					c.MissBoards,
					c.ArrowsBoard,
				)
			}
			if (c.At == AtArrows) != (line.Path.BreakpointFt < 15) {
				t.Errorf(
					"%s, line %d: breakpoint at %g ft, judged at the %s",
					film,
					line.Rank,
					line.Path.BreakpointFt,
					c.At,
				)
			}
		}
	}
}

func TestAtOrInside(t *testing.T) {
	for _, c := range []struct {
		limit, own float64
		want       int
	}{
		{8.4, 12, 9},   // from 8.5 on
		{8.5, 12, 9},   // exactly its far edge
		{8.6, 12, 10},  // the strip of 9 begins outside of the limit
		{6.16, 6.2, 6}, // no strip between: the line itself must keep it
		{0.6, 0.7, 1},
	} {
		if got := atOrInside(c.limit, c.own); got != c.want {
			t.Errorf("limit %g, line at %g: board %d, want %d", c.limit, c.own, got, c.want)
		}
	}
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
