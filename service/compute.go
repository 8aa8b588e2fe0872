package service

import (
	"context"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"laneward/service/background"
)

// What is computed takes a core or all of them for a while, so only a few computations run at once,
// one a user, and users take turns. They run in the background: short requests, and the database
// beside them, come first.
const (
	plansAtOnce   = 2 // plans, comparisons, miss maps and worn films at once
	exportsAtOnce = 2 // exports read at once
	judgedAtOnce  = 4 // drills judged and lanes drawn at once
	checkedAtOnce = 2 // large bodies checked at once
	computeWait   = 10 * time.Second
	computeTime   = 20 * time.Second
	// The ends of the queue. A person at a page asks for a few things at once.
	waitingOfUser = 8
	waitingInAll  = 256
)

// limiter bounds how many computations run at once and how many wait, how long one waits for its
// turn, and how long it may take. A user has one turn at a time, and of those who wait the one is
// served next who has used least of late: one user's many requests hold up that user alone. The last
// free place is kept for who has used little, so that they need not wait for others to end.
type limiter struct {
	wait, limit time.Duration
	now         func() time.Time
	places      int

	mu      sync.Mutex
	free    int
	waiting int
	users   map[uuid.UUID]*userQueue
	order   []*userQueue // users who wait, those who came first or were served longest ago first
	used    map[uuid.UUID]use
}

// use is how long a user's turns have been, of late: what was used counts half after each usedHalf.
type use struct {
	seconds float64
	at      time.Time
}

const (
	usedHalf = 10 * time.Second
	usedMuch = 5.0    // seconds: who has a turn all the time comes to it in six
	usedKept = 10_000 // users whose use is remembered
)

// after is what is left of a use at a time.
func (u use) after(now time.Time) float64 {
	return u.seconds * math.Exp2(-now.Sub(u.at).Seconds()/usedHalf.Seconds())
}

// userQueue is one user's computations: at most one that runs, and those that wait.
type userQueue struct {
	user    uuid.UUID
	running bool
	began   time.Time       // of what runs
	waiting []chan struct{} // closed when the turn has come
}

func newLimiter(places int, patience time.Duration, now func() time.Time) *limiter {
	l := &limiter{
		wait:   computeWait,
		limit:  computeTime,
		now:    now,
		places: places,
		free:   places,
		users:  make(map[uuid.UUID]*userQueue),
		used:   make(map[uuid.UUID]use),
	}
	if patience > 0 {
		l.wait, l.limit = patience, patience
	}
	return l
}

// turn waits for a user's turn; done ends it. The error is Unavailable.
func (l *limiter) turn(ctx context.Context, user uuid.UUID) (done func(), err error) {
	come, err := l.enqueue(user)
	if err != nil {
		return nil, err
	}
	late := time.NewTimer(l.wait)
	defer late.Stop()
	select {
	case <-come:
		return sync.OnceFunc(func() { l.end(user) }), nil
	case <-late.C:
		err = tooMuchToCompute()
	case <-ctx.Done():
		err = stopped(ctx)
	}
	l.leave(user, come)
	return nil, err
}

func tooMuchToCompute() error {
	return &Error{
		Code:       Unavailable,
		Detail:     "too many computations are running: try again shortly",
		RetryAfter: 5 * time.Second,
	}
}

// enqueue puts a computation at the end of its user's queue.
func (l *limiter) enqueue(user uuid.UUID) (come chan struct{}, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	one := l.users[user]
	if one == nil {
		one = &userQueue{user: user}
		l.users[user] = one
	}
	if len(one.waiting) >= waitingOfUser || l.waiting >= waitingInAll {
		l.forget(one)
		return nil, tooMuchToCompute()
	}
	come = make(chan struct{})
	if one.waiting = append(one.waiting, come); len(one.waiting) == 1 {
		l.order = append(l.order, one)
	}
	l.waiting++
	l.serve()
	return come, nil
}

