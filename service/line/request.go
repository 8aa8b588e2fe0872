// Package line plans where to play a pattern: which laydown and launch angle leave an athlete with
// this release and this scatter the most pins a frame, what a miss does, and the drill that keeps
// them on a line.
//
// Boards are the athlete's own, 1 at the strong-side gutter; outside is the smaller number.
// Everything is deterministic: the same request gives the same plan, whatever the number of cores.
package line

import (
	"fmt"
	"math"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/tenpin"
)

// Athlete is who bowls: the typical release, where the feet slide and how much the shots scatter.
type Athlete struct {
	Side        lane.Side `json:"side"`
	SpeedMPH    float64   `json:"speed_mph"`
	RevRPM      float64   `json:"rev_rpm"`
	RotationDeg float64   `json:"rotation_deg"`
	TiltDeg     float64   `json:"tilt_deg"`
	// SlideOffsetBoards is how far inside the ball's laydown the sliding foot ends: feet = laydown
	// + offset.
	SlideOffsetBoards float64 `json:"slide_offset_boards"`
	// Scatter is one standard deviation of each miss; the zero value means [AssumedScatter].
	Scatter Scatter `json:"scatter"`
	// Habit is how the athlete plays; the zero value means [AssumedHabit].
	Habit Habit `json:"habit"`
}

// Aim is a line as it is played.
type Aim struct {
	LaydownBoard   float64 `json:"laydown_board"`
	LaunchAngleDeg float64 `json:"launch_angle_deg"` // positive toward the strong-side gutter
}

// release is the athlete's typical delivery along an aim.
func (a Athlete) release(aim Aim) motion.Release {
	return motion.Release{
		LaydownBoard: aim.LaydownBoard, LaunchAngleDeg: aim.LaunchAngleDeg,
		SpeedMPH: a.SpeedMPH, RevRPM: a.RevRPM, RotationDeg: a.RotationDeg, TiltDeg: a.TiltDeg,
	}
}

// missed returns the aim that crosses the arrows this many boards inside (negative: outside) of
// where this one does, from the same feet: the laydown is held and the angle turns.
func (a Aim) missed(boards float64) Aim {
	a.LaunchAngleDeg = lane.AngleDeg(lane.BoardsPerFoot(a.LaunchAngleDeg) - boards/lane.ArrowsFt)
	return a
}

// Pocket is the window at the pins that a shot must reach, in the athlete's boards.
type Pocket struct {
	Name         string  `json:"name"`
	BoardLow     float64 `json:"board_low"`
	BoardHigh    float64 `json:"board_high"`
	AngleLowDeg  float64 `json:"angle_low_deg"`
	AngleHighDeg float64 `json:"angle_high_deg"`
}

// DefaultPocket is board 17.5 +- 1 at 3 to 8 degrees: our choice, around the best window so that
// what may still carry counts.
func DefaultPocket() Pocket {
	return Pocket{
		Name:         "pocket: board 16.5 to 18.5, 3 to 8 deg",
		BoardLow:     16.5,
		BoardHigh:    18.5,
		AngleLowDeg:  3,
		AngleHighDeg: 8,
	}
}

func (p Pocket) holds(o motion.Outcome) bool {
	return o.Reaches() && o.PinBoard >= p.BoardLow && o.PinBoard <= p.BoardHigh &&
		o.EntryAngleDeg >= p.AngleLowDeg && o.EntryAngleDeg <= p.AngleHighDeg
}

// Request is all that a plan follows from. The zero Pocket means [DefaultPocket], 0 draws and
// lines for the defaults.
type Request struct {
	Film     *oil.Film
	Friction motion.Friction // for a ball of unknown surface; [motion.Friction.OnSurface] is applied to it
	Athlete  Athlete
	Ball     motion.Ball
	Pocket   Pocket
	// Lanes are what the lane may be, over which lines are ranked: two by two opposite draws, which
	// count as one for the standard error. Without any, Film and Friction are taken as known.
	Lanes []Lane
	// Carry and Spares say what an arrival is worth; nil means the defaults.
	Carry  *tenpin.Carry
	Spares *tenpin.Spares
	// Arrows are where the arrows lie; the zero value means [lane.DefaultArrows].
	Arrows lane.Arrows
	// Stay is where the athlete plays already; of equal lines the nearest to it is ranked first.
	Stay *Aim
	// Draws is how many deliveries of the athlete's scatter value an aim in the first search, even,
	// 2 to 4096; default 192. With lanes, as many more as give each the same number of pairs.
	Draws int
	// Lines is how many lines are wanted, 1 to 20; default 5.
	Lines int
}

