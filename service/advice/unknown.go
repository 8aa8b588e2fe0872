package advice

import (
	"math"

	"laneward/service/line"
	"laneward/service/reading"
	"laneward/service/shot"
	"laneward/service/tenpin"
)

// likeFt is how far a pattern's length may lie from that of another one that is played alike.
const likeFt = 3.0

// takeHabit estimates from the latest stored shots how the athlete plays, on the whole and on
// patterns like this one.
func (p *Planner) takeHabit(from Records) {
	habit := line.EstimateHabit(from.Shots, func(s *shot.Shot) bool {
		lengthFt, known := from.PatternFt[s.SessionID]
		return known && math.Abs(lengthFt-p.pattern.LengthFt) <= likeFt
	})
	p.request.Athlete.Habit, p.Subject.Habit = habit, habit
	if habit.Shots == 0 {
		p.assume(
			"That scatter is taken to hold for launch angles from %.1f to %.1f degrees, and to grow by 60 %% a degree beyond them (common practice, no source).",
			habit.LaunchAngleDeg-habit.LaunchWidthDeg,
			habit.LaunchAngleDeg+habit.LaunchWidthDeg,
		)
		return
	}
	p.assume(
		"Scatter is known for launch angles from %.1f to %.1f degrees (%s); beyond them it is taken to grow by 60 %% a degree.",
		habit.LaunchAngleDeg-habit.LaunchWidthDeg,
		habit.LaunchAngleDeg+habit.LaunchWidthDeg,
		countOf(habit.Shots, "stored shot", "stored shots"),
	)
}

// takeCarry says what an arrival at the pins is worth.
func (p *Planner) takeCarry(spares OwnSpares) {
	p.assume(
		"What the pins do with a ball is common practice, not measured: chances of a strike and of each leave by board and angle; "+
			"a strike counts %g pins a frame, a spare %g, an open frame %g, a gutter ball %g.",
		tenpin.StrikePins,
		tenpin.SparePins,
		tenpin.OpenPins,
		tenpin.GutterPins,
	)
	p.takeSpares(spares)
	p.assume("The arrows are taken to lie 12.5 to 15.8 ft from the foul line (from memory; makers differ).")
}

// Until a lane is read, so many fresh ones represent it, drawn at this share of the spread.
const (
	freshLanes = 12
	freshShare = 0.7
)

// takeLanes draws what the lane may be.
func (p *Planner) takeLanes() {
	p.request.Lanes = p.request.Lanes[:0:0]
	for _, state := range reading.Fresh(freshLanes, freshShare) {
		p.request.Lanes = append(p.request.Lanes, line.Lane{
			Film:        state.Film(p.request.Film, p.request.Athlete.Side),
			Friction:    state.Friction(p.request.Friction),
			Weight:      1,
			RevFactor:   state.RevFactor(),
			RotationDeg: state.Rotation,
			PinShift:    state.PinShiftAt,
		})
	}
	p.Subject.Lanes = len(p.request.Lanes)
}
