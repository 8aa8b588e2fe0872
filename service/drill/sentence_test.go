package drill

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/lane"
)

func TestSentence(t *testing.T) {
	names := BallNames{ballA: "Blue Solid", ballB: "Red, or not"}
	board := func(at Place, low, high *float64) Rule { return Rule{Measure: Board, At: at, Min: low, Max: high} }
	move := func(low, high *float64) Rule { return Rule{Measure: Move, Of: Board, At: Laydown, Min: low, Max: high} }
	cases := []struct {
		rule Rule
		want string
	}{
		{board(Breakpoint, ptr(10.0), nil), "Keep the ball at board 10 or inside at the breakpoint"},
		{board(Arrows, nil, ptr(12.5)), "Keep the ball at board 12.5 or outside at the arrows"},
		{board(Arrows, ptr(8.0), ptr(12.0)), "Keep the ball between boards 8 and 12 at the arrows"},
		{board(Entry, ptr(17.0), ptr(17.0)), "Keep the ball on board 17 at the head pin"},
		{Rule{Measure: Board, AtFt: ptr(38.5), Min: ptr(10.0)}, "Keep the ball at board 10 or inside at 38.5 ft"},
		{Rule{Measure: Speed, Min: ptr(17.0)}, "Keep the speed at 17 mph or more"},
		{Rule{Measure: RevRate, Min: ptr(300.0), Max: ptr(350.0)}, "Keep the rev rate between 300 and 350 rpm"},
		{Rule{Measure: LaunchAngle, Max: ptr(-0.5)}, "Keep the launch angle at -0.5 degrees or less"},
		{Rule{Measure: Ball, Balls: []uuid.UUID{ballA}}, `Use the ball "Blue Solid"`},
		{Rule{Measure: Ball, Balls: []uuid.UUID{ballB, ballA}}, `Use one of the balls "Red, or not" or "Blue Solid"`},
		{
			Rule{Measure: Leave, Leaves: []lane.PinSet{pins(t, 7, 10), pins(t, 4, 6), pins(t, 10)}},
			"Do not leave the 7-10, the 4-6 or the 10 (left-handed: the 7-10, the 4-6 or the 7)",
		},
		{move(ptr(2.0), nil), "Move at least 2 boards inside at the foul line from the shot before"},
		{move(ptr(-1.0), nil), "Move no more than 1 board outside at the foul line from the shot before"},
		{move(nil, ptr(2.0)), "Move no more than 2 boards inside at the foul line from the shot before"},
		{move(nil, ptr(-2.0)), "Move at least 2 boards outside at the foul line from the shot before"},
		{move(ptr(2.0), ptr(2.0)), "Move 2 boards inside at the foul line from the shot before"},
		{move(ptr(2.0), ptr(3.0)), "Move between 2 and 3 boards inside at the foul line from the shot before"},
		{move(ptr(-3.0), ptr(-2.0)), "Move between 2 and 3 boards outside at the foul line from the shot before"},
		{
			move(ptr(-1.0), ptr(2.0)),
			"Move between 1 board outside and 2 boards inside at the foul line from the shot before",
		},
		{move(ptr(-1.0), ptr(1.0)), "Stay within 1 board of the shot before at the foul line"},
		{
			Rule{Measure: Move, Of: Speed, Max: ptr(0.5)},
			"Change the speed by no more than 0.5 mph up from the shot before",
		},
		{
			Rule{Measure: Move, Of: Tilt, Min: ptr(-1.0), Max: ptr(1.0)},
			"Keep the axis tilt within 1 degree of the shot before",
		},
	}
	for _, c := range cases {
		t.Run(c.want, func(t *testing.T) {
			if got := c.rule.Sentence(names); got != c.want {
				t.Errorf("got %q", got)
			}
			back, err := readOne(c.want, names)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.rule, back); diff != "" {
				t.Errorf("read back differently (-was +is):\n%s", diff)
			}
		})
	}
}

// A name that is missing, shared or cannot stand in quotation marks gives way to the id.
func TestSentenceFallsBackToBallID(t *testing.T) {
	rule := Rule{Measure: Ball, Balls: []uuid.UUID{ballA}}
	want := "Use the ball " + ballA.String()
	for name, names := range map[string]BallNames{
		"no names":  nil,
		"blank":     {ballA: "  "},
		"shared":    {ballA: "Blue", ballB: "BLUE"},
		"quotation": {ballA: `the "Blue"`},
		"line feed": {ballA: "Blue\nRed"},
		"too long":  {ballA: strings.Repeat("long ", 20)},
	} {
		t.Run(name, func(t *testing.T) {
			if got := rule.Sentence(names); got != want {
				t.Errorf("got %q, want %q", got, want)
			}
		})
	}
}

