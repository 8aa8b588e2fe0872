package service

import (
	"context"
	"sync"

	"github.com/google/uuid"
)

// writeQueues limit how many writers of one squad use the database at a time. There they would wait
// for each other anyway, by the lock of the squad's counter, each holding a connection that the
// readers and the other squads need.
type writeQueues struct {
	mu     sync.Mutex
	squads map[uuid.UUID]*writeQueue
}

// writeQueue is the queue of one squad, kept while a writer has a turn or waits for one.
type writeQueue struct {
	taken chan struct{}
	users int
}

// writersAtOnce is one that writes and one that has come as far as it can without the lock.
const writersAtOnce = 2

func newWriteQueues() *writeQueues { return &writeQueues{squads: make(map[uuid.UUID]*writeQueue)} }

// take waits for a turn of a squad; done gives it back. The error is ctx's.
func (q *writeQueues) take(ctx context.Context, squad uuid.UUID) (done func(), err error) {
	q.mu.Lock()
	one := q.squads[squad]
	if one == nil {
		one = &writeQueue{taken: make(chan struct{}, writersAtOnce)}
		q.squads[squad] = one
	}
	one.users++
	q.mu.Unlock()
	leave := func() {
		q.mu.Lock()
		defer q.mu.Unlock()
		if one.users--; one.users == 0 {
			delete(q.squads, squad)
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
