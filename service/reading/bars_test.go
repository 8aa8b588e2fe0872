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
		return 12
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

func (t *tally) add(errors, ses []float64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.errors, t.ses = append(t.errors, errors...), append(t.ses, ses...)
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

func TestReader(t *testing.T) {
	for _, e := range []foreignErrors{byEye, bySensor} {
		for _, n := range []int{6, 12} {
			var exact, nominal tally
			eachLane(lanesOf(t), func(number int) {
				l := newForeign(number)
				throws := l.probes(n, e)
				read, err := New(l.setting(), throws)
				if err != nil {
					t.Error(err)
					return
				}
				none, _ := New(l.setting(), nil)
				near := read.scene.at(read.Mean, true)
				near0 := none.scene.at(none.Mean, true)
				var errors, ses, errors0, ses0 []float64
				for range 16 {
					aim := l.unseen()
					truth := l.exactly(aim)
					if truth.gutter {
						continue
					}
					f := read.exactly(near, 0, aim, 0)
					errors, ses = append(errors, f.EntryBoard-truth.entry), append(ses, f.EntrySE)
					f = none.exactly(near0, 0, aim, 0)
					errors0, ses0 = append(errors0, f.EntryBoard-truth.entry), append(ses0, f.EntrySE)
				}
				exact.add(errors, ses)
				nominal.add(errors0, ses0)
			})
			t.Logf("%s %d: exact %v; nominal %v", e.source, n, &exact, &nominal)
			if exact.quantile(0.5) > 0.6*nominal.quantile(0.5) {
				t.Errorf("%s, %d shots: off by %.2f boards, the nominal film by %.2f", e.source, n, exact.quantile(0.5), nominal.quantile(0.5))
			}
		}
	}
}
