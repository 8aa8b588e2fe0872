package drill

import (
	"encoding/json"
	"errors"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service/lane"
)

func ptr[T any](v T) *T { return &v }

func pins(t testing.TB, numbers ...int) lane.PinSet {
	t.Helper()
	set, err := lane.Pins(numbers...)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

var (
	ballA = uuid.MustParse("01890a5d-ac96-774b-bcce-b302099a8057")
	ballB = uuid.MustParse("01890a5d-ac96-774b-bcce-b302099a8058")
)

func TestRuleInJSON(t *testing.T) {
	cases := map[string]struct {
		rule Rule
		want string
	}{
		"board": {
			Rule{Measure: Board, At: Breakpoint, Min: ptr(10.0)},
			`{"measure":"board","at":"breakpoint","min":10}`,
		},
		"distance": {
			Rule{Measure: Board, AtFt: ptr(38.5), Min: ptr(8.0), Max: ptr(12.0)},
			`{"measure":"board","at_ft":38.5,"min":8,"max":12}`,
		},
		"foul line":  {Rule{Measure: Board, AtFt: ptr(0.0), Max: ptr(20.0)}, `{"measure":"board","at_ft":0,"max":20}`},
		"zero bound": {Rule{Measure: LaunchAngle, Min: ptr(0.0)}, `{"measure":"launch_angle","min":0}`},
		"ball": {
			Rule{Measure: Ball, Balls: []uuid.UUID{ballA}},
			`{"measure":"ball","balls":["01890a5d-ac96-774b-bcce-b302099a8057"]}`,
		},
		"leave": {
			Rule{Measure: Leave, Leaves: []lane.PinSet{pins(t, 7, 10), pins(t, 10)}},
			`{"measure":"leave","leaves":[[7,10],[10]]}`,
		},
		"move": {
			Rule{Measure: Move, Of: Board, At: Laydown, Min: ptr(2.0)},
			`{"measure":"move","of":"board","at":"laydown","min":2}`,
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			got, err := json.Marshal(c.rule)
			if err != nil {
				t.Fatal(err)
			}
			if string(got) != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
			var back Rule
			if err := json.Unmarshal(got, &back); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.rule, back); diff != "" {
				t.Errorf("read back differently (-was +is):\n%s", diff)
			}
			if err := back.Validate(); err != nil {
				t.Errorf("not valid: %v", err)
			}
		})
	}
}

// A whole board is its strip, half a board either way; a decimal one is the exact place; other
// measures are exact.
func TestEdges(t *testing.T) {
	inf := math.Inf(1)
	cases := map[string]struct {
		rule      Rule
		low, high float64
	}{
		"board 10 or inside":   {Rule{Measure: Board, At: Arrows, Min: ptr(10.0)}, 9.5, inf},
		"board 10.5 or inside": {Rule{Measure: Board, At: Arrows, Min: ptr(10.5)}, 10.5, inf},
		"board 12 or outside":  {Rule{Measure: Board, At: Arrows, Max: ptr(12.0)}, -inf, 12.5},
		"boards 8 to 12":       {Rule{Measure: Board, At: Arrows, Min: ptr(8.0), Max: ptr(12.0)}, 7.5, 12.5},
		"on board 10":          {Rule{Measure: Board, At: Arrows, Min: ptr(10.0), Max: ptr(10.0)}, 9.5, 10.5},
		"17 mph or more":       {Rule{Measure: Speed, Min: ptr(17.0)}, 17, inf},
		"move 2 boards":        {Rule{Measure: Move, Of: Board, At: Laydown, Min: ptr(2.0), Max: ptr(2.0)}, 1.5, 2.5},
		"move 1 mph":           {Rule{Measure: Move, Of: Speed, Max: ptr(1.0)}, -inf, 1},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			if low, high := c.rule.Edges(); low != c.low || high != c.high {
				t.Errorf("edges %v to %v, want %v to %v", low, high, c.low, c.high)
			}
		})
	}
}

