package line

import (
	"context"
	"sync"

	"laneward/service/background"
)

// spread does n pieces of work on all cores and returns the context's error when that ends before
// the work does. done counts the finished pieces and is never called twice at the same time.
func spread(ctx context.Context, n int, piece func(i int), done func(finished int)) error {
	var (
		wait           sync.WaitGroup
		mu             sync.Mutex
		next, finished int
	)
	take := func() (int, bool) {
		mu.Lock()
		defer mu.Unlock()
		if next >= n || ctx.Err() != nil {
			return 0, false
		}
		next++
		return next - 1, true
	}
	finish := func() {
		mu.Lock()
		defer mu.Unlock()
		finished++
		if done != nil {
			done(finished)
		}
	}
	work := func() {
		for i, more := take(); more; i, more = take() {
			piece(i)
			finish()
		}
	}
	for range min(n, background.Processors()) {
		wait.Go(func() { background.In(ctx, work) })
	}
	wait.Wait()
	if finished < n {
		return ctx.Err()
	}
	return nil
}