// serve gives the free places to the users who wait and have no turn, one each. One that is served
// goes to the end.
func (l *limiter) serve() {
	for l.free > 0 {
		now := l.now()
		next := l.next(now)
		if next < 0 {
			return
		}
		one := l.order[next]
		l.order = slices.Delete(l.order, next, next+1)
		close(one.waiting[0])
		one.waiting, one.running, one.began = one.waiting[1:], true, now
		l.free--
		l.waiting--
		if len(one.waiting) > 0 {
			l.order = append(l.order, one)
		}
	}
}

// next is the place in the order of the user to be served, or -1 for none.
func (l *limiter) next(now time.Time) int {
	next, least := -1, math.Inf(1)
	if l.free == 1 && l.places > 1 {
		least = usedMuch
	}
	for i, one := range l.order {
		if one.running {
			continue
		}
		if used := l.used[one.user].after(now); used < least {
			next, least = i, used
		}
	}
	return next
}

// charge adds a turn that ends to what its user has used.
func (l *limiter) charge(one *userQueue) {
	now := l.now()
	used := use{l.used[one.user].after(now) + now.Sub(one.began).Seconds(), now}
	if len(l.used) >= usedKept {
		maps.DeleteFunc(l.used, func(_ uuid.UUID, old use) bool { return old.after(now) < 1 })
	}
	l.used[one.user] = used
}

// end gives a turn back.
func (l *limiter) end(user uuid.UUID) {
	l.mu.Lock()
	defer l.mu.Unlock()
	one := l.users[user]
	l.charge(one)
	one.running = false
	l.free++
	l.forget(one)
	l.serve()
}

// leave takes a computation out of the queue, or ends its turn if that has come meanwhile.
func (l *limiter) leave(user uuid.UUID, come chan struct{}) {
	l.mu.Lock()
	one := l.users[user]
	at := slices.Index(one.waiting, come)
	if at < 0 {
		l.mu.Unlock()
		l.end(user)
		return
	}
	defer l.mu.Unlock()
	one.waiting = slices.Delete(one.waiting, at, at+1)
	l.waiting--
	if len(one.waiting) == 0 {
		l.order = slices.DeleteFunc(l.order, func(other *userQueue) bool { return other == one })
	}
	l.forget(one)
}

// forget drops a user who neither runs nor waits.
func (l *limiter) forget(one *userQueue) {
	if !one.running && len(one.waiting) == 0 {
		delete(l.users, one.user)
	}
}

// idle reports whether nothing runs and nothing waits.
func (l *limiter) idle() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.users) == 0
}

// run does a computation when its user's turn has come. The context given to do ends with the
// caller's and with the limit. Any other error of do says what is wrong with the request.
func (l *limiter) run(ctx context.Context, user uuid.UUID, do func(ctx context.Context) error) error {
	done, err := l.turn(ctx, user)
	if err != nil {
		return err
	}
	defer done()
	limited, cancel := context.WithTimeout(ctx, l.limit)
	defer cancel()
	err = do(background.With(limited))
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

// judge does what takes a core for a while, when its user's turn has come. No connection is held
// while it waits, and do must hold none while it computes.
func (s *Service) judge(ctx context.Context, user uuid.UUID, do func() error) error {
	return s.judges.background(ctx, user, do)
}

// Check does what a large body asks for before it is known to be valid, as [Service.judge] does.
func (s *Service) Check(ctx context.Context, user uuid.UUID, do func() error) error {
	return s.checks.background(ctx, user, do)
}

// background does something in the background when its user's turn has come. The error is
// Unavailable or that of do.
func (l *limiter) background(ctx context.Context, user uuid.UUID, do func() error) error {
	done, err := l.turn(ctx, user)
	if err != nil {
		return err
	}
	defer done()
	background.Run(func() { err = do() })
	return err
}

// Prepare readies the program for what is computed beside its short requests. It is called once,
// when a server starts.
func Prepare() {
	background.Prepare(judgedAtOnce + exportsAtOnce + checkedAtOnce + plansAtOnce*background.Processors())
}

// stopped is the answer when the client no longer waits.
func stopped(ctx context.Context) error {
	return &Error{Code: Unavailable, Detail: "the computation was cancelled", cause: ctx.Err()}
}
