package picture

import (
	"math"
	"strings"
	"testing"

	"laneward/service/lane"
)

func TestFaultsAreNamedAndNothingIsDrawn(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	filmWith := func(ul float64) *Film {
		film := demoFilm()
		film.UL[4][7] = ul
		return film
	}
	missMap := func(change func(m *MissMap)) MissMap {
		m := demoMissMap(lane.Right)
		change(&m)
		return m
	}
	tests := []struct {
		name    string
		picture interface{ Scene() (Scene, error) }
		want    []string
	}{
		{"no side", Lane{}, []string{`side "" is unknown`, "give right or left"}},
		{"too narrow", Lane{Side: lane.Right, WidthPx: 100}, []string{"100 px wide", "320 to 1600"}},
		{
			"shot at NaN",
			Lane{Side: lane.Right, Shots: []Mark{{Board: 5, Ft: 3}, {Board: nan, Ft: 3}}},
			[]string{"shot 2: board is NaN", "give -19.5 to 59.5"},
		},
		{
			"shot far off the lane",
			Lane{Side: lane.Right, Shots: []Mark{{Board: 400, Ft: 3}}},
			[]string{"shot 1: board is 400"},
		},
		{
			"shot behind the pins",
			Lane{Side: lane.Right, Shots: []Mark{{Board: 20, Ft: 61}}},
			[]string{"shot 1: distance in feet is 61", "give 0 to 60"},
		},
		{
			"shot with an odd verdict",
			Lane{Side: lane.Right, Shots: []Mark{{Board: 20, Ft: 6, Verdict: "lucky"}}},
			[]string{`verdict "lucky" is unknown`},
		},
		{
			"path of one point",
			Lane{Side: lane.Right, Paths: []Path{{Points: []Point{{20, 0}}}}},
			[]string{"path 1 has 1 points"},
		},
		{
			"path to infinity",
			Lane{Side: lane.Right, Paths: []Path{{Points: []Point{{20, 0}, {inf, 60}}}}},
			[]string{"path 1, point 2: board is +Inf"},
		},
		{
			"path that goes back",
			Lane{Side: lane.Right, Paths: []Path{{Points: []Point{{20, 9}, {20, 8}}}}},
			[]string{"goes back from 9 to 8 ft"},
		},
		{
			"corridor the wrong way round",
			Lane{Side: lane.Right, Corridors: []Corridor{{FromBoard: 12, ToBoard: 9, FromFt: 40, ToFt: 30}}},
			[]string{"corridor 1 runs from board 12 to 9", "from 40 to 30 ft"},
		},
		{
			"corridor off the lane",
			Lane{Side: lane.Right, Corridors: []Corridor{{FromBoard: 0, ToBoard: 9, ToFt: 30}}},
			[]string{"from board is 0", "give 0.5 to 39.5"},
		},
		{
			"breakpoint off the lane",
			Lane{Side: lane.Right, Breakpoints: []Breakpoint{{Board: nan, Ft: 30}}},
			[]string{"breakpoint 1: board is NaN"},
		},
		{
			"negative film",
			Lane{Side: lane.Right, Film: filmWith(-1)},
			[]string{"film at board 5 from the right gutter, foot 7 is -1"},
		},
		{"film NaN", Lane{Side: lane.Right, Film: filmWith(nan)}, []string{"is NaN microlitres"}},
		{"film unit", Lane{Side: lane.Right, Film: &Film{Unit: "pints"}}, []string{`film unit "pints" is unknown`}},
		{
			"impossible spread",
			Lane{Side: lane.Right, Spreads: []Spread{{MeanX: 10, MeanY: 40, VarX: 1, VarY: 1, CovXY: 2}}},
			[]string{"covariance of 2 is impossible"},
		},
		{
			"spread holding all",
			Lane{Side: lane.Right, Spreads: []Spread{{VarX: 1, VarY: 1, Coverage: []float64{1}}}},
			[]string{"coverage 1", "between 0 and 1"},
		},
		{
			"spread NaN",
			Lane{Side: lane.Right, Spreads: []Spread{{MeanX: nan, VarX: 1, VarY: 1}}},
			[]string{"mean of x is NaN"},
		},
		{"pin beyond ten", Lane{Side: lane.Right, Standing: ptr(lane.PinSet(1 << 11))}, []string{"pin beyond 10"}},
		{
			"many faults are counted",
			Lane{Side: lane.Right, Shots: make([]Mark, 30)[:30:30], Film: filmAll(-1)},
			[]string{"and 2330 more"},
		},
		{
			"share above 1",
			missMap(func(m *MissMap) { m.Share[0][3] = 1.5 }),
			[]string{"share of laydown 1, angle 4 is 1.5"},
		},
		{
			"share row missing",
			missMap(func(m *MissMap) { m.Share = m.Share[1:] }),
			[]string{"shares are given for 32 laydowns, but there are 33"},
		},
		{
			"share row short",
			missMap(func(m *MissMap) { m.Share[2] = m.Share[2][1:] }),
			[]string{"shares of laydown 3 are given for 90 angles, but there are 91"},
		},
		{
			"uneven laydowns",
			missMap(func(m *MissMap) { m.LaydownBoards[3] += 0.5 }),
			[]string{"laydown boards do not rise in equal steps"},
		},
		{"falling angles", missMap(func(m *MissMap) { m.AnglesDeg[0] = 20 }), []string{"launch angles do not rise"}},
		{
			"aim outside",
			missMap(func(m *MissMap) { m.Aims[0].LaydownBoard = 39 }),
			[]string{"aim 1: laydown board is 39"},
		},
		{"contour NaN", missMap(func(m *MissMap) { m.Contours = []float64{nan} }), []string{"contour 1 is NaN"}},
		{"empty miss map", MissMap{Side: lane.Right}, []string{"0 laydown boards are given"}},
		{"no bars", Adherence{}, []string{"0 rows are given"}},
		{
			"more kept than judged",
			Adherence{Rows: []AdherenceRow{{Kept: 3, Judged: 2, Shots: 9, HighShare: 1}}},
			[]string{"row 1: 3 kept of 2 judged"},
		},
		{
			"interval beside the share",
			Adherence{Rows: []AdherenceRow{{Kept: 1, Judged: 2, Shots: 2, LowShare: 0.6, HighShare: 0.9}}},
			[]string{"0.6 to 0.9 does not hold the share 0.5"},
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			scene, err := test.picture.Scene()
			if err == nil {
				t.Fatal("no error")
			}
			if len(scene.Elements) != 0 {
				t.Errorf("%d elements were drawn beside the error", len(scene.Elements))
			}
			for _, want := range test.want {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("error lacks %q:\n%v", want, err)
				}
			}
		})
	}
}

