package motion

import (
	"math"
	"strings"
	"testing"

	"laneward/service/lane"
	"laneward/service/oil"
)

// both runs a release accurately over uniform friction and, for the same friction as a film without
// oil, fast.
func both(t *testing.T, mu float64, release Release) map[string]Outcome {
	t.Helper()
	path, err := Trace(Zones(Zone{60, mu}), DefaultBall(), release, EveryFoot())
	if err != nil {
		t.Fatal(err)
	}
	if last := path.Stations[len(path.Stations)-1]; last.Ft > path.EndFt || path.EndFt-last.Ft >= 1 {
		t.Errorf("the last station is at %g ft, the path ends at %g", last.Ft, path.EndFt)
	}
	table, err := NewTable(&oil.Film{}, Friction{MuDry: mu, MuOil: mu, Q0: 1}, lane.Right)
	if err != nil {
		t.Fatal(err)
	}
	return map[string]Outcome{"accurate": path.Outcome, "fast": table.Run(DefaultBall(), release)}
}

func TestZeroFriction(t *testing.T) {
	// Straight: 2 degrees are 0.3938 boards a foot.
	for name, o := range both(t, 0, Release{30, 2, 18, 400, 60, 10}) {
		near(t, name+": board", o.PinBoard, 30-60*math.Tan(2*math.Pi/180)*12/lane.BoardWidthIn, 1e-9)
		near(t, name+": angle", o.EntryAngleDeg, -2, 1e-9)
		near(t, name+": speed", o.PinSpeedMPH, 18, 1e-9)
		near(t, name+": time", o.PinTimeS, 60*0.3048/(18*0.44704*math.Cos(2*math.Pi/180)), 1e-9)
		near(t, name+": breakpoint", o.BreakpointFt, 60, 0)
		if o.Rolls || !o.Reaches() {
			t.Errorf("%s: %+v", name, o)
		}
	}
}

func TestAlreadyRolling(t *testing.T) {
	// Forward roll without slip: r w = v.
	v := 17 * lane.MPSPerMPH
	rpm := v / (DefaultRadiusIn * lane.MetresPerInch) * 60 / (2 * math.Pi)
	for name, o := range both(t, 0.2, Release{20, 1, 17, rpm, 0, 0}) {
		near(t, name+": board", o.PinBoard, 20-60*math.Tan(math.Pi/180)*12/lane.BoardWidthIn, 1e-9)
		near(t, name+": speed", o.PinSpeedMPH, 17, 1e-9)
		if !o.Rolls || o.RollFt > 1e-9 {
			t.Errorf("%s: rolls %v at %g ft, want from the foul line", name, o.Rolls, o.RollFt)
		}
	}
}

func TestOverSpun(t *testing.T) {
	// More spin than speed, straight forward: friction speeds the ball up to (v + k r w)/(1 + k).
	v, spin, k := 10*lane.MPSPerMPH, DefaultRadiusIn*lane.MetresPerInch*600*2*math.Pi/60, DefaultBall().inertia()
	for name, o := range both(t, 0.1, Release{20, 0, 10, 600, 0, 0}) {
		near(t, name+": speed", o.PinSpeedMPH*lane.MPSPerMPH, (v+k*spin)/(1+k), 1e-9)
		near(t, name+": board", o.PinBoard, 20, 1e-9)
		if !o.Rolls {
			t.Errorf("%s: does not roll", name)
		}
	}
}

func TestStopsShort(t *testing.T) {
	// Slow with a hard backspin: forward speed is used up after v^2/(2 mu g).
	v := 3 * lane.MPSPerMPH
	for name, o := range both(t, 0.1, Release{20, 0, 3, 600, 180, 0}) {
		if !o.Short || o.Reaches() || o.Rolls || o.PinBoard != 0 {
			t.Fatalf("%s: %+v, want short", name, o)
		}
		near(t, name+": end", o.EndFt*lane.MetresPerFoot, v*v/(2*0.1*lane.StandardGravityMPS), 1e-6)
	}
}

