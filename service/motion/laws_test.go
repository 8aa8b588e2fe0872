package motion

import (
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/oil"
)

func anyRelease() *rapid.Generator[Release] {
	return rapid.Custom(func(t *rapid.T) Release {
		return Release{
			LaydownBoard: rapid.Float64Range(3, 37).
				Draw(t, "laydown"),
			LaunchAngleDeg: rapid.Float64Range(-3, 5).Draw(t, "angle"),
			SpeedMPH:       rapid.Float64Range(9, 25).Draw(t, "speed"),
			RevRPM:         rapid.Float64Range(0, 600).Draw(t, "revs"),
			RotationDeg: rapid.Float64Range(-90, 120).
				Draw(t, "rotation"),
			TiltDeg: rapid.Float64Range(0, 60).Draw(t, "tilt"),
		}
	})
}

func anyFilm() *rapid.Generator[*oil.Film] {
	return rapid.Custom(func(t *rapid.T) *oil.Film {
		film := &oil.Film{LengthFt: 45}
		across := rapid.SliceOfN(rapid.Float64Range(0, 30), 5, 5).Draw(t, "across")
		lengthFt := rapid.Float64Range(0, 50).Draw(t, "length")
		for b := range film.UL {
			for j := range oil.Rows {
				if left := lengthFt - float64(j); left > 0 {
					film.UL[b][j] = across[b/8] * min(left/10, 1)
				}
			}
		}
		return film
	})
}

// sphere integrates the six equations of the sliding sphere as they stand (velocity and spin in
// three dimensions, the mass in them) by the classical Runge-Kutta method in time. It knows nothing
// of the constant slip direction and shares no code with the solver. Lane coordinates; side -1
// mirrors the delivery and not the lane.
type sphere struct {
	mass, r, inertia float64
	mu               func(x, y, slipMPS float64) float64 // metres, y from board 20 to the left
	s                [6]float64                          // x, y, vx, vy, wx, wy
	t                float64
}

func newSphere(mass float64, ball Ball, release Release, side float64, mu func(x, y, slipMPS float64) float64) *sphere {
	r, gyration := ball.radiusIn()*lane.MetresPerInch, ball.GyrationIn*lane.MetresPerInch
	heading := -release.LaunchAngleDeg * math.Pi / 180
	v, w := release.SpeedMPH*lane.MPSPerMPH, release.RevRPM*2*math.Pi/60*math.Cos(release.TiltDeg*math.Pi/180)
	axis := heading + release.RotationDeg*math.Pi/180 + math.Pi/2 // the axis of forward roll points to the left
	return &sphere{mass: mass, r: r, inertia: mass * gyration * gyration, mu: mu, s: [6]float64{
		0, side * (release.LaydownBoard - 20) * lane.BoardWidthM, v * math.Cos(heading), side * v * math.Sin(heading),
		side * w * math.Cos(axis), w * math.Sin(axis), // spin is an axial vector: the mirror turns its x
	}}
}

func (p *sphere) slip(s [6]float64) (ux, uy float64) { return s[2] - p.r*s[5], s[3] + p.r*s[4] }

func (p *sphere) rate(s [6]float64) [6]float64 {
	ux, uy := p.slip(s)
	u := math.Hypot(ux, uy)
	force := -p.mu(s[0], s[1], u) * p.mass * lane.StandardGravityMPS
	fx, fy := force*ux/u, force*uy/u
	// torque = (0, 0, -r) x (fx, fy, 0) = (r fy, -r fx, 0)
	return [6]float64{s[2], s[3], fx / p.mass, fy / p.mass, p.r * fy / p.inertia, -p.r * fx / p.inertia}
}

func (p *sphere) step(dt float64) {
	plus := func(s, d [6]float64, h float64) [6]float64 {
		for i := range s {
			s[i] += h * d[i]
		}
		return s
	}
	k1 := p.rate(p.s)
	k2 := p.rate(plus(p.s, k1, dt/2))
	k3 := p.rate(plus(p.s, k2, dt/2))
	k4 := p.rate(plus(p.s, k3, dt))
	for i := range p.s {
		p.s[i] += dt / 6 * (k1[i] + 2*k2[i] + 2*k3[i] + k4[i])
	}
	p.t += dt
}

