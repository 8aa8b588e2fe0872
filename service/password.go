package service

import (
	"context"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"golang.org/x/crypto/argon2"
)

// argonParams are the costs of one hash.
type argonParams struct {
	memoryKiB uint32
	passes    uint32
	lanes     uint8
}

// passwordCost is the least the OWASP password storage cheat sheet recommends for Argon2id: 19 MiB,
// 2 passes, 1 lane. A stored hash of other costs is made anew at the next sign-in.
var passwordCost = argonParams{memoryKiB: 19 * 1024, passes: 2, lanes: 1}

const (
	saltLength = 16 // bytes; RFC 9106, section 4
	tagLength  = 32
)

// hashPassword returns the Argon2id hash of a password with a fresh salt, as a PHC string.
func (s *Service) hashPassword(ctx context.Context, password string) (string, error) {
	salt := make([]byte, saltLength)
	if _, err := io.ReadFull(s.random, salt); err != nil {
		return "", fmt.Errorf("make a salt: %w", err)
	}
	tag, err := s.argon(ctx, password, salt, passwordCost)
	if err != nil {
		return "", err
	}
	encode := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf(
		"$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s",
		argon2.Version,
		passwordCost.memoryKiB,
		passwordCost.passes,
		passwordCost.lanes,
		encode(salt),
		encode(tag),
	), nil
}

// hashQueue has places for few hashes at once, because each takes its memory, and a queue before
// them that has an end.
type hashQueue struct {
	places, queue chan struct{}
}

// The lengths of the queue of hashes: the last in it waits for about two seconds on a small machine.
const (
	hashPlaces = 4
	hashQueued = 32
)

func newHashQueue() *hashQueue {
	return &hashQueue{places: make(chan struct{}, hashPlaces), queue: make(chan struct{}, hashQueued)}
}

// take waits for a place; done gives it back. It fails with Unavailable when the queue is full, and
// with ctx's error.
func (q *hashQueue) take(ctx context.Context) (done func(), err error) {
	select {
	case q.queue <- struct{}{}:
		defer func() { <-q.queue }()
	default:
		return nil, &Error{
			Code:       Unavailable,
			Detail:     "many people are signing in at this moment: try again in a few seconds",
			RetryAfter: 3 * time.Second,
		}
	}
	select {
	case q.places <- struct{}{}:
		return func() { <-q.places }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (s *Service) argon(ctx context.Context, password string, salt []byte, cost argonParams) ([]byte, error) {
	done, err := s.hashes.take(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	return argon2.IDKey([]byte(password), salt, cost.passes, cost.memoryKiB, cost.lanes, tagLength), nil
}

// checkPassword reports whether the password is the hashed one, and whether the hash is of other
// costs than today's.
func (s *Service) checkPassword(ctx context.Context, hash, password string) (ok, outdated bool, err error) {
	cost, salt, tag, err := parseHash(hash)
	if err != nil {
		return false, false, err
	}
	got, err := s.argon(ctx, password, salt, cost)
	if err != nil {
		return false, false, err
	}
	return subtle.ConstantTimeCompare(got, tag) == 1, cost != passwordCost, nil
}

func parseHash(hash string) (cost argonParams, salt, tag []byte, err error) {
	bad := errors.New("the stored password hash cannot be read")
	parts := strings.Split(hash, "$")
	if len(parts) != 6 || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return cost, nil, nil, bad
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &cost.memoryKiB, &cost.passes, &cost.lanes); err != nil {
		return cost, nil, nil, bad
	}
	salt, errSalt := base64.RawStdEncoding.DecodeString(parts[4])
	tag, errTag := base64.RawStdEncoding.DecodeString(parts[5])
	if errSalt != nil || errTag != nil || len(tag) != tagLength || cost.passes == 0 || cost.lanes == 0 {
		return cost, nil, nil, bad
	}
	return cost, salt, tag, nil
}
