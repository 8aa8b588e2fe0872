package drill

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"laneward/service/shot"
)

// reader is how shots are read: the source of their assumed error, and that error in boards.
type reader struct {
	source        string
	standardError float64
}

var readers = []reader{{"eye", 1}, {"video", 0.6}, {"sensor", 0.3}}

// read draws so many true boards of an athlete about a middle, and the shots as they are read, an
// eye to the whole board.
func (r reader) read(random *rand.Rand, n int, middle, spread float64) (truth []float64, shots []shot.Shot) {
	truth, shots = make([]float64, n), make([]shot.Shot, n)
	for i := range shots {
		truth[i] = middle + spread*random.NormFloat64()
		board := truth[i] + r.standardError*random.NormFloat64()
		if r.source == "eye" { // the assumed error includes the rounding
			board = math.Round(truth[i] + math.Sqrt(r.standardError*r.standardError-1.0/12)*random.NormFloat64())
		}
		shots[i] = shot.Shot{BreakpointBoard: &board, Source: r.source}
	}
	return truth, shots
}

// bins gather chances told and what was true of them, by tenths.
type bins [10]struct{ told, true, of float64 }

func (b *bins) add(told float64, kept bool) {
	bin := &b[min(9, int(told*10))]
	bin.told += told
	bin.of++
	if kept {
		bin.true++
	}
}

// Over athletes of all spreads, alike drawn from half a board to two and a half, which is not how
// the model takes them to be, and logs of all lengths, in every bin of the chance told the share
// truly kept is within 3 points of it, and never nearer to one half by more than the simulation's
// own error: nobody is told too surely. The share told is nearer to the truth than the count is.
func TestChancesAreCalibrated(t *testing.T) {
	logs := 6000
	if testing.Short() {
		logs = 3000
	}
	inside := Drill{Rules: []Rule{{Measure: Board, At: Breakpoint, Min: ptr(10.0)}}, Reps: 30, PassShare: 0.8}
	corridor := Drill{
		Rules:     []Rule{{Measure: Board, At: Breakpoint, Min: ptr(8.0), Max: ptr(12.0)}},
		Reps:      30,
		PassShare: 0.8,
	}
	for _, r := range readers {
		for name, d := range map[string]Drill{"inside": inside, "corridor": corridor} {
			t.Run(r.source+", "+name, func(t *testing.T) {
				random := rand.New(rand.NewPCG(90, 23))
				low, high := d.Rules[0].Edges()
				var told bins
				byChance, byCount := 0.0, 0.0
				for range logs {
					spread := 0.5 + 2*random.Float64()
					n := 8 + random.IntN(53)
					truth, shots := r.read(random, n, 6+8*random.Float64(), spread)
					share, chance, count := 0.0, 0.0, 0.0
					for i, j := range d.Judge(shots) {
						kept := truth[i] >= low && truth[i] <= high
						told.add(j.ProbabilityKept, kept)
						chance += j.ProbabilityKept / float64(n)
						if kept {
							share += 1 / float64(n)
						}
						if j.Verdict == Kept {
							count += 1 / float64(n)
						}
					}
					byChance += (chance - share) * (chance - share)
					byCount += (count - share) * (count - share)
				}
				told.check(t)
				t.Logf("error of the share told %.3f, of the count %.3f (rms)",
					math.Sqrt(byChance/float64(logs)), math.Sqrt(byCount/float64(logs)))
				if byChance >= byCount {
					t.Error("the count is nearer to the truth")
				}
			})
		}
	}
}

func (b *bins) check(t *testing.T) {
	t.Helper()
	line := ""
	for _, bin := range b {
		told, truly := bin.told/bin.of, bin.true/bin.of
		line += fmt.Sprintf(" %.2f/%.2f", told, truly)
		noise := 4 * math.Sqrt(0.25/bin.of) // shots of one log are not independent
		if math.Abs(told-truly) > 0.03+noise {
			t.Errorf("told %.3f, truly %.3f", told, truly)
		}
		if math.Abs(truly-0.5) < math.Abs(told-0.5)-0.01-noise {
			t.Errorf("told %.3f too surely, truly %.3f", told, truly)
		}
	}
	t.Log("told/true:" + line)
}

