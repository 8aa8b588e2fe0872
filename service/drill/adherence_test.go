package drill

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/shot"
	"laneward/service/trend"
)

var playInside = Drill{Rules: []Rule{{Measure: Board, At: Breakpoint, Min: ptr(10.0)}}, Reps: 30, PassShare: 0.8}

// logOf builds shots from their breakpoint boards; a board of 0 was not measured.
func logOf(boards ...float64) []shot.Shot {
	shots := make([]shot.Shot, len(boards))
	for i, board := range boards {
		shots[i].Order = i + 1
		if board != 0 {
			shots[i].BreakpointBoard = &boards[i]
		}
	}
	return shots
}

// Ten shots counted by hand: 6 kept, 3 broken, 1 not measured.
func TestScoreCountedByHand(t *testing.T) {
	corridor := Drill{
		Rules:     []Rule{{Measure: Board, At: Breakpoint, Min: ptr(8.0), Max: ptr(12.0)}},
		Reps:      12,
		PassShare: 0.8,
	}
	shots := logOf(10, 11, 7, 9, 10, 12, 0, 14, 8, 5)
	a := corridor.Score(shots, corridor.Judge(shots))
	if a.Shots != 10 || a.Judged != 9 || a.Kept != 6 || a.Broken != 3 || a.Unknown != 1 || a.Coverage != 0.9 {
		t.Errorf("counts: %+v", a)
	}
	if a.OutsideMisses != 2 || a.InsideMisses != 1 {
		t.Errorf("%d misses outside and %d inside, want 2 and 1", a.OutsideMisses, a.InsideMisses)
	}
	if a.LongestRun != 3 { // 9, 10, 12; the unmeasured shot ends it
		t.Errorf("longest run %d, want 3", a.LongestRun)
	}
	if a.RepsLeft != 2 { // the unmeasured one was thrown too
		t.Errorf("%d reps left, want 2", a.RepsLeft)
	}
	near(t, "share", *a.KeptShare.Share, 6.0/9, 1e-12)
	if want := trend.Wilson(6, 9, trend.Z95); a.KeptShare.Interval != want {
		t.Errorf("interval %v, want %v", a.KeptShare.Interval, want)
	}
	// Margins to 7.5 and 12.5: 2.5, 1.5, -0.5, 1.5, 2.5, 0.5, -1.5, 0.5, -2.5
	near(t, "mean margin", *a.MeanMargin, 4.5/9, 1e-12)
	if a.MarginUnit != "boards" {
		t.Errorf("margin in %q", a.MarginUnit)
	}
	// The first four judged are kept, kept, broken, kept; the last four kept, broken, kept, broken.
	if a.Trend.Second.Count != 3 || a.Trend.First.Count != 2 || a.Trend.First.Of != 4 || a.Trend.Sign() != 0 {
		t.Errorf("trend %+v", a.Trend)
	}
	near(t, "trend", *a.Trend.Difference, -0.25, 1e-12)
	if a.Verdict != TooFewShots || a.Evidence.DecidedAt != 0 {
		t.Errorf("verdict %s at %d", a.Verdict, a.Evidence.DecidedAt)
	}
	want := []RuleTally{
		{Kept: 6, Broken: 3, Unknown: 1, BrokenBelow: 2, BrokenAbove: 1, MeanMargin: a.MeanMargin, Unit: "boards"},
	}
	if diff := cmp.Diff(want, a.Rules); diff != "" {
		t.Errorf("tallies (-want +got):\n%s", diff)
	}
}

func TestScoreOfNothing(t *testing.T) {
	for name, shots := range map[string][]shot.Shot{"no shots": nil, "nothing measured": logOf(0, 0, 0)} {
		t.Run(name, func(t *testing.T) {
			a := playInside.Score(shots, playInside.Judge(shots))
			if a.Judged != 0 || a.KeptShare.Share != nil || a.TrueShare.Share != nil || a.MeanMargin != nil ||
				a.Trend.Difference != nil ||
				a.Strike.Difference != nil ||
				a.Verdict != TooFewShots ||
				a.KeptShare.Interval != (trend.Interval{Low: 0, High: 1}) {
				t.Errorf("something is said of nothing: %+v", a)
			}
		})
	}
}

