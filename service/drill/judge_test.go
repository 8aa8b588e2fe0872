package drill

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/uuid"

	"laneward/service/lane"
	"laneward/service/shot"
)

func near(t testing.TB, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v within %v", name, got, want, tolerance)
	}
}

// The strip of board N runs from N-0.5 to N+0.5, its edges included; the margin is the position
// less the nearer edge.
func TestJudgeBoards(t *testing.T) {
	inside := Rule{Measure: Board, At: Breakpoint, Min: ptr(10.0)}
	exact := Rule{Measure: Board, At: Breakpoint, Min: ptr(10.5)}
	corridor := Rule{Measure: Board, At: Breakpoint, Min: ptr(8.0), Max: ptr(12.0)}
	cases := map[string]struct {
		rule    Rule
		board   float64
		verdict Verdict
		margin  float64
		miss    Miss
	}{
		"on the board":                   {inside, 10, Kept, 0.5, NoMiss},
		"on the strip's edge":            {inside, 9.5, Kept, 0, NoMiss},
		"just outside the strip":         {inside, 9.4, Broken, -0.1, MissOutside},
		"one board outside":              {inside, 9, Broken, -0.5, MissOutside},
		"far inside":                     {inside, 20, Kept, 10.5, NoMiss},
		"decimal bound is exact":         {exact, 10.4, Broken, -0.1, MissOutside},
		"on the decimal bound":           {exact, 10.5, Kept, 0, NoMiss},
		"middle of the corridor":         {corridor, 10, Kept, 2.5, NoMiss},
		"nearer the inside edge":         {corridor, 12, Kept, 0.5, NoMiss},
		"inside the corridor's edge":     {corridor, 13, Broken, -0.5, MissInside},
		"outside the corridor's edge":    {corridor, 5, Broken, -2.5, MissOutside},
		"rounding of decimals is nought": {exact, 40 - (40 - 10.5) - 1e-15, Kept, 0, NoMiss},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			j := c.rule.Judge(&shot.Shot{BreakpointBoard: &c.board}, nil)
			if j.Verdict != c.verdict || j.Miss != c.miss || j.Basis != Measured || j.Value != c.board {
				t.Errorf("got %+v, want %s %s", j, c.verdict, c.miss)
			}
			near(t, "margin", j.Margin, c.margin, 1e-9)
			if (j.Margin >= 0) != (j.Verdict == Kept) {
				t.Errorf("margin %v of a shot that was %s", j.Margin, j.Verdict)
			}
		})
	}
}

func TestJudgeEveryMeasure(t *testing.T) {
	s := shot.Shot{
		BallID:        &ballA,
		LaydownBoard:  ptr(20.0),
		ArrowsBoard:   ptr(14.0),
		EntryBoard:    ptr(17.5),
		EntryAngleDeg: ptr(5.0),
		LaunchAngleDeg: ptr(
			2.0,
		),
		SpeedMPH:    ptr(17.5),
		RevRateRPM:  ptr(350.0),
		RotationDeg: ptr(50.0),
		TiltDeg:     ptr(12.0),
		Standing:    ptr(pins(t, 10)),
	}
	before := shot.Shot{LaydownBoard: ptr(18.0), SpeedMPH: ptr(18.1)}
	cases := map[string]struct {
		rule    Rule
		verdict Verdict
		margin  float64
		miss    Miss
	}{
		"laydown":      {Rule{Measure: Board, At: Laydown, Max: ptr(20.0)}, Kept, 0.5, NoMiss},
		"arrows":       {Rule{Measure: Board, At: Arrows, Min: ptr(15.0)}, Broken, -0.5, MissOutside},
		"entry":        {Rule{Measure: Board, At: Entry, Min: ptr(17.0), Max: ptr(18.0)}, Kept, 1, NoMiss},
		"at 15 ft":     {Rule{Measure: Board, AtFt: ptr(15.0), Max: ptr(14.0)}, Kept, 0.5, NoMiss},
		"launch angle": {Rule{Measure: LaunchAngle, Max: ptr(1.5)}, Broken, -0.5, MissHigh},
		"entry angle":  {Rule{Measure: EntryAngle, Min: ptr(4.0), Max: ptr(6.0)}, Kept, 1, NoMiss},
		"speed":        {Rule{Measure: Speed, Min: ptr(18.0)}, Broken, -0.5, MissLow},
		"rev rate":     {Rule{Measure: RevRate, Min: ptr(300.0)}, Kept, 50, NoMiss},
		"rotation":     {Rule{Measure: Rotation, Max: ptr(45.0)}, Broken, -5, MissHigh},
		"tilt":         {Rule{Measure: Tilt, Min: ptr(10.0)}, Kept, 2, NoMiss},
		"ball":         {Rule{Measure: Ball, Balls: []uuid.UUID{ballB, ballA}}, Kept, 0, NoMiss},
		"other ball":   {Rule{Measure: Ball, Balls: []uuid.UUID{ballB}}, Broken, 0, NoMiss},
		"leave": {
			Rule{Measure: Leave, Leaves: []lane.PinSet{pins(t, 7, 10), pins(t, 10)}},
			Broken,
			0,
			NoMiss,
		},
		"other leave": {Rule{Measure: Leave, Leaves: []lane.PinSet{pins(t, 7, 10)}}, Kept, 0, NoMiss},
		"moved 2 boards": {
			Rule{Measure: Move, Of: Board, At: Laydown, Min: ptr(2.0), Max: ptr(2.0)},
			Kept,
			0.5,
			NoMiss,
		},
		"did not move 3":    {Rule{Measure: Move, Of: Board, At: Laydown, Min: ptr(3.0)}, Broken, -0.5, MissOutside},
		"speed fell":        {Rule{Measure: Move, Of: Speed, Min: ptr(-0.5), Max: ptr(0.5)}, Broken, -0.1, MissLow},
		"decimal of a move": {Rule{Measure: Move, Of: Speed, Min: ptr(-0.6)}, Kept, 0, NoMiss},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			if err := c.rule.Validate(); err != nil {
				t.Fatal(err)
			}
			j := c.rule.Judge(&s, &before)
			if j.Verdict != c.verdict || j.Miss != c.miss {
				t.Errorf("got %+v, want %s %s", j, c.verdict, c.miss)
			}
			near(t, "margin", j.Margin, c.margin, 1e-9)
		})
	}
}