// On a film the ball meets more and more friction on its way to a stop; fast and accurate agree on
// where that is.
func TestStopsShortOnFilm(t *testing.T) {
	film, release := readFilm(t, "house-like"), Release{8, 0, 4, 600, 180, 0}
	path, err := Trace(FilmSurface(film, NominalFriction(), lane.Right), DefaultBall(), release, nil)
	if err != nil {
		t.Fatal(err)
	}
	table, err := NewTable(film, NominalFriction(), lane.Right)
	if err != nil {
		t.Fatal(err)
	}
	fast := table.Run(DefaultBall(), release)
	if !path.Short || !fast.Short {
		t.Fatalf("accurate: %+v\nfast: %+v, want both short", path.Outcome, fast)
	}
	near(t, "end", fast.EndFt, path.EndFt, 0.1)
}

// One long step whose ends are on the lane and whose vertex is not ends in the gutter, where the
// vertex lies beyond the edge.
func TestGutterInsideOneStep(t *testing.T) {
	release, muG := Release{25, 3.5, 17.5, 400, 60, 15}, 0.05*lane.StandardGravityMPS
	wide := newWalk(newLaunch(DefaultBall(), release))
	wide.edge = math.Inf(1)
	wide.glide(lane.LengthFt*lane.MetresPerFoot, muG)
	narrow := newWalk(newLaunch(DefaultBall(), release))
	vertex := (wide.out.BreakpointBoard - lane.CentreBoard) * lane.BoardWidthM
	ends := max(math.Abs(wide.y0), math.Abs(wide.y))
	narrow.edge = (ends - vertex) / 2
	if !wide.turned || -vertex <= ends {
		t.Fatalf("the case is no case: vertex %g m, end %g m", vertex, wide.y)
	}
	narrow.glide(lane.LengthFt*lane.MetresPerFoot, muG)
	if !narrow.ended || !narrow.out.Gutter || narrow.x >= wide.out.BreakpointFt*lane.MetresPerFoot {
		t.Errorf("ended %v, gutter %v at %g m", narrow.ended, narrow.out.Gutter, narrow.x)
	}
	near(t, "where it fell", narrow.y, -narrow.edge, 1e-12)
}

func TestGutters(t *testing.T) {
	for _, c := range []struct {
		name    string
		mu      float64
		release Release
		endFt   float64 // 0: not known in closed form
		board   float64
	}{
		{"straight into the outside gutter", 0, Release{5, 3, 18, 0, 0, 0}, 4.5 / lane.BoardsPerFoot(3), 0.5},
		{"straight into the inside gutter", 0, Release{35, -3, 18, 0, 0, 0}, 4.5 / lane.BoardsPerFoot(3), 35},
		{"out beyond the edge before it would turn", 0.05, Release{5, 2.5, 17, 400, 60, 0}, 0, 0.5},
		{"hooks through to the inside gutter", 0.2, Release{20, 0, 15, 500, 70, 0}, 0, 20},
		{"laid down outside the lane's edge", 0.1, Release{0.5, 1, 17, 300, 50, 0}, 1e-9, 0.5},
	} {
		for name, o := range both(t, c.mu, c.release) {
			if !o.Gutter || o.Reaches() || o.EndFt >= 60 || o.PinBoard != 0 || o.PinTimeS != 0 {
				t.Errorf("%s, %s: %+v, want a gutter ball", c.name, name, o)
			}
			if c.endFt > 0 {
				near(t, c.name+", "+name+": end", o.EndFt, c.endFt, 1e-6)
			}
			near(t, c.name+", "+name+": outermost board", o.BreakpointBoard, c.board, 1e-6)
		}
	}
}

