package reading

import (
	"errors"
	"fmt"
	"math"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
)

// Setting is what is known of a lane and of who throws on it before a shot is seen.
type Setting struct {
	Film     *oil.Film       // as it is stated to be laid
	Friction motion.Friction // nominal, for a ball of unknown surface
	Side     lane.Side       // of every thrower: boards count from it
	// Throwers are those whose shots are read; the first is the one a read's lines are of.
	Throwers []Thrower
	// Played is a lane on which others have played before: its tracks are worn nobody knows where,
	// so that the zones' oil may differ more.
	Played bool
	// Neighbour is the belief of the pair's other lane from its own shots, with the same throwers;
	// nil for none.
	Neighbour *Belief
}

// Thrower is an athlete with a ball.
type Thrower struct {
	// Release is as stated: speed, revolutions, rotation and tilt. Its board and angle do not count.
	Release motion.Release
	Ball    motion.Ball
	// Hand is what earlier reads found of the release; nil for nothing.
	Hand *Hand
}

// The places of a belief's numbers: those of [State] in its order, of which revolutions and rotation
// are the first thrower's, then three for each other thrower: revolutions, rotation and the ln of
// the dry friction of their ball over that of the first thrower's.
const (
	placeRevs     = 6
	placeRotation = 7
	placeZones    = 8
	placePins     = placeZones + len(zones)
	places        = placePins + 3
	ofThrower     = 3
)

// gripSpread is how far apart two balls' dry friction lies, as [Spread] has it for one ball: common
// practice, no source.
const gripSpread = 0.18

// pinShiftShare is how much of [Spread]'s the pin shift is: what a read's own numbers do not explain
// of a lane. With it, reads of simulated lanes of another law were best.
const pinShiftShare = 0.75

// playedZoneSpread is the spread of a played lane's zones: 30 to 85 % of the oil may be gone from a
// track. Tried on simulated lanes.
const playedZoneSpread = 0.8

// hand returns the places of a thrower's revolutions and rotation, and of the ball's grip; that is
// -1 of the first thrower.
func hand(thrower int) (revs, rotation, grip int) {
	if thrower == 0 {
		return placeRevs, placeRotation, -1
	}
	first := places + ofThrower*(thrower-1)
	return first, first + 1, first + 2
}

// stateOf is a thrower's state in a belief's numbers.
func stateOf(x []float64, thrower int) State {
	var s State
	s.each(func(i int, value *float64) { *value = x[i] })
	revs, rotation, grip := hand(thrower)
	s.LogRevs, s.Rotation = x[revs], x[rotation]
	if grip >= 0 {
		s.LogMuDry += x[grip]
	}
	return s
}

// spreads are the deviations of a belief's numbers before anything is seen.
func (s *Setting) spreads() []float64 {
	spread := Spread()
	if s.Played {
		for i := range spread.LogZone {
			spread.LogZone[i] = playedZoneSpread
		}
	}
	for i := range spread.PinShift {
		spread.PinShift[i] *= pinShiftShare
	}
	var numbers []float64
	spread.each(func(_ int, value *float64) { numbers = append(numbers, *value) })
	for range s.Throwers[1:] {
		numbers = append(numbers, spread.LogRevs, spread.Rotation, gripSpread)
	}
	return numbers
}

// Validate reports what cannot be read, joined into one error.
func (s *Setting) Validate() error {
	if s.Film == nil {
		return errors.New("the film is missing: a lane is read against the film that was laid")
	}
	_, err := lane.ParseSide(string(s.Side))
	faults := []error{err, s.Film.Validate(), s.Friction.Validate()}
	if len(s.Throwers) == 0 {
		faults = append(faults, errors.New("nobody throws: name at least one athlete"))
	}
	for i, one := range s.Throwers {
		release := one.Release
		release.LaydownBoard, release.LaunchAngleDeg = lane.CentreBoard, 0
		if err := errors.Join(release.Validate(), one.Ball.Validate()); err != nil {
			faults = append(faults, fmt.Errorf("athlete %d: %w", i+1, err))
		}
	}
	if len(s.Throwers) > 0 && s.Neighbour != nil && len(s.Neighbour.Mean) != len(s.spreads()) {
		faults = append(faults, errors.New("the other lane's belief is of other athletes: read both with the same ones"))
	}
	return errors.Join(faults...)
}

