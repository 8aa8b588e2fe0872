package local

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"time"

	"laneward/openapi/client"
)

// How a watch waits: after failures any time up to a bound that doubles ("full jitter"), and never
// a shorter time than the server asks for.
const (
	firstWait   = time.Second
	longestWait = time.Minute
	lookEvery   = time.Second // how often the queue is looked at, for what another process put there
	gather      = 200         // events that are written at once when they come together
)

// backoff is how long to wait after so many failures in a row.
func backoff(failures int) time.Duration {
	return rand.N(min(longestWait, firstWait<<min(failures, 10))) + time.Millisecond //nolint:gosec // no secret
}

// Watch keeps the copy and the server in step until ctx ends, which is not a failure: it sends what
// is queued, by whichever process, and follows the feed's live tail. report is called with what
// each pass did and with each failure and how long it will wait. Watch ends with a failure that
// waiting does not fix, such as a sign-in that has ended.
func (y *Sync) Watch(ctx context.Context, report func(Result, error, time.Duration)) error {
	for failures := 0; ; {
		var retry time.Duration
		result, err := y.Once(ctx)
		if err == nil {
			failures = 0
			report(result, nil, 0)
			retry, err = y.follow(ctx, report)
		}
		if ctx.Err() != nil {
			return nil //nolint:nilerr // it was to end
		}
		if Lasting(err) {
			return err
		}
		wait := retry + backoff(failures)
		failures++
		var told *client.Error
		if errors.As(err, &told) {
			wait = max(wait, told.RetryAfter)
		}
		if err != nil {
			report(Result{}, err, wait)
		}
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return nil
		}
	}
}

// Lasting reports whether only the person can end a failure.
func Lasting(err error) bool {
	switch client.CodeOf(err) {
	case client.SignedOut, client.Unauthenticated, client.Forbidden, client.NotFound, client.TooOld:
		return true
	case "":
		return err != nil // the disk is full, or the like
	}
	return false
}

// follow opens the live tail and stores what it brings until it ends. The next pass finds out why.
// retry is how long the server asks to wait then.
func (y *Sync) follow(ctx context.Context, report func(Result, error, time.Duration)) (retry time.Duration, err error) {
	at, err := y.Store.place(ctx, y.Squad)
	if err != nil {
		return 0, err
	}
	tail, err := y.Client.Live(ctx, y.Squad, at.cursor, at.head)
	if client.CodeOf(err) == client.Gone || client.CodeOf(err) == client.Invalid {
		return 0, nil // the next pull finds the same, and reads a snapshot
	}
	if err != nil {
		return 0, err
	}
	err = y.followTail(ctx, at, tail, report)
	return tail.Retry(), err
}

// followTail takes in what the tail brings, and sends what is queued.
func (y *Sync) followTail(
	ctx context.Context,
	at place,
	tail *client.Tail,
	report func(Result, error, time.Duration),
) error {
	from := make(chan heard, gather)
	go readTail(tail, from)
	defer func() {
		_ = tail.Close() // it only ends the reader
		for range from { // until it has
		}
	}()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		var result Result
		select {
		case first := <-from:
			events, ended := gathered(first, from)
			var err error
			if at, err = y.takeIn(ctx, at, events, &result); err != nil {
				return movedOn(err)
			}
			if errors.Is(ended, io.EOF) {
				return nil
			}
			if ended != nil {
				return ended
			}
		case <-look.C:
			n, err := y.Store.queued(ctx, y.Squad)
			if err != nil {
				return err
			}
			if n == 0 {
				continue
			}
			if err := y.push(ctx, &result); err != nil {
				return err
			}
		}
		if result != (Result{}) {
			report(result, nil, 0)
		}
	}
}

// movedOn makes it not a failure that another process has read on: the tail is resumed where that
// one got to.
func movedOn(err error) error {
	if errors.Is(err, errMoved) {
		return nil
	}
	return err
}

// heard is an event, or the error that ended the stream.
type heard struct {
	event client.Event
	err   error
}

// readTail passes on the tail's events until it ends.
func readTail(tail *client.Tail, to chan<- heard) {
	defer close(to)
	for {
		event, err := tail.Next()
		to <- heard{event, err}
		if err != nil {
			return
		}
	}
}

// gathered is the first event, with those that have arrived since.
func gathered(first heard, from <-chan heard) (events []client.Event, ended error) {
	for next := first; ; {
		if next.err != nil {
			return events, next.err
		}
		if events = append(events, next.event); len(events) >= gather {
			return events, nil
		}
		select {
		case next = <-from:
		default:
			return events, nil
		}
	}
}

// takeIn writes events and moves to the last one's place. What waits is sent again: its parent may
// have come.
func (y *Sync) takeIn(ctx context.Context, at place, events []client.Event, result *Result) (place, error) {
	if len(events) == 0 {
		return at, nil
	}
	next := place{cursor: events[len(events)-1].Cursor, copied: at.copied}
	var items []client.Item
	var rev int64
	for _, event := range events {
		if event.Item != nil {
			items = append(items, *event.Item)
			rev = max(rev, event.Item.Rev)
		}
	}
	received, err := y.Store.advance(
		ctx,
		y.Squad,
		at,
		next,
		items,
		atLeast(ctx, y.Squad, rev, y.Store.now().UnixMilli()),
	)
	if err != nil {
		return at, err
	}
	result.Received += received
	if received == 0 {
		return next, nil
	}
	return next, y.push(ctx, result)
}
