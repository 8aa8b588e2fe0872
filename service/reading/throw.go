package reading

import (
	"math"
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

// What a throw's own aim consists of: the hidden release that made the path.
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
	// displayMPH is how far a speed display may be off.
	displayMPH = 0.2
	// axisDeg is by how much a release's rotation scatters.
	axisDeg = 2.0
	// hookAtArrows is how many boards the ball has turned in at the arrows, 15 ft down.
	hookAtArrows = 0.06
)

// What no state explains of one throw, one deviation: patches, flare, oil on the ball. Tried on
// simulated lanes of another law.
const (
	strayBreakpoint   = 0.6
	strayBreakpointFt = 1.5
	strayEntry        = 0.5
	strayEntryDeg     = 0.35
)

// sighting is a throw as the reader takes it.
type sighting struct {
	thrower int
	known   [sights]bool
	value   [sights]float64
	error   [sights]float64 // variance, with what no state explains
	aim     [aims]float64
	spread  matrix // of the aim
	use     bool   // the pins or the breakpoint were seen; a gutter ball says nothing
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
	onLane := shot.Gutter == "" && (shot.EntryBoard == nil || lane.OnLane(*shot.EntryBoard)) &&
		(shot.BreakpointBoard == nil || lane.OnLane(*shot.BreakpointBoard))
	if onLane {
		take(seenBreakpoint, shot.BreakpointBoard, e.breakpoint*se(drill.Board), strayBreakpoint)
		take(seenBreakpointFt, shot.BreakpointFt, e.distance*se(drill.BreakpointDistance), strayBreakpointFt)
		take(seenEntry, shot.EntryBoard, se(drill.Board), strayEntry)
		take(seenEntryAngle, shot.EntryAngleDeg, se(drill.EntryAngle), strayEntryDeg)
		seen.use = seen.known[seenBreakpoint] || seen.known[seenEntry] || seen.known[seenEntryAngle]
	}
	if seen.use {
		take(seenRevs, shot.RevRateRPM, se(drill.RevRate), 0)
		take(seenRotation, shot.RotationDeg, se(drill.Rotation), axisDeg)
	}
	seen.aim, seen.spread = s.aimOf(throw, e)
	return seen
}

// readingErrors are how much larger than a board's stated error those of other readings are.
type readingErrors struct{ laydown, breakpoint, distance float64 }

// errorsOf is by what measured a shot. An eye follows the ball at the foul line best and at the
// breakpoint, far away, worst; a sensor reads all boards about as well. Common practice, no source.
func errorsOf(source string) readingErrors {
	if strings.EqualFold(source, "sensor") {
		return readingErrors{1, 1.5, 1.5}
	}
	return readingErrors{0.7, 2, 1.5}
}

// aimOf is what the readings of a throw near the foul line, and what was planned, say of its
// release: a mean and a covariance, by least squares.
func (s *scene) aimOf(throw Throw, e readingErrors) ([aims]float64, matrix) {
	shot := &throw.Shot
	stated := s.throwers[throw.Thrower].Release
	precision, weighted := newMatrix(aims), [aims]float64{}
	add := func(value, deviation float64, slopes [aims]float64) {
		weight := 1 / (deviation * deviation)
		for i := range aims {
			weighted[i] += weight * slopes[i] * value
			for j := range aims {
				precision.set(i, j, precision.at(i, j)+weight*slopes[i]*slopes[j])
			}
		}
	}
	board := drill.StandardError(drill.Board, shot)
	add(commonAngleDeg, commonWidthDeg, [aims]float64{aimAngle: 1})
	add(commonBoard, commonBoards, [aims]float64{aimLaydown: 1})
	add(stated.SpeedMPH, 2*plannedMPH, [aims]float64{aimSpeed: 1})
	add(0, plannedRPM, [aims]float64{aimRevs: 1})
	if throw.Aim != nil {
		add(throw.Aim.LaydownBoard, plannedBoards, [aims]float64{aimLaydown: 1})
		add(throw.Aim.LaunchAngleDeg, plannedDeg, [aims]float64{aimAngle: 1})
		add(stated.SpeedMPH, plannedMPH, [aims]float64{aimSpeed: 1})
	}
	if shot.LaydownBoard != nil {
		add(*shot.LaydownBoard, e.laydown*board, [aims]float64{aimLaydown: 1})
	}
	if shot.ArrowsBoard != nil {
		ft := lane.ArrowsFt
		if shot.ArrowsFt != nil {
			ft = *shot.ArrowsFt
		}
		perDeg := ft * lane.BoardsPerFoot(1)
		add(*shot.ArrowsBoard-hookAtArrows, board, [aims]float64{aimLaydown: 1, aimAngle: -perDeg})
	}
	if shot.LaunchAngleDeg != nil {
		add(*shot.LaunchAngleDeg, drill.StandardError(drill.LaunchAngle, shot), [aims]float64{aimAngle: 1})
	}
	if shot.SpeedMPH != nil {
		add(*shot.SpeedMPH, math.Hypot(drill.StandardError(drill.Speed, shot), displayMPH), [aims]float64{aimSpeed: 1})
	}
	inverse, _ := precision.inverse() // positive: every number has a prior of its own
	var mean [aims]float64
	for i := range aims {
		mean[i] = dot(inverse.row(i), weighted[:])
	}
	return mean, inverse
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