func TestJudgeUnknownWhenNotMeasured(t *testing.T) {
	for _, measure := range []Measure{LaunchAngle, EntryAngle, Speed, RevRate, Rotation, Tilt} {
		checkUnknown(t, Rule{Measure: measure, Min: ptr(1.0)}, &shot.Shot{}, nil)
	}
	for _, place := range []Place{Laydown, Arrows, Breakpoint, Entry} {
		checkUnknown(t, Rule{Measure: Board, At: place, Min: ptr(10.0)}, &shot.Shot{}, nil)
	}
	checkUnknown(t, Rule{Measure: Board, AtFt: ptr(38.0), Min: ptr(10.0)}, &shot.Shot{}, nil)
	checkUnknown(t, Rule{Measure: Ball, Balls: []uuid.UUID{ballA}}, &shot.Shot{}, nil)
	checkUnknown(t, Rule{Measure: Leave, Leaves: []lane.PinSet{1}}, &shot.Shot{}, nil)
	move := Rule{Measure: Move, Of: Speed, Min: ptr(1.0)}
	checkUnknown(t, move, &shot.Shot{SpeedMPH: ptr(17.0)}, nil)
	checkUnknown(t, move, &shot.Shot{SpeedMPH: ptr(17.0)}, &shot.Shot{})
	checkUnknown(t, move, &shot.Shot{}, &shot.Shot{SpeedMPH: ptr(17.0)})
	checkUnknown(t, Rule{Measure: Speed, Min: ptr(1.0)}, &shot.Shot{SpeedMPH: ptr(math.NaN())}, nil)
}

func checkUnknown(t *testing.T, rule Rule, s, previous *shot.Shot) {
	t.Helper()
	if j := rule.Judge(s, previous); j.Verdict != Unknown || j.Reason == "" || j.ProbabilityKept != 0 || j.Margin != 0 {
		t.Errorf("%+v judged as %+v, want unknown with a reason", rule, j)
	}
}

