package service

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// TailEvent is one item of a live tail. Cursor is where a reader that has this item goes on.
type TailEvent struct {
	Cursor string
	Rev    int64
	Data   []byte // the item as JSON
	added  bool   // it came into sight by another change, so its revision says nothing about whether it is known
}

// news are the events of a batch that a reader who has seen everything up to a revision has not.
func (b tailBatch) news(seen int64) []TailEvent {
	switch {
	case b.upto <= seen:
		return nil
	case b.after >= seen:
		return b.events
	}
	return slices.DeleteFunc(slices.Clone(b.events), func(e TailEvent) bool { return e.Rev <= seen && !e.added })
}

// tailKey names what several tails have in common: they see the same items.
type tailKey struct {
	squad  uuid.UUID
	scope  uint64
	span   span
	schema int
}

// broadcast reads a squad's feed once for all tails that see the same, and hands each batch to all
// of them.
type broadcast struct {
	who         member
	span        span
	schema      int
	head        head // of the history that it reads
	from        int64
	subscribers map[chan tailBatch]bool
}

// tailBatch is what one reading found. Members is true when a membership changed: each tail then
// looks whether it may still read. Lost is true when the history that was read has ended.
type tailBatch struct {
	events  []TailEvent
	after   int64
	upto    int64
	head    head
	members bool
	lost    bool
}

const (
	tailBuffer   = 64                   // batches a slow tail may lie behind before it is dropped
	tailGather   = 3 * time.Millisecond // waits for commits that follow at once, so that they go out together
	tailPageSize = 1_000
	// tailLife ends a tail, so that a stolen token does not read for ever; the reader comes back
	// with its cursor.
	tailLife = AccessTTL
)

// tails are the running broadcasts.
type tails struct {
	service *Service
	mu      sync.Mutex
	running map[tailKey]*broadcast
}

// Tail sends what changes in a squad after a cursor, first what has already changed, until ctx
// ends, the reader may no longer read, or send fails. idle is called when nothing has come for a
// while, to keep the connection alive. An error before the first send is returned, and a Gone when
// the history that was read has ended, as by a restore: begin again then. nil means that the tail
// ended and can be resumed at the last cursor, and [ErrTailAge] that it only has become old.
func (s *Service) Tail(
	ctx context.Context,
	user, squad uuid.UUID,
	query FeedQuery,
	every time.Duration,
	send func([]TailEvent) error,
	idle func() error,
) error {
	ctx, cancel := context.WithTimeoutCause(ctx, tailLife, ErrTailAge)
	defer cancel()
	var who member
	var place cursor
	err := s.readSquad(ctx, user, squad, func(w *work) (err error) {
		who = w.member
		place, err = s.feedPlace(ctx, w, query)
		return err
	})
	if err != nil {
		return err
	}
	batches, leave, err := s.tails.join(ctx, who, place.span, query.Schema)
	if err != nil {
		return err
	}
	defer leave()
	seen, err := s.catchUp(ctx, user, squad, query, send)
	if err != nil {
		return err
	}
	err = s.followBatches(ctx, who, batches, seen, every, send, idle)
	if err == nil && errors.Is(context.Cause(ctx), ErrTailAge) {
		return ErrTailAge
	}
	return err
}

// ErrTailAge: a live tail has lasted as long as one may.
var ErrTailAge = errors.New("the live tail is old: come back with its last cursor")

// standsAs reports whether the user is still a member and sees the same records as before.
func (s *Service) standsAs(ctx context.Context, who member) bool {
	same := false
	err := s.readSquad(ctx, who.user, who.squad, func(w *work) error {
		same = w.scope() == who.scope()
		return nil
	})
	return err == nil && same
}

// catchUp sends what there is already and returns the revision reached.
func (s *Service) catchUp(
	ctx context.Context,
	user, squad uuid.UUID,
	query FeedQuery,
	send func([]TailEvent) error,
) (int64, error) {
	query.Limit, query.WaitFor = tailPageSize, 0
	for {
		page, err := s.Feed(ctx, user, squad, query)
		if err != nil {
			return 0, err
		}
		events, err := eventsOf(page.Items)
		if err != nil {
			return 0, err
		}
		place, err := s.readCursor(page.Cursor)
		if err != nil {
			return 0, err
		}
		for i, reached := range resumptions(page.Items, place.rev) {
			at := place
			at.rev = reached
			events[i].Cursor = s.writeCursor(at)
		}
		// A cursor that moved without an item is sent as an event without one.
		if err := send(append(events, TailEvent{Cursor: page.Cursor, Rev: place.rev})); err != nil {
			return 0, err
		}
		query.After = page.Cursor
		if !page.More {
			return place.rev, nil
		}
	}
}

func eventsOf(items []Item) ([]TailEvent, error) {
	events := make([]TailEvent, len(items))
	for i := range items {
		data, err := items[i].AppendJSON(nil)
		if err != nil {
			return nil, err
		}
		events[i] = TailEvent{Rev: items[i].Rev, Data: data, added: items[i].Scope == ScopeAdded}
	}
	return events, nil
}

