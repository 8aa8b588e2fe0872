package reading

import (
	"fmt"
	"math"
	"os"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"
)

// lanesOf is how many simulated lanes are read: few with -short, as many as
// LANEWARD_READER_LANES says, else 200.
func lanesOf(t *testing.T) int {
	if n, err := strconv.Atoi(os.Getenv("LANEWARD_READER_LANES")); err == nil {
		return n
	}
	if testing.Short() {
		return 16
	}
	return 200
}

// eachLane calls of for every lane's number, on all cores.
func eachLane(n int, of func(number int)) {
	var wait sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for number := range next {
				of(number)
			}
		})
	}
	for number := range n {
		next <- number
	}
	close(next)
	wait.Wait()
}

// tally are the errors of forecasts, and how wide they were said to be.
type tally struct {
	mu     sync.Mutex
	errors []float64
	ses    []float64
}

func (t *tally) add(error, se float64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.errors, t.ses = append(t.errors, error), append(t.ses, se)
}

func (t *tally) quantile(share float64) float64 {
	sizes := make([]float64, len(t.errors))
	for i, e := range t.errors {
		sizes[i] = math.Abs(e)
	}
	slices.Sort(sizes)
	return sizes[min(int(share*float64(len(sizes))), len(sizes)-1)]
}

func (t *tally) covers(quantile float64) float64 {
	inside := 0.0
	for i, e := range t.errors {
		if math.Abs(e) <= quantile*t.ses[i] {
			inside++
		}
	}
	return 100 * inside / float64(len(t.errors))
}

func (t *tally) String() string {
	return fmt.Sprintf("median %.3f 80 %% %.2f 95 %% %.2f, covers %.1f %.1f %.1f (n %d)",
		t.quantile(0.5), t.quantile(0.8), t.quantile(0.95), t.covers(0.6745), t.covers(1.2816), t.covers(1.96), len(t.errors))
}

// trial is what a reader is judged by after some shots.
type trial struct {
	exact, nominal, offset, fresh, bounds tally
}

// laneKind is whether others have played on a lane, and whether the reader knows.
type laneKind int

const (
	freshLane laneKind = iota
	playedLane
	playedUnknown
)

// judge reads lanes from n shots of the ladder.
func judge(t *testing.T, e foreignErrors, n int, lane laneKind, planned bool) *trial {
	var all trial
	eachLane(lanesOf(t), func(number int) {
		l := newForeign(number)
		setting := l.setting()
		if lane != freshLane {
			l.playOn()
			setting.Played = lane == playedLane
		}
		throws := l.probes(n, e)
		for i := range throws {
			if planned {
				throws[i].Aim = &ladder[i%len(ladder)]
			}
		}
		read, err := New(setting, throws)
		if err != nil {
			t.Error(err)
			return
		}
		none, err := New(setting, nil)
		if err != nil {
			t.Error(err)
			return
		}
		all.lines(l, read, none, none.shrunkOffset(throws, e))
		all.newShots(l, read, e)
		all.outOfBounds(l, read)
	})
	return &all
}

func (all *trial) lines(l *foreignLane, read, none *Read, offset float64) {
	near, near0 := read.scene.at(read.Mean, true), none.scene.at(none.Mean, true)
	for range 16 {
		aim := l.unseen()
		truth := l.exactly(aim)
		if truth.gutter {
			continue
		}
		f, f0 := read.exactly(near, 0, aim, 0), none.exactly(near0, 0, aim, 0)
		all.exact.add(f.EntryBoard-truth.entry, f.EntrySE)
		all.nominal.add(f0.EntryBoard-truth.entry, f0.EntrySE)
		all.offset.add(f0.EntryBoard+offset-truth.entry, f0.EntrySE)
	}
}

// shrunkOffset is the simplest rival: how much farther inside than the nominal film has it the balls
// arrived, drawn toward none.
func (r *Read) shrunkOffset(throws []Throw, e foreignErrors) float64 {
	s, sum, n := 3.3, 0.0, 0.0
	if e.source == "sensor" {
		s = 1.3
	}
	for _, throw := range throws {
		if throw.Shot.EntryBoard != nil {
			sum += *throw.Shot.EntryBoard - r.Foretell(throw).EntryBoard
			n++
		}
	}
	return sum / (s * s) / (n/(s*s) + 1/(2.8*2.8))
}

func (all *trial) newShots(l *foreignLane, read *Read, e foreignErrors) {
	e.grossShare = 0
	for i := range 8 {
		s := l.shoot(l.unseen(), e, 100+i)
		if s.EntryBoard == nil {
			continue
		}
		f := read.Foretell(Throw{Shot: s})
		all.fresh.add(f.EntryBoard-*s.EntryBoard, f.EntrySE)
	}
}

func (all *trial) outOfBounds(l *foreignLane, read *Read) {
	truth, ok := l.bounds()
	if !ok {
		return
	}
	b := read.Bounds(0)
	if b.Open || b.Closed {
		b.SE = math.NaN()
	}
	if b.Closed {
		b.Board = 20
	}
	all.bounds.add(b.Board-truth, b.SE)
}

// bars are what a reader has to reach after some shots: the median error of the entry board of an
// exact aim, that error over the simplest rival's, the error of out of bounds, and how often
// intervals may hold. Measured on 1,000 lanes; by the state of few lanes a median moves by about a
// twentieth and a share by 2 or 3 points.
type bars struct {
	errors        foreignErrors
	shots         int
	median, over  float64
	bounds        float64
	coverWithin   float64 // points about 50, 80 and 95, of exact aims
	low80, high80 float64 // instead, of 80 % intervals
}

