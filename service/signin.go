package service

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/db"
)

// Attempt is who wants to sign in, and where from.
type Attempt struct {
	Email, Password, Device string
	// Mark is what the device was given at an earlier sign-in, "" for none.
	Mark string
	From netip.Addr
}

// dummyHash is checked when the account is unknown, so that the answer takes as long.
const dummyHash = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"

var errSignIn = fail(Unauthenticated, "the address or the password is wrong")

// SignIn checks a password and signs the user in on a device.
func (s *Service) SignIn(ctx context.Context, attempt Attempt) (tokens Tokens, err error) {
	email := strings.ToLower(strings.TrimSpace(attempt.Email))
	now := s.clock()
	var user db.User
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		user, err = tx.UserByEmail(ctx, db.UserByEmailParams{Email: email})
		return err
	})
	known := err == nil
	if err != nil && !errors.Is(err, db.ErrNotFound) {
		return tokens, err
	}
	hash, mark := dummyHash, ""
	if known {
		hash, mark = user.PasswordHash, s.markFor(user.ID, attempt.Mark, now)
	}
	g := guessOf(email, attempt.From, mark)
	ok, outdated, err := s.tryPassword(ctx, g, hash, attempt.Password, now)
	if err != nil {
		return tokens, err
	}
	if !ok || !known {
		return tokens, errSignIn
	}
	newHash := ""
	if outdated {
		if newHash, err = s.hashPassword(ctx, attempt.Password); err != nil {
			return tokens, err
		}
	}
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		if newHash != "" {
			if err := tx.SetPasswordHash(
				ctx,
				db.SetPasswordHashParams{ID: user.ID, PasswordHash: newHash},
			); err != nil {
				return err
			}
		}
		if err := giveBack(ctx, tx, g); err != nil {
			return err
		}
		tokens, err = s.startFamily(ctx, tx, user.ID, attempt.Device, now)
		return err
	})
	return tokens, err
}

// tryPassword counts a guess and looks whether it is right. The guesses at one account are looked
// at one after the other; those of a device that the account knows have a turn of their own.
func (s *Service) tryPassword(
	ctx context.Context,
	g guess,
	hash, password string,
	now time.Time,
) (ok, outdated bool, err error) {
	if err := s.countGuess(ctx, g, now); err != nil {
		return false, false, err
	}
	defer func() {
		if err != nil { // it was not looked at
			err = errors.Join(err, s.uncount(context.WithoutCancel(ctx), g))
		}
	}()
	turn := g.own.subject
	if len(g.shared) > 0 {
		turn = g.shared[0].subject
	}
	done, err := s.guesses.take(ctx, turn)
	if err != nil {
		return false, false, err
	}
	defer done()
	return s.checkPassword(ctx, hash, password)
}

// A mark is the user, the day it was made, a random name and a MAC over the three. It proves that
// a device was signed in to the account, and nothing else: it opens nothing.
const (
	markTTL    = 400 * 24 * time.Hour
	markNameAt = 16 + 8
	markMACAt  = markNameAt + 16
	markLength = markMACAt + 16
)

// newMark makes a mark for a device that has just signed in.
func (s *Service) newMark(user uuid.UUID, now time.Time) (string, error) {
	mark := make([]byte, markMACAt, markLength)
	copy(mark, user[:])
	binary.BigEndian.PutUint64(mark[16:], uint64(now.Unix())) //nolint:gosec // long after 1970
	if _, err := io.ReadFull(s.random, mark[markNameAt:]); err != nil {
		return "", fmt.Errorf("make a device's mark: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(append(mark, s.markMAC(mark)...)), nil
}

func (s *Service) markMAC(mark []byte) []byte {
	mac := hmac.New(sha256.New, s.markKey)
	mac.Write(mark)
	return mac.Sum(nil)[:markLength-markMACAt]
}

// markFor returns the name of a device by its mark, or "" when the mark is not one of the user's.
func (s *Service) markFor(user uuid.UUID, text string, now time.Time) string {
	mark, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err != nil || len(mark) != markLength || !hmac.Equal(mark[markMACAt:], s.markMAC(mark[:markMACAt])) {
		return ""
	}
	made := time.Unix(int64(binary.BigEndian.Uint64(mark[16:])), 0) //nolint:gosec // as it was made
	if uuid.UUID(mark[:16]) != user || now.Sub(made) > markTTL {
		return ""
	}
	return hex.EncodeToString(mark[markNameAt:markMACAt])
}