// Source: table of the standard normal distribution, P(Z <= 0.5) = .69146, P(Z <= 1) = .84134,
// P(|Z| <= 1.96) = .95000.
func TestProbabilityKept(t *testing.T) {
	inside := Rule{Measure: Board, At: Arrows, Min: ptr(10.0)}
	strip := Rule{Measure: Board, At: Arrows, Min: ptr(10.0), Max: ptr(10.0)}
	cases := map[string]struct {
		rule   Rule
		board  float64
		errors shot.StandardErrors
		source string
		want   float64
	}{
		"half a board in, by eye":       {inside, 10, shot.StandardErrors{}, "eye", 0.69146},
		"no source is as the eye":       {inside, 10, shot.StandardErrors{}, "", 0.69146},
		"a source nobody knows":         {inside, 10, shot.StandardErrors{}, "crystal ball", 0.69146},
		"half a board out, by eye":      {inside, 9, shot.StandardErrors{}, "Eye", 1 - 0.69146},
		"stated error counts":           {inside, 10, shot.StandardErrors{Board: ptr(0.5)}, "eye", 0.84134},
		"on the edge":                   {inside, 9.5, shot.StandardErrors{}, "sensor", 0.5},
		"two edges":                     {strip, 10, shot.StandardErrors{Board: ptr(0.5 / 1.96)}, "", 0.95},
		"no error, kept":                {inside, 9.5, shot.StandardErrors{Board: ptr(0.0)}, "", 1},
		"no error, broken":              {inside, 9.4, shot.StandardErrors{Board: ptr(0.0)}, "", 0},
		"error that is none counts not": {inside, 10, shot.StandardErrors{Board: ptr(-1.0)}, "eye", 0.69146},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			j := c.rule.Judge(&shot.Shot{ArrowsBoard: &c.board, Errors: c.errors, Source: c.source}, nil)
			near(t, "probability", j.ProbabilityKept, c.want, 1e-5)
		})
	}
}

// Among true positions spread evenly and read with a normal error, the mean probability is the
// share truly kept. Tolerance: four binomial standard errors of the simulation, 4 sqrt(.25/200000)
// = 0.0045. The generator is fixed.
func TestProbabilityIsCalibrated(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	rule := Rule{Measure: Board, At: Arrows, Min: ptr(8.0), Max: ptr(12.0)}
	low, high := rule.Edges()
	const shots, standardError = 200_000, 0.8
	truly, expected := 0.0, 0.0
	for range shots {
		position := 4 + 12*random.Float64()
		read := position + standardError*random.NormFloat64()
		if position >= low && position <= high {
			truly++
		}
		expected += rule.Judge(
			&shot.Shot{ArrowsBoard: &read, Errors: shot.StandardErrors{Board: ptr(standardError)}},
			nil,
		).ProbabilityKept
	}
	near(t, "mean probability", expected/shots, truly/shots, 0.0045)
}

func TestMoveAddsTheErrorsOfBothReadings(t *testing.T) {
	rule := Rule{Measure: Move, Of: Speed, Min: ptr(0.0)}
	now := shot.Shot{SpeedMPH: ptr(18.0), Errors: shot.StandardErrors{SpeedMPH: ptr(0.3)}}
	before := shot.Shot{SpeedMPH: ptr(17.0), Errors: shot.StandardErrors{SpeedMPH: ptr(0.4)}}
	near(t, "standard error", rule.Judge(&now, &before).StandardError, 0.5, 1e-12)
}

func TestShotOfSeveralRules(t *testing.T) {
	drill := Drill{
		Rules:     []Rule{{Measure: Board, At: Arrows, Min: ptr(10.0)}, {Measure: Speed, Min: ptr(17.0)}},
		Reps:      10,
		PassShare: 0.8,
	}
	cases := map[string]struct {
		board, speed *float64
		want         Verdict
	}{
		"both kept":            {ptr(12.0), ptr(18.0), Kept},
		"one broken":           {ptr(12.0), ptr(16.0), Broken},
		"one unknown":          {ptr(12.0), nil, Unknown},
		"broken and unknown":   {ptr(8.0), nil, Broken},
		"unknown, then broken": {nil, ptr(16.0), Broken},
		"nothing known":        {nil, nil, Unknown},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			judged := drill.Judge([]shot.Shot{{ArrowsBoard: c.board, SpeedMPH: c.speed}})
			if judged[0].Verdict != c.want || len(judged[0].Rules) != 2 {
				t.Fatalf("got %+v, want %s", judged[0], c.want)
			}
			want := 1.0
			for _, j := range judged[0].Rules {
				if j.Verdict != Unknown {
					want *= j.ProbabilityKept
				}
			}
			if c.want == Unknown {
				want = 0
			}
			near(t, "probability", judged[0].ProbabilityKept, want, 1e-12)
		})
	}
}

