package picture_test

import (
	"math"
	"math/rand/v2"

	"laneward/service/lane"
	"laneward/service/picture"
)

// The invented scenario that the golden pictures show: a 42 ft pattern, a right-hander, thirty shots at a corridor. All of it is made up here.

// demoFilm is an invented pattern: most oil in the middle, thinning toward both gutters and toward its end at 42 ft.
func demoFilm() *picture.Film {
	film := &picture.Film{}
	for b := range film.UL {
		middle := math.Exp(-math.Pow((float64(b)+1-lane.CentreBoard)/11, 4))
		for ft := range 42 {
			film.UL[b][ft] = (6 + 48*middle) * (1 - 0.85*math.Pow(float64(ft)/42, 1.5))
		}
	}
	return film
}

// demoPath is an invented path: straight to the breakpoint, then a parabola to the entry board.
func demoPath(laydown, breakBoard, breakFt, entry float64) []picture.Point {
	var points []picture.Point
	for ft := 0.0; ft <= lane.LengthFt; ft++ {
		u := ft / breakFt
		board := laydown + (breakBoard-laydown)*(2*u-u*u)
		if ft > breakFt {
			v := (ft - breakFt) / (lane.LengthFt - breakFt)
			board = breakBoard + (entry-breakBoard)*math.Pow(v, 1.6)
		}
		points = append(points, picture.Point{Board: board, Ft: ft})
	}
	return points
}

func demoPaths() []picture.Path {
	return []picture.Path{
		{Points: demoPath(24, 10.5, 42, 17.6), Label: "cross the arrows at 17, 71 % of own shots reach the pocket", Emphasis: true},
		{Points: demoPath(19, 8, 40, 17.2), Label: "cross at 14, 58 %"},
		{Points: demoPath(29, 13, 44, 17.4), Label: "cross at 22, 49 %"},
	}
}

func demoShots(n int) []picture.Mark {
	draw := rand.New(rand.NewPCG(7, 11))
	shots := make([]picture.Mark, 0, n)
	for range n {
		board := math.Round((11.2+1.9*draw.NormFloat64())*10) / 10
		ft := math.Round((42+1.6*draw.NormFloat64())*10) / 10
		verdict := picture.Kept
		if board < 9.5 {
			verdict = picture.Broken
		}
		if draw.Float64() < 0.08 {
			verdict = picture.Unknown
		}
		shots = append(shots, picture.Mark{Board: board, Ft: ft, Verdict: verdict})
	}
	return shots
}

func demoCorridor() picture.Corridor {
	return picture.Corridor{
		FromBoard: 9.5, ToBoard: lane.MaxBoard, FromFt: 36, ToFt: 50,
		Sentence: "Keep the ball at board 10 or inside at the breakpoint",
	}
}