const (
	defaultDraws = 192
	maxDraws     = 4096
	defaultLines = 5
	maxLines     = 20
)

// prepare fills in the defaults; its error is the [Faults] of the request.
func (r *Request) prepare() error {
	if r.Pocket == (Pocket{}) {
		r.Pocket = DefaultPocket()
	}
	if r.Draws == 0 {
		r.Draws = defaultDraws
	}
	if r.Lines == 0 {
		r.Lines = defaultLines
	}
	if r.Athlete.Scatter == (Scatter{}) {
		r.Athlete.Scatter = AssumedScatter()
	}
	if r.Athlete.Habit == (Habit{}) {
		r.Athlete.Habit = AssumedHabit()
	}
	if r.Carry == nil {
		carry := tenpin.DefaultCarry()
		r.Carry = &carry
	}
	if r.Spares == nil {
		spares := tenpin.DefaultSpares()
		r.Spares = &spares
	}
	if r.Arrows == (lane.Arrows{}) {
		r.Arrows = lane.DefaultArrows()
	}
	var faults Faults
	_, err := lane.ParseSide(string(r.Athlete.Side))
	faults.take("/athlete/side", err)
	faults.add(r.Film == nil, "/film", "is missing")
	offset := r.Athlete.SlideOffsetBoards
	faults.add(!(math.Abs(offset) <= 20), "/athlete/slide_offset_boards", "%g is out of range: write -20 to 20", offset)
	r.Pocket.check(&faults)
	faults.add(
		r.Draws < 2 || r.Draws > maxDraws || r.Draws%2 != 0,
		"/draws", "%d is out of range: write an even number, 2 to %d", r.Draws, maxDraws,
	)
	faults.add(r.Lines < 1 || r.Lines > maxLines, "/lines", "%d is out of range: write 1 to %d", r.Lines, maxLines)
	for i, one := range r.Lanes {
		one.check(&faults, fmt.Sprintf("/lanes/%d", i))
	}
	faults.take("/spares", r.Spares.Validate())
	faults.take("/ball", r.Ball.Validate())
	faults.take("/friction", r.Friction.Validate())
	faults.take("/scatter", r.Athlete.Scatter.Validate())
	faults.take("/athlete", r.Athlete.release(Aim{LaydownBoard: lane.CentreBoard}).Validate())
	return faults.err()
}

func (l Lane) check(faults *Faults, at string) {
	faults.add(l.Film == nil, at+"/film", "is missing")
	faults.add(!(l.Weight > 0), at+"/weight", "%g must be more than 0", l.Weight)
	faults.add(
		!(l.RevFactor > 0 && l.RevFactor <= 2),
		at+"/rev_factor", "%g is out of range: write 0 to 2", l.RevFactor,
	)
}

func (p Pocket) check(faults *Faults) {
	faults.add(
		!(p.BoardLow < p.BoardHigh),
		"/pocket/board_low", "%g must be less than the highest board, %g", p.BoardLow, p.BoardHigh,
	)
	faults.add(
		!(p.AngleLowDeg < p.AngleHighDeg),
		"/pocket/angle_low_deg", "%g must be less than the largest angle, %g", p.AngleLowDeg, p.AngleHighDeg,
	)
	faults.add(!lane.OnLane(p.BoardLow), "/pocket/board_low", "%g is not on the lane", p.BoardLow)
	faults.add(!lane.OnLane(p.BoardHigh), "/pocket/board_high", "%g is not on the lane", p.BoardHigh)
}

// checkAim returns the [Faults] of an aim.
func (a Athlete) checkAim(aim Aim) error {
	var faults Faults
	faults.take("", a.release(aim).Validate())
	return faults.err()
}

// evenDraws is at least n draws of which every lane gets as many pairs.
func (r *Request) evenDraws(n int) int {
	each := 2 * max(len(r.Lanes), 1)
	return (n + each - 1) / each * each
}
