package oil

import (
	"fmt"
	"math"

	"laneward/service/lane"
)

// TrackPoint is one point of a ball's track on the lane: X boards from the right gutter, Ft feet
// from the foul line.
type TrackPoint struct {
	Ft float64 `json:"ft"`
	X  float64 `json:"x"`
}

// Track is where a ball touched the lane, by rising distance. Between points it is straight.
type Track []TrackPoint

// Wear is how a pass of a ball changes the film. ALL FOUR NUMBERS ARE ASSUMPTIONS: no measurement
// of them could be found. They are for comparing plans, not for predicting amounts.
type Wear struct {
	// StripBoards is the width of the strip that the ball touches, in boards.
	StripBoards float64 `json:"strip_boards"`
	// LiftShare is the share of the film under the strip that one pass lifts.
	LiftShare float64 `json:"lift_share"`
	// KeepShare is the share of the lifted oil that stays on the ball until it is wiped.
	KeepShare float64 `json:"keep_share"`
	// CarryFt is the mean distance over which the rest is laid down again (exponential).
	CarryFt float64 `json:"carry_ft"`
}

// AssumedWear returns the assumptions used unless others are given. They are chosen so that, under
// the nominal friction, a ball on its own track hooks earlier and more: by about a board after 40
// shots on a flat film, two after 60 (common practice, no source: athletes move inside by 2 to 3
// boards after a game or two of several). If balls lifted more or laid more down, the oil behind
// the pattern would straighten them first.
func AssumedWear() Wear { return Wear{StripBoards: 2, LiftShare: 0.03, KeepShare: 0.95, CarryFt: 8} }

// WithoutCarrydown is the same wear but that nothing is laid down again, to show carry-down as an
// effect of its own.
func (w Wear) WithoutCarrydown() Wear {
	w.KeepShare = 1
	return w
}

// Validate returns [Faults] for shares outside 0 to 1, a strip that is not 0.1 to 5 boards or a
// carry that is not 0.1 to 60 ft.
func (w Wear) Validate() error {
	var faults Faults
	check := func(column string, value, low, high float64) {
		if !(value >= low && value <= high) {
			faults = append(
				faults,
				Fault{Column: column, Reason: fmt.Sprintf("%g is not possible: write %g to %g", value, low, high)},
			)
		}
	}
	check("strip_boards", w.StripBoards, 0.1, 5)
	check("lift_share", w.LiftShare, 0, 1)
	check("keep_share", w.KeepShare, 0, 1)
	check("carry_ft", w.CarryFt, 0.1, lane.LengthFt)
	return faults.orNil()
}

// Worn is a film after some shots. Film volume plus OnBallsUL equals the volume before them.
type Worn struct {
	Film *Film `json:"film"`
	// OnBallsUL left the lane on balls, LiftedUL was lifted and LaidDownUL laid down again, all in
	// microlitres.
	OnBallsUL  float64 `json:"on_balls_ul"`
	LiftedUL   float64 `json:"lifted_ul"`
	LaidDownUL float64 `json:"laid_down_ul"`
	// Where it was lifted and laid down: index j is j to j+1 ft.
	LiftedFootUL   [Rows]float64 `json:"lifted_foot_ul"`
	LaidDownFootUL [Rows]float64 `json:"laid_down_foot_ul"`
	Passes         int           `json:"passes"`
}

// After returns the film after the tracks, in order, and leaves the given film as it is. The error
// names a wrong assumption, or the track whose points do not rise or are not finite (row counts
// from 1).
func (w Wear) After(film *Film, tracks []Track) (Worn, error) {
	if err := w.Validate(); err != nil {
		return Worn{}, err
	}
	fresh := *film
	worn := Worn{Film: &fresh}
	for i, track := range tracks {
		if fault := track.fault(); fault != "" {
			return Worn{}, Faults{{Row: i + 1, Column: "track", Reason: fault}}
		}
		w.pass(&worn, track)
	}
	return worn, nil
}

// pass walks the rows from the foul line. In each row the ball first lays down from what it carries
// from nearer rows, then lifts, so oil only ever moves down the lane. What it still carries when it
// leaves the lane stays on the ball.
func (w Wear) pass(worn *Worn, track Track) {
	layShare := 1 - math.Exp(-1/w.CarryFt)
	kept, carried := 0.0, 0.0
	for row := range Rows {
		x, on := track.at(float64(row) + 0.5)
		if !on || !lane.OnLane(x) {
			continue
		}
		first, shares, n := strip(x, w.StripBoards)
		covered := 0.0
		for _, share := range shares[:n] {
			covered += share
		}
		laid, lifted := carried*layShare, 0.0
		carried -= laid
		for i, share := range shares[:n] {
			amount := &worn.Film.UL[first-1+i][row]
			*amount += laid * share / covered
			lift := *amount * share * w.LiftShare
			*amount -= lift
			lifted += lift
		}
		kept += lifted * w.KeepShare
		carried += lifted * (1 - w.KeepShare)
		worn.LiftedUL += lifted
		worn.LiftedFootUL[row] += lifted
		worn.LaidDownUL += laid
		worn.LaidDownFootUL[row] += laid
	}
	worn.OnBallsUL += kept + carried
	worn.Passes++
}

// maxStripBoards is the most boards that a strip of 5 boards can touch.
const maxStripBoards = 7

// strip returns the boards that a strip around x touches, from board first on, and the share of
// each board's width that it covers. x is on the lane, so at least one board is touched.
func strip(x, width float64) (first int, shares [maxStripBoards]float64, n int) {
	low, high := max(x-width/2, lane.MinBoard), min(x+width/2, lane.MaxBoard)
	first = min(max(int(math.Round(low)), 1), lane.Boards)
	for board := first; board <= lane.Boards && n < maxStripBoards; board++ {
		covered := min(high, float64(board)+0.5) - max(low, float64(board)-0.5)
		if covered <= 0 && n > 0 {
			break
		}
		shares[n] = max(covered, 0)
		n++
	}
	return first, shares, n
}

// at interpolates the track; on is false where the ball does not touch the lane.
func (t Track) at(ft float64) (x float64, on bool) {
	for i := 1; i < len(t); i++ {
		if ft <= t[i].Ft && ft >= t[i-1].Ft {
			share := (ft - t[i-1].Ft) / (t[i].Ft - t[i-1].Ft)
			return t[i-1].X + share*(t[i].X-t[i-1].X), true
		}
	}
	return 0, false
}

func (t Track) fault() string {
	if len(t) < 2 {
		return "a track needs at least two points"
	}
	for i, point := range t {
		if !finite(point.Ft) || !finite(point.X) {
			return fmt.Sprintf("point %d is not finite", i+1)
		}
		if i > 0 && point.Ft <= t[i-1].Ft {
			return fmt.Sprintf("point %d (%g ft) does not lie beyond the one before it", i+1, point.Ft)
		}
	}
	return ""
}