func ptr[T any](v T) *T { return &v }

func filmAll(ul float64) *Film {
	film := &Film{}
	for b := range film.UL {
		for ft := range film.UL[b] {
			film.UL[b][ft] = ul
		}
	}
	return film
}

// TestOffLaneShotsGoToTheGutter keeps a gutter ball in the picture: in the gutter's middle, on its
// side, and counted.
func TestOffLaneShotsGoToTheGutter(t *testing.T) {
	for _, test := range []struct {
		side  lane.Side
		board float64
		wantX func(edges [2]float64) float64
	}{
		{lane.Right, -2, func(e [2]float64) float64 { return e[1] + gutterPx/2.0 }},
		{lane.Right, 41, func(e [2]float64) float64 { return e[0] - gutterPx/2.0 }},
		{lane.Left, -2, func(e [2]float64) float64 { return e[0] - gutterPx/2.0 }},
		{lane.Left, 41, func(e [2]float64) float64 { return e[1] + gutterPx/2.0 }},
	} {
		scene := mustScene(t, Lane{Side: test.side, Shots: []Mark{{Board: test.board, Ft: 30, Verdict: Kept}}})
		want := test.wantX(laneEdges(t, scene))
		var got []float64
		for _, e := range scene.Elements {
			if c, ok := e.Shape.(Circle); ok && e.Layer == LayerShots {
				got = append(got, c.X)
			}
		}
		if len(got) != 1 || math.Abs(got[0]-want) > 1e-9 {
			t.Errorf("%s-hander, board %g: drawn at %v, want %g", test.side, test.board, got, want)
		}
		if !strings.Contains(string(scene.SVG()), "1 shot drawn in the gutter") {
			t.Error("the legend does not say that a shot is drawn in the gutter")
		}
	}
}