// 11 kept shots in a row meet 80 % against 60 % (ln 19 / ln (0.8/0.6) = 10.24); what was reached is
// held whatever comes later, until a shot behind it is changed.
func TestVerdictIsHeld(t *testing.T) {
	boards := slices.Repeat([]float64{20}, 11)
	score := func() Adherence { shots := logOf(boards...); return playInside.Score(shots, playInside.Judge(shots)) }
	if a := score(); a.Verdict != Met || a.Evidence.DecidedAt != 11 || a.Evidence.Progress != 1 {
		t.Errorf("11 of 11: %s at %d", a.Verdict, a.Evidence.DecidedAt)
	}
	boards = append(boards, slices.Repeat([]float64{5}, 30)...)
	a := score()
	if a.Verdict != Met || a.Evidence.DecidedAt != 11 {
		t.Errorf("11 of 41: %s, decided at %d", a.Verdict, a.Evidence.DecidedAt)
	}
	if a.Trend.Sign() != -1 {
		t.Errorf("the fall is not seen: %+v", a.Trend)
	}
	boards[3], boards[4] = 5, 5
	if a := score(); a.Verdict != NotMet {
		t.Errorf("with two of the eleven broken after all: %s at %d", a.Verdict, a.Evidence.DecidedAt)
	}
}

// gutterBalls are n shots of which only the ten pins left were recorded.
func gutterBalls(n int) []shot.Shot {
	rack := lane.FullRack
	return slices.Repeat([]shot.Shot{{Standing: &rack}}, n)
}

// 20 kept shots do not meet a drill of 30 when nothing is known of the other 10, and less so when
// those went into the gutter.
func TestUnmeasuredShotsStandInTheScore(t *testing.T) {
	kept := logOf(slices.Repeat([]float64{20}, 20)...)
	for name, c := range map[string]struct {
		last    []shot.Shot
		verdict DrillVerdict
		reading string
	}{
		"not measured": {
			logOf(make([]float64, 10)...), TooFewShots,
			"Did as asked on 20 of 20 measured shots (100 %; 80 % asked); 67 to 100 %: 10 of 30 not measured. " +
				"Too few of them were measured to call it.",
		},
		"in the gutter": {
			gutterBalls(10), TooFewShots,
			"Did as asked on 20 of 30 shots (67 %; 80 % asked); 10 in the gutter. Too close to call. " +
				"0 of the 10 off line struck.",
		},
	} {
		t.Run(name, func(t *testing.T) {
			var shots []shot.Shot
			for i, one := range c.last {
				shots = append(shots, kept[2*i], kept[2*i+1], one)
			}
			a := playInside.Score(shots, playInside.Judge(shots))
			if a.Verdict != c.verdict || a.Reading != c.reading {
				t.Errorf("%s: %s", a.Verdict, a.Reading)
			}
			near(t, "at least", a.TrueShare.Bounds.Low, 20.0/30, 1e-6)
		})
	}
}

// A shot that keeps each of two rules in nine cases of ten keeps both in 81 %, and is told so when
// the second was measured at random in half the shots.
func TestSeveralRulesWithGaps(t *testing.T) {
	random := rand.New(rand.NewPCG(81, 74))
	twoRules := Drill{Rules: []Rule{playInside.Rules[0], {Measure: Speed, Min: ptr(16.0)}}, Reps: 30, PassShare: 0.8}
	draw := func(kept, broken float64) *float64 {
		if random.Float64() < 0.9 {
			return &kept
		}
		return &broken
	}
	shots := make([]shot.Shot, 4000)
	for i := range shots {
		shots[i] = shot.Shot{
			BreakpointBoard: draw(20, 2),
			Errors:          shot.StandardErrors{Board: ptr(1e-3), SpeedMPH: ptr(1e-3)},
		}
		if random.IntN(2) == 0 {
			shots[i].SpeedMPH = draw(18, 12)
		}
	}
	a := twoRules.Score(shots, twoRules.Judge(shots))
	near(t, "share told", *a.TrueShare.Share, 0.81, 0.02)
	if !a.TrueShare.Interval.Contains(0.81) || a.TrueShare.Bounds.Low > 0.5 || a.TrueShare.Bounds.High < 0.81 {
		t.Errorf("%+v", a.TrueShare)
	}
}

