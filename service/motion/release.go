// Package motion computes the path of a bowling ball over an oil film: a rigid sphere that slips,
// then rolls.
//
// # Model
//
// Mass m, radius r, radius of gyration k_g in every axis; k = (k_g/r)^2. The contact slips with u =
// v + w x (-r z), the slip velocity. Friction F = -mu m g u/|u| acts there, so m v' = F and m k_g^2
// w' = (-r z) x F, which gives u' = -mu g (1 + 1/k) u/|u|. The slip direction s = u/|u| therefore
// never changes, whatever mu does on the way. With the friction impulse J(t) = integral of mu g dt,
//
//	v = v0 - s J,  |u| = |u0| - (1 + 1/k) J,  rolling from J* = |u0| k/(1 + k) on,  v_rolled = v0 - s J*.
//
// So the state is (x, y, J), the velocity is linear in J, and the rolled-out velocity does not
// depend on the oil: the oil decides where the ball turns, and whether it has finished turning at
// the pins. A rolling ball runs straight; rolling resistance is zero. (Standard mechanics; the mass
// cancels. Not in the model: flare, migration of the axis, a lane that is not level.)
//
// # Conventions
//
// Everything is in the athlete's own frame: boards 1 to 39 from the strong-side gutter, so a
// left-hander's path is the exact mirror image of a right-hander's. Launch angle is in degrees from
// straight down the lane, positive toward the strong-side gutter; the angle of the path is positive
// toward the other side. Axis rotation is measured from the ball's heading, positive turns the ball
// away from the strong-side gutter; tilt counts by its cosine: the part of the spin about the
// vertical does not move the contact. "At the pins" is the ball's centre crossing 60 ft. The ball
// is in the gutter once its contact point leaves boards 0.5 to 39.5.
//
// The film is read bilinearly between cell centres (board b, foot j + 0.5), clamped at the edges,
// in oil units (1 unit = 0.0167 mL per square foot = 1.4809 microlitres per board-foot). [Friction]
// turns it and the slip speed into a coefficient. Slip is a function of J alone, so the state stays
// (x, y, J) with a friction that depends on it.
package motion

import (
	"errors"
	"fmt"
	"math"

	"laneward/service/lane"
)

// Release is how a ball leaves the hand, at the foul line.
type Release struct {
	LaydownBoard   float64 `json:"laydown_board"`
	LaunchAngleDeg float64 `json:"launch_angle_deg"` // positive toward the strong-side gutter
	SpeedMPH       float64 `json:"speed_mph"`
	RevRPM         float64 `json:"rev_rpm"`
	RotationDeg    float64 `json:"rotation_deg"` // from the heading
	TiltDeg        float64 `json:"tilt_deg"`
}

// Validate reports every value that cannot be a delivery, joined into one error.
func (r Release) Validate() error {
	return errors.Join(
		inRange("laydown_board", r.LaydownBoard, lane.MinBoard, lane.MaxBoard),
		inRange("launch_angle_deg", r.LaunchAngleDeg, -30, 30),
		inRange("speed_mph", r.SpeedMPH, 1, 50),
		inRange("rev_rpm", r.RevRPM, 0, 1000),
		inRange("rotation_deg", r.RotationDeg, -180, 180),
		inRange("tilt_deg", r.TiltDeg, -90, 90),
	)
}

// RangeError reports a value outside its range; Name is its name in JSON.
type RangeError struct {
	Name             string
	Value, Low, High float64
}

func (e *RangeError) Error() string { return e.Name + " " + e.Detail() }

// Detail is the error without the name.
func (e *RangeError) Detail() string {
	return fmt.Sprintf("%g is out of range: write %g to %g", e.Value, e.Low, e.High)
}

func inRange(name string, value, low, high float64) error {
	if value >= low && value <= high {
		return nil
	}
	return &RangeError{name, value, low, high}
}

