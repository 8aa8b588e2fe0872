package picture

import (
	"math"
	"math/rand/v2"
	"testing"

	"laneward/service/lane"
)

// The invented scenario that the golden pictures show: a 42 ft pattern, a right-hander, thirty
// shots at a corridor. All of it is made up here.

// demoFilm is an invented pattern: most oil in the middle, thinning toward both gutters and toward
// its end at 42 ft.
func demoFilm() *Film {
	film := &Film{}
	for b := range film.UL {
		middle := math.Exp(-math.Pow((float64(b)+1-lane.CentreBoard)/11, 4))
		for ft := range 42 {
			film.UL[b][ft] = (6 + 48*middle) * (1 - 0.85*math.Pow(float64(ft)/42, 1.5))
		}
	}
	return film
}

// demoPath is an invented path: straight to the breakpoint, then a parabola to the entry board.
func demoPath(laydown, breakBoard, breakFt, entry float64) []Point {
	var points []Point
	for ft := 0.0; ft <= lane.LengthFt; ft++ {
		u := ft / breakFt
		board := laydown + (breakBoard-laydown)*(2*u-u*u)
		if ft > breakFt {
			v := (ft - breakFt) / (lane.LengthFt - breakFt)
			board = breakBoard + (entry-breakBoard)*math.Pow(v, 1.6)
		}
		points = append(points, Point{Board: board, Ft: ft})
	}
	return points
}

func demoPaths() []Path {
	return []Path{
		{
			Points:   demoPath(24, 10.5, 42, 17.6),
			Label:    "cross the arrows at 17, 71 % of own shots reach the pocket",
			Emphasis: true,
		},
		{Points: demoPath(19, 8, 40, 17.2), Label: "cross at 14, 58 %"},
		{Points: demoPath(29, 13, 44, 17.4), Label: "cross at 22, 49 %"},
	}
}

func demoShots(n int) []Mark {
	draw := rand.New(rand.NewPCG(7, 11))
	shots := make([]Mark, 0, n)
	for range n {
		board := math.Round((11.2+1.9*draw.NormFloat64())*10) / 10
		ft := math.Round((42+1.6*draw.NormFloat64())*10) / 10
		verdict := Kept
		if board < 9.5 {
			verdict = Broken
		}
		if draw.Float64() < 0.08 {
			verdict = Unknown
		}
		shots = append(shots, Mark{Board: board, Ft: ft, Verdict: verdict})
	}
	return shots
}

func demoCorridor() Corridor {
	return Corridor{
		FromBoard: 9.5, ToBoard: lane.MaxBoard, FromFt: 36, ToFt: 50,
		Sentence: "Keep the ball at board 10 or inside at the breakpoint",
	}
}

func demoSpread() Spread { return Spread{MeanX: 11.2, MeanY: 42, VarX: 3.6, VarY: 2.6, CovXY: 1} }

func demoMissMap(side lane.Side) MissMap {
	m := MissMap{
		Side:     side,
		Title:    "Where this release may go",
		Caption:  "Invented pattern, 42 ft, invented release.",
		Contours: []float64{0.5},
		Aims: []Aim{
			{LaydownBoard: 24, AngleDeg: 4.1, Label: "laydown 24, 4.1 degrees: 71 %", Emphasis: true},
			{LaydownBoard: 19, AngleDeg: 2.6, Label: "laydown 19, 2.6 degrees: 58 %"},
		},
		Spreads: []Spread{
			{MeanX: 24, MeanY: 4.1, VarX: 0.8, VarY: 0.16, CovXY: -0.1, Label: "own scatter about line A"},
		},
	}
	for board := 6; board <= 38; board++ {
		m.LaydownBoards = append(m.LaydownBoards, float64(board))
	}
	for row := range 91 {
		m.AnglesDeg = append(m.AnglesDeg, -2+float64(row)*0.1)
	}
	for _, board := range m.LaydownBoards {
		var row []float64
		for _, angle := range m.AnglesDeg {
			off := angle - (board-10)*0.29
			share := 0.78 * math.Exp(-off*off/1.2) * math.Exp(-math.Pow((board-23)/9, 2))
			if board > 36 {
				share = math.NaN() // not computed
			}
			row = append(row, share)
		}
		m.Share = append(m.Share, row)
	}
	return m
}

