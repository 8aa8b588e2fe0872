package service

import (
	"context"
	"time"
)

// Lines, miss maps and comparisons take all cores for a while, so only a few are computed at once,
// each within a time limit.
const (
	computations = 2
	computeWait  = 10 * time.Second
	computeTime  = 20 * time.Second
)

// limiter bounds how many computations run at once, how long one waits for its turn, and how long
// it may take.
type limiter struct {
	free        chan struct{}
	wait, limit time.Duration
}

func newLimiter(patience time.Duration) *limiter {
	l := &limiter{free: make(chan struct{}, computations), wait: computeWait, limit: computeTime}
	if patience > 0 {
		l.wait, l.limit = patience, patience
	}
	return l
}

// run does a computation when its turn has come. The context given to do ends with the caller's and
// with the limit. Any other error of do says what is wrong with the request.
func (l *limiter) run(ctx context.Context, do func(ctx context.Context) error) error {
	turn := time.NewTimer(l.wait)
	defer turn.Stop()
	select {
	case l.free <- struct{}{}:
		defer func() { <-l.free }()
	case <-turn.C:
		return &Error{
			Code:       Unavailable,
			Detail:     "too many computations are running: try again shortly",
			RetryAfter: 5 * time.Second,
		}
	case <-ctx.Done():
		return stopped(ctx)
	}
	limited, cancel := context.WithTimeout(ctx, l.limit)
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
			Detail: "the computation took longer than " + l.limit.String() + ": ask for fewer draws, fewer lines or a smaller grid",
			cause:  err,
		}
	}
	return &Error{Code: Invalid, Detail: err.Error(), cause: err}
}

// stopped is the answer when the client no longer waits.
func stopped(ctx context.Context) error {
	return &Error{Code: Unavailable, Detail: "the computation was cancelled", cause: ctx.Err()}
}
