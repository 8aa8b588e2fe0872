package line

import (
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write golden files")

func TestCompare(t *testing.T) {
	house, flat := usual(t, "house_like.json"), usual(t, "flat_long.json")
	same, err := Compare(context.Background(), house, house, nil)
	if err != nil {
		t.Fatal(err)
	}
	if *same.Move != (Move{}) || same.AOnB.Value != same.A.Lines[0].Value {
		t.Errorf(
			"compared with itself: %+v, carried %g of %g",
			*same.Move,
			same.AOnB.Pins,
			same.A.Lines[0].Pins,
		)
	}
	stages := map[string]bool{}
	both, err := Compare(context.Background(), house, flat, func(p Progress) { stages[p.Stage] = true })
	if err != nil {
		t.Fatal(err)
	}
	if !stages["a: first lines"] || !stages["b: final"] {
		t.Errorf("stages %v", stages)
	}
	// A line that is best on one pattern does not beat the other pattern's own.
	if both.AOnB.Pins > both.B.Lines[0].Pins || both.BOnA.Pins > both.A.Lines[0].Pins {
		t.Errorf("carried lines beat the own ones: %+v, %+v", both.AOnB, both.BOnA)
	}
	if got := both.A.Lines[0].FeetBoard + both.Move.FeetBoards; math.Abs(got-both.B.Lines[0].FeetBoard) > 1e-9 {
		t.Errorf("the move leads to %g, B stands at %g", got, both.B.Lines[0].FeetBoard)
	}
	straight := house
	straight.Athlete.RevRPM = 0
	lone, err := Compare(context.Background(), straight, house, nil)
	if err != nil {
		t.Fatal(err)
	}
	if lone.AOnB != nil || lone.BOnA == nil || lone.Move != nil ||
		!strings.HasPrefix(lone.Summary, "Only B has a line") {
		t.Errorf("%+v", lone)
	}
}

// What is said of each side's line on the other is of the line that the plan has first at the end.
func TestCarriedLinesAreTheFirstOnes(t *testing.T) {
	all := families(t)
	for _, athlete := range some(athletes()[2:4], athletes()) {
		a, b := freshLanes(all[1].shaped(38), athlete), freshLanes(all[6].shaped(40), athlete)
		for _, pair := range [][2]Request{{a, b}, {b, a}} {
			both, err := Compare(context.Background(), pair[0], pair[1], nil)
			if err != nil {
				t.Fatal(err)
			}
			aOnB, err := At(pair[1], both.A.Lines[0].Aim)
			if err != nil {
				t.Fatal(err)
			}
			bOnA, err := At(pair[0], both.B.Lines[0].Aim)
			if err != nil {
				t.Fatal(err)
			}
			if both.AOnB.Value != aOnB.Value || both.BOnA.Value != bOnA.Value {
				t.Errorf("carried %+v and %+v, the first lines %+v and %+v", both.AOnB, both.BOnA, aOnB.Value, bOnA.Value)
			}
		}
	}
}

// A line that is worth more on the other side than what is advised there is not left unexplained.
func TestLineNotAdvised(t *testing.T) {
	own := Plan{Lines: []Line{{Value: Value{Pins: 14.4}}}}
	for name, c := range map[string]struct {
		carried Carried
		want    string
	}{
		"worth less":   {Carried{Hit: HitCrossover, Value: Value{Pins: 14.3}}, "and B's own 14.4."},
		"misses":       {Carried{Hit: HitCrossover, Value: Value{Pins: 14.7}}, "its typical delivery crosses over there."},
		"out of reach": {Carried{Hit: HitPocket, Value: Value{Pins: 14.7}}, "its feet or its target are out of reach there."},
	} {
		t.Run(name, func(t *testing.T) {
			both := Comparison{A: own, B: own, AOnB: &c.carried, Move: &Move{}}
			if got := both.summary(); !strings.HasSuffix(got, c.want) {
				t.Errorf("%q does not end with %q", got, c.want)
			}
		})
	}
}

func TestGoldenWording(t *testing.T) {
	var text strings.Builder
	house, flat := usual(t, "house_like.json"), usual(t, "flat_long.json")
	for _, request := range []Request{house, flat} {
		fmt.Fprintf(&text, "%s\n", request.Film.Name)
		for _, line := range find(t, request).Lines {
			fmt.Fprintf(
				&text,
				"%d. feet %.1f, target %.1f, launch %.2f deg, %s; %s\n   %s\n",
				line.Rank,
				line.FeetBoard,
				line.TargetBoard,
				line.LaunchAngleDeg,
				line.BreakpointText(),
				line.Corridor.Drill,
				line.Reason,
			)
		}
	}
	comparison, err := Compare(context.Background(), house, flat, nil)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(&text, "%s\n", comparison.Summary)
	const golden = "testdata/wording.golden"
	if *update {
		if err := os.WriteFile(golden, []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), text.String()); diff != "" {
		t.Errorf("wording (-want +got):\n%s", diff)
	}
}