func demoAdherence() Adherence {
	return Adherence{
		Title:   "Keep the ball at board 10 or inside at the breakpoint",
		Caption: "A squad of invented athletes, 1 to 14 March",
		Rows: []AdherenceRow{
			{
				Label:     "First athlete",
				Kept:      27,
				Judged:    34,
				Shots:     40,
				LowShare:  0.632,
				HighShare: 0.897,
				PassShare: 0.8,
				Verdict:   "too few shots",
			},
			{
				Label:     "Second athlete",
				Kept:      88,
				Judged:    92,
				Shots:     95,
				LowShare:  0.893,
				HighShare: 0.983,
				PassShare: 0.8,
				Verdict:   "met",
			},
			{
				Label:     "Third athlete",
				Kept:      12,
				Judged:    40,
				Shots:     40,
				LowShare:  0.18,
				HighShare: 0.454,
				PassShare: 0.8,
				Verdict:   "not met",
			},
			{Label: "Fourth athlete", Shots: 12, PassShare: 0.8},
		},
	}
}

// demo is one named picture of the invented scenario.
type demo struct {
	name    string
	picture interface{ Scene() (Scene, error) }
}

func demos(t testing.TB) []demo {
	t.Helper()
	leave, err := lane.Pins(4, 9)
	if err != nil {
		t.Fatal(err)
	}
	plan := Lane{
		Side: lane.Right, Title: "Invented pattern, 42 ft", Caption: "Three lines for the same release, invented.",
		Film: demoFilm(), Paths: demoPaths(), Breakpoints: []Breakpoint{{Board: 10.5, Ft: 42}},
	}
	score := Lane{
		Side:      lane.Right,
		Title:     "Play inside",
		Caption:   "30 shots, 3 March. Invented.",
		Corridors: []Corridor{demoCorridor()},
		Shots:     demoShots(30),
	}
	everything := Lane{
		Side:      lane.Left,
		WidthPx:   1280,
		Title:     "Play inside",
		Caption:   "300 shots in March. Invented.",
		Film:      demoFilm(),
		Corridors: []Corridor{demoCorridor()},
		Shots:     demoShots(300),
		Paths:     demoPaths()[:1],
		Breakpoints: []Breakpoint{
			{Board: 10.5, Ft: 42, Label: "planned breakpoint"},
		},
		Standing: &leave,
		Spreads:  []Spread{demoSpread()},
	}
	everything.Film.Unit = OilUnits
	gate := Lane{
		Side:    lane.Left,
		WidthPx: MinWidthPx,
		Title:   "Cross the arrows at 12 to 15",
		Shots:   demoGateShots(),
		Corridors: []Corridor{
			{
				FromBoard: 11.5,
				ToBoard:   15.5,
				FromFt:    15,
				ToFt:      15,
				Sentence:  "Keep the ball between boards 12 and 15 at the arrows",
			},
		},
	}
	wideMissMap := demoMissMap(lane.Left)
	wideMissMap.WidthPx, wideMissMap.Aims = 1280, wideMissMap.Aims[:1]
	return []demo{
		{"lane-plan", plan},
		{"lane-score", score},
		{"lane-everything-left-1280", everything},
		{"lane-gate-left-320", gate},
		{"miss-map", demoMissMap(lane.Right)},
		{"miss-map-left-1280", wideMissMap},
		{"adherence", demoAdherence()},
	}
}

// demoGateShots are invented shots at the arrows, one of them in the gutter.
func demoGateShots() []Mark {
	return []Mark{
		{Board: 12.1, Ft: 15, Verdict: Kept, Label: "shot 1: board 12.1"},
		{Board: 14, Ft: 15, Verdict: Kept, Label: "shot 2: board 14"},
		{Board: 17.5, Ft: 15, Verdict: Broken, Label: "shot 3: board 17.5"},
		{Board: 9, Ft: 15, Verdict: Broken, Label: "shot 4: board 9"},
		{Board: -1, Ft: 15, Verdict: Broken, Label: "shot 5: in the gutter"},
		{Board: 13, Ft: 20, Verdict: Unknown, Label: "shot 6: seen at 20 ft only"},
	}
}
