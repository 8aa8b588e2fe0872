package reading

import (
	"math"
	"math/rand/v2"
	"time"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/shot"
)

// A lane of another make than the reader's: its film is patchy, may follow Hill's law instead of an
// exponential one, is felt late because the ball pushes oil before it, and the slip turns. All
// numbers are invented, spread by common practice (no source) and 1.25 times as wide.
const foreignWide = 1.25

type foreignLane struct {
	nominal oil.Film
	units   [lane.Boards + 2][oil.Rows + 1]float64 // what really lies there
	volume  float64                                // ln of all oil over the pattern's
	longer  float64                                // ft
	outside float64                                // ln of the oil outside over that inside
	muDry   float64
	muOil   float64
	q0, q1  float64
	thick   float64
	slipMPS float64
	hill    bool
	power   float64
	lagFt   float64
	turnDeg float64 // the slip's direction turns by as much until the ball rolls
	k       float64 // of the ball's inertia
	release motion.Release
	stated  motion.Release
	display float64 // the speed shown is so much more than the true one
	last    foreignPath
	random  *rand.Rand
}

// newForeign invents a lane and the athlete on it.
func newForeign(number int) *foreignLane {
	l := &foreignLane{random: rand.New(rand.NewPCG(uint64(number), 8191))}
	l.pattern()
	l.invent(number)
	return l
}

// foreignOn invents what really lies on a lane that was laid with this film, and the athlete.
func foreignOn(film *oil.Film, number int) *foreignLane {
	l := &foreignLane{random: rand.New(rand.NewPCG(uint64(number), 8191)), nominal: *film}
	l.invent(number)
	return l
}

func (l *foreignLane) between(low, high float64) float64 { return low + (high-low)*l.random.Float64() }

func (l *foreignLane) normal(sd float64) float64 { return foreignWide * sd * l.random.NormFloat64() }

// invent draws what a lane and an athlete really are.
func (l *foreignLane) invent(number int) {
	l.lay()
	l.muDry = 0.171 * math.Exp(l.normal(0.11))
	l.muOil = 0.0007 * math.Exp(l.normal(0.5))
	l.q0 = 0.9 * math.Exp(l.normal(0.25))
	l.q1 = l.between(6, 14)
	l.thick = min(0.06*math.Exp(l.normal(0.5)), 0.4)
	l.slipMPS = l.between(1.5, 7)
	l.hill, l.power = number%2 == 1, l.between(2, 3)
	l.lagFt = l.between(0.1, 1.5)
	l.turnDeg = l.normal(2)
	ratio := l.between(2.46, 2.60) / motion.DefaultRadiusIn
	l.k = ratio * ratio
	l.stated = motion.Release{
		SpeedMPH: l.between(17, 18.5), RevRPM: l.between(220, 430), RotationDeg: l.between(30, 60), TiltDeg: l.between(6, 18),
	}
	l.release = l.stated
	l.release.RevRPM *= math.Exp(0.06 * l.random.NormFloat64())
	l.release.RotationDeg += 4.5 * l.random.NormFloat64()
	l.release.TiltDeg += 3 * l.random.NormFloat64()
	l.display = 0.2 * l.random.NormFloat64()
	l.release.SpeedMPH -= l.display
}

// pattern lays a pattern of a shape of its own.
func (l *foreignLane) pattern() {
	length, ratio := math.Round(l.between(34, 47)), math.Exp(l.between(math.Log(1.8), math.Log(8)))
	most, taper := l.between(18, 28), l.between(4, 11)
	from, to := l.between(2, 7), l.between(9, 15)
	fall := l.between(0.3, 0.7) // of the oil is left where the taper begins
	l.nominal.LengthFt = length
	for b := range l.nominal.UL {
		for row := range l.nominal.UL[b] {
			board, ft := float64(b+1), float64(row)+0.5
			across := smooth((min(board, 40-board) - from) / (to - from))
			along := 1 - (1-fall)*min(ft/(length-taper), 1)
			units := most * (1/ratio + (1-1/ratio)*across) * along * smooth((length-ft)/taper)
			l.nominal.UL[b][row] = units * oil.UnitULPerBoardFoot
		}
	}
}

