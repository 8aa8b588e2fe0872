package synctest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
)

// seen is what a reader has been given.
type seen struct {
	mu    sync.Mutex
	ids   map[string]int64 // the revision each record came with
	revs  []int64          // in the order they came
	fault error
}

func newSeen() *seen { return &seen{ids: make(map[string]int64)} }

// take keeps an item. One that comes again must be no older than it was.
func (s *seen) take(it item) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if it.Rev < s.ids[it.ID] {
		s.fault = errors.Join(
			s.fault,
			fmt.Errorf("%s %s came at revision %d after %d", it.Kind, it.ID, it.Rev, s.ids[it.ID]),
		)
	}
	s.ids[it.ID] = it.Rev
	s.revs = append(s.revs, it.Rev)
}

func (s *seen) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.ids)
}

// missing are the records that were acknowledged and that the reader was not given.
func (s *seen) missing(acknowledged []string) (ids []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, id := range acknowledged {
		if _, ok := s.ids[id]; !ok {
			ids = append(ids, id)
		}
	}
	return ids
}

// checkDense holds that new records came in the order of their revisions, each of which once from
// the first to the last.
func (s *seen) checkDense(t testing.TB, first, last int64) {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fault != nil {
		t.Error(s.fault)
	}
	for i, rev := range s.revs {
		if want := first + int64(i); rev != want {
			t.Fatalf("revision %d came where %d was to come", rev, want)
		}
	}
	if got := first + int64(len(s.revs)) - 1; got != last {
		t.Errorf("the reader got to revision %d, want %d", got, last)
	}
}

// poll follows a feed from a cursor without a pause until done is closed, and then to its end.
func (c *client) poll(ctx context.Context, squad, after string, limit int, done <-chan struct{}, into *seen) error {
	for last := false; ; {
		select {
		case <-done:
			last = true
		default:
		}
		for more := true; more; {
			got, err := c.feed(ctx, squad, after, limit)
			if err != nil {
				return err
			}
			for _, it := range got.Items {
				into.take(it)
			}
			after, more = got.Cursor, got.More
		}
		if last {
			return nil
		}
	}
}

// end is the cursor of a feed's end, and the squad's revision there.
func (c *client) end(t testing.TB, squad string) (cursor string, rev int64) {
	t.Helper()
	for {
		got, err := c.feed(t.Context(), squad, cursor, 1000)
		if err != nil {
			t.Fatal(err)
		}
		if cursor = got.Cursor; !got.More {
			return cursor, got.Rev
		}
	}
}
