package reading

import (
	"strings"

	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/shot"
)

// Throw is one shot on the lane that is read.
type Throw struct {
	Thrower int // of [Setting.Throwers]
	Shot    shot.Shot
	// Aim is where the athlete meant to throw, when that is known.
	Aim *Aim
}

// Aim is where a ball is meant to go.
type Aim struct {
	LaydownBoard   float64 `json:"laydown_board"`
	LaunchAngleDeg float64 `json:"launch_angle_deg"`
}

// What is observed of a throw, in this order.
const (
	seenBreakpoint = iota
	seenBreakpointFt
	seenEntry
	seenEntryAngle
	seenRevs
	seenRotation
	sights
)

// What a throw's own aim consists of: the hidden release that made the path. Its speed is the one
// shown: a display that is off is off on every throw, and the lane's state takes it up.
const (
	aimLaydown = iota
	aimAngle
	aimSpeed
	aimRevs // of this throw, over the athlete's own
	aims
)

// How far a throw lies from where it was meant: common practice, no source.
const (
	plannedBoards = 0.9
	plannedDeg    = 0.35
	plannedMPH    = 0.4
	plannedRPM    = 12.0
	// A throw of which nothing was planned is launched like this.
	commonAngleDeg, commonWidthDeg = 1.2, 1.5
	commonBoard, commonBoards      = 17.0, 10.0
	// axisDeg is by how much a release's rotation scatters.
	axisDeg = 2.0
	// hookAtArrows is how many boards the ball has turned in at the arrows, 15 ft down.
	hookAtArrows = 0.06
)

// What no state explains of one throw, one deviation: patches, flare, oil on the ball. Tried on
// simulated lanes of another law.
const (
	strayBreakpoint   = 0.2
	strayBreakpointFt = 1.0
	strayEntry        = 0.1
	strayEntryDeg     = 0.15
)

// sighting is a throw as the reader takes it.
type sighting struct {
	thrower int
	known   [sights]bool
	value   [sights]float64
	error   [sights]float64 // variance, with what no state explains
	aim     []aimReading
	use     bool // the pins or the breakpoint were seen; a gutter ball says nothing
}

// aimReading is what one reading near the foul line, a plan or common practice says of a throw's
// aim: slopes aim = value, give or take.
type aimReading struct {
	field    string // of a shot; "" for what is not a reading of it
	value    float64
	variance float64
	slopes   [aims]float64
}

// sight turns a throw into what the reader takes.
func (s *scene) sight(throw Throw) sighting {
	shot := &throw.Shot
	seen := sighting{thrower: throw.Thrower}
	take := func(at int, value *float64, standardError, stray float64) {
		if value != nil {
			seen.known[at], seen.value[at] = true, *value
			seen.error[at] = standardError*standardError + stray*stray
		}
	}
	se := func(m drill.Measure) float64 { return drill.StandardError(m, shot) }
	e := errorsOf(shot.Source)
	if !fell(shot) {
		take(seenBreakpoint, shot.BreakpointBoard, e.breakpoint*se(drill.Board), strayBreakpoint)
		take(seenBreakpointFt, shot.BreakpointFt, e.distance*se(drill.BreakpointDistance), strayBreakpointFt)
		take(seenEntry, shot.EntryBoard, se(drill.Board), strayEntry)
		take(seenEntryAngle, shot.EntryAngleDeg, e.entryAngle*se(drill.EntryAngle), strayEntryDeg)
		seen.use = seen.known[seenBreakpoint] || seen.known[seenEntry] || seen.known[seenEntryAngle]
	}
	if seen.use {
		take(seenRevs, shot.RevRateRPM, se(drill.RevRate), 0)
		take(seenRotation, shot.RotationDeg, se(drill.Rotation), axisDeg)
	}
	seen.aim = s.aimReadings(throw, e)
	return seen
}

// fell reports whether a shot went into a gutter. One that was seen at the pins did not, wherever an
// eye took its breakpoint to be.
func fell(s *shot.Shot) bool {
	switch {
	case s.Gutter != "":
		return true
	case s.EntryBoard != nil:
		return !lane.OnLane(*s.EntryBoard)
	}
	return s.BreakpointBoard != nil && !lane.OnLane(*s.BreakpointBoard)
}