// lay draws how what lies on the lane differs from the pattern.
func (l *foreignLane) lay() {
	l.volume, l.longer, l.outside = l.normal(0.18), l.normal(1.2), l.normal(0.22)
	l.spreadOil()
}

// neighbour is the other lane of the pair, on which the same athlete throws the same ball: as much
// alike as the reader takes it to be.
func (l *foreignLane) neighbour() *foreignLane {
	next := *l
	own := math.Sqrt(1 - alike*alike)
	next.volume = alike*l.volume + own*l.normal(0.18)
	next.longer = alike*l.longer + own*l.normal(1.2)
	next.outside = alike*l.outside + own*l.normal(0.22)
	next.spreadOil()
	return &next
}

// spreadOil lays the oil as the lane's own numbers say, in patches.
func (l *foreignLane) spreadOil() {
	patches := l.patches(l.between(0.05, 0.22) * foreignWide)
	stretch := l.nominal.LengthFt / (l.nominal.LengthFt + l.longer)
	for b := range l.units {
		for row := range l.units[b] {
			board, ft := float64(b), float64(row)
			tilt := l.outside * (smooth((math.Abs(board-20)-4)/12) - 0.5)
			l.units[b][row] = math.Exp(l.volume+tilt+patches(board, ft)) * l.nominal.UnitsAt(board, ft*stretch)
		}
	}
}

// patches is a smooth random field over the lane with this deviation.
func (l *foreignLane) patches(deviation float64) func(board, ft float64) float64 {
	type wave struct{ board, ft, phase, size float64 }
	waves := make([]wave, 24)
	for i := range waves {
		waves[i] = wave{
			2 * math.Pi * l.random.NormFloat64() / 14, 2 * math.Pi * l.random.NormFloat64() / 24,
			2 * math.Pi * l.random.Float64(), deviation * math.Sqrt(2.0/float64(len(waves))),
		}
	}
	return func(board, ft float64) float64 {
		sum := 0.0
		for _, w := range waves {
			sum += w.size * math.Cos(w.board*board+w.ft*ft+w.phase)
		}
		return sum
	}
}

func smooth(t float64) float64 {
	t = min(max(t, 0), 1)
	return t * t * (3 - 2*t)
}

// wear takes a share of the oil from a track that runs from a board at the foul line to another at
// 40 ft, about two boards wide.
func (l *foreignLane) wear(laydown, at40, share float64) {
	for b := range l.units {
		for row := range l.units[b] {
			track := laydown + (at40-laydown)*float64(row)/40
			off := (float64(b) - track) / 1.5
			l.units[b][row] *= 1 - share*math.Exp(-off*off/2)
		}
	}
}

func (l *foreignLane) film(board, ft float64) float64 {
	b, r := min(max(board, 0), lane.Boards+0.999), min(max(ft, 0), oil.Rows-0.001)
	i, j := int(b), int(r)
	fb, fr := b-float64(i), r-float64(j)
	near := l.units[i][j] + fr*(l.units[i][j+1]-l.units[i][j])
	far := l.units[i+1][j] + fr*(l.units[i+1][j+1]-l.units[i+1][j])
	return near + fb*(far-near)
}

func (l *foreignLane) friction(q, slip float64) float64 {
	reach := math.Exp(-q / l.q0)
	if l.hill {
		reach = 1 / (1 + math.Pow(q/(0.8*l.q0), l.power))
	}
	reach = (1-l.thick)*reach + l.thick*math.Exp(-q/l.q1)
	return (l.muOil + (l.muDry-l.muOil)*reach) * (l.slipMPS + 5) / (l.slipMPS + slip)
}

// foreignPath is what a path really does; in boards, feet and degrees.
type foreignPath struct {
	entry, angle, breakpoint, breakpointFt float64
	gutter                                 bool
	track                                  [oil.Rows + 1]float64 // boards by the foot
}