// readOne reads a sentence that is one rule.
func readOne(sentence string, names BallNames) (Rule, error) {
	reading, err := Read(sentence, names)
	if err != nil {
		return Rule{}, err
	}
	if len(reading.Rules) != 1 {
		return Rule{}, fmt.Errorf("%d rules", len(reading.Rules))
	}
	return reading.Rules[0], nil
}

func TestReadOtherWords(t *testing.T) {
	names := BallNames{ballA: "Blue Solid", ballB: "Red"}
	cases := map[string][]string{
		"Keep the ball at board 10 or inside at the breakpoint": {
			"play inside, keep the ball at board 10 or inside",
			"Play inside: keep the ball at board 10 or inside.",
			"  KEEP  the ball at BOARD 10 or inside  ",
			"keep it at 10 or in",
			"stay on 10 or deeper",
			"at board 10 and inside",
			"Please keep the ball at or inside board 10 at the break point!",
			"don't go outside board 10",
			"never outside 10",
			"Do not let the ball get outside of board 10 at the breakpoint",
			"keep the ball no further outside than board 10",
			"at the breakpoint, keep the ball at board 10 or inside",
			"keep the ball at board ten or inside",
			"at least board 10 at the breakpoint",
			"no ball outside 10",
		},
		"Keep the ball between boards 8 and 12 at the arrows": {
			"between 8 and 12 at the arrows",
			"stay in boards 8-12 at the arrows",
			"play boards 8 – 12 through the arrows",
			"Keep the ball between board 12 and board 8 at the arrows",
		},
		"Keep the ball at board 12 or outside at 38 ft": {
			"keep it at 12 or outside at 38 feet",
			"at 38ft at board 12 or out",
			"do not miss inside board 12 at the 38 ft mark",
		},
		"Keep the ball on board 10 at the arrows": {
			"over the second arrow",
			"hit board 10 at the arrows",
			"roll it over the 2nd arrow",
		},
		"Keep the ball at board 15 or inside at the arrows": {"keep the ball at the third arrow or inside"},
		"Keep the ball at board 20 or inside at the foul line": {
			"lay-down at board 20 or inside", "keep the ball at board 20 or inside at the laydown",
		},
		"Keep the ball on board 17 at the head pin": {"hit board 17 at the pins", "board 17 at entry"},
		"Keep the speed at 17 mph or more": {
			"speed at least 17",
			"throw it at 17 mph or faster",
			"Keep your ball speed above 17 mph",
			"at least 17 mph",
		},
		"Keep the speed between 16.5 and 18 mph": {
			"speed 16.5-18",
			"keep the speed from 16.5 mph to 18 mph",
			"play 18 to 16.5 mph",
		},
		"Keep the rev rate at 350 rpm or less": {
			"no more than 350 rpm",
			"revs at most 350",
			"keep the rev-rate under 350 rpm",
		},
		"Keep the axis tilt between 10 and 15 degrees": {
			"tilt 10-15°",
			"keep the axis tilt between 10 deg and 15 deg",
		},
		"Keep the launch angle between -0.5 and 2 degrees": {"launch angle between 2 and -0.5"},
		"Use the ball \"Blue Solid\"": {
			"use the ball blue  solid",
			"Throw the ball “Blue Solid”",
			"Use only the ball " + ballA.String(),
		},
		"Use one of the balls \"Red\" or \"Blue Solid\"": {
			"use the balls Red and Blue Solid",
			`use the ball "red" or the ball "blue solid"`,
		},
		"Do not leave the 10 or the 7-10 (left-handed: the 7 or the 7-10)": {
			"avoid the 10 pin and the 7-10 split",
			"don’t leave a 10, 7-10",
			"no 10 pin or 7-10 split",
		},
		"Move 2 boards inside at the foul line from the shot before": {
			"move 2 inside", "Move over 2 boards in", "move 2 boards inside at the laydown from the last shot",
		},
		"Stay within 1 board of the shot before at the arrows": {
			"stay within 1 board of the previous shot at the arrows",
		},
		"Change the speed by at least 1 mph down from the shot before": {
			"change the speed by at least 1 mph down", "speed at least 1 mph less than the last shot",
		},
	}
	for want, sentences := range cases {
		for _, sentence := range sentences {
			t.Run(sentence, func(t *testing.T) {
				rule, err := readOne(sentence, names)
				if err != nil {
					t.Fatal(err)
				}
				if got := rule.Sentence(names); got != want {
					t.Errorf("read as %q, want %q", got, want)
				}
			})
		}
	}
}

