package line

import (
	"fmt"

	"laneward/service/motion"
	"laneward/service/oil"
)

// Lane is what the lane and the athlete's release on it may be: one of a list that represents what
// is not known. Lines are ranked over all of them.
type Lane struct {
	Film     *oil.Film
	Friction motion.Friction // for a ball of unknown surface
	// Weight is how likely it is against the others.
	Weight float64
	// RevFactor is the athlete's true revolutions over the stated ones, RotationDeg the true
	// rotation less the stated one.
	RevFactor   float64
	RotationDeg float64
	// PinShift is how many boards farther inside than the motion law has it a ball arrives there whose
	// path is outermost at a board; nil for none.
	PinShift func(breakpointBoard float64) float64
}

// prepareLanes prepares the request's lanes; without any, the request's own film is all there is.
func (s *scorer) prepareLanes(request Request) ([]preparedLane, error) {
	if len(request.Lanes) == 0 {
		return []preparedLane{{table: s.table, athlete: s.athlete, weight: 1}}, nil
	}
	prepared, total := make([]preparedLane, len(request.Lanes)), 0.0
	for i, one := range request.Lanes {
		table, err := motion.NewTable(
			one.Film.WithEdges(),
			one.Friction.OnSurface(request.Ball),
			request.Athlete.Side,
		)
		if err != nil {
			return nil, fmt.Errorf("lane %d: %w", i+1, err)
		}
		athlete := request.Athlete
		athlete.RevRPM *= one.RevFactor
		athlete.RotationDeg += one.RotationDeg
		prepared[i] = preparedLane{table, athlete, one.Weight, one.PinShift}
		total += one.Weight
	}
	for i := range prepared {
		prepared[i].weight /= total
	}
	return prepared, nil
}
