package line

import (
	"fmt"
	"math"
	"os"
	"testing"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
)

// What a coach knows about where to play, held against the plan (common practice, no source). With
// LANEWARD_LONG set, over all families, athletes and steps; without it over some.

func some[T any](few []T, all []T) []T {
	if long() {
		return all
	}
	return few
}

func long() bool { return os.Getenv("LANEWARD_LONG") != "" }

// inLength plans one family of films for one athlete from 34 to 46 ft in steps of 2.
func inLength(t *testing.T, f family, athlete Athlete) []Line {
	t.Helper()
	var first []Line
	for lengthFt := 34.0; lengthFt <= 46; lengthFt += 2 {
		plan := find(t, freshLanes(f.shaped(lengthFt), athlete))
		if len(plan.Lines) == 0 {
			t.Fatalf("%s, %g ft: %s", f.name, lengthFt, plan.Note)
		}
		first = append(first, plan.Lines[0])
	}
	return first
}

// Longer moves inside: the first line's breakpoint never moves outside by more than 1 board a step,
// and where the ratio is 3 or less it ends 4 boards farther inside, or at least 3. The feet do not step
// outside by more than they must: entry angles fall on short films, so that the launch angles of
// long ones lie nearer to how the athlete plays.
//
// On films with much less oil outside (3:1 and more) steps of more than a board outside are left: there
// a miss outside comes back and one inside slides, and what an outside line is worth more hangs on how
// the lane lies, so that which lines are equal changes from length to length. No step may be more than
// 2 boards, but from 44 ft on 4 on the house film, where the lines inside stop being equal.
func TestLongerFilmsArePlayedInside(t *testing.T) {
	all, series, stepsBack := families(t), 0, 0
	far := direction{name: "from 34 to 46 ft 4 boards inside, boards short of it", mayFailShare: 0.1}
	defer func() { t.Logf("%d steps of more than a board outside in %d series", stepsBack, series) }()
	for _, f := range some(all[3:4], all) {
		for i, athlete := range some(athletes()[:1], athletes()) {
			series++
			lines := inLength(t, f, athlete)
			back := 1.0
			if f.ratio >= 3 {
				back = 2
			}
			for k := 1; k < len(lines); k++ {
				if f.ratio > 5 && 34+2*k > 44 {
					back = 4
				}
				moved := lines[k].Path.BreakpointBoard - lines[k-1].Path.BreakpointBoard
				if moved < -1 {
					stepsBack++
				}
				if moved < -back {
					t.Errorf(
						"%s, athlete %d: the breakpoint moves %.1f boards outside at %d ft",
						f.name,
						i,
						-moved,
						34+2*k,
					)
				}
			}
			total := lines[len(lines)-1].Path.BreakpointBoard - lines[0].Path.BreakpointBoard
			if f.ratio <= 3 {
				far.take(4-total, fmt.Sprintf("%s, athlete %d", f.name, i))
			}
			if f.ratio <= 3 && total < 3 {
				t.Errorf("%s, athlete %d: from 34 to 46 ft the breakpoint moves %.1f boards inside", f.name, i, total)
			}
			for _, line := range lines {
				if !DefaultPocket().holds(line.Path.Outcome) {
					t.Errorf("%s, athlete %d: the typical delivery misses: board %.1f", f.name, i, line.Path.PinBoard)
				}
			}
		}
	}
	far.check(t)
}

// At a fixed entry angle of 4.5 degrees longer moves laydown and arrows inside from 33 to 46 ft: of
// the law alone, without scatter. From 47 ft on the ball of these films still slips at the pins, and
// it turns; a faster one turns on shorter films (17.5 mph from 46 ft, 18.5 mph from 44 ft).
func TestLongerFilmsAtAFixedEntryAngle(t *testing.T) {
	for _, f := range families(t)[:5] {
		for i, athlete := range athletes()[:2] {
			last := Aim{LaydownBoard: -1}
			for _, lengthFt := range some([]float64{33, 37, 41, 44, 46}, steps(33, 1, 14)) {
				aim, ok := entering(t, f.shaped(lengthFt), athlete, 4.5)
				if !ok {
					continue // its steepest line is flatter: another line, which says nothing of this one
				}
				if last.LaydownBoard > 0 &&
					(aim.LaydownBoard < last.LaydownBoard || aim.arrowsBoard() < last.arrowsBoard()) {
					t.Errorf(
						"%s, athlete %d, %g ft: laydown %.1f and arrows %.1f after %.1f and %.1f",
						f.name, i, lengthFt, aim.LaydownBoard, aim.arrowsBoard(), last.LaydownBoard, last.arrowsBoard(),
					)
				}
				last = aim
			}
			if last.LaydownBoard < 0 {
				t.Errorf("%s, athlete %d: no line enters at 4.5 degrees", f.name, i)
			}
		}
	}
}

