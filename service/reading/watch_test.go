package reading

import (
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"laneward/service/oil"
)

// watchedLanes is how many lanes are watched: as many as LANEWARD_READER_LANES says, else few.
func watchedLanes(t *testing.T) int {
	if os.Getenv("LANEWARD_READER_LANES") != "" {
		return lanesOf(t)
	}
	return min(lanesOf(t)/2, 24)
}

// watchLaydown is where the line is laid down that is watched.
const watchLaydown = 18

// line is the aim that the read sends to the pocket. It reports false for a lane without one, or on
// which one in five of its balls goes into the gutter.
func (l *foreignLane) line(read *Read, e foreignErrors) (Aim, bool) {
	aim, ok := read.toPocket(read.near(), watchLaydown)
	if !ok {
		return aim, false
	}
	gutter := 0
	for i := range 25 {
		if l.shoot(aim, e, i).Gutter != "" {
			gutter++
		}
	}
	return aim, gutter < 5
}

// scaled is the lane with so much of all its oil left that an aim arrives so many boards farther
// inside. It reports false where no oil is little enough.
func (l *foreignLane) scaled(aim Aim, boards float64) (*foreignLane, bool) {
	with := func(log float64) *foreignLane {
		next := *l
		for b := range next.units {
			for row := range next.units[b] {
				next.units[b][row] *= math.Exp(log)
			}
		}
		return &next
	}
	want := l.exactly(aim).entry + boards
	low, high := -4.0, 0.0
	if with(low).exactly(aim).entry < want {
		return nil, false
	}
	for range 12 {
		if middle := (low + high) / 2; with(middle).exactly(aim).entry >= want {
			low = middle
		} else {
			high = middle
		}
	}
	return with(low), true
}

// rub lets a ball that went along a track take oil with it: 3 % in the middle of a strip of 0.8
// board, one deviation, of which 95 % stays on the ball. Common practice, no source.
func (l *foreignLane) rub(path *foreignPath) {
	for row := range oil.Rows {
		for b := range l.units {
			off := (float64(b) - path.track[row]) / 0.8
			l.units[b][row] *= 1 - 0.03*0.95*math.Exp(-off*off/2)
		}
	}
}

// others are athletes on the same lane, each about a line of their own.
type others []Aim

func (l *foreignLane) others(aim Aim, n int) (list others) {
	for range n {
		list = append(list, Aim{
			aim.LaydownBoard + 2*l.random.NormFloat64(), aim.LaunchAngleDeg + 0.35*l.random.NormFloat64(),
		})
	}
	return list
}

func (l *foreignLane) rubAll(list others) {
	for _, aim := range list {
		aim.LaydownBoard += 0.8 * l.random.NormFloat64()
		aim.LaunchAngleDeg += 0.3 * l.random.NormFloat64()
		path := l.exactly(aim)
		l.rub(&path)
	}
}

// watching is what came of watching many lanes.
type watching struct {
	mu             sync.Mutex
	lanes          int
	still, alarms  int // shots on still lanes, and lanes with an alarm
	first          []int
	peaks          [][]float64 // evidence on still lanes, shot by shot
	standardised   []float64
	delays         map[int][]int // by boards
	since          map[int][]int
	sizes          map[int][]float64
	drifts, within []float64 // at the alarm, and whether it came within 12 shots of 2 boards
}

const (
	stillShots  = 200
	shotsBefore = 25
	shotsAfter  = 60
	never       = 1000
)

func watchLanes(t *testing.T, e foreignErrors, jumps []int, wear bool) *watching {
	all := &watching{delays: map[int][]int{}, since: map[int][]int{}, sizes: map[int][]float64{}}
	eachLane(watchedLanes(t), func(number int) {
		l := newForeign(number)
		read, err := New(l.setting(), l.probes(6, e))
		if err != nil {
			t.Error(err)
			return
		}
		aim, ok := l.line(read, e)
		if !ok {
			return
		}
		all.mu.Lock()
		all.lanes++
		all.mu.Unlock()
		all.stands(l, read, aim, e)
		for _, boards := range jumps {
			if next, ok := l.scaled(aim, float64(boards)); ok {
				all.jumps(l, next, read, aim, e, boards)
			}
		}
		if wear {
			all.wears(l, read, aim, e)
		}
	})
	return all
}

func (all *watching) stands(l *foreignLane, read *Read, aim Aim, e foreignErrors) {
	watch := read.Watch(0, 0)
	var evidence, standardised []float64
	shots, alarm := 0, false
	for i := range stillShots {
		now := watch.Add(Throw{Shot: l.shoot(aim, e, 7+i)})
		evidence = append(evidence, now.Evidence)
		if now.ScoreBoards != nil {
			one := watch.scores[len(watch.scores)-1]
			sd := math.Sqrt(one.se*one.se + watch.chart.covariance.quadratic(one.slope, one.slope))
			standardised = append(standardised, (one.boards-dot(one.slope, watch.chart.mean))/sd)
		}
		if !alarm {
			shots, alarm = shots+1, now.Alarm
		}
	}
	all.mu.Lock()
	defer all.mu.Unlock()
	all.still += shots
	all.peaks = append(all.peaks, evidence)
	all.standardised = append(all.standardised, standardised...)
	if alarm {
		all.alarms++
		all.first = append(all.first, shots)
	}
}