// Belief is what is thought of a lane and its throwers: normal, with this mean and covariance, in
// the order of [State]'s numbers, then of each further thrower's three.
type Belief struct {
	Mean       []float64 `json:"mean"`
	Covariance matrix    `json:"covariance"`
}

// Hand is what is known of an athlete's release: ln of the true revolutions over the stated ones,
// and the true rotation less the stated one in degrees, with their variances and covariance.
type Hand struct {
	LogRevs     float64 `json:"log_revs"`
	Rotation    float64 `json:"rotation_deg"`
	RevsVar     float64 `json:"log_revs_variance"`
	RotationVar float64 `json:"rotation_variance"`
	Covariance  float64 `json:"covariance"`
}

// What an athlete's release may change by in a day, one deviation. Common practice, no source.
const (
	logRevsADay  = 0.02
	rotationADay = 1.5
)

// After is what is still known of a hand some days later, never less than of a new one.
func (h Hand) After(days float64) Hand {
	days = max(days, 0)
	h.RevsVar += days * logRevsADay * logRevsADay
	h.RotationVar += days * rotationADay * rotationADay
	return h
}

// Hand is what a belief says of a thrower's release, to be carried to the next day or lane.
func (b *Belief) Hand(thrower int) Hand {
	revs, rotation, _ := hand(thrower)
	return Hand{
		LogRevs: b.Mean[revs], Rotation: b.Mean[rotation],
		RevsVar: b.Covariance.at(revs, revs), RotationVar: b.Covariance.at(rotation, rotation),
		Covariance: b.Covariance.at(revs, rotation),
	}
}

// alike is how far the two lanes of a pair are alike: one machine lays both from one tank, and they
// are as old. Our choice.
const alike = 0.7

// Prior is what is thought before a shot is seen: the spreads of a lane, the hands that are known,
// and what the pair's other lane shows of this one.
func (s *Setting) Prior() Belief {
	deviations := s.spreads()
	prior := Belief{make([]float64, len(deviations)), diagonal(deviations)}
	for i, one := range s.Throwers {
		if one.Hand != nil {
			prior.take(i, *one.Hand)
		}
	}
	if s.Neighbour == nil {
		return prior
	}
	n, share := len(deviations), make([]float64, len(deviations))
	for i := range share {
		share[i] = 1 // of ball and hand there is only one
		if i >= 1 && i <= 3 || i >= placeZones && i < places {
			share[i] = alike
		}
	}
	for i := range n {
		prior.Mean[i] = share[i]*s.Neighbour.Mean[i] + (1-share[i])*prior.Mean[i]
		for j := range n {
			own := prior.Covariance.at(i, j)
			prior.Covariance.set(i, j, share[i]*share[j]*s.Neighbour.Covariance.at(i, j)+(1-share[i]*share[j])*own)
		}
	}
	return prior
}

// take puts a hand in place of what is thought of a thrower's.
func (b *Belief) take(thrower int, h Hand) {
	revs, rotation, _ := hand(thrower)
	spread := Spread()
	// A hand that was not seen for long is at most as unknown as a new one.
	revsVar, rotationVar := spread.LogRevs*spread.LogRevs, spread.Rotation*spread.Rotation
	scale := math.Sqrt(min(1, revsVar/h.RevsVar) * min(1, rotationVar/h.RotationVar))
	b.Mean[revs], b.Mean[rotation] = h.LogRevs, h.Rotation
	b.Covariance.set(revs, revs, min(h.RevsVar, revsVar))
	b.Covariance.set(rotation, rotation, min(h.RotationVar, rotationVar))
	b.Covariance.set(revs, rotation, h.Covariance*scale)
	b.Covariance.set(rotation, revs, h.Covariance*scale)
}
