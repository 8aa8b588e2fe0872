package service

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// How long a sign-in lasts, and how long a spent refresh token may be sent again because its answer
// was lost.
const (
	refreshTTL   = 90 * 24 * time.Hour
	refreshGrace = 10 * time.Minute
)

// Tokens is what a sign-in returns.
type Tokens struct {
	User    uuid.UUID
	SignIn  uuid.UUID
	Access  string
	Refresh string
	// Mark is what a device shows at its next sign-in, so that others' guesses do not hold it up.
	Mark string
}

// NewUser is who signs up, and where the request comes from; the zero address is the machine's own.
type NewUser struct {
	Email, Name, Password, Device string
	From                          netip.Addr
}

// SignUp creates a user and signs them in. It fails with TooMany when too many have signed up from
// one network.
func (s *Service) SignUp(ctx context.Context, person NewUser) (tokens Tokens, err error) {
	email := strings.ToLower(strings.TrimSpace(person.Email))
	if detail := passwordFault(person.Password, email); detail != "" {
		return tokens, passwordError("/password", "guessable", detail)
	}
	if found := record.NameFaults(strings.TrimSpace(person.Name)); len(found) > 0 {
		return tokens, InvalidError(found)
	}
	now := s.clock()
	if person.From.IsValid() {
		if err := s.count(ctx, now, "sign-ups from your network", signUpCounter(person.From)); err != nil {
			return tokens, err
		}
	}
	hash, err := s.hashPassword(ctx, person.Password)
	if err != nil {
		return tokens, err
	}
	user := db.AddUserParams{
		ID:           newID(),
		Email:        email,
		Name:         strings.TrimSpace(person.Name),
		PasswordHash: hash,
		CreatedAt:    now,
	}
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		if err := tx.AddUser(ctx, user); err != nil {
			return emailTaken(err)
		}
		tokens, err = s.startFamily(ctx, tx, user.ID, person.Device, now)
		return err
	})
	return tokens, err
}

func emailTaken(err error) error {
	err = db.Translate(err)
	var constraint *db.ConstraintError
	if errors.As(err, &constraint) && constraint.Constraint == "users_email_key" {
		return fail(Conflict, "this address has signed up already: sign in instead")
	}
	return err
}

// startFamily signs a user in on a device.
func (s *Service) startFamily(
	ctx context.Context,
	tx *db.Tx,
	user uuid.UUID,
	device string,
	now time.Time,
) (Tokens, error) {
	family := db.AddRefreshFamilyParams{
		ID:        newID(),
		UserID:    user,
		Device:    device,
		CreatedAt: now,
		ExpiresAt: now.Add(refreshTTL),
	}
	if err := tx.AddRefreshFamily(ctx, family); err != nil {
		return Tokens{}, err
	}
	first := make([]byte, 32)
	if _, err := io.ReadFull(s.random, first); err != nil {
		return Tokens{}, fmt.Errorf("make a refresh token: %w", err)
	}
	return s.issue(ctx, tx, user, family.ID, first, now)
}

// issue stores a refresh token's hash and returns the token with a fresh access token.
func (s *Service) issue(
	ctx context.Context,
	tx *db.Tx,
	user, family uuid.UUID,
	refresh []byte,
	now time.Time,
) (Tokens, error) {
	seed := make([]byte, 32)
	if _, err := io.ReadFull(s.random, seed); err != nil {
		return Tokens{}, fmt.Errorf("make a refresh token: %w", err)
	}
	row := db.AddRefreshTokenParams{Hash: tokenHash(refresh), FamilyID: family, NextSeed: seed, IssuedAt: now}
	if err := tx.AddRefreshToken(ctx, row); err != nil {
		return Tokens{}, err
	}
	return s.tokens(user, family, refresh, now)
}

func (s *Service) tokens(user, family uuid.UUID, refresh []byte, now time.Time) (Tokens, error) {
	access, err := s.keys.sign(Identity{User: user, SignIn: family}, now)
	if err != nil {
		return Tokens{}, err
	}
	mark, err := s.newMark(user, now)
	if err != nil {
		return Tokens{}, err
	}
	refreshed := base64.RawURLEncoding.EncodeToString(refresh)
	return Tokens{User: user, SignIn: family, Access: access, Refresh: refreshed, Mark: mark}, nil
}

func tokenHash(token []byte) []byte {
	sum := sha256.Sum256(token)
	return sum[:]
}

// successor is the token that follows another. A client that lost the answer sends the same token
// again and gets the same successor.
func successor(token, seed []byte) []byte {
	mac := hmac.New(sha256.New, seed)
	mac.Write(token)
	return mac.Sum(nil)
}

