package service

import (
	"context"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"laneward/db"
)

// live wakes the followers of a squad when it has changed: at once for writes of this process, and
// by a cheap poll for those of others. It never asks the database to notify inside
// a write, which would serialise all commits.
type live struct {
	service *Service
	mu      sync.Mutex
	squads  map[uuid.UUID]*followed
	polling bool
}

// followed is one squad that has followers.
type followed struct {
	head      head // as far as is known; it goes back when a backup is restored
	followers map[chan struct{}]bool
}

const (
	// pollEvery is how often is looked for what other processes wrote.
	pollEvery = 40 * time.Millisecond
	// sweepTurns is after how many of these the counter of each followed squad is read.
	sweepTurns = 50
	pollLimit  = 2 * time.Second
	// retryEvery is how long a database that does not answer is left alone.
	retryEvery = 200 * time.Millisecond
)

func newLive(s *Service) *live { return &live{service: s, squads: make(map[uuid.UUID]*followed)} }

// follow returns a channel that receives something at once, for what was written before, and soon
// after each change of the squad, and what ends it. Changes that come while the follower is busy are
// one.
func (l *live) follow(squad uuid.UUID) (woken <-chan struct{}, done func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	f := l.squads[squad]
	if f == nil {
		f = &followed{followers: make(map[chan struct{}]bool)}
		l.squads[squad] = f
	}
	wake := make(chan struct{}, 1)
	wake <- struct{}{}
	f.followers[wake] = true
	if !l.polling {
		l.polling = true
		l.service.jobs.Go(l.poll)
	}
	return wake, func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		delete(f.followers, wake)
		if len(f.followers) == 0 && l.squads[squad] == f {
			delete(l.squads, squad)
		}
	}
}

// wake notifies the followers of a squad of its head, when that is another one than before.
func (l *live) wake(squad uuid.UUID, now head) {
	l.mu.Lock()
	defer l.mu.Unlock()
	f := l.squads[squad]
	if f == nil || now == f.head {
		return
	}
	f.head = now
	for follower := range f.followers {
		select {
		case follower <- struct{}{}:
		default: // it has not looked since it was woken last
		}
	}
}

// followedSquads lists the squads that have followers; with none it ends the polling.
func (l *live) followedSquads() []uuid.UUID {
	l.mu.Lock()
	defer l.mu.Unlock()
	squads := make([]uuid.UUID, 0, len(l.squads))
	for squad := range l.squads {
		squads = append(squads, squad)
	}
	l.polling = len(squads) > 0
	return squads
}

// poll looks for what other processes have written, until there are no followers or the service is
// closed. It goes on while the database is away: followers find the changes when it is back.
//
// One question for all squads, whose cost does not grow with those that are followed, is asked at
// each turn: with 10,000 squads it takes 0.3 ms while nothing is written and 1.3 ms otherwise, where
// reading each one's counter takes 44 ms. LISTEN would need a session of its own, which a pooler
// does not give, and a sender that can die between a commit and its notice. The question rests on
// the transaction numbers of one database server; where these do not hold (a distributed Postgres,
// another server after a failure), the sweep over the followed squads' own counters still finds
// everything, only later.
func (l *live) poll() {
	var since int64
	for turn := 0; l.service.pause(pollEvery); turn++ {
		squads := l.followedSquads()
		if len(squads) == 0 {
			return
		}
		ctx, cancel := context.WithTimeout(l.service.running, pollLimit)
		err := l.service.db.Global(ctx, func(tx *db.Tx) error {
			news, err := tx.ClocksSince(ctx, db.ClocksSinceParams{Since: since})
			if err != nil {
				return err
			}
			since = news.Upto
			if turn%sweepTurns != 0 {
				changed := make(map[uuid.UUID]bool, len(news.SquadIDs))
				for _, squad := range news.SquadIDs {
					changed[squad] = true
				}
				squads = slices.DeleteFunc(squads, func(s uuid.UUID) bool { return !changed[s] })
			}
			if len(squads) == 0 {
				return nil
			}
			found, err := tx.HeadsOf(ctx, db.HeadsOfParams{SquadIDs: squads})
			if err != nil {
				return err
			}
			heads := make(map[uuid.UUID]head, len(found))
			for _, row := range found {
				heads[row.SquadID] = headOf(row.Rev, row.Head)
			}
			for _, squad := range squads {
				l.wake(squad, heads[squad]) // one that a restore has lost has none
			}
			return nil
		})
		cancel()
		if err != nil && l.service.running.Err() == nil {
			turn = -1 // what was written meanwhile is found by a sweep
			l.service.log.Warn("the counters cannot be read", "err", err)
			l.service.pause(retryEvery)
		}
	}
}