var readerBars = []bars{
	{errors: byEye, shots: 6, median: 0.80, over: 0.8, bounds: 0.75, coverWithin: 7},
	{errors: byEye, shots: 12, median: 0.68, over: 1, coverWithin: 7},
	{errors: bySensor, shots: 6, median: 0.42, over: 0.8, bounds: 0.3, low80: 76, high80: 92},
	{errors: bySensor, shots: 12, median: 0.33, over: 0.8, low80: 76, high80: 92},
}

func TestReader(t *testing.T) {
	lanes := lanesOf(t)
	points, share := 0.0, 1.0 // how much wider the bars are on few lanes
	switch {
	case lanes < 100:
		points, share = 12, 1.35
	case lanes < 1000:
		points, share = 3, 1.06
	}
	for _, bar := range readerBars {
		t.Run(fmt.Sprintf("%s, %d shots", bar.errors.source, bar.shots), func(t *testing.T) {
			all := judge(t, bar.errors, bar.shots, freshLane, false)
			t.Logf("exact aims: %v", &all.exact)
			t.Logf("nominal film: %v; with one offset: median %.3f", &all.nominal, all.offset.quantile(0.5))
			t.Logf("new shots: %v", &all.fresh)
			t.Logf("out of bounds: %v", &all.bounds)
			atMost(t, "median error", all.exact.quantile(0.5), share*bar.median)
			atMost(t, "error over the offset's", all.exact.quantile(0.5)/all.offset.quantile(0.5), share*bar.over)
			if bar.bounds > 0 {
				atMost(t, "out of bounds", all.bounds.quantile(0.5), share*bar.bounds)
			}
			all.fresh.covering(t, "new shots", 3.5+points)
			if bar.coverWithin > 0 {
				all.exact.covering(t, "exact aims", bar.coverWithin+points)
				return
			}
			if c := all.exact.covers(quantile80); c < bar.low80-points || c > bar.high80+points {
				t.Errorf("exact aims: 80 %% intervals hold %.1f %%", c)
			}
		})
	}
}

func TestReaderOnPlayedLanes(t *testing.T) {
	for _, e := range []foreignErrors{byEye, bySensor} {
		for _, one := range []struct {
			lane  laneKind
			least float64
		}{{playedLane, 75}, {playedUnknown, 68}} {
			all := judge(t, e, 6, one.lane, false)
			t.Logf("%s, the reader knows %t: exact aims %v", e.source, one.lane == playedLane, &all.exact)
			if c := all.exact.covers(quantile80); c < one.least && (lanesOf(t) >= 100 || c < one.least-12) {
				t.Errorf("%s: 80 %% intervals hold %.1f %%, want %g", e.source, c, one.least)
			}
		}
	}
}

// What the athlete meant to throw narrows the read.
func TestPlannedAimsHelp(t *testing.T) {
	with, without := judge(t, byEye, 6, freshLane, true), judge(t, byEye, 6, freshLane, false)
	t.Logf("with the plan %v, without %v", &with.exact, &without.exact)
	if with.exact.quantile(0.8) > without.exact.quantile(0.8) {
		t.Error("a known plan makes the read worse")
	}
}

// What was read on one lane of a pair helps on the other, and does not make it too sure of itself.
func TestPairs(t *testing.T) {
	var beside, alone tally
	lanes := lanesOf(t)
	eachLane(lanes, func(number int) {
		l := newForeign(number)
		first, err := New(l.setting(), l.probes(12, byEye))
		if err != nil {
			t.Error(err)
			return
		}
		next := l.neighbour()
		throws := next.probes(2, byEye)
		setting := next.setting()
		setting.Neighbour = &first.Belief
		with, err := New(setting, throws)
		if err != nil {
			t.Error(err)
			return
		}
		without, err := New(next.setting(), throws)
		if err != nil {
			t.Error(err)
			return
		}
		for range 8 {
			aim := next.unseen()
			if path := next.exactly(aim); !path.gutter {
				f := with.Exactly(0, aim, 0)
				beside.add(f.EntryBoard-path.entry, f.EntrySE)
				f = without.Exactly(0, aim, 0)
				alone.add(f.EntryBoard-path.entry, f.EntrySE)
			}
		}
	})
	t.Logf("after 2 shots of its own: beside a lane that was read %v; alone %v", &beside, &alone)
	share := 0.9
	if lanes < 100 {
		share = 1.1
	}
	atMost(t, "error beside a lane that was read over that alone", beside.quantile(0.5)/alone.quantile(0.5), share)
	if c := beside.covers(quantile80); lanes >= 100 && math.Abs(c-80) > 10 {
		t.Errorf("80 %% intervals hold %.1f %%", c)
	}
}

func atMost(t *testing.T, what string, got, want float64) {
	t.Helper()
	if got > want {
		t.Errorf("%s: %.3f, want at most %.3f", what, got, want)
	}
}

// covering holds the shares of intervals that held against what they state.
func (t *tally) covering(tt *testing.T, what string, points float64) {
	tt.Helper()
	for _, one := range []struct{ stated, quantile float64 }{{50, 0.6745}, {80, quantile80}, {95, 1.96}} {
		if got := t.covers(one.quantile); math.Abs(got-one.stated) > points {
			tt.Errorf("%s: %g %% intervals hold %.1f %%", what, one.stated, got)
		}
	}
}