// throw follows a delivery by small steps of the equations of motion.
func (l *foreignLane) throw(r motion.Release) foreignPath {
	const h, degree = 0.1, math.Pi / 180
	speed := r.SpeedMPH * lane.MPSPerMPH
	vx, vy := speed*math.Cos(r.LaunchAngleDeg*degree), -speed*math.Sin(r.LaunchAngleDeg*degree)
	spin := motion.DefaultRadiusIn * lane.MetresPerInch * r.RevRPM * 2 * math.Pi / 60 * math.Cos(r.TiltDeg*degree)
	heading := (r.RotationDeg - r.LaunchAngleDeg) * degree
	ux, uy := vx-spin*math.Cos(heading), vy-spin*math.Sin(heading)
	slip, direction := math.Hypot(ux, uy), math.Atan2(uy, ux)
	first, board := slip, r.LaydownBoard
	path := foreignPath{breakpoint: board}
	for ft := 0.0; ft < lane.LengthFt-h/2; ft += h {
		dt := h * lane.MetresPerFoot / vx
		felt := l.film(board, ft-l.lagFt)
		if slip > 0 {
			a := l.friction(felt, slip) * lane.StandardGravityMPS
			at := direction + l.turnDeg*degree*(1-slip/first)
			vx -= a * math.Cos(at) * dt
			vy -= a * math.Sin(at) * dt
			slip = max(slip-a*(1+1/l.k)*dt, 0)
		}
		path.track[int(ft+h/2)] = board
		board += vy * dt / lane.BoardWidthM
		if board < path.breakpoint {
			path.breakpoint, path.breakpointFt = board, ft+h
		}
		path.gutter = path.gutter || !lane.OnLane(board)
	}
	path.entry, path.angle = board, math.Atan2(vy, vx)/degree
	return path
}

// exactly throws an aim without scatter, and the display shows the stated speed.
func (l *foreignLane) exactly(aim Aim) foreignPath {
	r := l.release
	r.LaydownBoard, r.LaunchAngleDeg = aim.LaydownBoard, aim.LaunchAngleDeg
	return l.throw(r)
}

// ladder is the first six aims of a read.
var ladder = []Aim{{10, 0.2}, {14, 0.7}, {18, 1.2}, {22, 1.6}, {26, 2}, {7, -0.1}}

// unseen draws an aim that may be asked for.
func (l *foreignLane) unseen() Aim {
	laydown := 6 + 24*l.random.Float64()
	return Aim{laydown, max(0.08*(laydown-10)+0.45*l.random.NormFloat64(), -0.5)}
}

// readingsOf are the errors of the readings.
type foreignErrors struct {
	source                                            string
	laydown, arrows, breakpoint, breakpointFt, entry  float64
	speed, entryAngle, launch, revs                   float64
	statedBoard, statedAngle, statedSpeed, grossShare float64
}

var (
	byEye = foreignErrors{
		source: "eye", laydown: 0.5, arrows: 0.7, breakpoint: 1.5, breakpointFt: 2, entry: 0.7, speed: 0.3,
		statedBoard: 0.7, statedSpeed: 0.3, grossShare: 0.1,
	}
	bySensor = foreignErrors{
		source: "sensor", laydown: 0.2, arrows: 0.15, breakpoint: 0.3, breakpointFt: 0.8, entry: 0.2, speed: 0.1,
		entryAngle: 0.25, launch: 0.1, revs: 6, statedBoard: 0.2, statedAngle: 0.2, statedSpeed: 0.1, grossShare: 0.1,
	}
)