// run carries the sphere to the pins and returns the board, path angle and time there; ok is false
// when it leaves the lane. each is called with the state while the ball slips.
func (p *sphere) run(each func(s [6]float64)) (board, angleDeg, timeS float64, ok bool) {
	const dt, pins = 5e-4, lane.LengthFt * lane.MetresPerFoot
	for p.s[0] < pins {
		ux, uy := p.slip(p.s)
		if math.Hypot(ux, uy) < 4*p.mu(p.s[0], p.s[1], math.Hypot(ux, uy))*lane.StandardGravityMPS*dt*2 || math.Hypot(ux, uy) < 1e-9 {
			break
		}
		each(p.s)
		p.step(dt)
		if math.Abs(p.s[1]) > edgeM {
			return 0, 0, 0, false
		}
	}
	// What little slip is left takes its velocity with it: v_rolled = v - u k/(1+k).
	if p.s[0] < pins {
		ux, uy := p.slip(p.s)
		k := p.inertia / (p.mass * p.r * p.r)
		p.s[2], p.s[3] = p.s[2]-ux*k/(1+k), p.s[3]-uy*k/(1+k)
	}
	left := (pins - p.s[0]) / p.s[2]
	y := p.s[1] + left*p.s[3]
	return lane.CentreBoard + y/lane.BoardWidthM, math.Atan2(
			p.s[3],
			p.s[2],
		) * 180 / math.Pi, p.t + left, math.Abs(
			y,
		) <= edgeM
}

func muOf(film *oil.Film, friction Friction) func(x, y, slipMPS float64) float64 {
	return func(x, y, slipMPS float64) float64 {
		return friction.Mu(film.UnitsAt(board(y), x/lane.MetresPerFoot), slipMPS)
	}
}

// The solver gives what the six equations give, for both sides and whatever the mass, and in them
// the slip never changes its direction.
func TestSolverIsTheSixEquations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		film, release, ball, friction := anyFilm().Draw(t, "film"),
			anyRelease().Draw(t, "release"),
			DefaultBall(), NominalFriction()
		side, sign := lane.Right, 1.0
		if rapid.Bool().Draw(t, "left") {
			side, sign = lane.Left, -1
		}
		light := newSphere(rapid.Float64Range(2.5, 7.3).Draw(t, "mass"), ball, release, sign, muOf(film, friction))
		firstX, firstY := light.slip(light.s)
		first := math.Hypot(firstX, firstY)
		pin, angle, time, ok := light.run(func(s [6]float64) {
			x, y := light.slip(s)
			if across := (x*firstY - y*firstX) / (math.Hypot(x, y) * first); math.Abs(across) > 1e-9 {
				t.Fatalf("the slip turned by %g", across)
			}
		})
		path, err := Trace(FilmSurface(film, friction, side), ball, release, nil)
		if err != nil {
			t.Fatal(err)
		}
		if !ok || !path.Reaches() {
			if edge := math.Abs(pin - lane.CentreBoard); ok != path.Reaches() && edge < 19.4 {
				t.Fatalf("six equations reach the pins: %v (board %g), solver: %v", ok, pin, path.Reaches())
			}
			t.Skip("off the lane")
		}
		// The comparison's own limit: it stops the slip a little early.
		if math.Abs(side.Board(pin)-path.PinBoard) > 0.02 || math.Abs(sign*angle-path.EntryAngleDeg) > 0.01 ||
			math.Abs(time-path.PinTimeS) > 1e-3 {
			t.Fatalf("six equations: board %g, %g deg, %g s; solver: %g, %g, %g",
				side.Board(pin), sign*angle, time, path.PinBoard, path.EntryAngleDeg, path.PinTimeS)
		}
		heavy := newSphere(20, ball, release, sign, muOf(film, friction))
		if other, _, _, _ := heavy.run(func([6]float64) {}); math.Abs(other-pin) > 1e-6 {
			t.Fatalf("20 kg reach board %g, %g kg board %g", other, light.mass, pin)
		}
	})
}

