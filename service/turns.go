package service

import (
	"context"
	"sync"

	"github.com/google/uuid"
)

// turns lets few writers of one squad at a time to the database. There they would wait for each
// other anyway, by the lock of the squad's counter, and each would hold a connection meanwhile that
// the readers and the other squads need.
type turns struct {
	mu     sync.Mutex
	squads map[uuid.UUID]*turn
}

// turn is the turns of one squad, as long as somebody has one or waits for one.
type turn struct {
	taken chan struct{}
	users int
}

// writersAtOnce is one that writes and one that has come as far as it can without the lock.
const writersAtOnce = 2

func newTurns() *turns { return &turns{squads: make(map[uuid.UUID]*turn)} }

// take waits for a turn of a squad; done gives it back. The error is ctx's.
func (t *turns) take(ctx context.Context, squad uuid.UUID) (done func(), err error) {
	t.mu.Lock()
	one := t.squads[squad]
	if one == nil {
		one = &turn{taken: make(chan struct{}, writersAtOnce)}
		t.squads[squad] = one
	}
	one.users++
	t.mu.Unlock()
	leave := func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if one.users--; one.users == 0 {
			delete(t.squads, squad)
		}
	}
	select {
	case one.taken <- struct{}{}:
		return func() { <-one.taken; leave() }, nil
	case <-ctx.Done():
		leave()
		return nil, ctx.Err()
	}
}
