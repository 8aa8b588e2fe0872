package service

import (
	"context"
	"crypto/ed25519"
	"errors"
	"sync"
	"time"

	"laneward/db"
)

// Several servers may serve one database. Each signs access tokens by keys of its own file, whose
// private halves the database never holds: whoever has only a copy of it can sign nobody in. Their
// public halves are there, by which the others check. What all of them have to sign alike, such as
// cursors, they sign by secrets that the first one has stored. Throttles count in the database and
// so for all; what a server is doing just now it bounds for itself.
const (
	// shareEvery is how often a server says that it still has its keys, and reads those of others.
	shareEvery = time.Minute
	// keyTrust is how long a key is trusted after its server was last heard of. A token lives for
	// less; a key that is taken out of its file is refused by then.
	keyTrust = time.Hour
	// keyLookUps is how many unknown keys are looked up a second: anybody can name one.
	keyLookUps = 20
)

var errUnknownKey = errors.New("unknown key")

// public returns the key of a name for checking at a time; nil when there is none.
func (k *Keys) public(id string, now time.Time) ed25519.PublicKey {
	if own, ok := k.all[id]; ok {
		return own.public()
	}
	k.mu.RLock()
	defer k.mu.RUnlock()
	if other, ok := k.others[id]; ok && now.Sub(other.seenAt) < keyTrust {
		return other.public
	}
	return nil
}

// lookUps bounds the look-ups of unknown keys.
type lookUps struct {
	mu     sync.Mutex
	second int64 // the second that is counted
	count  int
}

func (l *lookUps) allow(now time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if second := now.Unix(); second != l.second {
		l.second, l.count = second, 0
	}
	l.count++
	return l.count <= keyLookUps
}

// Share makes this server one of those on its database: they take each other's access tokens and
// cursors from then on. Call it once, before the first request.
func (s *Service) Share(ctx context.Context) error {
	err := s.db.Global(ctx, func(tx *db.Tx) error {
		for purpose, secret := range map[string]*[]byte{"cursors": &s.cursorKey, "devices": &s.markKey} {
			if err := tx.OfferSecret(ctx, db.OfferSecretParams{Purpose: purpose, Secret: *secret}); err != nil {
				return err
			}
			first, err := tx.SharedSecret(ctx, db.SharedSecretParams{Purpose: purpose})
			if err != nil {
				return err
			}
			*secret = first
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := s.shareKeys(ctx); err != nil {
		return err
	}
	s.jobs.Go(s.keepSharing)
	return nil
}

func (s *Service) keepSharing() {
	for s.pause(shareEvery) {
		if err := s.shareKeys(s.running); err != nil && s.running.Err() == nil {
			s.log.Warn("the keys of other servers cannot be read", "err", err)
		}
	}
}

// shareKeys publishes this server's keys and learns those of others.
func (s *Service) shareKeys(ctx context.Context) error {
	now := s.clock()
	return s.db.Global(ctx, func(tx *db.Tx) error {
		for _, id := range s.keys.order {
			key := db.PublishKeyParams{ID: id, PublicKey: s.keys.all[id].public(), SeenAt: now}
			if err := tx.PublishKey(ctx, key); err != nil {
				return err
			}
		}
		if err := tx.ForgetServerKeys(ctx, db.ForgetServerKeysParams{Before: now.Add(-24 * time.Hour)}); err != nil {
			return err
		}
		return s.learnKeys(ctx, tx, now)
	})
}

// learnKeys reads the keys of the servers that have been heard of lately, and drops the others.
func (s *Service) learnKeys(ctx context.Context, tx *db.Tx, now time.Time) error {
	rows, err := tx.ServerKeys(ctx, db.ServerKeysParams{After: now.Add(-keyTrust)})
	if err != nil {
		return err
	}
	others := make(map[string]otherKey, len(rows))
	for _, row := range rows {
		public := ed25519.PublicKey(row.PublicKey)
		if _, own := s.keys.all[row.ID]; !own && row.ID == keyID(public) {
			others[row.ID] = otherKey{public, row.SeenAt}
		}
	}
	s.keys.mu.Lock()
	defer s.keys.mu.Unlock()
	s.keys.others = others
	return nil
}

// checkToken checks an access token, and looks for its key in the database when it is not known: a
// server that has just started, or changed its key, signs by it at once.
func (s *Service) checkToken(ctx context.Context, token string) (Identity, error) {
	now := s.now()
	who, err := s.keys.check(token, now)
	if !errors.Is(err, errUnknownKey) || !s.lookUps.allow(now) {
		return who, err
	}
	if err := s.db.Global(ctx, func(tx *db.Tx) error { return s.learnKeys(ctx, tx, now) }); err != nil {
		return Identity{}, err
	}
	return s.keys.check(token, now)
}
