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

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
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
				s := newLimiter(plansAtOnce, 0, time.Now)
				err := s.run(t.Context(), newID(), c.do)
				if c.code == "" {
					if err != nil {
						t.Error(err)
					}
				} else if known := wantCode(t, err, c.code); !strings.Contains(known.Detail, c.says) {
					t.Errorf("detail %q, want %q", known.Detail, c.says)
				}
				if !s.idle() || s.free != plansAtOnce {
					t.Error("the turn is still taken")
				}
			})
		})
	}
}

// Few run at once, the others wait, and whoever waits too long is told when to come back.
func TestSlotsBoundWhatRuns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newLimiter(plansAtOnce, 0, time.Now)
		var running, most, refused atomic.Int64
		var wait sync.WaitGroup
		for range 3 * plansAtOnce {
			wait.Go(func() {
				err := s.run(t.Context(), newID(), func(context.Context) error {
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
		if most.Load() != plansAtOnce || refused.Load() != plansAtOnce {
			t.Errorf("%d ran at once, %d were refused", most.Load(), refused.Load())
		}
	})
}

func TestTurnsEndWithTheCaller(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLimiter(1, 0, time.Now)
		done, err := l.turn(t.Context(), newID())
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Second, cancel)
		known := wantCode(t, l.run(ctx, newID(), func(context.Context) error { return nil }), Unavailable)
		if !errors.Is(known, context.Canceled) || len(l.users) != 1 || l.waiting != 0 {
			t.Errorf("%v, %d users, %d wait", known, len(l.users), l.waiting)
		}
		done()
		if !l.idle() {
			t.Error("the turn is still taken")
		}
	})
}

// One user's many requests hold up that user alone: another's turn comes next, whoever was first.
func TestUsersTakeTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLimiter(plansAtOnce, time.Hour, time.Now)
		greedy, honest := newID(), newID()
		var together, most atomic.Int64
		start := time.Now()
		var wait sync.WaitGroup
		for range waitingOfUser {
			wait.Go(func() {
				if err := l.run(t.Context(), greedy, func(context.Context) error {
					most.Store(max(most.Load(), together.Add(1)))
					time.Sleep(20 * time.Second)
					together.Add(-1)
					return nil
				}); err != nil {
					t.Error(err)
				}
			})
		}
		synctest.Wait()
		for range 3 {
			if err := l.run(t.Context(), honest, func(context.Context) error { return nil }); err != nil {
				t.Error(err)
			}
		}
		if waited := time.Since(start); waited != 0 || most.Load() != 1 {
			t.Errorf("the honest waited %s, the greedy ran %d at once", waited, most.Load())
		}
		wait.Wait()
		if !l.idle() || l.free != plansAtOnce {
			t.Error("a turn is still taken")
		}
	})
}

// Who waits is served in the order of users, not of requests.
func TestTurnsGoRound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLimiter(1, time.Hour, time.Now)
		done, err := l.turn(t.Context(), newID())
		if err != nil {
			t.Fatal(err)
		}
		var mu sync.Mutex
		var served []string
		var wait sync.WaitGroup
		enter := func(name string, user uuid.UUID) {
			wait.Go(func() {
				if err := l.run(t.Context(), user, func(context.Context) error {
					mu.Lock()
					defer mu.Unlock()
					served = append(served, name)
					return nil
				}); err != nil {
					t.Error(err)
				}
			})
			synctest.Wait()
		}
		a, b, c := newID(), newID(), newID()
		enter("a1", a)
		enter("a2", a)
		enter("a3", a)
		enter("b1", b)
		enter("c1", c)
		enter("b2", b)
		done()
		wait.Wait()
		if diff := cmp.Diff([]string{"a1", "b1", "c1", "a2", "b2", "a3"}, served); diff != "" {
			t.Error(diff)
		}
	})
}

// Whoever has used least is served first, whoever waited longer, and the last place is kept for who
// has used little. Use is forgotten.
func TestTheLastPlaceIsForWhoUsedLittle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLimiter(2, time.Hour, time.Now)
		greedy, other, honest := newID(), newID(), newID()
		compute := func(user uuid.UUID, last time.Duration) (waited time.Duration) {
			asked := time.Now()
			if err := l.run(t.Context(), user, func(context.Context) error {
				waited = time.Since(asked)
				time.Sleep(last)
				return nil
			}); err != nil {
				t.Error(err)
			}
			return waited
		}
		compute(greedy, 12*time.Second)
		compute(other, 10*time.Second)
		var all sync.WaitGroup
		all.Go(func() { compute(greedy, 8*time.Second) })
		synctest.Wait()
		all.Go(func() {
			if waited := compute(other, time.Second); waited != 8*time.Second {
				t.Errorf("who used much waited %s for the last place, want until the other had ended", waited)
			}
		})
		synctest.Wait()
		if waited := compute(honest, time.Second); waited != 0 {
			t.Errorf("who used little waited %s", waited)
		}
		all.Wait()
		time.Sleep(time.Minute)
		all.Go(func() { compute(honest, time.Minute) })
		synctest.Wait()
		if waited := compute(greedy, 0); waited != 0 {
			t.Errorf("a minute later, who had used much still waited %s for the last place", waited)
		}
		all.Wait()
	})
}

// The queue has an end, a user's and that of all.
func TestTheQueueHasAnEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLimiter(1, time.Hour, time.Now)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		enter := func(user uuid.UUID) { go func() { _, _ = l.turn(ctx, user) }() }
		one := newID()
		for range 1 + waitingOfUser {
			enter(one)
		}
		synctest.Wait()
		_, err := l.turn(ctx, one)
		if known := wantCode(t, err, Unavailable); known.RetryAfter == 0 {
			t.Error("nobody says when to come back")
		}
		for range waitingInAll - waitingOfUser {
			enter(newID())
		}
		synctest.Wait()
		_, err = l.turn(ctx, newID())
		wantCode(t, err, Unavailable)
		if l.waiting != waitingInAll || len(l.users) != 1+waitingInAll-waitingOfUser {
			t.Errorf("%d wait, of %d users", l.waiting, len(l.users))
		}
		cancel()
		synctest.Wait()
		if l.waiting != 0 || len(l.order) != 0 {
			t.Errorf("%d wait after all have left", l.waiting)
		}
	})
}
