package server

import (
	"math"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/record"
	"laneward/service/shot"
)

// throw makes the shots of one session. The athlete aims for a line that turns where they mean it
// to and meets the pocket where one exists; each shot scatters around it, runs over the film by the
// model of ball motion, and is read with an error.
func (p demoPerson) throw(random *rand.Rand, film *oil.Film, session *record.Session) ([]shot.Shot, error) {
	table, err := motion.NewTable(film, motion.NominalFriction(), p.side)
	if err != nil {
		return nil, err
	}
	surface := motion.FilmSurface(film, motion.NominalFriction(), p.side)
	asked := float64(askedBoard) + 1.5 // a little inside of what was asked leaves room
	aim := p.aim(table, p.breakpointHome+p.heeds*(asked-p.breakpointHome))
	ballID := demoID(p.name + " dull")
	shots := make([]shot.Shot, shotsASession)
	for i := range shots {
		release := aim
		release.LaydownBoard += random.NormFloat64() * p.laydownSD
		release.LaunchAngleDeg += random.NormFloat64() * p.angleSD
		release.SpeedMPH += random.NormFloat64() * 0.3
		release.RevRPM += random.NormFloat64() * 12
		path, err := motion.Trace(surface, motion.DefaultBall(), release, []float64{lane.ArrowsFt, 35, 45})
		if err != nil {
			return nil, err
		}
		shots[i] = p.read(random, release, path)
		shots[i].ID = uuid.NewSHA1(session.ID, []byte{byte(i)})
		shots[i].SessionID, shots[i].AthleteID, shots[i].BallID = session.ID, *session.AthleteID, &ballID
		shots[i].Order = i + 1
		shots[i].Time = session.Date.Add(18*time.Hour + time.Duration(i)*70*time.Second)
	}
	return shots, nil
}

// aim searches the line that turns nearest to a board and meets the pocket.
func (p demoPerson) aim(table *motion.Table, breakpoint float64) motion.Release {
	best, least := p.release(20, 2), math.Inf(1)
	for laydown := 8.0; laydown <= 32; laydown += 0.5 {
		for angle := 1.2; angle <= 6; angle += 0.1 { // flatter lines turn right away
			release := p.release(laydown, angle)
			out := table.Run(motion.DefaultBall(), release)
			if !out.Reaches() {
				continue
			}
			cost := math.Abs(
				out.PinBoard-17.5,
			) + 2*math.Abs(
				out.BreakpointBoard-breakpoint,
			) + 0.3*math.Abs(
				out.EntryAngleDeg-5,
			)
			cost += 0.3 * math.Max(
				0,
				36-out.BreakpointFt,
			) // a line that turns early leaves nothing for the back of the lane
			if cost < least {
				best, least = release, cost
			}
		}
	}
	return best
}

// read is what is logged of a shot: by a sensor with a small error, or by eye in whole boards and
// not always everything.
func (p demoPerson) read(random *rand.Rand, release motion.Release, path motion.Path) shot.Shot {
	se, round := 0.3, func(v float64) float64 { return math.Round(v*10) / 10 }
	if p.source == "eye" {
		se, round = 0.8, math.Round
	}
	board := func(v float64) *float64 {
		read := math.Min(math.Max(round(v+random.NormFloat64()*se), 0), 40)
		return &read
	}
	s := shot.Shot{Source: p.source, Errors: shot.StandardErrors{Board: &se}, LaydownBoard: board(release.LaydownBoard)}
	if len(path.Stations) > 0 {
		s.ArrowsBoard = board(path.Stations[0].Board)
	}
	if p.source == "sensor" {
		speed, revs, angle := round(
			release.SpeedMPH,
		), math.Round(
			release.RevRPM,
		), math.Round(
			release.LaunchAngleDeg*100,
		)/100
		s.SpeedMPH, s.RevRateRPM, s.LaunchAngleDeg = &speed, &revs, &angle
	}
	if path.Gutter || p.source == "sensor" || random.Float64() < 0.85 { // the eye misses some
		ft := math.Round(path.BreakpointFt)
		s.BreakpointBoard, s.BreakpointFt = board(path.BreakpointBoard), &ft
	}
	standing := lane.FullRack
	if path.Reaches() {
		s.EntryBoard = board(path.PinBoard)
		if p.source == "sensor" {
			angle := math.Round(path.EntryAngleDeg*10) / 10
			s.EntryAngleDeg = &angle
		}
		standing = inventedLeave(random, path.PinBoard, path.EntryAngleDeg)
	}
	if p.side == lane.Left {
		standing = standing.Mirror()
	}
	s.Standing = &standing
	return s
}

// inventedLeave draws the pins left standing after a ball enters at a board and an angle, for a
// right-hander. It is made up for the example, after the common sense of the sport (common
// practice, no source): near board 17.5 at four to seven degrees most shots strike.
func inventedLeave(random *rand.Rand, board, angleDeg float64) lane.PinSet {
	off := board - 17.5
	strike := 0.85 * math.Exp(-off*off/4) * math.Exp(-math.Pow((angleDeg-5.5)/5, 2))
	if random.Float64() < strike {
		return 0
	}
	leaves := map[bool][][]int{ // light of the pocket, and heavy
		false: {{10}, {5, 7}, {2, 8, 10}, {2, 4, 5, 8}, {1, 2, 4, 10}},
		true:  {{4}, {9}, {4, 9}, {6, 10}, {3, 6, 10}},
	}
	list := leaves[off > 0]
	far := min(int(math.Abs(off)/1.5), len(list)-2) // farther off leaves more
	left, err := lane.Pins(list[far+random.IntN(2)]...)
	if err != nil {
		panic(err) // the list above is of pins
	}
	return left
}