// The same athletes as a trial outside the program had: their shots lie on the inside of the edge,
// where readings taken as exact tell too little. How far the share told is off, with its bias.
func TestShareOfSteadyAthletes(t *testing.T) {
	logs := 600
	if testing.Short() {
		logs = 60
	}
	for _, c := range []struct {
		middle, spread, standardError float64
		n                             int
	}{
		{12, 1, 1, 30},
		{11, 1.5, 1, 30},
		{10, 1, 1, 30},
		{10, 1, 1, 150},
		{10, 2.5, 1, 30},
		{10.5, 0.6, 1, 30},
		{10.5, 0.6, 1, 150},
		{10, 1, 0.3, 30},
	} {
		random := rand.New(rand.NewPCG(10, 5))
		truth := 0.5 * math.Erfc((9.5-c.middle)/c.spread/math.Sqrt2)
		bias, told, count := 0.0, 0.0, 0.0
		for range logs {
			_, shots := reader{"", c.standardError}.read(random, c.n, c.middle, c.spread)
			for i := range shots {
				shots[i].Errors.Board = &c.standardError
			}
			share, counted := 0.0, 0.0
			for _, j := range playInside.Judge(shots) {
				share += j.ProbabilityKept / float64(c.n)
				if j.Verdict == Kept {
					counted += 1 / float64(c.n)
				}
			}
			bias += (share - truth) / float64(logs)
			told += (share - truth) * (share - truth)
			count += (counted - truth) * (counted - truth)
		}
		t.Logf(
			"middle %.1f, spread %.1f, error %.1f, %d shots: bias %+.3f, off by %.3f (count %.3f)",
			c.middle,
			c.spread,
			c.standardError,
			c.n,
			bias,
			math.Sqrt(told/float64(logs)),
			math.Sqrt(count/float64(logs)),
		)
		if told > count*1.05 {
			t.Errorf(
				"middle %.1f, spread %.1f, error %.1f: the count is nearer to the truth",
				c.middle,
				c.spread,
				c.standardError,
			)
		}
	}
}

// The verdict weighs chances: an athlete at the pass share whose shots are read with an error as
// large as their spread is told "not met" in some 5 of 100 drills of 30, where readings taken as
// exact say so in 15.
func TestVerdictOfShotsReadWithAnError(t *testing.T) {
	drills := 600
	if testing.Short() {
		drills = 150
	}
	for _, c := range []struct {
		share, spread, standardError float64
		met, notMet                  [2]float64 // least and most
	}{
		{0.6, 1, 1, [2]float64{0, 0.12}, [2]float64{0.5, 1}},
		{0.8, 1, 1, [2]float64{0.6, 1}, [2]float64{0, 0.08}},
		{0.9, 1, 1, [2]float64{0.9, 1}, [2]float64{0, 0.02}},
		{0.6, 0.6, 1, [2]float64{0, 0.1}, [2]float64{0.5, 1}},
		{0.8, 0.6, 1, [2]float64{0.4, 1}, [2]float64{0, 0.2}},
		{0.8, 2, 1, [2]float64{0.65, 1}, [2]float64{0, 0.06}},
		{0.6, 1, 0.3, [2]float64{0, 0.08}, [2]float64{0.5, 1}},
		{0.8, 1, 0.3, [2]float64{0.65, 1}, [2]float64{0, 0.06}},
	} {
		random := rand.New(rand.NewPCG(66, 41))
		middle := 9.5 + c.spread*math.Sqrt2*math.Erfinv(2*c.share-1)
		counts := make(map[DrillVerdict]float64)
		for range drills {
			_, shots := reader{"", c.standardError}.read(random, 30, middle, c.spread)
			for i := range shots {
				shots[i].Errors.Board = &c.standardError
			}
			counts[playInside.Score(shots, playInside.Judge(shots)).Verdict] += 1 / float64(drills)
		}
		t.Logf("true share %.2f, spread %.1f, error %.1f: met %.3f, not met %.3f, neither %.3f", c.share, c.spread,
			c.standardError, counts[Met], counts[NotMet], counts[TooFewShots])
		noise := 3 * math.Sqrt(0.25/float64(drills))
		if got := counts[Met]; got < c.met[0]-noise || got > c.met[1]+noise {
			t.Errorf("true share %.2f: met in %.3f", c.share, got)
		}
		if got := counts[NotMet]; got < c.notMet[0]-noise || got > c.notMet[1]+noise {
			t.Errorf("true share %.2f: not met in %.3f", c.share, got)
		}
	}
}
