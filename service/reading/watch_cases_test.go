package reading

import (
	"slices"
	"testing"

	"laneward/service/lane"
	"laneward/service/motion"
)

// A watch of nothing but gutter balls says that it knows nothing, and does not fail.
func TestWatchOfGutterBalls(t *testing.T) {
	l := newForeign(5)
	read, err := New(l.setting(), l.probes(6, byEye))
	if err != nil {
		t.Fatal(err)
	}
	watch := read.Watch(0, 0)
	for i := range 6 {
		throw := Throw{Shot: l.shoot(ladder[2], byEye, 7+i)}
		throw.Shot.Gutter, throw.Shot.EntryBoard, throw.Shot.BreakpointBoard = lane.Right, nil, nil
		if now := watch.Add(throw); now.ScoreBoards != nil || now.Alarm || now.Order != 7+i {
			t.Fatalf("a gutter ball: %+v", now)
		}
	}
	const want = "Too few shots to see a change: 6 have been seen on this lane, and it takes 9."
	if got := watch.Sentence(); got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if read, err = New(l.setting(), l.probes(12, byEye)); err != nil {
		t.Fatal(err)
	}
	const none = "Nothing has been seen of a ball since the read: watch the shots after it."
	if got := read.Watch(0, 0).Sentence(); got != none {
		t.Errorf("got %q, want %q", got, none)
	}
}

// Another athlete's shots are not scored, and wear the lane for the watched one.
func TestOthersWearTheLane(t *testing.T) {
	l := newForeign(5)
	setting := l.setting()
	setting.Throwers = append(setting.Throwers, Thrower{Release: l.stated, Ball: motion.DefaultBall()})
	read, err := New(setting, l.probes(6, bySensor))
	if err != nil {
		t.Fatal(err)
	}
	watch := read.Watch(0, 1)
	own := Throw{Shot: l.shoot(ladder[2], bySensor, 7)}
	watch.Add(own)
	if watch.wear[0] != 0 {
		t.Errorf("nobody has thrown since the read, and wear moves the ball by %g", watch.wear[0])
	}
	for i := range 40 {
		watch.Add(Throw{Thrower: 1, Shot: l.shoot(ladder[2], bySensor, 8+i)})
	}
	if n := len(watch.scores); n != 1 {
		t.Errorf("%d shots are scored, want the watched athlete's one", n)
	}
	watch.Add(own)
	if watch.wear[1] < 0.3 {
		t.Errorf("after 40 balls on the line wear moves the ball inside by %g boards", watch.wear[1])
	}
}

// A left-hander on the mirrored film is watched like a right-hander on the film.
func TestWatchOfLeftHanders(t *testing.T) {
	l := newForeign(6)
	setting, throws := l.setting(), l.probes(12, bySensor)
	mirrored := setting
	mirrored.Side, mirrored.Film = lane.Left, setting.Film.Mirror()
	var scores [2][]float64
	for i, one := range []Setting{setting, mirrored} {
		read, err := New(one, throws[:6])
		if err != nil {
			t.Fatal(err)
		}
		watch := read.Watch(0, 0)
		for _, throw := range throws[6:] {
			if now := watch.Add(throw); now.ScoreBoards != nil {
				scores[i] = append(scores[i], *now.ScoreBoards, *now.ScoreSE, now.Evidence)
			}
		}
	}
	if len(scores[0]) == 0 || !slices.Equal(scores[0], scores[1]) {
		t.Errorf("right %v, left %v", scores[0], scores[1])
	}
}
