package motion

import (
	"fmt"
	"math"
	"testing"

	"laneward/service/lane"
	"laneward/service/oil"
)

// The expected values of this file are closed forms of the rigid-sphere equations (parabola, then
// straight line), evaluated apart from this program and confirmed by SciPy's DOP853 on the full
// 6-state equations; g 9.80665, radius 4.2975 in, radius of gyration 2.5 in. Lane length and
// gutters are ignored where the tables say so.

// follow runs a walk without gutters to endFt.
func follow(t *testing.T, surface Surface, ball Ball, release Release, endFt float64) walk {
	t.Helper()
	w := newWalk(newLaunch(ball, release))
	w.edge = math.Inf(1)
	if _, err := w.along(surface, ball.inertia(), nil, endFt, traceStepFt); err != nil {
		t.Fatal(err)
	}
	return w
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

func TestUniformFrictionWithoutSpin(t *testing.T) {
	for _, c := range []struct{ k, mu, timeS, xM, speed float64 }{
		{0.4, 0.04, 5.69817, 38.2097, 5.58800},
		{0.4, 0.20, 1.13963, 7.64194, 5.58800},
		{0.338414, 0.04, 5.04268, 34.4625, 5.84513},
		{0.338414, 0.20, 1.00854, 6.89250, 5.84513},
	} {
		t.Run(fmt.Sprintf("k %g, mu %g", c.k, c.mu), func(t *testing.T) {
			ball := Ball{RadiusIn: DefaultRadiusIn, GyrationIn: DefaultRadiusIn * math.Sqrt(c.k)}
			w := follow(t, Zones(Zone{60, c.mu}), ball, Release{LaydownBoard: 20, SpeedMPH: 17.5}, 130)
			near(t, "time", w.out.RollTimeS, c.timeS, 5e-6*c.timeS)
			near(t, "distance", w.out.RollFt*lane.MetresPerFoot, c.xM, 5e-6*c.xM)
			near(t, "speed", w.vx, c.speed, 5e-6)
			near(t, "board", board(w.y), 20, 1e-9)
		})
	}
}

func TestUniformFriction(t *testing.T) {
	for _, c := range []struct {
		release                          Release
		mu                               float64
		timeS, rollFt, rollBoard, vx, vy float64
		speedMPH, angleDeg, slipDeg, u0  float64
	}{
		{Release{20, 0, 17.5, 350, 50, 12}, 0.10, 1.57170, 36.8801, 42.0386, 6.48115, 0.757988, 14.5967, 6.67059, -29.4578, 6.09581},
		{Release{5, 0, 17.5, 350, 50, 12}, 0.20, 0.785848, 18.4401, 16.0193, 6.48115, 0.757988, 14.5967, 6.67059, -29.4578, 6.09581},
		{Release{24, 2, 18, 300, 60, 15}, 0.08, 2.25759, 53.6774, 33.1721, 6.45229, 0.500446, 14.4767, 4.43504, -26.1747, 7.00484},
		{Release{12, 1, 17, 250, 30, 0}, 0.15, 0.914495, 20.8638, 14.0060, 6.30923, 0.251209, 14.1245, 2.28009, -16.5790, 5.32029},
		{Release{28, 3.5, 19, 450, 75, 18}, 0.20, 1.11322, 27.7661, 33.5002, 6.72679, 0.785614, 15.1497, 6.66133, -36.6768, 8.63526},
		{Release{15, -0.5, 18.5, 400, 90, 0}, 0.12, 2.03044, 48.0921, 63.1594, 6.16881, 1.20998, 14.0622, 11.0974, -28.4367, 9.45003},
	} {
		t.Run(
			fmt.Sprintf("board %g, %g deg, mu %g", c.release.LaydownBoard, c.release.LaunchAngleDeg, c.mu),
			func(t *testing.T) {
				l := newLaunch(DefaultBall(), c.release)
				near(t, "slip direction", math.Atan2(l.sy, l.sx)*180/math.Pi, c.slipDeg, 5e-5)
				k := DefaultBall().inertia()
				near(t, "slip", l.rollJ*(1+k)/k, c.u0, 5e-6)
				surface := Zones(Zone{60, c.mu})
				w := follow(t, surface, DefaultBall(), c.release, 70)
				near(t, "time", w.out.RollTimeS, c.timeS, 5e-6*c.timeS)
				near(t, "distance", w.out.RollFt, c.rollFt, 5e-5)
				near(t, "vx", w.vx, c.vx, 5e-6)
				near(t, "vy", w.vy, c.vy, 5e-6)
				near(t, "speed", math.Hypot(w.vx, w.vy)/lane.MPSPerMPH, c.speedMPH, 5e-5)
				near(t, "angle", math.Atan2(w.vy, w.vx)*180/math.Pi, c.angleDeg, 5e-5)
				there := follow(t, surface, DefaultBall(), c.release, w.out.RollFt)
				near(t, "board", board(there.y), c.rollBoard, 1e-4)
			},
		)
	}
}

// Friction 0.04 up to 40 ft and 0.20 beyond: the step is split at the jump, so the path is the
// closed form.
func TestTwoZones(t *testing.T) {
	type at struct{ board, angleDeg, speedMPH float64 }
	for _, c := range []struct {
		release       Release
		at            [5]at
		rollFt, timeS float64
	}{
		{
			Release{5, 0, 17.5, 350, 50, 12},
			[5]at{
				{6.25098, 0.858627, 17.0496},
				{10.1413, 1.78900, 16.5910},
				{14.3126, 2.45398, 16.2807},
				{22.8982, 6.46207, 14.6700},
				{36.0779, 6.67059, 14.5967},
			},
			50.4401, 2.52777,
		},
		{
			Release{15, 2, 18, 300, 40, 10},
			[5]at{
				{9.98279, -1.38975, 17.5314},
				{6.84257, -0.728111, 17.0522},
				{5.87071, -0.254852, 16.7266},
				{8.03425, 2.60742, 15.0150},
				{13.3632, 2.70693, 14.9625},
			},
			50.2937, 2.45720,
		},
		{
			Release{25, 3.5, 17.5, 400, 60, 15},
			[5]at{
				{16.0907, -2.51771, 17.0728},
				{10.1977, -1.45917, 16.6406},
				{8.05971, -0.706464, 16.3497},
				{10.8514, 3.75518, 14.8634},
				{20.5600, 5.08830, 14.4866},
			},
			52.4868, 2.52126,
		},
	} {
		t.Run(fmt.Sprintf("board %g", c.release.LaydownBoard), func(t *testing.T) {
			path, err := Trace(
				Zones(Zone{40, 0.04}, Zone{60, 0.20}),
				DefaultBall(),
				c.release,
				[]float64{15, 30, 40, 50, 60},
			)
			if err != nil {
				t.Fatal(err)
			}
			if len(path.Stations) != len(c.at) {
				t.Fatalf("%d stations, want %d", len(path.Stations), len(c.at))
			}
			for i, station := range path.Stations {
				place := fmt.Sprintf("at %g ft: ", station.Ft)
				near(t, place+"board", station.Board, c.at[i].board, 1e-4)
				near(t, place+"angle", station.AngleDeg, c.at[i].angleDeg, 1e-5)
				near(t, place+"speed", station.SpeedMPH, c.at[i].speedMPH, 5e-5)
			}
			near(t, "board at the pins", path.PinBoard, c.at[4].board, 1e-4)
			near(t, "angle at the pins", path.EntryAngleDeg, c.at[4].angleDeg, 1e-5)
			near(t, "roll", path.RollFt, c.rollFt, 5e-5)
			near(t, "time", path.PinTimeS, c.timeS, 5e-6)
		})
	}
}

// On a uniform film the slip u of the law with a slip factor obeys (u_c + u) u' = -K, K = (1 + 1/k)
// mu g (u_c + 5) with mu the friction at 5 m/s: u_c u + u^2/2 falls evenly in time, the slip ends
// at T = (u_c u0 + u0^2/2)/K, and the way follows by integrating the velocity, v = v0 - s (u0 - u)
// k/(1 + k). Derived by hand.
func TestUniformFilmUnderSlipLaw(t *testing.T) {
	for _, units := range []float64{0, 0.5, 3, 12} {
		for _, release := range []Release{{20, 1, 17.5, 350, 50, 12}, {24, 2, 15, 450, 75, 5}} {
			t.Run(fmt.Sprintf("%g units, %g mph", units, release.SpeedMPH), func(t *testing.T) {
				film := &oil.Film{LengthFt: 60}
				for b := range film.UL {
					for row := range oil.Rows {
						film.UL[b][row] = units * oil.UnitULPerBoardFoot
					}
				}
				friction, k := NominalFriction(), DefaultBall().inertia()
				l := newLaunch(DefaultBall(), release)
				u0, uc := l.rollJ*(1+k)/k, float64(friction.SlipMPS)
				base := 0.0007 + (0.171-0.0007)*(0.94*math.Exp(-units/0.9)+0.06*math.Exp(-units/10))
				fall := (1 + 1/k) * base * lane.StandardGravityMPS * (uc + 5)
				endS := (uc*u0 + u0*u0/2) / fall
				// w = u_c + u; the integral of w over time to w1 is (w0^3 - w1^3)/(3K).
				w0 := uc + u0
				slipWay := (w0*w0*w0-uc*uc*uc)/(3*fall) - uc*endS
				along := l.vx*endS - l.sx*(u0*endS-slipWay)*k/(1+k)
				aside := l.vy*endS - l.sy*(u0*endS-slipWay)*k/(1+k)
				surface := FilmSurface(film, friction, lane.Right)
				w := follow(t, surface, DefaultBall(), release, along/lane.MetresPerFoot)
				near(t, "slip at its end", w.slipAt(w.j, k), 0, 0.02)
				w = follow(t, surface, DefaultBall(), release, along/lane.MetresPerFoot+10)
				near(t, "time of roll", w.out.RollTimeS, endS, 1e-4*endS)
				near(t, "distance of roll", w.out.RollFt*lane.MetresPerFoot, along, 1e-4*along)
				there := follow(t, surface, DefaultBall(), release, w.out.RollFt)
				near(t, "board of roll", board(there.y), board(l.y0+aside), 2e-3)
			})
		}
	}
}

// The loss of energy of the first uniform case is 31.9630 J of 225.838 J.
func TestEnergyOfOnePath(t *testing.T) {
	release := Release{20, 0, 17.5, 350, 50, 12}
	k := DefaultBall().inertia()
	w := follow(t, Zones(Zone{60, 0.1}), DefaultBall(), release, 60)
	start := newWalk(newLaunch(DefaultBall(), release))
	before, after := energyPerMass(&start, k), energyPerMass(&w, k)
	near(t, "share lost", (before-after)/before, 31.9630/225.838, 1e-6)
}

// energyPerMass is the energy of motion and spin, without the spin about the vertical, which never
// changes.
func energyPerMass(w *walk, k float64) float64 {
	slip := (w.rollJ - w.j) * (1 + k) / k
	spinX, spinY := w.vx-w.sx*slip, w.vy-w.sy*slip // the surface speed r w
	return (w.vx*w.vx + w.vy*w.vy + k*(spinX*spinX+spinY*spinY)) / 2
}
