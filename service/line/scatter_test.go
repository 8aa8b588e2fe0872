package line

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/drill"
	"laneward/service/shot"
)

// exact are the errors of readings that have none.
func exact() shot.StandardErrors {
	return shot.StandardErrors{Board: ptr(0), AngleDeg: ptr(0), SpeedMPH: ptr(0), RevRateRPM: ptr(0)}
}

func ptr(v float64) *float64 { return &v }

// invented makes n shots of known scatter in one session.
func invented(n int, scatter Scatter, seed uint64) []shot.Shot {
	random := rand.New(rand.NewPCG(seed, 7))
	session := uuid.UUID{15: byte(seed)}
	shots := make([]shot.Shot, n)
	for i := range shots {
		z, r := random.NormFloat64(), scatter.ArrowsAngleCorrelation
		shots[i] = shot.Shot{
			ID: uuid.UUID{0: byte(i >> 8), 1: byte(i), 15: byte(seed)}, SessionID: session, Order: i + 1,
			ArrowsBoard:    ptr(12 + scatter.ArrowsBoards*z),
			LaunchAngleDeg: ptr(2 + scatter.LaunchAngleDeg*(r*z+math.Sqrt(1-r*r)*random.NormFloat64())),
			SpeedMPH:       ptr(17 + scatter.SpeedMPH*random.NormFloat64()),
			RevRateRPM:     ptr(330 + scatter.RevRPM*random.NormFloat64()),
			Errors:         exact(),
		}
	}
	return shots
}

func within(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if math.Abs(got-want) > share*math.Abs(want) {
		t.Errorf("%s: %g, want %g within %g %%", what, got, want, 100*share)
	}
}

func TestScatterIsRecovered(t *testing.T) {
	truth := Scatter{ArrowsBoards: 1.6, LaunchAngleDeg: 0.5, SpeedMPH: 0.2, RevRPM: 20, ArrowsAngleCorrelation: -0.5}
	shots := invented(2000, truth, 1)
	for i := range shots { // a move to another target after every tenth shot is no miss
		*shots[i].ArrowsBoard += float64(i / 10 % 2 * 14)
	}
	got := EstimateScatter(shots).Scatter
	within(t, "arrows", got.ArrowsBoards, truth.ArrowsBoards, 0.06)
	within(t, "angle", got.LaunchAngleDeg, truth.LaunchAngleDeg, 0.06)
	within(t, "speed", got.SpeedMPH, truth.SpeedMPH, 0.06)
	within(t, "revs", got.RevRPM, truth.RevRPM, 0.06)
	within(t, "correlation", got.ArrowsAngleCorrelation, truth.ArrowsAngleCorrelation, 0.15)
}

func TestMeasurementErrorIsTakenOut(t *testing.T) {
	shots := invented(2000, Scatter{ArrowsBoards: 1, LaunchAngleDeg: 0.3, SpeedMPH: 0.35, RevRPM: 12}, 2)
	random := rand.New(rand.NewPCG(9, 9))
	for i := range shots {
		*shots[i].ArrowsBoard += random.NormFloat64()
		shots[i].Errors.Board = ptr(1)
	}
	within(t, "arrows", EstimateScatter(shots).Scatter.ArrowsBoards, 1, 0.1)
}

// asRead makes a log out of exact shots: readings that err as those of a source do, and say nothing
// of it.
func asRead(shots []shot.Shot, source string, seed uint64) []shot.Shot {
	board, angle, speed, revs, _ := drill.AssumedErrors(source)
	random := rand.New(rand.NewPCG(seed, 8))
	for i := range shots {
		*shots[i].ArrowsBoard += board * random.NormFloat64()
		*shots[i].LaunchAngleDeg += angle * random.NormFloat64()
		*shots[i].SpeedMPH += speed * random.NormFloat64()
		*shots[i].RevRateRPM += revs * random.NormFloat64()
		shots[i].Errors, shots[i].Source = shot.StandardErrors{}, source
	}
	return shots
}

// Over many logs of 400 shots the scatter at the arrows comes out as it is, whatever read them and
// though no error is stated, and of single ones no more strays than their number of pairs allows.
// Where the eye errs by much more than athletes do (angle, speed, revolutions), a practised league
// bowler's is left, and never the eye's.
func TestReadingErrorOfTheSourceIsTakenOut(t *testing.T) {
	const logs, n = 60, 400
	for _, truth := range []Scatter{
		{ArrowsBoards: 0.8, LaunchAngleDeg: 0.22, SpeedMPH: 0.3, RevRPM: 10, ArrowsAngleCorrelation: -0.73},
		{ArrowsBoards: 1.4, LaunchAngleDeg: 0.4, SpeedMPH: 0.5, RevRPM: 16, ArrowsAngleCorrelation: -0.6},
	} {
		for _, source := range []string{"eye", "video", "sensor", ""} {
			board, _, _, _, _ := drill.AssumedErrors(source)
			sum, strays := 0.0, 0
			var mean Scatter
			for seed := range uint64(logs) {
				got := EstimateScatter(asRead(invented(n, truth, 10+seed), source, seed)).Scatter
				sum += got.ArrowsBoards / logs
				mean.LaunchAngleDeg += got.LaunchAngleDeg / logs
				mean.SpeedMPH += got.SpeedMPH / logs
				mean.RevRPM += got.RevRPM / logs
				// A variance from n consecutive differences has a standard error of 1.82/sqrt(n) of itself.
				standardErr := (square(truth.ArrowsBoards) + square(board)) * 1.82 / math.Sqrt(n)
				if math.Abs(square(got.ArrowsBoards)-square(truth.ArrowsBoards)) > 2*standardErr {
					strays++
				}
			}
			within(t, source+": arrows", sum, truth.ArrowsBoards, 0.06)
			if strays > logs/7 {
				t.Errorf("%q: %d of %d logs lie outside two standard errors", source, strays, logs)
			}
			assumed := AssumedScatter()
			for name, one := range map[string][3]float64{
				"angle": {mean.LaunchAngleDeg, truth.LaunchAngleDeg, assumed.LaunchAngleDeg},
				"speed": {mean.SpeedMPH, truth.SpeedMPH, assumed.SpeedMPH},
				"revs":  {mean.RevRPM, truth.RevRPM, assumed.RevRPM},
			} {
				if low, high := min(one[1], one[2]), max(one[1], one[2]); one[0] < 0.9*low || one[0] > 1.15*high {
					t.Errorf("%q: %s %.3f, true %.3f, assumed %.3f", source, name, one[0], one[1], one[2])
				}
			}
		}
	}
}