// outcome adds n shots at a breakpoint board, of which the first strike and the first hit the
// pocket.
func outcome(shots []shot.Shot, board float64, n, strikes, pockets int) []shot.Shot {
	strike, corner := lane.PinSet(0), lane.PinSet(1<<9)
	for i := range n {
		s := shot.Shot{BreakpointBoard: &board, Standing: &corner, EntryBoard: ptr(15.0)}
		if i < strikes {
			s.Standing = &strike
		}
		if i < pockets {
			s.EntryBoard = ptr(17.5)
		}
		shots = append(shots, s)
	}
	return shots
}

// The interval of 56/70 against 48/80 at one look is 0.0524 to 0.3339 (R. G. Newcombe 1998, Stat.
// Med. 17:873-890, table II (a), from memory and recomputed); read after every shot it does not tell
// them apart yet, nor 56/70 against 40/80.
func TestPocketAndStrikesKeptAgainstBroken(t *testing.T) {
	shots := outcome(outcome(nil, 12, 70, 56, 30), 7, 80, 48, 20)
	shots = append(shots, logOf(12, 7, 0)...) // these recorded neither
	shots = append(shots, shot.Shot{EntryBoard: ptr(17.5), Standing: ptr(lane.PinSet(0))})
	a := playInside.Score(shots, playInside.Judge(shots))
	if a.Strike.First.Count != 56 || a.Strike.First.Of != 70 || a.Strike.Second.Count != 48 ||
		a.Strike.Second.Of != 80 {
		t.Errorf("strikes %+v", a.Strike)
	}
	if i := a.Strike.Interval; i.Low > 0.0524 || i.High < 0.3339 || a.Strike.Sign() != 0 {
		t.Errorf("interval %v is as narrow as for one look", i)
	}
	if a.Pocket.First.Count != 30 || a.Pocket.First.Of != 70 || a.Pocket.Second.Count != 20 ||
		a.Pocket.Second.Of != 80 {
		t.Errorf("pockets %+v", a.Pocket)
	}
}

func TestPocketHit(t *testing.T) {
	for board, want := range map[float64]bool{16: false, 16.4: false, 16.5: true, 17: true, 17.5: true, 18: true, 18.5: true, 18.6: false, 19: false} {
		if PocketHit(board) != want {
			t.Errorf("board %v: %v", board, !want)
		}
	}
}