// readingErrors are how much larger than the stated error of its kind that of each reading is.
type readingErrors struct{ laydown, arrows, breakpoint, distance, launch, entryAngle float64 }

// errorsOf is by what measured a shot: a log states one error for all boards and one for both
// angles. An eye follows the ball at the foul line best and at the breakpoint, far away, worst; a
// sensor has more of the path before it for the launch than for the entry. Common practice, no
// source.
func errorsOf(source string) readingErrors {
	if bySensors(source) {
		return readingErrors{laydown: 1, arrows: 0.75, breakpoint: 1.5, distance: 2, launch: 0.5, entryAngle: 1.25}
	}
	return readingErrors{laydown: 0.7, arrows: 1, breakpoint: 2, distance: 1.5, launch: 1, entryAngle: 1}
}

// bySensors reports whether a sensor measured a shot.
func bySensors(source string) bool { return strings.EqualFold(source, "sensor") }

// aimReadings are what the readings of a throw near the foul line, and what was planned, say of its
// release.
func (s *scene) aimReadings(throw Throw, e readingErrors) (list []aimReading) {
	shot := &throw.Shot
	stated := s.throwers[throw.Thrower].Release
	add := func(field string, value, deviation float64, slopes [aims]float64) {
		list = append(list, aimReading{field, value, deviation * deviation, slopes})
	}
	laydown, angle, speed := [aims]float64{aimLaydown: 1}, [aims]float64{aimAngle: 1}, [aims]float64{aimSpeed: 1}
	add("", commonBoard, commonBoards, laydown)
	add("", commonAngleDeg, commonWidthDeg, angle)
	add("", 0, plannedRPM, [aims]float64{aimRevs: 1})
	if throw.Aim != nil {
		add("", throw.Aim.LaydownBoard, plannedBoards, laydown)
		add("", throw.Aim.LaunchAngleDeg, plannedDeg, angle)
		add("", stated.SpeedMPH, plannedMPH, speed)
	} else {
		add("", stated.SpeedMPH, 2*plannedMPH, speed)
	}
	board := drill.StandardError(drill.Board, shot)
	if shot.LaydownBoard != nil {
		add("laydown_board", *shot.LaydownBoard, e.laydown*board, laydown)
	}
	if shot.ArrowsBoard != nil {
		ft := lane.ArrowsFt
		if shot.ArrowsFt != nil {
			ft = *shot.ArrowsFt
		}
		perDeg := ft * lane.BoardsPerFoot(1)
		slopes := [aims]float64{aimLaydown: 1, aimAngle: -perDeg}
		add("arrows_board", *shot.ArrowsBoard-hookAtArrows, e.arrows*board, slopes)
	}
	if shot.LaunchAngleDeg != nil {
		add("launch_angle_deg", *shot.LaunchAngleDeg, e.launch*drill.StandardError(drill.LaunchAngle, shot), angle)
	}
	if shot.SpeedMPH != nil {
		add("speed_mph", *shot.SpeedMPH, drill.StandardError(drill.Speed, shot), speed)
	}
	return list
}

// aimOf is the aim that the readings show: a mean and a covariance, by least squares with weights.
func aimOf(readings []aimReading, weights []float64) ([aims]float64, matrix) {
	precision, weighted := newMatrix(aims), [aims]float64{}
	for at := range readings {
		one := &readings[at]
		weight := weights[at] / one.variance
		for i, slope := range one.slopes {
			weighted[i] += weight * slope * one.value
			for j := range aims {
				precision.set(i, j, precision.at(i, j)+weight*slope*one.slopes[j])
			}
		}
	}
	covariance, _ := precision.inverse() // positive: every number has a prior of its own
	var mean [aims]float64
	for i := range aims {
		mean[i] = dot(covariance.row(i), weighted[:])
	}
	return mean, covariance
}

// release is the delivery of an aim by a thrower in a state.
func (s *scene) release(thrower int, state *State, aim [aims]float64) motion.Release {
	release := s.throwers[thrower].Release
	release.LaydownBoard, release.LaunchAngleDeg = aim[aimLaydown], aim[aimAngle]
	release.SpeedMPH = aim[aimSpeed]
	release.RevRPM = release.RevRPM*state.RevFactor() + aim[aimRevs]
	release.RotationDeg += state.Rotation
	return release
}