func TestFewShotsStayNearTheDefault(t *testing.T) {
	if got := EstimateScatter(nil).Scatter; got != AssumedScatter() {
		t.Errorf("without shots: %+v", got)
	}
	// One pair, two boards apart: own deviation sqrt(pi), weight 1 against 10.
	session := uuid.UUID{1}
	estimate := EstimateScatter([]shot.Shot{
		{ID: uuid.UUID{2}, SessionID: session, Order: 2, ArrowsBoard: ptr(12), Errors: exact()},
		{ID: uuid.UUID{1}, SessionID: session, Order: 1, ArrowsBoard: ptr(10), Errors: exact()},
		{ID: uuid.UUID{3}, SessionID: uuid.UUID{9}, Order: 1, ArrowsBoard: ptr(30)}, // another session: no pair
		{ID: uuid.UUID{4}, SessionID: session, Order: 3, ArrowsBoard: ptr(20), BallID: &uuid.UUID{7}},
	})
	want := MeasureEstimate{
		Name:    "arrows_boards",
		Pairs:   1,
		Own:     math.Sqrt(math.Pi),
		Default: 1,
		Used:    math.Sqrt((10 + math.Pi) / 11),
	}
	got := estimate.Measures[0]
	if got.Name != want.Name || got.Pairs != 1 || math.Abs(got.Own-want.Own) > 1e-12 ||
		math.Abs(got.Used-want.Used) > 1e-12 {
		t.Errorf("%+v, want %+v", got, want)
	}
	if estimate.Scatter.LaunchAngleDeg != AssumedScatter().LaunchAngleDeg {
		t.Error("what was not measured left the default")
	}
}

func TestOrderOfShotsDoesNotMatter(t *testing.T) {
	shots := append(invented(20, AssumedScatter(), 3), invented(20, AssumedScatter(), 4)...)
	want := EstimateScatter(shots)
	rapid.Check(t, func(t *rapid.T) {
		if diff := cmp.Diff(want, EstimateScatter(rapid.Permutation(shots).Draw(t, "shots"))); diff != "" {
			t.Fatal(diff)
		}
	})
}

// The fixed draws have mean zero and the exact deviations, and the correlation nearly.
func TestDraws(t *testing.T) {
	for _, n := range []int{2, 64, 256, 1024} {
		scatter := Scatter{
			ArrowsBoards:           1.2,
			LaunchAngleDeg:         0.4,
			SpeedMPH:               0.3,
			RevRPM:                 15,
			ArrowsAngleCorrelation: -0.7,
		}
		draws := scatter.draws(n)
		if len(draws) != n {
			t.Fatalf("%d draws, want %d", len(draws), n)
		}
		var mean miss
		var aa, ss, rr, ag, gg float64
		for _, d := range draws {
			mean.arrowsBoards += d.arrowsBoards
			mean.angleDeg += d.angleDeg
			mean.speedMPH += d.speedMPH
			mean.revRPM += d.revRPM
			aa += d.arrowsBoards * d.arrowsBoards
			ss += d.speedMPH * d.speedMPH
			rr += d.revRPM * d.revRPM
			ag += d.arrowsBoards * d.angleDeg
			gg += d.angleDeg * d.angleDeg
		}
		for what, sum := range map[string]float64{"arrows": mean.arrowsBoards, "angle": mean.angleDeg, "speed": mean.speedMPH, "revs": mean.revRPM} {
			if math.Abs(sum) > 1e-9 {
				t.Errorf("%d draws: mean of %s is not zero but %g", n, what, sum/float64(n))
			}
		}
		within(t, "arrows", math.Sqrt(aa/float64(n)), scatter.ArrowsBoards, 1e-9)
		within(t, "speed", math.Sqrt(ss/float64(n)), scatter.SpeedMPH, 1e-9)
		within(t, "revs", math.Sqrt(rr/float64(n)), scatter.RevRPM, 1e-9)
		if n >= 64 {
			within(t, "angle", math.Sqrt(gg/float64(n)), scatter.LaunchAngleDeg, 0.05)
			within(t, "correlation", ag/math.Sqrt(aa*gg), scatter.ArrowsAngleCorrelation, 0.1)
		}
	}
}

// From steady feet (correlation -1, arrows = 15 ft of angle) every missed release starts on the
// same board.
func TestMissKeepsTheFeetSteady(t *testing.T) {
	request, _ := prepared(t, usual(t, "house_like.json"))
	release := request.Athlete.release(Aim{20, 0})
	m := miss{
		arrowsBoards: -1.5,
		angleDeg:     math.Atan(1.5/15*(41.5/39)/12) * 180 / math.Pi,
		speedMPH:     -30,
		revRPM:       -1000,
	}
	got := m.apply(release)
	if math.Abs(got.LaydownBoard-20) > 1e-12 || got.SpeedMPH != 1 || got.RevRPM != 0 {
		t.Errorf("%+v", got)
	}
}