func TestRuleFaults(t *testing.T) {
	manyBalls := make([]uuid.UUID, MaxSet+1)
	for i := range manyBalls {
		manyBalls[i][0] = byte(i + 1)
	}
	cases := map[string]struct {
		rule     Rule
		pointers []string
	}{
		"nothing":            {Rule{}, []string{"/measure"}},
		"unknown measure":    {Rule{Measure: "hook", Min: ptr(1.0)}, []string{"/measure"}},
		"no bound":           {Rule{Measure: Board, At: Breakpoint}, []string{""}},
		"no place":           {Rule{Measure: Board, Min: ptr(10.0)}, []string{"/at"}},
		"unknown place":      {Rule{Measure: Board, At: "pit", Min: ptr(10.0)}, []string{"/at"}},
		"two places":         {Rule{Measure: Board, At: Arrows, AtFt: ptr(15.0), Min: ptr(10.0)}, []string{"/at"}},
		"beyond the pins":    {Rule{Measure: Board, AtFt: ptr(61.0), Min: ptr(10.0)}, []string{"/at_ft"}},
		"board 41":           {Rule{Measure: Board, At: Arrows, Min: ptr(41.0)}, []string{"/min"}},
		"board 0":            {Rule{Measure: Board, At: Arrows, Max: ptr(0.0)}, []string{"/max"}},
		"not a number":       {Rule{Measure: Speed, Min: ptr(math.NaN())}, []string{"/min"}},
		"swapped":            {Rule{Measure: Board, At: Arrows, Min: ptr(12.0), Max: ptr(8.0)}, []string{"/min"}},
		"no room":            {Rule{Measure: Speed, Min: ptr(17.0), Max: ptr(17.0)}, []string{"/min"}},
		"no room in decimal": {Rule{Measure: Board, At: Arrows, Min: ptr(10.5), Max: ptr(10.5)}, []string{"/min"}},
		"too many decimals":  {Rule{Measure: Speed, Min: ptr(17.0001)}, []string{"/min"}},
		"place of a speed": {
			Rule{Measure: Speed, At: Arrows, AtFt: ptr(3.0), Min: ptr(17.0)},
			[]string{"/at", "/at_ft"},
		},
		"of without move":    {Rule{Measure: Speed, Of: Board, Min: ptr(17.0)}, []string{"/of"}},
		"move of nothing":    {Rule{Measure: Move, Min: ptr(1.0)}, []string{"/of"}},
		"move of a ball":     {Rule{Measure: Move, Of: Ball, Min: ptr(1.0)}, []string{"/of"}},
		"move without place": {Rule{Measure: Move, Of: Board, Min: ptr(1.0)}, []string{"/at"}},
		"no ball":            {Rule{Measure: Ball}, []string{"/balls"}},
		"ball twice":         {Rule{Measure: Ball, Balls: []uuid.UUID{ballA, ballB, ballA}}, []string{"/balls/2"}},
		"too many balls":     {Rule{Measure: Ball, Balls: manyBalls}, []string{"/balls"}},
		"bounds of a ball":   {Rule{Measure: Ball, Balls: []uuid.UUID{ballA}, Min: ptr(1.0)}, []string{""}},
		"no leave":           {Rule{Measure: Leave}, []string{"/leaves"}},
		"strike as leave":    {Rule{Measure: Leave, Leaves: []lane.PinSet{0}}, []string{"/leaves/0"}},
		"leave twice": {
			Rule{Measure: Leave, Leaves: []lane.PinSet{pins(t, 10), pins(t, 10)}},
			[]string{"/leaves/1"},
		},
		"sets of a board": {
			Rule{Measure: Board, At: Arrows, Min: ptr(1.0), Balls: []uuid.UUID{ballA}, Leaves: []lane.PinSet{1}},
			[]string{"/balls", "/leaves"},
		},
		"all at once": {
			Rule{Measure: Board, Of: Speed, AtFt: ptr(-1.0), Min: ptr(0.0), Max: ptr(40.0)},
			[]string{"/of", "/min", "/max", "/at_ft"},
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			var faults Faults
			if err := c.rule.Validate(); !errors.As(err, &faults) {
				t.Fatalf("got %v, want faults", err)
			}
			var got []string
			for _, f := range faults {
				got = append(got, f.Pointer)
				if f.Detail == "" {
					t.Errorf("%q has no detail", f.Pointer)
				}
			}
			if diff := cmp.Diff(c.pointers, got); diff != "" {
				t.Errorf("faults (-want +got):\n%s\n%v", diff, faults)
			}
		})
	}
}

func TestDrillFaults(t *testing.T) {
	inside := Rule{Measure: Board, At: Breakpoint, Min: ptr(10.0)}
	outside := Rule{Measure: Board, At: Breakpoint, Max: ptr(9.0)}
	elsewhere := Rule{Measure: Board, At: Arrows, Max: ptr(9.0)}
	cases := map[string]struct {
		drill    Drill
		pointers []string
	}{
		"sound":             {Drill{[]Rule{inside, elsewhere}, 30, 0.8}, nil},
		"every share":       {Drill{[]Rule{inside}, 1, 1}, nil},
		"nothing":           {Drill{}, []string{"/rules", "/reps", "/pass_share"}},
		"share in per cent": {Drill{[]Rule{inside}, 30, 80}, []string{"/pass_share"}},
		"fault in a rule":   {Drill{[]Rule{inside, {Measure: Board, At: Arrows}}, 30, 0.8}, []string{"/rules/1"}},
		"rules that clash":  {Drill{[]Rule{inside, outside}, 30, 0.8}, []string{"/rules/1"}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			var got []string
			var faults Faults
			if errors.As(c.drill.Validate(), &faults) {
				for _, f := range faults {
					got = append(got, f.Pointer)
				}
			}
			if diff := cmp.Diff(c.pointers, got); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

func TestMirrorChangesLeavesOnly(t *testing.T) {
	rule := Rule{Measure: Leave, Leaves: []lane.PinSet{pins(t, 10), pins(t, 2, 8)}}
	want := Rule{Measure: Leave, Leaves: []lane.PinSet{pins(t, 7), pins(t, 3, 9)}}
	if diff := cmp.Diff(want, rule.Mirror()); diff != "" {
		t.Errorf("mirror (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(rule, rule.Mirror().Mirror()); diff != "" {
		t.Errorf("twice mirrored (-was +is):\n%s", diff)
	}
	board := Rule{Measure: Board, At: Breakpoint, Min: ptr(10.0)}
	if diff := cmp.Diff(board, board.Mirror()); diff != "" {
		t.Errorf("a board changed:\n%s", diff)
	}
}