// Ball is what is known of a ball. The motion needs RadiusIn and GyrationIn; [Friction.OnSurface]
// uses SurfaceGrit; DifferentialIn (the track's flare) is carried along and not used.
type Ball struct {
	RadiusIn       float64 `json:"radius_in,omitempty"` // 0 means DefaultRadiusIn
	GyrationIn     float64 `json:"gyration_in"`         // radius of gyration
	DifferentialIn float64 `json:"differential_in,omitempty"`
	SurfaceGrit    float64 `json:"surface_grit,omitempty"` // 0 means not known
}

// DefaultRadiusIn is the largest ball's.
const DefaultRadiusIn = lane.BallRadiusIn

// DefaultBall is a ball of radius 4.2975 in and radius of gyration 2.5 in, an ordinary core.
func DefaultBall() Ball { return Ball{RadiusIn: DefaultRadiusIn, GyrationIn: 2.5} }

// radiusIn is the radius with its default.
func (b Ball) radiusIn() float64 {
	if b.RadiusIn == 0 {
		return DefaultRadiusIn
	}
	return b.RadiusIn
}

// inertia is k = (k_g/r)^2, 0.4 for a uniform sphere.
func (b Ball) inertia() float64 {
	ratio := b.GyrationIn / b.radiusIn()
	return ratio * ratio
}

// maxInertia is a hollow shell's, the most a sphere can have.
const maxInertia = 2.0 / 3

// Validate reports every value that no ball can have, joined into one error.
func (b Ball) Validate() error {
	if err := inRange("radius_in", b.radiusIn(), 2, 6); err != nil {
		return err
	}
	return errors.Join(
		inRange("gyration_in", b.GyrationIn, 0.1*b.radiusIn(), math.Sqrt(maxInertia)*b.radiusIn()),
		inRange("differential_in", b.DifferentialIn, 0, 0.2),
		inRange("surface_grit", b.SurfaceGrit, 0, 20000),
	)
}

// launch is the start of a path in metres and seconds, y from board 20 toward the inside, and what
// its velocity follows.
type launch struct {
	y0     float64
	vx, vy float64 // velocity
	sx, sy float64 // slip direction, constant
	rollJ  float64 // J*: the ball rolls once the friction impulse has reached it
	turnJ  float64 // the path stops moving outward at this impulse; infinite when it never does
	stopJ  float64 // the forward speed falls to minForwardMPS at this impulse; infinite when the ball rolls before
}

// rolledVX is the forward speed at which the ball will roll.
func (l launch) rolledVX() float64 { return l.vx - l.sx*l.rollJ }

// minSlipMPS is the slip under which a ball counts as already rolling.
const minSlipMPS = 1e-9

func newLaunch(ball Ball, release Release) launch {
	const degree = math.Pi / 180
	speed := release.SpeedMPH * lane.MPSPerMPH
	sinHeading, cosHeading := math.Sincos(-release.LaunchAngleDeg * degree)
	spin := ball.radiusIn() * lane.MetresPerInch * release.RevRPM * (2 * math.Pi / 60) * math.Cos(
		release.TiltDeg*degree,
	)
	sinSpin, cosSpin := math.Sincos((release.RotationDeg - release.LaunchAngleDeg) * degree)
	l := launch{
		y0: (release.LaydownBoard - lane.CentreBoard) * lane.BoardWidthM,
		vx: speed * cosHeading, vy: speed * sinHeading, turnJ: math.Inf(1), stopJ: math.Inf(1),
	}
	// The surface at the contact runs backwards at spin; what the forward speed does not match is
	// slip.
	ux, uy := l.vx-spin*cosSpin, l.vy-spin*sinSpin
	slip := math.Sqrt(ux*ux + uy*uy)
	if slip < minSlipMPS {
		return l
	}
	l.sx, l.sy = ux/slip, uy/slip
	k := ball.inertia()
	l.rollJ = slip * k / (1 + k)
	if l.vy < 0 && l.sy < 0 {
		l.turnJ = l.vy / l.sy
	}
	if l.rolledVX() <= minForwardMPS {
		l.stopJ = (l.vx - minForwardMPS) / l.sx
	}
	return l
}

// board turns y in metres into a board.
func board(y float64) float64 { return lane.CentreBoard + y/lane.BoardWidthM }