func (all *watching) jumps(l, next *foreignLane, read *Read, aim Aim, e foreignErrors, boards int) {
	watch := read.Watch(0, 0)
	for i := range shotsBefore {
		if watch.Add(Throw{Shot: l.shoot(aim, e, 7+i)}).Alarm {
			return
		}
	}
	delay, since, size := never, 0, math.NaN()
	for i := range shotsAfter {
		now := watch.Add(Throw{Shot: next.shoot(aim, e, 7+shotsBefore+i)})
		if now.Alarm && delay == never {
			delay, since = i+1, now.SinceOrder-7-shotsBefore
		}
		if delay < never && i+1 == delay+5 {
			size = now.SizeBoards
			break
		}
	}
	all.mu.Lock()
	defer all.mu.Unlock()
	all.delays[boards] = append(all.delays[boards], delay)
	if delay < never {
		all.since[boards] = append(all.since[boards], since)
	}
	if !math.IsNaN(size) {
		all.sizes[boards] = append(all.sizes[boards], math.Abs(size-float64(boards)))
	}
}

// wears plays six athletes on a copy of the lane, from the first shot on.
func (all *watching) wears(l *foreignLane, read *Read, aim Aim, e foreignErrors) {
	worn := *l
	list, watch := worn.others(aim, 5), read.Watch(0, 6)
	fresh, two := l.exactly(aim).entry, -1
	for i := range shotsAfter {
		drift := worn.exactly(aim).entry - fresh
		if drift >= 2 && two < 0 {
			two = i
		}
		now := watch.Add(Throw{Shot: worn.shoot(aim, e, 7+i)})
		worn.rub(&worn.last)
		worn.rubAll(list)
		if now.Alarm || two >= 0 && i > two+12 {
			all.mu.Lock()
			in := 0.0
			if now.Alarm {
				in = 1
				all.drifts = append(all.drifts, drift)
			}
			all.within = append(all.within, in)
			all.mu.Unlock()
			return
		}
	}
}

// String tells the figures.
func (all *watching) String() string {
	var b strings.Builder
	mean, beyond := 0.0, 0.0
	for _, z := range all.standardised {
		mean += z * z
		if math.Abs(z) > 2 {
			beyond++
		}
	}
	n := float64(len(all.standardised))
	fmt.Fprintf(
		&b, "%d lanes; standardised scores: deviation %.2f, beyond two %.1f %%\n",
		all.lanes, math.Sqrt(mean/n), 100*beyond/n,
	)
	fmt.Fprintf(&b, "a false alarm per %.0f shots (%d alarms); by level:", all.rate(), all.alarms)
	for level := 0.6; level < 2.6; level += 0.1 {
		shots, alarms := 0, 0
		for _, evidence := range all.peaks {
			at := slices.IndexFunc(evidence[2:], func(v float64) bool { return v > level })
			if at < 0 {
				shots += len(evidence)
				continue
			}
			shots, alarms = shots+at+3, alarms+1
		}
		fmt.Fprintf(&b, " %.1f %.0f", level, float64(shots)/float64(max(alarms, 1)))
	}
	for boards := 1; boards <= 4; boards++ {
		if len(all.delays[boards]) == 0 {
			continue
		}
		fmt.Fprintf(
			&b, "\na jump of %d boards: found after %d shots in the median, %d for 80 %%, within 12 %.0f %% (%d lanes)",
			boards, order(all.delays[boards], 0.5), order(all.delays[boards], 0.8),
			100*share(all.delays[boards], func(d int) bool { return d <= 12 }), len(all.delays[boards]),
		)
		near := share(all.since[boards], func(d int) bool { return d >= -3 && d <= 3 })
		fmt.Fprintf(&b, "; since within 3 shots %.0f %%", 100*near)
		if sizes := all.sizes[boards]; len(sizes) > 0 {
			fmt.Fprintf(&b, "; size off by %.2f five shots later", median(sizes))
		}
	}
	if len(all.within) > 0 && len(all.drifts) > 0 {
		fmt.Fprintf(&b, "\nwear of six: drift at the alarm %.1f, within 12 shots of 2 boards %.0f %% (%d lanes)",
			median(all.drifts), 100*share(all.within, func(v float64) bool { return v > 0 }), len(all.within))
	}
	return b.String()
}

func (all *watching) rate() float64 { return float64(all.still) / float64(max(all.alarms, 1)) }

func order(values []int, at float64) int {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[min(int(at*float64(len(sorted))), len(sorted)-1)]
}

func share[V any](values []V, holds func(V) bool) float64 {
	n := 0.0
	for _, v := range values {
		if holds(v) {
			n++
		}
	}
	return n / float64(max(len(values), 1))
}

// What a watch has to reach: the rate of false alarms, shots until a jump of so many boards is found
// in the median, and wear that is found within 12 shots of 2 boards.
func TestWatch(t *testing.T) {
	for _, one := range []struct {
		errors foreignErrors
		median map[int]int
		within float64
	}{
		{byEye, map[int]int{2: 17, 3: 8, 4: 6}, 0.76},
		{bySensor, map[int]int{1: 15, 2: 4, 3: 4}, 0.94},
	} {
		t.Run(one.errors.source, func(t *testing.T) {
			all := watchLanes(t, one.errors, slices.Sorted(maps.Keys(one.median)), true)
			t.Logf("%v", all)
			few := all.lanes < 70
			low, high := 220.0, 400.0
			if few {
				low, high = 100, math.Inf(1)
			}
			if rate := all.rate(); rate < low || rate > high {
				t.Errorf("a false alarm per %.0f shots, want %.0f to %.0f", rate, low, high)
			}
			for boards, want := range one.median {
				if few {
					want += want/2 + 1
				}
				if got := order(all.delays[boards], 0.5); got > want {
					t.Errorf("a jump of %d boards is found after %d shots in the median, want %d", boards, got, want)
				}
			}
			within := one.within
			if few {
				within -= 0.2
			}
			if got := share(all.within, func(v float64) bool { return v > 0 }); got < within {
				t.Errorf("wear is found within 12 shots of 2 boards in %.0f %%, want %.0f %%", 100*got, 100*within)
			}
		})
	}
}
