package service

import (
	"context"
	"time"
)

// Lines, miss maps and comparisons take all cores for a while, so few are computed at once, and
// none for ever.
const (
	computations = 2
	computeWait  = 10 * time.Second
	computeTime  = 20 * time.Second
)

// slots bound how many computations run at once, how long one waits for its turn, and how long it
// may take.
type slots struct {
	free        chan struct{}
	wait, limit time.Duration
}

func newSlots() *slots {
	return &slots{free: make(chan struct{}, computations), wait: computeWait, limit: computeTime}
}

// run does a computation when its turn has come. The context given to do ends with the caller's and
// with the limit. An error of do that says nothing else says what is wrong with what was asked.
func (s *slots) run(ctx context.Context, do func(ctx context.Context) error) error {
	turn := time.NewTimer(s.wait)
	defer turn.Stop()
	select {
	case s.free <- struct{}{}:
		defer func() { <-s.free }()
	case <-turn.C:
		return &Error{
			Code:       Unavailable,
			Detail:     "too many computations are running: try again shortly",
			RetryAfter: 5 * time.Second,
		}
	case <-ctx.Done():
		return stopped(ctx)
	}
	limited, cancel := context.WithTimeout(ctx, s.limit)
	defer cancel()
	err := do(limited)
	switch {
	case err == nil || AsError(err).Code != Internal:
		return err
	case ctx.Err() != nil:
		return stopped(ctx)
	case limited.Err() != nil:
		return &Error{
			Code:   Unavailable,
			Detail: "the computation took longer than " + s.limit.String() + ": ask for fewer draws, fewer lines or a smaller grid",
			cause:  err,
		}
	}
	return &Error{Code: Invalid, Detail: err.Error(), cause: err}
}

// stopped says that whoever asked no longer waits.
func stopped(ctx context.Context) error {
	return &Error{Code: Unavailable, Detail: "the computation was cancelled", cause: ctx.Err()}
}