// TestPathsEndInTheGutterAndAtThePins checks where the cut of a path falls.
func TestPathsEndInTheGutterAndAtThePins(t *testing.T) {
	p := newLanePanel(lane.Right, 2, 388, 50)
	tests := []struct {
		name   string
		points []Point
		want   XY
	}{
		{
			"into the right gutter",
			[]Point{{10, 0}, {-10, 40}, {-30, 60}},
			p.at(0.5-gutterPx/p.unit/2, 2*(10-0.5+gutterPx/p.unit/2)),
		},
		{"past the pins", []Point{{10, 0}, {10, 50}, {20, 64}}, p.at(10+10*10.0/14, 60)},
		{"on the lane", []Point{{10, 0}, {17, 60}}, p.at(17, 60)},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			line := p.trace(Path{Points: test.points})
			last := line[len(line)-1]
			end := p.at(last.Board, last.Ft)
			if math.Hypot(end.X-test.want.X, end.Y-test.want.Y) > 1e-9 {
				t.Errorf("ends at %v, want %v", end, test.want)
			}
		})
	}
}

// FuzzLane feeds numbers and text of any kind: the answer is an error or a picture whose SVG is
// well formed and whose every number is finite.
func FuzzLane(f *testing.F) {
	f.Add(10.0, 42.0, 9.5, 39.5, 36.0, 50.0, 3.0, 1.0, "Play inside", 390, false)
	f.Add(math.NaN(), math.Inf(1), -1.0, 1e308, 0.0, 60.0, 0.0, 0.0, "<a>&\x00", 0, true)
	f.Add(0.0, 0.0, 0.5, 0.5000001, 60.0, 60.0, 1e-300, 5e-324, "", 1600, true)
	f.Fuzz(
		func(t *testing.T, board, ft, fromBoard, toBoard, fromFt, toFt, varX, ul float64, text string, widthPx int, left bool) {
			l := Lane{
				Side:    lane.Right,
				Title:   text,
				WidthPx: widthPx,
				Film:    &Film{},
				Shots:   []Mark{{Board: board, Ft: ft, Verdict: Kept, Label: text}},
				Corridors: []Corridor{
					{FromBoard: fromBoard, ToBoard: toBoard, FromFt: fromFt, ToFt: toFt, Sentence: text},
				},
				Paths: []Path{
					{Points: []Point{{toBoard, fromFt}, {board, ft}, {fromBoard, toFt}}, Label: text},
					{Points: []Point{{20, 0}, {board, ft}}},
				},
				Breakpoints: []Breakpoint{{Board: board, Ft: ft, Label: text}},
				Spreads:     []Spread{{MeanX: board, MeanY: ft, VarX: varX, VarY: varX, CovXY: varX / 2}},
			}
			l.Film.UL[3][4] = ul
			if left {
				l.Side = lane.Left
			}
			scene, err := l.Scene()
			if err != nil {
				return
			}
			checkSVG(t, scene)
			if _, err := scene.Image(1); err != nil {
				t.Fatalf("a laid-out scene of %g x %g cannot be drawn: %v", scene.Width, scene.Height, err)
			}
		},
	)
}

func TestImageRefusesBadScales(t *testing.T) {
	scene := mustScene(t, demoAdherence())
	for _, scale := range []float64{0, -1, math.NaN(), math.Inf(1), 1000} {
		if _, err := scene.Image(scale); err == nil {
			t.Errorf("scale %g was taken", scale)
		}
	}
}