// shoot throws an aim with an ordinary scatter and reads it, one in ten with a gross error.
func (l *foreignLane) shoot(aim Aim, e foreignErrors, order int) shot.Shot {
	random := l.random
	z := random.NormFloat64()
	arrows, angle := z, 0.3*(-0.8*z+0.6*random.NormFloat64())
	r := l.release
	r.LaunchAngleDeg = aim.LaunchAngleDeg + angle
	r.LaydownBoard = aim.LaydownBoard + arrows +
		lane.ArrowsFt*(lane.BoardsPerFoot(r.LaunchAngleDeg)-lane.BoardsPerFoot(aim.LaunchAngleDeg))
	r.SpeedMPH += 0.35 * random.NormFloat64()
	r.RevRPM += 12 * random.NormFloat64()
	path := l.throw(r)
	l.last = path
	read := func(true, error, grain float64) *float64 {
		v := math.Round((true+error*random.NormFloat64())/grain) * grain
		return &v
	}
	s := shot.Shot{Order: order, Time: time.Unix(int64(order)*30, 0), Source: e.source}
	s.Errors.Board, s.Errors.SpeedMPH = &e.statedBoard, &e.statedSpeed
	s.LaydownBoard = read(r.LaydownBoard, e.laydown, 0.1)
	s.ArrowsBoard = read(r.LaydownBoard-lane.ArrowsFt*lane.BoardsPerFoot(r.LaunchAngleDeg)+0.06, e.arrows, 0.1)
	s.SpeedMPH = read(r.SpeedMPH+l.display, e.speed, 0.01)
	s.BreakpointBoard = read(path.breakpoint, e.breakpoint, 0.1)
	s.BreakpointFt = read(path.breakpointFt, e.breakpointFt, 0.1)
	s.EntryBoard = read(path.entry, e.entry, 0.1)
	if e.statedAngle > 0 {
		s.Errors.AngleDeg = &e.statedAngle
		s.EntryAngleDeg = read(path.angle, e.entryAngle, 0.01)
		s.LaunchAngleDeg = read(r.LaunchAngleDeg, e.launch, 0.01)
		s.RevRateRPM = read(r.RevRPM, e.revs, 1)
	}
	if random.Float64() < e.grossShare {
		wrong := []*float64{s.LaydownBoard, s.ArrowsBoard, s.BreakpointBoard, s.BreakpointFt, s.EntryBoard}
		at := random.IntN(len(wrong))
		sd := 5.0
		if wrong[at] == s.BreakpointFt {
			sd = 10
		}
		*wrong[at] += sd * random.NormFloat64()
	}
	*s.BreakpointFt = min(max(*s.BreakpointFt, 0), lane.LengthFt)
	if path.gutter {
		s.Gutter = lane.Right
		s.EntryBoard, s.EntryAngleDeg, s.BreakpointBoard, s.BreakpointFt = nil, nil, nil, nil
	}
	return s
}

// setting is what the reader is told of the lane.
func (l *foreignLane) setting() Setting {
	return Setting{
		Film: &l.nominal, Friction: motion.NominalFriction(), Side: lane.Right,
		Throwers: []Thrower{{Release: l.stated, Ball: motion.DefaultBall()}},
	}
}

// probes are n shots of the ladder.
func (l *foreignLane) probes(n int, e foreignErrors) []Throw {
	throws := make([]Throw, n)
	for i := range throws {
		throws[i] = Throw{Shot: l.shoot(ladder[i%len(ladder)], e, i+1)}
	}
	return throws
}

// playOn plays on a lane before it is read: its edges dry, and a track nobody knows of is worn.
func (l *foreignLane) playOn() {
	tilt := 0.4 * l.random.NormFloat64()
	for b := range l.units {
		for row := range l.units[b] {
			l.units[b][row] *= math.Exp(tilt * smooth((math.Abs(float64(b)-20)-5)/10))
		}
	}
	laydown := 12 + 14*l.random.Float64()
	l.wear(laydown, 7+8*l.random.Float64(), 0.3+0.55*l.random.Float64())
}

// bounds is the outermost breakpoint from which board 20 still reaches 16.5; ok is false where
// there is none on the lane.
func (l *foreignLane) bounds() (board float64, ok bool) {
	low, high := math.NaN(), math.NaN()
	for angle := 8.0; angle >= -2; angle -= 0.25 {
		if path := l.exactly(Aim{20, angle}); path.entry >= 16.5 && !path.gutter {
			low, high = angle, angle+0.25
			break
		}
	}
	if math.IsNaN(low) {
		return 0, false
	}
	for range 8 {
		middle := (low + high) / 2
		if path := l.exactly(Aim{20, middle}); path.entry >= 16.5 && !path.gutter {
			low = middle
		} else {
			high = middle
		}
	}
	path := l.exactly(Aim{20, low})
	return path.breakpoint, path.breakpoint > 1.5
}