// Whatever friction it meets, the ball never gains energy; having rolled out it has lost (1/2)
// k/(1+k) |u0|^2 per mass.
func TestEnergyNeverGrows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ball := Ball{GyrationIn: rapid.Float64Range(2.4, 2.8).Draw(t, "gyration")}
		k := ball.inertia()
		w := newWalk(newLaunch(ball, anyRelease().Draw(t, "release")))
		w.edge = math.Inf(1)
		start := energyPerMass(&w, k)
		loss := w.rollJ * w.rollJ * (1 + k) / k / 2
		last := start
		for range 200 {
			w.glide(rapid.Float64Range(0.01, 2).Draw(t, "h"), rapid.Float64Range(0, 3).Draw(t, "mu g"))
			if w.ended {
				return
			}
			now := energyPerMass(&w, k)
			if now > last+1e-12*start {
				t.Fatalf("energy grew from %g to %g J/kg", last, now)
			}
			last = now
		}
		if w.rolling && math.Abs(start-last-loss) > 1e-9*start {
			t.Fatalf("lost %g J/kg, want %g", start-last, loss)
		}
	})
}

// A ball that has rolled out moves as (v0 + k r w0 x z)/(1 + k), whatever oil it crossed.
func TestRolledVelocityDoesNotDependOnFilm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		release, ball := anyRelease().Draw(t, "release"), DefaultBall()
		k := math.Pow(2.5/4.2975, 2)
		heading := -release.LaunchAngleDeg * math.Pi / 180
		spin := heading + release.RotationDeg*math.Pi/180
		v := release.SpeedMPH * 0.44704
		rw := 4.2975 * 0.0254 * release.RevRPM * 2 * math.Pi / 60 * math.Cos(release.TiltDeg*math.Pi/180)
		vx := (v*math.Cos(heading) + k*rw*math.Cos(spin)) / (1 + k)
		vy := (v*math.Sin(heading) + k*rw*math.Sin(spin)) / (1 + k)
		rolled := 0
		for range 3 {
			path, err := Trace(
				FilmSurface(anyFilm().Draw(t, "film"), NominalFriction(), lane.Right),
				ball,
				release,
				nil,
			)
			if err != nil {
				t.Fatal(err)
			}
			if !path.Reaches() || !path.Rolls {
				continue
			}
			rolled++
			if angle := math.Atan2(vy, vx) * 180 / math.Pi; math.Abs(path.EntryAngleDeg-angle) > 1e-9 {
				t.Fatalf("enters at %.12g deg, want %.12g", path.EntryAngleDeg, angle)
			}
			if speed := math.Hypot(vx, vy) / 0.44704; math.Abs(path.PinSpeedMPH-speed) > 1e-9 {
				t.Fatalf("arrives with %.12g mph, want %.12g", path.PinSpeedMPH, speed)
			}
		}
		if rolled == 0 {
			t.Skip("no film let it roll out")
		}
	})
}

// A left-hander's path on a film is the right-hander's on the mirrored film, to the last bit, and
// its track the mirror of that one's.
func TestMirrorImage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		film, release, ball, friction := anyFilm().Draw(t, "film"),
			anyRelease().Draw(t, "release"),
			DefaultBall(), NominalFriction()
		left, err := Trace(FilmSurface(film, friction, lane.Left), ball, release, EveryFoot())
		if err != nil {
			t.Fatal(err)
		}
		right, err := Trace(FilmSurface(film.Mirror(), friction, lane.Right), ball, release, EveryFoot())
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(right, left); diff != "" {
			t.Fatal(diff)
		}
		leftTrack, rightTrack := left.Track(lane.Left), right.Track(lane.Right)
		for i := range leftTrack {
			if leftTrack[i].X != 2*lane.CentreBoard-rightTrack[i].X {
				t.Fatalf("at %g ft: left %g, right %g", leftTrack[i].Ft, leftTrack[i].X, rightTrack[i].X)
			}
		}
		leftTable, err := NewTable(film, friction, lane.Left)
		if err != nil {
			t.Fatal(err)
		}
		rightTable, err := NewTable(film.Mirror(), friction, lane.Right)
		if err != nil {
			t.Fatal(err)
		}
		if leftTable.Run(ball, release) != rightTable.Run(ball, release) {
			t.Fatal("the fast paths differ")
		}
	})
}

