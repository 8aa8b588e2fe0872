package service

import (
	"context"
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

func TestSlots(t *testing.T) {
	broken := errors.New("laydown_board 50 is out of range")
	cases := []struct {
		name string
		do   func(ctx context.Context) error
		code Code
		says string
	}{
		{"done", func(context.Context) error { return nil }, "", ""},
		{"a fault of the request", func(context.Context) error { return broken }, Invalid, broken.Error()},
		{"a known failure", func(context.Context) error { return fail(Conflict, "no line") }, Conflict, "no line"},
		{
			"too long",
			func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() },
			Unavailable,
			"took longer than 20s",
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := newLimiter(0)
				err := s.run(t.Context(), c.do)
				if c.code == "" {
					if err != nil {
						t.Error(err)
					}
				} else if known := wantCode(t, err, c.code); !strings.Contains(known.Detail, c.says) {
					t.Errorf("detail %q, want %q", known.Detail, c.says)
				}
				if len(s.free) != 0 {
					t.Error("the slot is still taken")
				}
			})
		})
	}
}

// Few run at once, the others wait, and whoever waits too long is told when to come back.
func TestSlotsBoundWhatRuns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newLimiter(0)
		var running, most, refused atomic.Int64
		var wait sync.WaitGroup
		for range 3 * computations {
			wait.Go(func() {
				err := s.run(t.Context(), func(context.Context) error {
					most.Store(max(most.Load(), running.Add(1)))
					time.Sleep(6 * time.Second)
					running.Add(-1)
					return nil
				})
				if err != nil {
					refused.Add(1)
					if known := wantCode(t, err, Unavailable); known.RetryAfter == 0 {
						t.Error("nobody says when to come back")
					}
				}
			})
		}
		wait.Wait()
		// Of three rounds of six seconds, the third would begin after twelve: its turn comes too
		// late.
		if most.Load() != computations || refused.Load() != computations {
			t.Errorf("%d ran at once, %d were refused", most.Load(), refused.Load())
		}
	})
}

func TestSlotsEndWithTheCaller(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newLimiter(0)
		for range computations {
			s.free <- struct{}{}
		}
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Second, cancel)
		known := wantCode(t, s.run(ctx, func(context.Context) error { return nil }), Unavailable)
		if !errors.Is(known, context.Canceled) || len(s.free) != computations {
			t.Errorf("%v, %d slots taken", known, len(s.free))
		}
	})
}
