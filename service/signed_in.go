package service

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/google/uuid"

	"laneward/db"
)

// signInTrust is how long a sign-in that was found to stand is taken to stand without asking the
// database again. One that is ended on this server is known to be ended at once; on another, by
// then.
const signInTrust = 5 * time.Second

// signInsKept is how many sign-ins are remembered before the old ones are dropped.
const signInsKept = 20_000

// signedIn remembers which sign-ins stand, and what runs for as long as they do.
type signedIn struct {
	mu      sync.Mutex
	found   map[uuid.UUID]found
	running map[uuid.UUID]map[*context.CancelFunc]struct{}
}

// found is whose a sign-in was when it was last looked up.
type found struct {
	user uuid.UUID
	at   time.Time
}

func newSignedIn() *signedIn {
	return &signedIn{
		found:   make(map[uuid.UUID]found),
		running: make(map[uuid.UUID]map[*context.CancelFunc]struct{}),
	}
}

func (s *signedIn) trusts(who Identity, now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	last, ok := s.found[who.SignIn]
	return ok && last.user == who.User && now.Sub(last.at).Abs() < signInTrust
}

func (s *signedIn) stands(who Identity, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.found) >= signInsKept {
		clear(s.found) // each is one query
	}
	s.found[who.SignIn] = found{who.User, now}
}

// end forgets sign-ins that have been ended, and cancels what runs for them.
func (s *signedIn) end(signIns ...uuid.UUID) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, one := range signIns {
		delete(s.found, one)
		for cancel := range s.running[one] {
			(*cancel)()
		}
	}
}

// WhileSignedIn returns a context that ends with ctx, and when the sign-in is ended on this server.
func (s *Service) WhileSignedIn(ctx context.Context, signIn uuid.UUID) (context.Context, context.CancelFunc) {
	during, cancel := context.WithCancel(ctx)
	list := s.signedIn
	list.mu.Lock()
	defer list.mu.Unlock()
	if list.running[signIn] == nil {
		list.running[signIn] = make(map[*context.CancelFunc]struct{})
	}
	list.running[signIn][&cancel] = struct{}{}
	return during, func() {
		cancel()
		list.mu.Lock()
		defer list.mu.Unlock()
		delete(list.running[signIn], &cancel)
		if len(list.running[signIn]) == 0 {
			delete(list.running, signIn)
		}
	}
}

var errEnded = fail(Unauthenticated, "this sign-in has been ended: sign in again")

// Authenticate returns whom an access token was issued for, while the sign-in stands.
func (s *Service) Authenticate(ctx context.Context, token string) (Identity, error) {
	now := s.now()
	who, err := s.checkToken(ctx, token)
	if err != nil || s.signedIn.trusts(who, now) {
		return who, err
	}
	var end db.SignInEndRow
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		end, err = tx.SignInEnd(ctx, db.SignInEndParams{ID: who.SignIn, UserID: who.User})
		return err
	})
	switch {
	case errors.Is(err, db.ErrNotFound), err == nil && end.RevokedAt != nil:
		return Identity{}, errEnded
	case err != nil:
		return Identity{}, err
	}
	s.signedIn.stands(who, now)
	return who, nil
}
