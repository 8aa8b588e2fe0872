package service

import (
	"cmp"
	"sync"
	"time"

	"github.com/google/uuid"
)

// Limits bound what is held open for readers who may be slow, or not read at all. Zero values take
// the defaults.
type Limits struct {
	Streams         int // live streams, in all
	StreamsOfUser   int
	Downloads       int // snapshots, feeds and exports that are being sent, in all
	DownloadsOfUser int
}

// The default limits: a stream takes 40 kB, a download some megabytes. A person has a few devices,
// each with a stream a squad.
const (
	defaultStreams         = 20_000
	defaultStreamsOfUser   = 64
	defaultDownloads       = 128
	defaultDownloadsOfUser = 6
)

// places bound how much of something is held open, in all and by one user.
type places struct {
	what          string
	inAll, ofUser int

	mu    sync.Mutex
	taken int
	users map[uuid.UUID]int
}

func newPlaces(what string, inAll, ofUser int) *places {
	return &places{what: what, inAll: inAll, ofUser: ofUser, users: make(map[uuid.UUID]int)}
}

func newStreams(l Limits) *places {
	return newPlaces("live streams", cmp.Or(l.Streams, defaultStreams), cmp.Or(l.StreamsOfUser, defaultStreamsOfUser))
}

func newDownloads(l Limits) *places {
	return newPlaces(
		"downloads", cmp.Or(l.Downloads, defaultDownloads), cmp.Or(l.DownloadsOfUser, defaultDownloadsOfUser),
	)
}

// take takes a place at once or not at all; done gives it back.
func (p *places) take(user uuid.UUID) (done func(), err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.users[user] >= p.ofUser:
		err = fail(Unavailable, "you have %d %s open, which is the most: end one, or wait until one has ended", p.ofUser, p.what)
	case p.taken >= p.inAll:
		err = fail(Unavailable, "the server has as many %s open as it can: try again later", p.what)
	}
	if err != nil {
		AsError(err).RetryAfter = 10 * time.Second
		return nil, err
	}
	p.taken++
	p.users[user]++
	return sync.OnceFunc(func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.taken--
		if p.users[user]--; p.users[user] == 0 {
			delete(p.users, user)
		}
	}), nil
}

// Stream takes one of a user's places for live streams. The error is Unavailable.
func (s *Service) Stream(user uuid.UUID) (done func(), err error) { return s.streams.take(user) }

// Download takes one of a user's places for large answers. The error is Unavailable.
func (s *Service) Download(user uuid.UUID) (done func(), err error) { return s.downloads.take(user) }
