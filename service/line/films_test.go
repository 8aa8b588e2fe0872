package line

import (
	"testing"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/reading"
)

// family is films of one shape and any length.
type family struct {
	name   string
	ratio  float64
	shaped func(lengthFt float64) *oil.Film
}

// families are the two reference films stretched to other lengths, with more or less of their oil
// outside.
func families(tb testing.TB) []family {
	tb.Helper()
	flat, house := readFilm(tb, "flat_long.json"), readFilm(tb, "house_like.json")
	return []family{
		{"flat across", 1, reshape(flat, 1)},
		{"flat 1.5:1", 1.5, reshape(flat, 1.5)},
		{"flat 2:1", 2, reshape(flat, 2)},
		{"flat 2.5:1", 2.5, reshape(flat, 2.5)},
		{"steps 3:1", 3, reshape(house, 3)},
		{"steps 5:1", 5, reshape(house, 5)},
		{"house 8:1", 8, reshape(house, 8)},
	}
}

// reshape returns a film stretched along the lane, whose boards hold so much less than the middle
// one that the outermost holds a share of 1/ratio.
func reshape(film *oil.Film, ratio float64) func(float64) *oil.Film {
	return func(lengthFt float64) *oil.Film {
		made := &oil.Film{Name: film.Name, LengthFt: lengthFt}
		most := film.UL[19][10]
		least := film.UL[1][10] / most
		for b := range made.UL {
			depth := (1 - film.UL[b][10]/most) / (1 - least) // 0 in the middle, 1 outside
			share := 1 - depth*(1-1/ratio)
			for row := range oil.Rows {
				ft := (float64(row) + 0.5) * film.LengthFt / lengthFt
				made.UL[b][row] = share * film.UnitsAt(lane.CentreBoard, ft) * oil.UnitULPerBoardFoot
			}
		}
		return made
	}
}

// athletes are invented: slow to fast, few to many revolutions, steady and not.
func athletes() []Athlete {
	steady := Scatter{
		ArrowsBoards:           0.8,
		LaunchAngleDeg:         0.22,
		SpeedMPH:               0.35,
		RevRPM:                 12,
		ArrowsAngleCorrelation: -0.73,
	}
	return []Athlete{
		{
			Side:              lane.Right,
			SpeedMPH:          17.2,
			RevRPM:            330,
			RotationDeg:       50,
			TiltDeg:           12,
			SlideOffsetBoards: 6,
			Scatter:           steady,
		},
		{
			Side:              lane.Right,
			SpeedMPH:          16,
			RevRPM:            280,
			RotationDeg:       45,
			TiltDeg:           10,
			SlideOffsetBoards: 6,
			Scatter:           AssumedScatter(),
		},
		{
			Side:              lane.Right,
			SpeedMPH:          18.5,
			RevRPM:            400,
			RotationDeg:       55,
			TiltDeg:           14,
			SlideOffsetBoards: 6,
			Scatter:           steady,
		},
		{
			Side:              lane.Right,
			SpeedMPH:          17.5,
			RevRPM:            350,
			RotationDeg:       50,
			TiltDeg:           12,
			SlideOffsetBoards: 6,
			Scatter:           AssumedScatter(),
		},
		{
			Side:              lane.Right,
			SpeedMPH:          19,
			RevRPM:            450,
			RotationDeg:       60,
			TiltDeg:           15,
			SlideOffsetBoards: 7,
			Scatter:           AssumedScatter(),
		},
		{
			Side:              lane.Right,
			SpeedMPH:          16.8,
			RevRPM:            360,
			RotationDeg:       60,
			TiltDeg:           14,
			SlideOffsetBoards: 5,
			Scatter:           steady,
		},
	}
}

// freshLanes is a request on a lane of which nothing is read.
func freshLanes(film *oil.Film, athlete Athlete) Request {
	request := Request{Film: film, Friction: motion.NominalFriction(), Ball: motion.DefaultBall(), Athlete: athlete}
	request.Lanes = lanesOf(request, 12)
	return request
}

// lanesOf are n lanes that a request's may be.
func lanesOf(request Request, n int) []Lane {
	var lanes []Lane
	for _, state := range reading.Fresh(n, 0.7) {
		lanes = append(lanes, Lane{
			Film: state.Film(request.Film, request.Athlete.Side), Friction: state.Friction(request.Friction), Weight: 1,
			RevFactor: state.RevFactor(), RotationDeg: state.Rotation, PinShift: state.PinShiftAt,
		})
	}
	return lanes
}