func TestReadRefuses(t *testing.T) {
	cases := map[string]struct{ sentence, says string }{
		"nothing":       {" ", "it is empty"},
		"no rule":       {"have fun", "isn't a rule I know"},
		"bare number":   {"10", "is it a board"},
		"turned round":  {"do not keep the ball at board 10 or inside", "isn't a rule I know"},
		"inside of":     {"keep the ball inside of 10", "board 10 itself count"},
		"left":          {"keep the ball left of board 10", "depend on the hand"},
		"decimal comma": {"keep the ball at board 10,5 or inside", "with a point"},
		"two places":    {"keep the ball at board 10 or inside at the arrows at the breakpoint", "two places"},
		"two rules": {
			"keep the ball at board 10 or inside and keep the speed at 17 mph or more",
			"more than one rule",
		},
		"contradiction":       {"play outside, keep the ball at board 10 or inside", "first says outside"},
		"wrong unit":          {"keep the speed at 350 rpm or more", "isn't a rule I know"},
		"unknown ball":        {`use the ball "Green"`, `there is no ball "Green"`},
		"shared ball name":    {"use the ball twin", `2 balls are named "twin"`},
		"open quotation mark": {`use the ball "Blue`, "not closed"},
		"no such pin":         {"do not leave the 11", "isn't a rule I know"},
		"board 41":            {"keep the ball at board 41 or inside", "there is no board 41"},
		"speed as exact":      {"change the speed by 1 mph up", "leave some room"},
		"too long":            {strings.Repeat("inside ", 2000), "one sentence"},
	}
	names := BallNames{ballA: "Blue", ballB: "Twin", uuid.UUID{1}: "twin"}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			rule, err := readOne(c.sentence, names)
			if err == nil {
				t.Fatalf("read as %q", rule.Sentence(names))
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q does not say %q", err, c.says)
			}
			var unread *SentenceError
			if errors.As(err, &unread) && (len(unread.Examples) != 3 || !strings.Contains(err.Error(), unread.Examples[2])) {
				t.Errorf("%q shows no sentences that can be read", err)
			}
		})
	}
}

func TestNearestExamples(t *testing.T) {
	for sentence, first := range map[string]string{
		"throw it well":              "Keep the ball at board 10 or inside at the breakpoint",
		"cross the arrows at or so":  "Keep the ball between boards 8 and 12 at the arrows",
		"mind your speed":            "Keep the speed at 17 mph or more",
		"no wild launch angle":       "Keep the launch angle at 1.5 degrees or less",
		"leave fewer splits":         "Do not leave the 7-10 or the 10 (left-handed: the 7-10 or the 7)",
		"move with the shot before":  "Move at least 2 boards inside at the foul line from the shot before",
		"speed like the shot before": "Keep the speed within 0.5 mph of the shot before",
	} {
		if got := nearest(sentence); got[0] != first {
			t.Errorf("%q: %q", sentence, got)
		}
	}
}

func TestExamplesCanBeRead(t *testing.T) {
	for _, sentence := range Examples() {
		if _, err := Read(sentence, BallNames{ballA: "Name of the ball"}); err != nil {
			t.Error(err)
		}
	}
}

// anyBound draws a number of at most MaxDecimals decimals, whole ones often.
func anyBound(t *rapid.T, label string, low, high float64) float64 {
	scale := rapid.SampledFrom([]int{1, 2, 10, 1000}).Draw(t, label+" scale")
	n := rapid.IntRange(int(low*float64(scale)), int(high*float64(scale))).Draw(t, label)
	return min(max(float64(n)/float64(scale), low), high)
}

