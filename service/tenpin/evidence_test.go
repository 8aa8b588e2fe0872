package tenpin

import (
	"math"
	"math/rand/v2"
	"testing"

	"laneward/service/lane"
)

func tallied(leaves ...lane.PinSet) (t Tally) {
	for _, leave := range leaves {
		t.Add(leave)
	}
	return t
}

func repeat(leave lane.PinSet, n int) (leaves []lane.PinSet) {
	for range n {
		leaves = append(leaves, leave)
	}
	return leaves
}

func TestLeavesSayWhereTheBallHit(t *testing.T) {
	weights := DefaultDoubt().Weights()
	tests := []struct {
		name   string
		leaves []lane.PinSet
		want   Hits
	}{
		{"nothing", nil, HitsTooFew},
		{"seven of the lightest", repeat(pins(2, 4, 5, 8), 7), HitsTooFew},
		{"a dozen light", repeat(pins(2, 8), 12), HitsLight},
		{"a dozen high", repeat(pins(4), 12), HitsHigh},
		{"head pins left outside", repeat(pins(1, 2, 10), 12), HitsLight},
		{"as many light as high", append(repeat(pins(5), 6), repeat(pins(4), 6)...), HitsTooFew},
		{"strikes with corner pins", append(repeat(0, 60), repeat(pins(10), 12)...), HitsFlush},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := weights.Read(tallied(tt.leaves...)); got.Hits != tt.want {
				t.Errorf("read %+v, want %s", got, tt.want)
			}
		})
	}
}

// However many leaves there are, what they say stays a number that can be told.
func TestManyLeavesAreNotToldAsCertain(t *testing.T) {
	many := DefaultDoubt().Weights().Report(LeaveTable{All: Tally{Leaves: map[Group]int{GroupLight: 100_000}}}, false)
	if many.Hits.Light > mostTimes*1.001 || many.Hits.Hits != HitsLight {
		t.Errorf("%+v", many.Hits)
	}
	want := "0 strikes and 100000 leaves. They say light: more than 1,000 times likelier if the ball hits a board outside of flush. " +
		"One leave says 0.4 bits of where the ball hit; watching it says 1.6 by eye."
	if many.Reading != want {
		t.Errorf("it reads %q", many.Reading)
	}
}

// What a drill has to do with the leaves is told group by group, where the interval leaves out 1.
func TestReportSetsKeptAgainstBroken(t *testing.T) {
	table := LeaveTable{
		Kept:   Tally{Strikes: 20, Leaves: map[Group]int{GroupLight: 5, GroupHigh: 20, GroupCorner: 5}},
		Broken: Tally{Strikes: 20, Leaves: map[Group]int{GroupLight: 25, GroupHigh: 2, GroupCorner: 1}},
	}
	report := DefaultDoubt().Weights().Report(table, true)
	for _, row := range report.Groups {
		switch {
		case row.Group == GroupLight && (row.Odds == nil || row.Odds.Low <= 1):
			t.Errorf("light: %+v", row.Odds)
		case row.Group == GroupHigh && (row.Odds == nil || row.Odds.High >= 1):
			t.Errorf("high: %+v", row.Odds)
		case row.Group == GroupSplit && row.Odds != nil:
			t.Errorf("odds of splits, of which there are none: %+v", row.Odds)
		}
	}
	if said := sided(report.Groups); said != " Left more often when the drill is broken: light. Left less often: high." {
		t.Errorf("it reads %q", said)
	}
}

// No single outcome weighs more than a factor of 8 (common practice, no source).
func TestNoLeaveDecidesAlone(t *testing.T) {
	weights := DefaultDoubt().Weights()
	for i := range outcomes {
		if most := math.Max(math.Abs(weights.light[i]), math.Abs(weights.high[i])); most > math.Log(8)+1e-9 {
			t.Errorf("outcome %d weighs %.1f", i, math.Exp(most))
		}
	}
}

// What one leave says, against watching: of hits spread by 2 boards about half a bit where 30 % of
// leaves say nothing, 1.6 bits by eye (0.7 board), 3.3 by sensor (0.2). The last two are Shannon's
// formula by hand: log2(1 + 8.163)/2 and log2(101)/2.
func TestLeavesSayLessThanWatching(t *testing.T) {
	weights := DefaultDoubt().Weights()
	if bits := weights.Bits(); bits < 0.3 || bits > 0.6 {
		t.Errorf("a leave says %.2f bits", bits)
	}
	for se, want := range map[float64]float64{0.7: 1.598, 0.2: 3.329} {
		if bits := weights.WatchedBits(se); math.Abs(bits-want) > 0.001 {
			t.Errorf("watching to %g board says %.3f bits, want %.3f", se, bits, want)
		}
	}
}

// Where the truth is flush, a game's leaves are seldom called light or high; where hits are two
// boards light, a few games' leaves nearly always are.
func TestLeavesAreSeldomMisread(t *testing.T) {
	weights := DefaultDoubt().Weights()
	draw := rand.New(rand.NewPCG(4, 9))
	read := func(middle float64, shots int) (calls map[Hits]int) {
		calls = map[Hits]int{}
		for range 400 {
			var t Tally
			for range shots {
				arrival := Arrival{17.5 + middle + 2*draw.NormFloat64(), 4.8 + 0.9*draw.NormFloat64()}
				chances, u := DefaultCarry().Chances(arrival), draw.Float64()
				left := lane.PinSet(0)
				if u -= chances.Strike; u > 0 {
					for _, leave := range chances.Leaves {
						if left = leave.Leave; u < leave.Chance {
							break
						}
						u -= leave.Chance
					}
				}
				t.Add(left)
			}
			calls[weights.Read(t).Hits]++
		}
		return calls
	}
	if calls := read(0, 12); calls[HitsLight]+calls[HitsHigh] > 40 {
		t.Errorf("flush, a game: %v of 400", calls)
	}
	if calls := read(-2, 60); calls[HitsLight] < 380 || calls[HitsHigh] > 0 {
		t.Errorf("two boards light, 60 shots: %v of 400", calls)
	}
	if calls := read(2, 60); calls[HitsHigh] < 380 || calls[HitsLight] > 0 {
		t.Errorf("two boards high, 60 shots: %v of 400", calls)
	}
}