// An athlete's first shot of a session has no shot before it, whatever was thrown in the session
// before or by another athlete.
func TestMoveStaysInTheSession(t *testing.T) {
	monday, tuesday := uuid.UUID{1}, uuid.UUID{2}
	drill := Drill{Rules: []Rule{{Measure: Move, Of: Board, At: Laydown, Min: ptr(1.0)}}, Reps: 4, PassShare: 0.8}
	judged := drill.Judge([]shot.Shot{
		{SessionID: monday, LaydownBoard: ptr(20.0)},
		{SessionID: monday, LaydownBoard: ptr(21.0)},
		{SessionID: tuesday, LaydownBoard: ptr(22.0)},
		{SessionID: tuesday, LaydownBoard: ptr(22.0)},
		{SessionID: tuesday, AthleteID: uuid.UUID{3}, LaydownBoard: ptr(24.0)},
	})
	for i, want := range []Verdict{Unknown, Kept, Unknown, Broken, Unknown} {
		if judged[i].Verdict != want {
			t.Errorf("shot %d is %s, want %s", i+1, judged[i].Verdict, want)
		}
	}
}

func TestJudgeDoesNotAllocate(t *testing.T) {
	s := practiceLog(1)[0]
	for _, rule := range []Rule{
		{Measure: Board, At: Breakpoint, Min: ptr(10.0)},
		{Measure: Board, AtFt: ptr(38.0), Min: ptr(10.0)},
		{Measure: Move, Of: Speed, Min: ptr(1.0)},
		{Measure: Leave, Leaves: []lane.PinSet{1}},
	} {
		if n := testing.AllocsPerRun(100, func() { rule.Judge(&s, &s) }); n != 0 {
			t.Errorf("%s allocates %v times a shot", rule.Sentence(nil), n)
		}
	}
}

// A ball in the gutter breaks every rule on its path past the last point where it was seen, whatever
// else was recorded; what was measured before that is judged as it was.
func TestJudgeGutterBalls(t *testing.T) {
	rack := lane.FullRack
	inside := func(place Place) Rule { return Rule{Measure: Board, At: place, Min: ptr(10.0)} }
	at40 := Rule{Measure: Board, AtFt: ptr(40.0), Min: ptr(10.0)}
	for name, c := range map[string]struct {
		rule Rule
		shot shot.Shot
		want Verdict
	}{
		"marked, nothing seen":            {inside(Breakpoint), shot.Shot{Gutter: lane.Right}, Broken},
		"marked, seen at the arrows":      {inside(Arrows), shot.Shot{Gutter: lane.Right, ArrowsBoard: ptr(12.0)}, Kept},
		"marked, past the arrows":         {at40, shot.Shot{Gutter: lane.Right, ArrowsBoard: ptr(12.0)}, Broken},
		"marked, where it was laid down":  {inside(Laydown), shot.Shot{Gutter: lane.Right}, Unknown},
		"full rack, nothing seen":         {inside(Breakpoint), shot.Shot{Standing: &rack}, Broken},
		"full rack, seen at the arrows":   {inside(Entry), shot.Shot{Standing: &rack, ArrowsBoard: ptr(12.0)}, Broken},
		"full rack, seen past the arrows": {inside(Entry), shot.Shot{Standing: &rack, BreakpointBoard: ptr(12.0)}, Unknown},
		"the far gutter":                  {inside(Breakpoint), shot.Shot{Standing: &rack, BreakpointBoard: ptr(40.0)}, Broken},
		"the near gutter": {
			Rule{Measure: Board, At: Breakpoint, Max: ptr(10.0)}, shot.Shot{BreakpointBoard: ptr(0.0)}, Broken,
		},
		"a split rule":     {Rule{Measure: Split}, shot.Shot{Standing: &rack}, Broken},
		"a leave rule":     {Rule{Measure: Leave, Leaves: []lane.PinSet{1 << 9}}, shot.Shot{Standing: &rack}, Broken},
		"a speed rule":     {Rule{Measure: Speed, Min: ptr(16.0)}, shot.Shot{Standing: &rack}, Unknown},
		"the entry angle":  {Rule{Measure: EntryAngle, Min: ptr(4.0)}, shot.Shot{Gutter: lane.Right}, Broken},
		"the whole path":   {Rule{Measure: Board, PastFt: ptr(40.0), Min: ptr(5.0)}, shot.Shot{Gutter: lane.Right}, Broken},
		"no gutter at all": {inside(Breakpoint), shot.Shot{}, Unknown},
	} {
		t.Run(name, func(t *testing.T) {
			j := c.rule.Judge(&c.shot, nil)
			if j.Verdict != c.want || j.Verdict == Broken && j.ProbabilityKept != 0 {
				t.Errorf("%+v, want %s", j, c.want)
			}
		})
	}
}
