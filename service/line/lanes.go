package line

import (
	"fmt"

	"laneward/service/lane"
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
}

// prepareLanes prepares the request's lanes; without any, the request's own film is all there is.
func (s *scorer) prepareLanes(request Request) ([]preparedLane, error) {
	if len(request.Lanes) == 0 {
		return []preparedLane{{s.table, s.athlete, 1}}, nil
	}
	prepared, total := make([]preparedLane, len(request.Lanes)), 0.0
	for i, one := range request.Lanes {
		table, err := motion.NewTable(
			withoutBareEdges(one.Film),
			one.Friction.OnSurface(request.Ball),
			request.Athlete.Side,
		)
		if err != nil {
			return nil, fmt.Errorf("lane %d: %w", i+1, err)
		}
		athlete := request.Athlete
		athlete.RevRPM *= one.RevFactor
		athlete.RotationDeg += one.RotationDeg
		prepared[i] = preparedLane{table, athlete, one.Weight}
		total += one.Weight
	}
	for i := range prepared {
		prepared[i].weight /= total
	}
	return prepared, nil
}

// bareShare is the share of its neighbour's oil under which an edge board counts as bare.
const bareShare = 0.5

// withoutBareEdges returns the film with each bare edge board read as its neighbour. A load table
// leaves the outermost boards out, and a dry board there would be a wall that no ball falls over:
// a line would be planned along it that no lane gives.
func withoutBareEdges(film *oil.Film) *oil.Film {
	read := *film
	for _, edge := range [][2]int{{0, 1}, {lane.Boards - 1, lane.Boards - 2}} {
		for row := range oil.Rows {
			board, next := &read.UL[edge[0]][row], film.UL[edge[1]][row]
			if *board < bareShare*next {
				*board = next
			}
		}
	}
	return &read
}