// entering is the innermost line to board 17.5 that enters at an angle.
func entering(t *testing.T, film *oil.Film, athlete Athlete, angleDeg float64) (Aim, bool) {
	t.Helper()
	request := Request{Film: film, Friction: motion.NominalFriction(), Ball: motion.DefaultBall(), Athlete: athlete}
	request.Pocket = Pocket{"", 16.5, 18.5, 0.5, 15}
	request, s := prepared(t, request)
	search := &search{scorer: s, request: request}
	var outer Aim
	for laydown := 38.0; laydown >= 2; laydown -= 0.25 {
		angles := steps(-3, 0.125, 90)
		for i := 1; i < len(angles); i++ {
			aim, ok := search.reaching(17.5, laydown, angles[i-1], angles[i],
				s.typical(Aim{laydown, angles[i-1]}), s.typical(Aim{laydown, angles[i]}))
			if !ok {
				continue
			}
			if s.typical(aim).EntryAngleDeg >= angleDeg {
				return aim, true
			}
			outer = aim
		}
	}
	return outer, false
}

// firstOf is the first line of a plan.
func firstOf(t *testing.T, request Request) Line {
	t.Helper()
	plan := find(t, request)
	if len(plan.Lines) == 0 {
		t.Fatal(plan.Note)
	}
	return plan.Lines[0]
}

// direction counts where a direction that coaches know holds.
type direction struct {
	name         string
	held, of     int
	worst        float64
	where        string
	tolerance    float64 // what may be missed by: equal lines and the half board of the search
	mayFailShare float64 // of all cases
}

// take notes by how much a plan went against the direction; 0 and less is along it.
func (d *direction) take(against float64, where string) {
	d.of++
	if against <= d.tolerance {
		d.held++
	}
	if d.of == 1 || against > d.worst {
		d.worst, d.where = against, where
	}
}

func (d *direction) check(t *testing.T) {
	t.Helper()
	t.Logf("%s: %d of %d hold, the worst is %.2f against it (%s)", d.name, d.held, d.of, d.worst, d.where)
	if float64(d.of-d.held) > d.mayFailShare*float64(d.of) {
		t.Errorf("%s: only %d of %d hold", d.name, d.held, d.of)
	}
}

// Faster stands outside, more revolutions stand inside: of the feet, for the ball that hooks less is
// launched straighter. A surface that grips less is played straighter: not launched farther outward
// than a rough one.
//
// It does not hold everywhere. On flat films of 38 ft an athlete of many revolutions may stand inside
// when throwing faster, by up to 5.5 boards: lines are equal there over many boards, and the one
// nearest to the widest launch angle that the scatter is known for comes first.
func TestReleaseAndSurfaceMoveTheLine(t *testing.T) {
	faster := direction{name: "1.5 mph faster stands outside, boards", tolerance: 1, mayFailShare: 0.2}
	more := direction{name: "75 rpm more stand inside, boards", tolerance: 1, mayFailShare: 0.1}
	smoother := direction{name: "a smooth surface is launched straighter, degrees", tolerance: 0.25}
	for _, f := range some(families(t)[3:4], families(t)) {
		for _, lengthFt := range some([]float64{42}, []float64{38, 42, 45}) {
			film := f.shaped(lengthFt)
			for i, athlete := range some(athletes()[:2], athletes()) {
				where := fmt.Sprintf("%s, %g ft, athlete %d", f.name, lengthFt, i)
				slow, fast, many := athlete, athlete, athlete
				slow.SpeedMPH -= 0.75
				fast.SpeedMPH += 0.75
				many.RevRPM += 75
				faster.take(
					firstOf(t, freshLanes(film, fast)).FeetBoard-firstOf(t, freshLanes(film, slow)).FeetBoard, where)
				more.take(
					firstOf(t, freshLanes(film, athlete)).FeetBoard-firstOf(t, freshLanes(film, many)).FeetBoard, where)
				smooth, rough := freshLanes(film, athlete), freshLanes(film, athlete)
				smooth.Ball.SurfaceGrit, rough.Ball.SurfaceGrit = 5000, 500
				smoother.take(firstOf(t, smooth).LaunchAngleDeg-firstOf(t, rough).LaunchAngleDeg, where)
			}
		}
	}
	faster.check(t)
	more.check(t)
	smoother.check(t)
}

