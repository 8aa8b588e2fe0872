// Package lane holds the geometry every other computation builds on: boards, distances, sides and
// pins.
//
// Two ways to count boards are in use. An athlete counts from their own strong-side gutter (right
// for a right-hander), 1 to 39; the lane's own coordinate x counts from the right gutter. [Side.X]
// and [Side.Board] turn one into the other.
package lane

import (
	"fmt"
	"math"
)

// Lane dimensions. Source: tenpin federation specification: foul line to head-pin spot 60 ft +- 1/2
// in, lane width 41 1/2 in +- 1/2 in, pins 12 in apart centre to centre on an equilateral triangle,
// 39 boards (DOI 10.1177/17479541241306543). ArrowsFt is the nearest row of targets, about 15 ft
// (common practice; makers differ).
const (
	Boards       = 39
	LengthFt     = 60.0
	WidthIn      = 41.5
	PinSpacingIn = 12.0
	ArrowsFt     = 15.0

	// BoardWidthIn is the width of one board in inches, 1.0641.
	BoardWidthIn = WidthIn / Boards
	// CentreBoard is the board under the head pin.
	CentreBoard = 20.0
	// MinBoard and MaxBoard are the edges of the lane in boards: the contact point is in the gutter
	// outside them.
	MinBoard = 0.5
	MaxBoard = Boards + 0.5
)

// The largest ball and pin. Source: a ball's circumference is at most 27.002 in (federation rule, by
// an encyclopedia mirror, piglix.com); a pin's largest diameter is about 4.766 in (equipment manual,
// from memory).
const (
	BallRadiusIn = 4.2975
	PinRadiusIn  = 2.383
	// HeadPinReachBoards is how far from [CentreBoard] a ball still touches the head pin, 6.28.
	HeadPinReachBoards = (BallRadiusIn + PinRadiusIn) / BoardWidthIn
)

// Unit conversions, exact by definition.
const (
	MetresPerFoot      = 0.3048
	MetresPerInch      = 0.0254
	MPSPerMPH          = 0.44704
	StandardGravityMPS = 9.80665 // m/s2
	BoardWidthM        = BoardWidthIn * MetresPerInch
)

// Side is the hand an athlete bowls with.
type Side string

// The two sides.
const (
	Right Side = "right"
	Left  Side = "left"
)

// ParseSide returns the side named by text, or an error that says what is allowed.
func ParseSide(text string) (Side, error) {
	switch s := Side(text); s {
	case Right, Left:
		return s, nil
	}
	return "", fmt.Errorf("side %q is unknown: write right or left", text)
}

// X turns a board as the athlete counts it into the lane's coordinate, boards from the right
// gutter. The mirror is its own inverse, so the same call turns x back into a board.
func (s Side) X(board float64) float64 {
	if s == Left {
		return 2*CentreBoard - board
	}
	return board
}

// Board turns the lane's coordinate x (boards from the right gutter) into the board as the athlete
// counts it.
func (s Side) Board(x float64) float64 { return s.X(x) }

// OnLane reports whether a ball whose contact point is at this board is on the lane and not in a
// gutter.
func OnLane(board float64) bool { return board >= MinBoard && board <= MaxBoard }

// BoardsPerFoot returns how many boards a ball moves sideways in one foot at an angle in degrees
// from straight down the lane. 6 degrees is 1.185 boards a foot.
func BoardsPerFoot(angleDeg float64) float64 {
	return math.Tan(angleDeg*math.Pi/180) * 12 / BoardWidthIn
}

// AngleDeg is the inverse of [BoardsPerFoot].
func AngleDeg(boardsPerFoot float64) float64 {
	return math.Atan(boardsPerFoot*BoardWidthIn/12) * 180 / math.Pi
}