func anyRule(t *rapid.T, balls []uuid.UUID) Rule {
	r := Rule{
		Measure: rapid.SampledFrom([]Measure{Board, BreakpointDistance, LaunchAngle, EntryAngle, Speed, RevRate, Rotation, Tilt, Ball, Leave, Split, Move}).
			Draw(t, "measure"),
	}
	switch r.Measure {
	case Ball:
		r.Balls = rapid.SliceOfNDistinct(rapid.SampledFrom(balls), 1, len(balls), rapid.ID).Draw(t, "balls")
		return r
	case Leave:
		r.Leaves = rapid.SliceOfNDistinct(rapid.Map(rapid.IntRange(1, int(lane.FullRack)),
			func(n int) lane.PinSet { return lane.PinSet(n) }), 1, 6, rapid.ID).Draw(t, "leaves")
		return r
	case Split:
		return r
	case Move:
		r.Of = rapid.SampledFrom([]Measure{Board, LaunchAngle, EntryAngle, Speed, RevRate, Rotation, Tilt}).
			Draw(t, "of")
	}
	q, _ := r.subject().quantity()
	if r.subject() == Board {
		if rapid.Bool().Draw(t, "at a distance") {
			r.AtFt = ptr(anyBound(t, "ft", 0, 60))
		} else if r.Measure == Board && rapid.Bool().Draw(t, "past a distance") {
			r.PastFt = ptr(anyBound(t, "ft", 0, 60))
		} else {
			r.At = rapid.SampledFrom([]Place{Laydown, Arrows, Breakpoint, Entry}).Draw(t, "place")
		}
	}
	low, high := q.low, q.high
	if r.Measure == Move {
		low, high = q.low-q.high, q.high-q.low
	}
	first, second := anyBound(t, "first", low, high), anyBound(t, "second", low, high)
	switch rapid.SampledFrom([]string{"min", "max", "both", "even", "same"}).Draw(t, "bounds") {
	case "min":
		r.Min = &first
	case "max":
		r.Max = &first
	case "even":
		r.Min, r.Max = ptr(-first), &first
	case "same":
		r.Min, r.Max = &first, ptr(first)
	default:
		r.Min, r.Max = ptr(min(first, second)), ptr(max(first, second))
	}
	if r.Validate() != nil { // such as a single exact speed
		r.Max = nil
		r.Min = &first
	}
	return r
}

// Names as people give them, and worse: words of the grammar, quotation marks, names two balls
// share.
func anyNames(t *rapid.T, balls []uuid.UUID) BallNames {
	names := BallNames{}
	part := rapid.SampledFrom(
		[]string{
			"Blue",
			"blue",
			"or",
			"and",
			", ",
			" ",
			"  ",
			"10",
			"ft",
			"at the arrows",
			`"`,
			"”",
			"ß",
			"İ",
			"\n",
			"the ball",
			".",
		},
	)
	for _, ball := range balls {
		if rapid.Bool().Draw(t, "named") {
			names[ball] = strings.Join(rapid.SliceOfN(part, 0, 5).Draw(t, "name"), "")
		}
		if rapid.IntRange(0, 9).Draw(t, "odd") == 0 {
			names[ball] = rapid.OneOf(rapid.String(), rapid.Just(balls[0].String())).Draw(t, "odd name")
		}
	}
	return names
}

func TestReadReadsEverySentence(t *testing.T) {
	balls := make([]uuid.UUID, 5)
	for i := range balls {
		balls[i] = uuid.UUID{0, byte(i), 7: 7, 15: byte(200 + i)}
	}
	rapid.Check(t, func(t *rapid.T) {
		rule, names := anyRule(t, balls), anyNames(t, balls)
		if err := rule.Validate(); err != nil {
			t.Fatalf("drew a rule that is not valid: %v", err)
		}
		sentence := rule.Sentence(names)
		for _, written := range []string{sentence, sentence + ".", "  " + strings.ReplaceAll(sentence, " at ", "  at ")} {
			back, err := readOne(written, names)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(rule, back); diff != "" {
				t.Fatalf("%q is read differently (-was +is):\n%s", written, diff)
			}
		}
	})
}

// Whatever is read is valid, and its own sentence reads back as the same rule.
func FuzzRead(f *testing.F) {
	for _, sentence := range Examples() {
		f.Add(sentence)
	}
	for _, sentence := range []string{
		"Play inside: keep the ball at board 10 or inside", "move between 1 board outside and 2 boards inside", "over the 2nd arrow",
		"don’t leave a 10, 7-10", "use the balls Red and Blue Solid", "launch angle between 2 and -0.5°", "within -0 boards of the last shot",
		`use the ball "Red" or "`, "keep the ball at board 0.0000001 or inside", "\xff\xfe at 38'",
	} {
		f.Add(sentence)
	}
	names := BallNames{ballA: "Blue Solid", ballB: "Red"}
	f.Fuzz(func(t *testing.T, sentence string) {
		reading, err := Read(sentence, names)
		if err != nil {
			if err.Error() == "" {
				t.Error("an error without words")
			}
			return
		}
		for _, rule := range reading.Rules {
			if err := rule.Validate(); err != nil {
				t.Fatalf("%q is read as a rule that is not valid: %v", sentence, err)
			}
			again, err := readOne(rule.Sentence(names), names)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(rule, again); diff != "" {
				t.Fatalf("%q, then %q, are read differently:\n%s", sentence, rule.Sentence(names), diff)
			}
		}
	})
}

func ExampleRule_Sentence() {
	rule := Rule{Measure: Board, At: Breakpoint, Min: ptr(10.0)}
	fmt.Println(rule.Sentence(nil))
	// Output: Keep the ball at board 10 or inside at the breakpoint
}
