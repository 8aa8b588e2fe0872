package background_test

import (
	"context"
	"errors"
	"sync"
	"syscall"
	"testing"

	"laneward/service/background"
)

// niceness is that of the calling thread.
func niceness(t *testing.T) int {
	t.Helper()
	raw, err := syscall.Getpriority(syscall.PRIO_PROCESS, 0)
	if err != nil {
		t.Fatal(err)
	}
	return 20 - raw
}

func TestRunGivesWay(t *testing.T) {
	before := niceness(t)
	var within int
	background.Run(func() { within = niceness(t) })
	if want := min(before+10, 19); within != want {
		t.Errorf("the computation has niceness %d, want %d", within, want)
	}
	// The thread of a computation is not handed on.
	var all sync.WaitGroup
	for range 64 {
		all.Go(func() {
			if now := niceness(t); now != before {
				t.Errorf("another goroutine has niceness %d, want %d", now, before)
			}
		})
	}
	all.Wait()
}

func TestIn(t *testing.T) {
	before := niceness(t)
	for name, tc := range map[string]struct {
		ctx  context.Context
		want int
	}{
		"plain":      {t.Context(), before},
		"background": {background.With(t.Context()), min(before+10, 19)},
	} {
		t.Run(name, func(t *testing.T) {
			var got int
			background.In(tc.ctx, func() { got = niceness(t) })
			if got != tc.want {
				t.Errorf("niceness %d, want %d", got, tc.want)
			}
		})
	}
}

func TestRunPanics(t *testing.T) {
	boom := errors.New("boom")
	defer func() {
		if got := recover(); got != boom {
			t.Errorf("panicked with %v, want %v", got, boom)
		}
	}()
	background.Run(func() { panic(boom) })
}
