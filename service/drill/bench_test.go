package drill

import (
	"math/rand/v2"
	"testing"

	"laneward/service/lane"
	"laneward/service/shot"
)

// practiceLog is an invented log: every shot has the named places, pins and speed, and a track of
// ten points.
func practiceLog(n int) []shot.Shot {
	random := rand.New(rand.NewPCG(1, 1))
	shots := make([]shot.Shot, n)
	for i := range shots {
		board := 11 + 2*random.NormFloat64()
		standing := lane.PinSet(random.IntN(4) << 6)
		shots[i] = shot.Shot{
			Order:           i + 1,
			LaydownBoard:    ptr(board + 9),
			ArrowsBoard:     ptr(board + 4),
			BreakpointBoard: &board,
			BreakpointFt:    ptr(42.0),
			EntryBoard: ptr(
				17.5 + random.NormFloat64(),
			),
			SpeedMPH: ptr(17 + random.NormFloat64()),
			Standing: &standing,
			Source:   "sensor",
		}
		for ft := 6.0; ft < 60; ft += 6 {
			shots[i].Track = append(shots[i].Track, shot.TrackPoint{Ft: ft, Board: board + (ft-42)*(ft-42)/200})
		}
	}
	return shots
}

func BenchmarkScore(b *testing.B) {
	shots := practiceLog(10_000)
	for name, rules := range map[string][]Rule{
		"measured breakpoint": {{Measure: Board, At: Breakpoint, Min: ptr(10.0)}},
		"estimated distance":  {{Measure: Board, AtFt: ptr(38.0), Min: ptr(10.0)}},
		"four rules": {
			{Measure: Board, At: Breakpoint, Min: ptr(10.0)},
			{Measure: Speed, Min: ptr(16.0), Max: ptr(18.0)},
			{Measure: Leave, Leaves: []lane.PinSet{1<<6 | 1<<9}},
			{Measure: Move, Of: Board, At: Laydown, Min: ptr(-1.0), Max: ptr(1.0)},
		},
	} {
		drill := Drill{Rules: rules, Reps: 30, PassShare: 0.8}
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if a := drill.Score(shots, drill.Judge(shots)); a.Judged == 0 {
					b.Fatal("nothing was judged")
				}
			}
			b.ReportMetric(float64(b.N)*float64(len(shots))/b.Elapsed().Seconds(), "shots/s")
		})
	}
}

func BenchmarkRead(b *testing.B) {
	for b.Loop() {
		if _, err := Read("Play inside: keep the ball at board 10 or inside", nil); err != nil {
			b.Fatal(err)
		}
	}
}