// wornByOwn is a request on the film as the athlete's own shots along a line leave it.
func wornByOwn(t *testing.T, fresh Request, aim Aim, shots int) Request {
	t.Helper()
	paths, err := Throws(fresh, aim, shots)
	if err != nil {
		t.Fatal(err)
	}
	tracks := make([]oil.Track, len(paths))
	for i, path := range paths {
		tracks[i] = path.Track(fresh.Athlete.Side)
	}
	worn, err := oil.AssumedWear().After(fresh.Film, tracks)
	if err != nil {
		t.Fatal(err)
	}
	request := freshLanes(worn.Film, fresh.Athlete)
	request.Stay = &aim
	return request
}

// Worn is played inside: after 30 and 60 shots of their own the feet of athletes of middling release
// move inside, or stay, on every film.
//
// It cannot be promised of those of many revolutions. Their launch angles lie far inside of the line
// worth most; on films that are flat across, where a line is the same line rotated about the pins, one
// athlete's balls dig a strip of few boards, and the model may as well play outside of it, where the
// oil is fresh and the ball enters steeper. A coach moves inside because others dig the boards outside
// as well; the model is told of the athlete's own shots alone.
func TestWornIsPlayedInside(t *testing.T) {
	middling := direction{name: "worn by the athlete's own shots, the feet go outside, boards"}
	all := direction{name: "worn, those of many revolutions too, boards", mayFailShare: 0.15}
	inside := 0.0
	for _, f := range some(families(t)[5:6], families(t)) {
		for _, lengthFt := range some([]float64{42}, []float64{38, 42}) {
			for i, athlete := range some(athletes()[1:2], athletes()) {
				fresh := freshLanes(f.shaped(lengthFt), athlete)
				first := firstOf(t, fresh)
				for _, shots := range some([]int{60}, []int{30, 60}) {
					now := firstOf(t, wornByOwn(t, fresh, first.Aim, shots))
					moved := now.FeetBoard - first.FeetBoard
					where := fmt.Sprintf("%s, %g ft, athlete %d, %d shots", f.name, lengthFt, i, shots)
					inside += moved
					all.take(-moved, where)
					if athlete.RevRPM <= 350 {
						middling.take(-moved, where)
					}
				}
			}
		}
	}
	middling.check(t)
	all.check(t)
	mean := inside / float64(all.of)
	t.Logf("%.2f boards inside in the mean", mean)
	if mean <= 0 {
		t.Errorf("the feet move %.1f boards inside in the mean", mean)
	}
}

func TestMoreScatterNeverLeavesTheApproach(t *testing.T) {
	for _, f := range some(families(t)[4:5], families(t)) {
		for _, factor := range some([]float64{3}, []float64{0.5, 1, 2, 3}) {
			athlete := athletes()[3]
			athlete.Scatter.ArrowsBoards *= factor
			athlete.Scatter.LaunchAngleDeg *= factor
			for _, line := range find(t, freshLanes(f.shaped(42), athlete)).Lines {
				if line.FeetBoard > lastFeetBoard || !lane.OnLane(line.FeetBoard) ||
					line.TargetBoard < firstTarget-0.5 {
					t.Errorf(
						"%s, scatter times %g: feet %.1f, target %.1f",
						f.name,
						factor,
						line.FeetBoard,
						line.TargetBoard,
					)
				}
			}
		}
	}
}

// A tenth of a mile an hour is no reason to move: the arrows of the first line step by at most 1
// board, unless the plan before says that the line moved to is equal.
func TestASmallChangeOfSpeedIsASmallMove(t *testing.T) {
	from, to := 15.5, 18.5
	if !long() {
		from, to = 16.9, 17.2
	}
	for _, f := range some(families(t)[3:4], families(t)[1:6]) {
		athlete := athletes()[0]
		var before *Plan
		for mph := from; mph <= to+1e-9; mph += 0.1 {
			athlete.SpeedMPH = mph
			plan := find(t, freshLanes(f.shaped(42), athlete))
			if before != nil && len(before.Lines) > 0 && len(plan.Lines) > 0 {
				now, last := plan.Lines[0], before.Lines[0]
				step := math.Abs(now.ArrowsBoard - last.ArrowsBoard)
				if step > 1 && !holdsEqual(before, now.Aim) && !holdsEqual(plan, last.Aim) {
					t.Errorf("%s: from %.1f mph the arrows move by %.1f boards", f.name, mph-0.1, step)
				}
			}
			before = plan
		}
	}
}

// holdsEqual reports whether a plan lists a line near an aim as equal.
func holdsEqual(plan *Plan, aim Aim) bool {
	for _, line := range plan.Lines {
		if line.Equal && line.near(aim) {
			return true
		}
	}
	return false
}