// Over the two reference films the fast path keeps its promise for any release, and agrees on what
// became of the ball unless it ends within half a board of the gutter.
func TestTableKeepsItsPromise(t *testing.T) {
	for _, name := range []string{"house-like", "flat-long"} {
		film := readFilm(t, name)
		table, err := NewTable(film, NominalFriction(), lane.Right)
		if err != nil {
			t.Fatal(err)
		}
		surface := FilmSurface(film, NominalFriction(), lane.Right)
		rapid.Check(t, func(t *rapid.T) {
			release := anyRelease().Draw(t, "release")
			path, err := Trace(surface, DefaultBall(), release, nil)
			if err != nil {
				t.Fatal(err)
			}
			fast := table.Run(DefaultBall(), release)
			if fast.Gutter != path.Gutter || fast.Short != path.Short {
				if room := min(
					path.BreakpointBoard,
					fast.BreakpointBoard,
				) - lane.MinBoard; room > 0.5 &&
					math.Abs(path.PinBoard-20) < 19 {
					t.Fatalf("fast: %+v\naccurate: %+v", fast, path.Outcome)
				}
				return
			}
			for what, difference := range map[string]float64{
				"pin board": fast.PinBoard - path.PinBoard, "breakpoint board": fast.BreakpointBoard - path.BreakpointBoard,
				"entry angle": fast.EntryAngleDeg - path.EntryAngleDeg, "speed": fast.PinSpeedMPH - path.PinSpeedMPH,
				"time": fast.PinTimeS - path.PinTimeS, "end, a tenth": (fast.EndFt - path.EndFt) / 10,
			} {
				if !(math.Abs(difference) < 0.05) {
					t.Fatalf("%s differs by %g\nfast: %+v\naccurate: %+v", what, difference, fast, path.Outcome)
				}
			}
		})
	}
}

// Where friction does not depend on the board, a line is the same line rotated, whatever the law,
// and enters lower by the same angle. (Friction follows the distance from the foul line, and not
// the rotated one: hence the tolerances.)
func TestRotationOnFilmsFlatAcross(t *testing.T) {
	for _, lengthFt := range []float64{34, 40, 46} {
		for name, friction := range map[string]Friction{"nominal": NominalFriction(), "without slip": lawWithoutSlip()} {
			for angleDeg, tolerance := range map[float64]float64{1: 0.1, 2: 0.2, 4: 0.5} {
				t.Run(fmt.Sprintf("%g ft, %s, %g degrees", lengthFt, name, angleDeg), func(t *testing.T) {
					surface := FilmSurface(flatFilm(lengthFt, 10), friction, lane.Right)
					straight := follow(t, surface, DefaultBall(), Release{20, 0, 17, 325, 50, 12}, lane.LengthFt)
					turned := follow(t, surface, DefaultBall(), Release{20, angleDeg, 17, 325, 50, 12}, lane.LengthFt)
					sin, cos := math.Sincos(angleDeg * math.Pi / 180)
					// The point of the straight path, or of its last direction, that the rotation carries to 60 ft.
					slope := straight.vy / straight.vx
					x := (lane.LengthFt*lane.MetresPerFoot - sin*(straight.y-slope*straight.x)) / (cos + sin*slope)
					want := (straight.y+slope*(x-straight.x))*cos - x*sin
					near(t, "board at the pins", board(turned.y), board(want), tolerance)
					degrees := func(w walk) float64 { return math.Atan2(w.vy, w.vx) * 180 / math.Pi }
					near(t, "entry angle", degrees(turned), degrees(straight)-angleDeg, tolerance)
				})
			}
		}
	}
}

// flatFilm is the same on all boards, with its last 10 feet falling to nothing.
func flatFilm(lengthFt, units float64) *oil.Film {
	film := &oil.Film{LengthFt: lengthFt}
	for b := range film.UL {
		for row := range oil.Rows {
			left := min(max(lengthFt-float64(row)-0.5, 0)/10, 1)
			film.UL[b][row] = units * left * oil.UnitULPerBoardFoot
		}
	}
	return film
}

func TestRunAllocatesNothing(t *testing.T) {
	table, err := NewTable(readFilm(t, "house-like"), NominalFriction(), lane.Right)
	if err != nil {
		t.Fatal(err)
	}
	release := Release{15, 2, 18, 300, 40, 10}
	if n := testing.AllocsPerRun(100, func() { table.Run(DefaultBall(), release) }); n != 0 {
		t.Errorf("%g allocations a path", n)
	}
}
