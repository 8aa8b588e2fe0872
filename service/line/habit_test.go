package line

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"laneward/service/shot"
)

func played(angles, boards []float64) []shot.Shot {
	shots := make([]shot.Shot, len(angles))
	for i := range shots {
		shots[i] = shot.Shot{LaunchAngleDeg: &angles[i], ArrowsBoard: &boards[i], Order: i, Errors: exact()}
	}
	return shots
}

func TestHabitOfNobody(t *testing.T) {
	all := func(*shot.Shot) bool { return true }
	if got := EstimateHabit(nil, all); got != AssumedHabit() {
		t.Errorf("without shots: %+v", got)
	}
	if got := EstimateHabit([]shot.Shot{{}}, all); got != AssumedHabit() {
		t.Errorf("a shot without an angle: %+v", got)
	}
}

func TestHabitFollowsTheShots(t *testing.T) {
	angles, boards := make([]float64, 1000), make([]float64, 1000)
	for i := range angles {
		spread := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/1000-1)
		angles[i], boards[i] = 3+0.4*spread, 18+2*spread
	}
	shots := played(angles, boards)
	habit := EstimateHabit(shots, func(s *shot.Shot) bool { return s.Order >= 500 })
	if math.Abs(habit.LaunchAngleDeg-3) > 0.03 || math.Abs(habit.LaunchWidthDeg-0.8) > 0.03 || habit.Shots != 1000 {
		t.Errorf("%+v", habit)
	}
	like := habit.Like
	if like == nil || like.Shots != 500 || like.LaunchAngleDeg.Median < 3.2 || like.ArrowsBoard.Median < 19 ||
		like.LaunchAngleDeg.Deviation != leastDeviationDeg {
		t.Errorf("%+v", like)
	}
	if few := EstimateHabit(shots[:10], func(*shot.Shot) bool { return false }); few.Like != nil ||
		math.Abs(few.LaunchAngleDeg-(1.2+median(angles[:10]))/2) > 1e-9 {
		t.Errorf("ten shots weigh as much as the assumed habit: %+v", few)
	}
}

// Readings by eye err by a degree: that much does not make an athlete one who plays every angle.
func TestHabitOfAnEyeLog(t *testing.T) {
	angles, boards := make([]float64, 600), make([]float64, 600)
	random := rand.New(rand.NewPCG(5, 5))
	for i := range angles {
		angles[i], boards[i] = 2+0.5*random.NormFloat64()+random.NormFloat64(), 14
	}
	shots := played(angles, boards)
	for i := range shots {
		shots[i].Errors, shots[i].Source = shot.StandardErrors{}, "eye"
	}
	habit := EstimateHabit(shots, func(*shot.Shot) bool { return false })
	if math.Abs(habit.LaunchAngleDeg-2) > 0.15 || math.Abs(habit.LaunchWidthDeg-1) > 0.35 {
		t.Errorf("%.2f give or take %.2f degrees, want 2 give or take 1", habit.LaunchAngleDeg, habit.LaunchWidthDeg)
	}
}

func TestScatterGrowsAwayFromTheHabit(t *testing.T) {
	habit := AssumedHabit()
	for angle, want := range map[float64]float64{1.2: 1, 0.2: 1, 2.2: 1, 3.2: 1.6, -0.8: 1.6, 4.2: 2.2} {
		if got := habit.growth(angle); math.Abs(got-want) > 1e-9 {
			t.Errorf("at %g degrees the scatter grows by %g, want %g", angle, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(0, 5).Draw(t, "near"), rapid.Float64Range(0, 5).Draw(t, "farther")
		if habit.growth(1.2+a) > habit.growth(1.2+a+b) ||
			habit.growth(1.2+a) != habit.growth(1.2-a) && math.Abs(habit.growth(1.2+a)-habit.growth(1.2-a)) > 1e-9 {
			t.Fatalf("%g and %g degrees off", a, a+b)
		}
	})
}