var errRefresh = fail(
	Unauthenticated,
	"the refresh token is not valid any more: sign in again; what you have not sent yet stays on your device",
)

// Refresh trades a refresh token for new tokens. A spent token returns its unspent successor again
// for ten minutes on the same device; any other use ends the sign-in, because the token has been
// copied.
func (s *Service) Refresh(ctx context.Context, refresh, device string) (tokens Tokens, err error) {
	token, err := base64.RawURLEncoding.Strict().DecodeString(refresh)
	if err != nil {
		return tokens, errRefresh
	}
	now := s.clock()
	refused, family := false, uuid.Nil
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		refused = false
		row, err := tx.LockRefreshToken(ctx, db.LockRefreshTokenParams{Hash: tokenHash(token)})
		if err != nil {
			return notFoundAs(err, errRefresh.Detail)
		}
		family = row.FamilyID
		// Its state is read under the family's lock: a parallel use may have spent it meanwhile.
		state, err := tx.RefreshToken(ctx, db.RefreshTokenParams{Hash: row.Hash})
		if err != nil {
			return err
		}
		next := successor(token, row.NextSeed)
		switch {
		case row.RevokedAt != nil || now.After(row.ExpiresAt):
			refused = true
			return nil
		case state.SpentAt == nil:
			if err := tx.SpendRefreshToken(ctx, db.SpendRefreshTokenParams{Hash: row.Hash, SpentAt: &now}); err != nil {
				return err
			}
			if err := tx.UseRefreshFamily(ctx, db.UseRefreshFamilyParams{ID: row.FamilyID, UsedAt: &now}); err != nil {
				return err
			}
			tokens, err = s.issue(ctx, tx, row.UserID, row.FamilyID, next, now)
			return err
		case device == row.Device && now.Sub(*state.SpentAt) <= refreshGrace:
			after, err := tx.RefreshToken(ctx, db.RefreshTokenParams{Hash: tokenHash(next)})
			if err != nil {
				return err
			}
			if after.SpentAt == nil {
				tokens, err = s.tokens(row.UserID, row.FamilyID, next, now)
				return err
			}
		}
		refused = true
		return tx.RevokeRefreshFamily(ctx, db.RevokeRefreshFamilyParams{ID: row.FamilyID, RevokedAt: &now})
	})
	if err == nil && refused {
		s.signedIn.end(family)
		err = errRefresh
	}
	if err != nil && AsError(err).Code == NotFound {
		err = errRefresh
	}
	return tokens, err
}

// SignOut ends the sign-in that a refresh token belongs to. An unknown token is not an error: it is
// signed out already.
func (s *Service) SignOut(ctx context.Context, refresh string) error {
	token, err := base64.RawURLEncoding.Strict().DecodeString(refresh)
	if err != nil {
		return nil //nolint:nilerr // such a token signs no user in
	}
	now, ended := s.clock(), uuid.Nil
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		family, err := tx.RefreshFamilyOf(ctx, db.RefreshFamilyOfParams{Hash: tokenHash(token)})
		if err = db.Translate(err); errors.Is(err, db.ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		ended = family.ID
		return tx.RevokeRefreshFamily(ctx, db.RevokeRefreshFamilyParams{ID: family.ID, RevokedAt: &now})
	})
	if err == nil {
		s.signedIn.end(ended)
	}
	return err
}

// Person is a user and the squads they are in.
type Person struct {
	ID     uuid.UUID
	Email  string
	Name   string
	Squads []OwnSquad
}

// OwnSquad is a squad as one of its members sees it.
type OwnSquad struct {
	ID      uuid.UUID
	Name    string
	Role    record.Role
	Athlete *uuid.UUID
}

// Me returns who the user is, and in which squads.
func (s *Service) Me(ctx context.Context, user uuid.UUID) (me Person, err error) {
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		row, err := tx.UserByID(ctx, db.UserByIDParams{ID: user})
		if err != nil {
			return notFoundAs(err, "your account is gone: sign up again")
		}
		squads, err := tx.SquadsOf(ctx, db.SquadsOfParams{UserID: user})
		if err != nil {
			return err
		}
		me = Person{ID: row.ID, Email: row.Email, Name: row.Name, Squads: make([]OwnSquad, len(squads))}
		for i, squad := range squads {
			me.Squads[i] = OwnSquad{ID: squad.SquadID, Name: squad.Name, Role: record.Role(squad.Role)}
			if squad.AthleteID != uuid.Nil {
				me.Squads[i].Athlete = &squad.AthleteID
			}
		}
		return nil
	})
	return me, err
}