func TestReading(t *testing.T) {
	twoRules := Drill{Rules: []Rule{playInside.Rules[0], {Measure: Speed, Min: ptr(10.0)}}, Reps: 30, PassShare: 0.8}
	fast := outcome(outcome(nil, 20, 3, 1, 0), 2, 2, 1, 0)
	for i := range fast {
		fast[i].SpeedMPH = ptr(17.0)
	}
	cases := map[string]struct {
		drill Drill
		shots []shot.Shot
		want  string
	}{
		"no shots": {playInside, nil, "No shots yet."},
		"nothing measured": {
			playInside,
			logOf(0, 0),
			"The 2 shots were not measured, so nothing can be said yet: record the board at the breakpoint.",
		},
		"no pins": {
			playInside,
			logOf(20, 20, 2),
			"Did as asked on 2 of 3 shots (67 %; 80 % asked). Too few shots to call it.",
		},
		"lucky": {
			playInside,
			outcome(outcome(nil, 20, 21, 9, 9), 2, 9, 5, 5),
			"Did as asked on 21 of 30 shots (70 %; 80 % asked). The drill is met: nearer 80 % than 60 %. The verdict weighs these two shares only: the 95 % interval, 52 to 83 %, holds both. 9 of 21 on line struck and 5 of 9 off line: too close to call; don't credit the line for those 5 strikes.",
		},
		"as asked is better": {
			playInside,
			outcome(outcome(nil, 20, 70, 56, 9), 2, 80, 1, 5),
			"Did as asked on 70 of 150 shots (47 %; 80 % asked). The drill is met: nearer 80 % than 60 %. Shots on line struck more often (56 of 70 against 1 of 80).",
		},
		"as asked is worse": {
			playInside,
			outcome(outcome(nil, 20, 90, 9, 9), 2, 10, 9, 5),
			"Did as asked on 90 of 100 shots (90 %; 80 % asked). The drill is met: nearer 80 % than 60 %. Shots on line struck less often (9 of 90 against 9 of 10): look at the line again.",
		},
		"never broken": {
			playInside,
			outcome(nil, 20, 5, 2, 2),
			"Did as asked on 5 of 5 shots (100 %; 80 % asked). Too few shots to call it. 2 of the 5 on line struck.",
		},
		"never kept": {
			playInside,
			outcome(nil, 2, 8, 2, 2),
			"Did as asked on 0 of 8 shots (0 %; 80 % asked). The drill is not met: nearer 60 % than 80 %. 2 of the 8 off line struck; don't credit the line for those 2 strikes.",
		},
		"two rules": {
			twoRules,
			fast,
			"Did as asked on 3 of 5 shots (60 %; 80 % asked). Too few shots to call it. 1 of 3 done as asked struck and 1 of 2 not done as asked: too close to call; don't credit the line for that strike.",
		},
		"by eye at the edge": {
			playInside,
			logOf(slices.Repeat([]float64{9, 10, 11, 10, 9, 10}, 3)...),
			"Did as asked on 12 of 18 shots (67 %, or 73 % allowing for measurement error; 80 % asked). Too few shots to call it.",
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			if got := c.drill.Score(c.shots, c.drill.Judge(c.shots)).Reading; got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

// The share told allows for errors of reading: an athlete whose true boards spread evenly about
// the edge, read by an eye that is off by a board. Tolerance: four binomial standard errors. The
// generator is fixed.
func TestShareOfShotsSpreadEvenly(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	const n = 50_000
	truly := 0.0
	shots := make([]shot.Shot, n)
	for i := range shots {
		position := 4 + 12*random.Float64()
		if position >= 9.5 {
			truly++
		}
		shots[i] = shot.Shot{BreakpointBoard: ptr(position + random.NormFloat64()), Source: "eye"}
	}
	a := playInside.Score(shots, playInside.Judge(shots))
	near(t, "share told", *a.TrueShare.Share, truly/n, 4*0.5/223.6)
}

// delivery is a shot in the lane's own coordinates, boards from the right gutter; a multiple of 1/8
// mirrors without rounding.
type delivery struct {
	laydownX, arrowsX, breakpointX, entryX *float64
	breakpointFt                           float64
	track                                  []shot.TrackPoint // Board holds x
	standing                               lane.PinSet
}

func anyDelivery(t *rapid.T) delivery {
	x := func(label string) *float64 {
		if rapid.IntRange(0, 3).Draw(t, label+" missing") == 0 {
			return nil
		}
		return ptr(float64(rapid.IntRange(4, 316).Draw(t, label)) / 8)
	}
	d := delivery{
		laydownX: x("laydown"), arrowsX: x("arrows"), breakpointX: x("breakpoint"), entryX: x("entry"),
		breakpointFt: float64(rapid.IntRange(30, 50).Draw(t, "ft")),
		standing:     lane.PinSet(rapid.IntRange(0, int(lane.FullRack)).Draw(t, "standing")),
	}
	for ft := 20.0; ft < 60; ft += 8 {
		if at := x("track"); at != nil {
			d.track = append(d.track, shot.TrackPoint{Ft: ft, Board: *at})
		}
	}
	return d
}

func (d delivery) mirrored() delivery {
	flip := func(x *float64) *float64 {
		if x == nil {
			return nil
		}
		return ptr(2*lane.CentreBoard - *x)
	}
	m := d
	m.laydownX, m.arrowsX, m.breakpointX, m.entryX = flip(
		d.laydownX,
	), flip(
		d.arrowsX,
	), flip(
		d.breakpointX,
	), flip(
		d.entryX,
	)
	m.standing = d.standing.Mirror()
	m.track = nil
	for _, p := range d.track {
		m.track = append(m.track, shot.TrackPoint{Ft: p.Ft, Board: *flip(&p.Board)})
	}
	return m
}

// logged is the delivery as an athlete of this side counts it.
func (d delivery) logged(side lane.Side) shot.Shot {
	board := func(x *float64) *float64 {
		if x == nil {
			return nil
		}
		return ptr(side.Board(*x))
	}
	s := shot.Shot{
		LaydownBoard: board(
			d.laydownX,
		),
		ArrowsBoard:     board(d.arrowsX),
		BreakpointBoard: board(d.breakpointX),
		EntryBoard:      board(d.entryX),
		BreakpointFt:    &d.breakpointFt,
		Standing:        &d.standing,
		Source:          "video",
	}
	for _, p := range d.track {
		s.Track = append(s.Track, shot.TrackPoint{Ft: p.Ft, Board: side.Board(p.Board)})
	}
	return s
}

func anyDrill(t *rapid.T, balls []uuid.UUID) Drill {
	rule := rapid.Custom(func(t *rapid.T) Rule { return anyRule(t, balls) })
	return Drill{Rules: rapid.SliceOfN(rule, 1, 4).Draw(t, "rules"), Reps: 5, PassShare: 0.7}
}

// In the mirrored world, with the other hand, every judgement and score is the same.
func TestMirroredWorldIsJudgedAlike(t *testing.T) {
	balls := []uuid.UUID{ballA, ballB}
	rapid.Check(t, func(t *rapid.T) {
		rightHanded := anyDrill(t, balls)
		leftHanded := rightHanded
		leftHanded.Rules = make([]Rule, len(rightHanded.Rules))
		for i, rule := range rightHanded.Rules {
			leftHanded.Rules[i] = rule.Mirror()
		}
		var rights, lefts []shot.Shot
		for range rapid.IntRange(1, 12).Draw(t, "shots") {
			d := anyDelivery(t)
			rights = append(rights, d.logged(lane.Right))
			lefts = append(lefts, d.mirrored().logged(lane.Left))
		}
		right, left := rightHanded.Judge(rights), leftHanded.Judge(lefts)
		if diff := cmp.Diff(right, left); diff != "" {
			t.Fatalf("judgements (-right +left):\n%s", diff)
		}
		if diff := cmp.Diff(rightHanded.Score(rights, right), leftHanded.Score(lefts, left)); diff != "" {
			t.Fatalf("scores (-right +left):\n%s", diff)
		}
	})
}

// The parts of any score add up.
func TestScoreAddsUp(t *testing.T) {
	balls := []uuid.UUID{ballA, ballB}
	rapid.Check(t, func(t *rapid.T) {
		drill := anyDrill(t, balls)
		var shots []shot.Shot
		for range rapid.IntRange(0, 20).Draw(t, "shots") {
			shots = append(shots, anyDelivery(t).logged(lane.Right))
		}
		judged := drill.Judge(shots)
		a := drill.Score(shots, judged)
		if a.Kept+a.Broken != a.Judged || a.Judged+a.Unknown != a.Shots || a.KeptShare.Count != a.Kept ||
			a.KeptShare.Of != a.Judged {
			t.Fatalf("counts do not add up: %+v", a)
		}
		if a.OutsideMisses+a.InsideMisses+a.GutterBalls > a.Broken || a.LongestRun > a.Kept ||
			a.Strike.First.Of+a.Strike.Second.Of > a.Judged {
			t.Fatalf("parts exceed the whole: %+v", a)
		}
		for i, tally := range a.Rules {
			if tally.Kept+tally.Broken+tally.Unknown != a.Shots || tally.BrokenBelow+tally.BrokenAbove > tally.Broken {
				t.Fatalf("rule %d does not add up: %+v", i, tally)
			}
		}
		for i, j := range judged {
			if p := j.ProbabilityKept; !(p >= 0 && p <= 1) {
				t.Fatalf("shot %d kept with probability %v", i, p)
			}
		}
	})
}

// A verdict that the first shots left open is the same whether those are looked at again or not.
func TestVerdictAfterShotsThatLeftItOpen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		boards := rapid.SliceOfN(rapid.SampledFrom([]float64{0, 5, 9, 10, 12, 20, 20, 20}), 0, 60).Draw(t, "boards")
		shots := logOf(boards...)
		judged := playInside.Judge(shots)
		score := playInside.Score(shots, judged)
		open := len(shots)
		if score.Evidence.DecidedAt > 0 {
			open = score.Evidence.DecidedAt - 1
		}
		from := rapid.IntRange(0, open).Draw(t, "from")
		if got := playInside.VerdictAfter(from, judged); got != score.Verdict {
			t.Fatalf("%s after %d open shots, want %s", got, from, score.Verdict)
		}
	})
}