// The vertex of a uniform parabola lies where vy = sy J: outermost board by the closed form,
// whatever the step.
func TestBreakpoint(t *testing.T) {
	release, mu := Release{25, 3.5, 17.5, 400, 60, 15}, 0.08
	l := newLaunch(DefaultBall(), release)
	timeS := l.turnJ / (mu * lane.StandardGravityMPS)
	want := 25 + (l.vy*timeS/2)/lane.BoardWidthM
	for name, o := range both(t, mu, release) {
		tolerance := map[string]float64{"accurate": 1e-9, "fast": 1e-3}[name]
		near(t, name+": board", o.BreakpointBoard, want, tolerance)
		near(t, name+": distance", o.BreakpointFt*lane.MetresPerFoot, l.vx*timeS-l.sx*l.turnJ*timeS/2, tolerance)
	}
}

func TestRunEndsOnNonsense(t *testing.T) {
	table, err := NewTable(readFilm(t, "house-like"), NominalFriction(), lane.Right)
	if err != nil {
		t.Fatal(err)
	}
	for name, release := range map[string]Release{
		"not a number": {math.NaN(), 1, 17, 300, 50, 0},
		"no speed":     {20, 1, 0, 300, 50, 0},
		"no direction": {20, math.Inf(1), 17, 300, 50, 0},
		"far outside":  {-1e9, 1, 17, 300, 50, 0},
		"backwards":    {20, 180, 17, 300, 50, 0},
	} {
		if o := table.Run(DefaultBall(), release); o.Reaches() && o.PinBoard > 0 {
			t.Errorf("%s: %+v", name, o)
		}
	}
}

func TestValidation(t *testing.T) {
	good := Release{20, 1, 17, 300, 50, 10}
	for _, c := range []struct {
		name    string
		ball    Ball
		release Release
		want    []string // every one of these is in the error
	}{
		{"every value of a release", DefaultBall(), Release{40, 31, 0, -1, 181, math.NaN()}, []string{
			"laydown_board", "launch_angle_deg", "speed_mph", "rev_rpm", "rotation_deg", "tilt_deg",
		}},
		{"no core", Ball{}, good, []string{"gyration_in"}},
		{"more than a hollow shell", Ball{GyrationIn: 3.6}, good, []string{"gyration_in"}},
		{"a golf ball", Ball{RadiusIn: 0.84, GyrationIn: 0.5}, good, []string{"radius_in"}},
	} {
		_, err := Trace(Zones(Zone{60, 0.1}), c.ball, c.release, nil)
		if err == nil {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		for _, part := range c.want {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%s: error %q does not name %s", c.name, err, part)
			}
		}
	}
	if _, err := Trace(
		NewSurface(func(_, ft float64) float64 { return 0.1 - ft/100 }),
		DefaultBall(),
		good,
		nil,
	); err == nil {
		t.Error("negative friction is accepted")
	}
	if _, err := Trace(Zones(Zone{60, 0.1}), DefaultBall(), good, []float64{10, 10}); err == nil {
		t.Error("stations that do not rise are accepted")
	}
	if _, err := NewTable(&oil.Film{}, Friction{MuDry: 0.2, MuOil: -1}, lane.Right); err == nil {
		t.Error("a negative friction is accepted")
	}
	film := &oil.Film{}
	film.UL[3][4] = math.NaN()
	if _, err := NewTable(film, NominalFriction(), lane.Right); err == nil {
		t.Error("a film that is not a number is accepted")
	}
}

// A rougher cover reaches through more oil; the assumption is bounded and leaves an unknown surface
// alone.
func TestAssumedSurface(t *testing.T) {
	nominal := NominalFriction()
	for grit, want := range map[float64]float64{0: 1, 2000: 1, 500: math.Sqrt2, 10: 1.7, 20000: 0.6} {
		near(t, "q0", nominal.OnSurface(Ball{SurfaceGrit: grit}).Q0, want*nominal.Q0, 1e-12)
	}
	if rough := nominal.OnSurface(
		Ball{SurfaceGrit: 500},
	); rough.Film(2) <= nominal.Film(2) ||
		rough.Film(0) != nominal.Film(0) {
		t.Error("a rough cover grips more on oil and the same on dry boards")
	}
}
