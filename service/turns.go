package service

import (
	"context"
	"sync"

	"github.com/google/uuid"
)

// turns limit how many work on one thing at a time, each thing by itself.
type turns[K comparable] struct {
	mu     sync.Mutex
	atOnce int
	queues map[K]*queue
}

// queue is that of one thing, kept while somebody has a turn or waits for one.
type queue struct {
	taken chan struct{}
	users int
}

// writersAtOnce is one that writes to a squad and one that has come as far as it can without the
// lock. In the database the writers of one squad would wait for each other anyway, by the lock of
// the squad's counter, each holding a connection that the readers and the other squads need.
const writersAtOnce = 2

func newWriteQueues() *turns[uuid.UUID] { return newTurns[uuid.UUID](writersAtOnce) }

func newTurns[K comparable](atOnce int) *turns[K] {
	return &turns[K]{atOnce: atOnce, queues: make(map[K]*queue)}
}

// take waits for a turn; done gives it back. The error is ctx's.
func (t *turns[K]) take(ctx context.Context, key K) (done func(), err error) {
	t.mu.Lock()
	one := t.queues[key]
	if one == nil {
		one = &queue{taken: make(chan struct{}, t.atOnce)}
		t.queues[key] = one
	}
	one.users++
	t.mu.Unlock()
	leave := func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if one.users--; one.users == 0 {
			delete(t.queues, key)
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