func (s *Service) followBatches(
	ctx context.Context,
	who member,
	batches <-chan tailBatch,
	seen int64,
	every time.Duration,
	send func([]TailEvent) error,
	idle func() error,
) error {
	quiet := time.NewTicker(every)
	defer quiet.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-quiet.C:
			if err := idle(); err != nil {
				return nil
			}
		case batch, open := <-batches:
			if !open {
				return nil // too slow: it comes back with its cursor and pulls
			}
			if batch.lost {
				return beginAgain(GoneRestored, "the server's data was restored")
			}
			if batch.members && !s.standsAs(ctx, who) {
				return nil // the answer to the next request says what to do
			}
			if news := batch.news(seen); len(news) > 0 {
				if err := send(news); err != nil {
					return nil
				}
				quiet.Reset(every)
			}
			seen = max(seen, batch.upto)
		}
	}
}

// join subscribes to the broadcast of what a member sees, and starts it when it is the first.
func (t *tails) join(
	ctx context.Context,
	who member,
	span span,
	schema int,
) (<-chan tailBatch, func(), error) {
	key := tailKey{who.squad, who.scope(), span, schema}
	t.mu.Lock()
	defer t.mu.Unlock()
	b := t.running[key]
	if b == nil {
		b = &broadcast{who: who, span: span, schema: schema, subscribers: make(map[chan tailBatch]bool)}
		err := t.service.db.ReadSquad(ctx, who.squad, func(tx *db.Tx) error {
			now, err := (&work{Tx: tx, member: who}).clock(ctx)
			b.head, b.from = now.head, now.rev
			return err
		})
		if err != nil {
			return nil, nil, err
		}
		t.running[key] = b
		t.service.jobs.Go(func() { t.run(key, b) })
	}
	batches := make(chan tailBatch, tailBuffer)
	b.subscribers[batches] = true
	return batches, func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		delete(b.subscribers, batches)
	}, nil
}

// run reads on whenever the squad is woken, until there are no readers or the service is closed. A
// database that is away is waited for.
func (t *tails) run(key tailKey, b *broadcast) {
	woken, done := t.service.live.follow(key.squad)
	defer done()
	check := time.NewTicker(time.Second)
	defer check.Stop()
	for {
		select {
		case <-woken:
			if t.service.pause(tailGather) {
				t.readOn(b)
			}
		case <-check.C:
		case <-t.service.running.Done():
			t.drop(b)
		}
		t.mu.Lock()
		if len(b.subscribers) == 0 {
			delete(t.running, key)
			t.mu.Unlock()
			return
		}
		t.mu.Unlock()
	}
}

const tailReadLimit = 10 * time.Second

// readOn reads what is new and hands it out.
func (t *tails) readOn(b *broadcast) {
	for more := true; more; {
		ctx, cancel := context.WithTimeout(t.service.running, tailReadLimit)
		batch, again, err := t.service.readBatch(ctx, b)
		cancel()
		if errors.Is(err, errRestored) {
			t.hand(b, tailBatch{lost: true})
			t.drop(b)
			return
		}
		if err != nil {
			if !t.service.pause(retryEvery) {
				return
			}
			t.service.log.Warn("a live tail cannot read", "squad", b.who.squad, "err", err)
			continue
		}
		more = again
		b.from, b.head = batch.upto, batch.head
		t.hand(b, batch)
	}
}

// hand gives a batch to every subscriber; one that lies too far behind is dropped and has to pull.
func (t *tails) hand(b *broadcast, batch tailBatch) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for subscriber := range b.subscribers {
		select {
		case subscriber <- batch:
		default:
			delete(b.subscribers, subscriber)
			close(subscriber)
		}
	}
}

// errRestored: the revisions are not those that the tails have counted to.
var errRestored = errors.New("the database was restored")

// drop ends all of a broadcast's tails; their readers come back, and after a restore learn to
// begin again.
func (t *tails) drop(b *broadcast) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for subscriber := range b.subscribers {
		delete(b.subscribers, subscriber)
		close(subscriber)
	}
}

// readBatch reads the items after a broadcast's place as the feed would, and writes their events.
func (s *Service) readBatch(ctx context.Context, b *broadcast) (batch tailBatch, more bool, err error) {
	err = s.db.ReadSquad(ctx, b.who.squad, func(tx *db.Tx) error {
		w := &work{Tx: tx, member: b.who, now: s.clock()}
		now, err := w.clock(ctx)
		if errors.Is(err, db.ErrNotFound) {
			return errRestored // the squad itself is gone
		}
		if err != nil {
			return err
		}
		if is, err := w.standingOf(ctx, now, b.head); err != nil || is != stands {
			return cmp.Or(err, errRestored)
		}
		place, err := s.feedPlace(ctx, w, FeedQuery{Schema: b.schema})
		if err != nil {
			return err
		}
		place.rev, place.span = b.from, b.span
		page, err := s.feedPage(ctx, w, place, tailPageSize)
		if err != nil {
			return err
		}
		more = page.More
		batch, err = s.batchOf(page, place)
		return err
	})
	return batch, more, err
}

func (s *Service) batchOf(page FeedPage, place cursor) (batch tailBatch, err error) {
	if batch.events, err = eventsOf(page.Items); err != nil {
		return batch, err
	}
	end, err := s.readCursor(page.Cursor)
	if err != nil {
		return batch, err
	}
	batch.after, batch.upto, batch.head = place.rev, end.rev, end.head
	place.head = end.head
	for i, reached := range resumptions(page.Items, end.rev) {
		place.rev = reached
		batch.events[i].Cursor = s.writeCursor(place)
		batch.members = batch.members || page.Items[i].Kind == record.KindMember
	}
	return batch, nil
}
