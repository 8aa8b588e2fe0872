package service

import (
	"context"
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

// Codes. A code for one use is 160 bits, a recovery code 120: too many to guess, so that a plain
// hash keeps them safe (OWASP ASVS 5.0.0, 6.5.2, asks for a password's hash under 112 bits).
const (
	codeBytes         = 20
	recoveryCodeBytes = 15
	recoveryCodes     = 10
	resetTTL          = invitationTTL
)

// newCode makes a code of so many random bytes.
func (s *Service) newCode(size int) (string, error) {
	raw := make([]byte, size)
	if _, err := io.ReadFull(s.random, raw); err != nil {
		return "", fmt.Errorf("make a code: %w", err)
	}
	return codeEncoding.EncodeToString(raw), nil
}

// codeHash is the hash of a code as somebody typed it.
func codeHash(code string) []byte {
	return tokenHash([]byte(strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(code))))
}

// ResetCode is a code with which a user sets a new password, once. It is known only in the answer
// that makes it.
type ResetCode struct {
	Code      string
	ExpiresAt time.Time
}

// MakeResetCode makes a code for a member who cannot sign in, as a coach. Whoever has the code can
// take the account over, so it is refused for members who are in another squad too, where the coach
// has no say, and for the coach's own account, whose password is changed with the current one.
func (s *Service) MakeResetCode(ctx context.Context, user, squad, id uuid.UUID) (made ResetCode, err error) {
	code, err := s.newCode(codeBytes)
	if err != nil {
		return made, err
	}
	err = s.inSquad(ctx, user, squad, func(w *work) error {
		if err := w.mustCoach(); err != nil {
			return err
		}
		found, err := w.get(ctx, record.KindMember, id)
		if err != nil {
			return err
		}
		whose := found.(*record.Member).UserID
		if whose == user {
			return fail(Conflict, "this is your own account: change its password, or use one of your recovery codes")
		}
		squads, err := w.SquadsOf(ctx, db.SquadsOfParams{UserID: whose})
		if err != nil {
			return err
		}
		if len(squads) != 1 {
			return fail(
				Conflict,
				"this squad alone cannot reset this member’s account: they can use a recovery code of their own, or ask whoever runs the server",
			)
		}
		row := db.AddResetCodeParams{
			Hash:      codeHash(code),
			UserID:    whose,
			ForSquad:  &squad,
			MadeBy:    user,
			CreatedAt: w.now,
			ExpiresAt: w.now.Add(resetTTL),
		}
		made = ResetCode{code, row.ExpiresAt}
		if err := w.replaceResetCode(ctx, row); err != nil {
			return err
		}
		return w.audit(ctx, ActionResetCode, whose, "")
	})
	return made, err
}

// replaceResetCode stores a code in place of an earlier one that was not used.
func (w *work) replaceResetCode(ctx context.Context, row db.AddResetCodeParams) error {
	if err := w.DeleteResetCodes(ctx, db.DeleteResetCodesParams{UserID: row.UserID}); err != nil {
		return err
	}
	return w.AddResetCode(ctx, row)
}

// MakeOperatorsResetCode makes a code for any user, for whoever runs the server.
func (s *Service) MakeOperatorsResetCode(ctx context.Context, email string) (made ResetCode, err error) {
	code, err := s.newCode(codeBytes)
	if err != nil {
		return made, err
	}
	now := s.clock()
	row := db.AddResetCodeParams{Hash: codeHash(code), MadeBy: uuid.Nil, CreatedAt: now, ExpiresAt: now.Add(resetTTL)}
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		user, err := tx.UserByEmail(ctx, db.UserByEmailParams{Email: strings.ToLower(strings.TrimSpace(email))})
		if err != nil {
			return notFoundAs(err, fmt.Sprintf("nobody has signed up as %q", email))
		}
		row.UserID = user.ID
		return (&work{Tx: tx}).replaceResetCode(ctx, row)
	})
	if err != nil {
		return made, err
	}
	squads, err := s.squadsOf(ctx, row.UserID)
	if err != nil {
		return made, err
	}
	s.auditAccount(ctx, squads, uuid.Nil, row.UserID, ActionResetCode, "")
	return ResetCode{code, row.ExpiresAt}, nil
}

// Reset is a request to set a new password with a code.
type Reset struct {
	Email, Code, NewPassword, Device string
	From                             netip.Addr
}

var errResetCode = fail(
	NotFound,
	"the code is wrong, used or too old, or it is another account’s: check the address, or get a new code",
)

// ResetPassword sets a new password with a code of a coach, of whoever runs the server, or one of
// the user's own recovery codes; it ends every sign-in and signs in on the device. A code of somebody
// else's also removes the account's passkeys and recovery codes: they may be in the wrong hands.
func (s *Service) ResetPassword(ctx context.Context, reset Reset) (tokens Tokens, err error) {
	email := strings.ToLower(strings.TrimSpace(reset.Email))
	if detail := passwordFault(reset.NewPassword, email); detail != "" {
		return tokens, passwordError("/new_password", "guessable", detail)
	}
	now := s.clock()
	g := guessOf("reset:"+email, reset.From, "")
	if err := s.countGuess(ctx, g, now); err != nil {
		return tokens, err
	}
	hash, err := s.hashPassword(ctx, reset.NewPassword)
	if err != nil {
		return tokens, errors.Join(err, s.uncount(context.WithoutCancel(ctx), g))
	}
	var how string
	var ended []uuid.UUID
	var squads []db.SquadsOfRow
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		user, err := tx.UserByEmail(ctx, db.UserByEmailParams{Email: email})
		if err != nil {
			return notFoundAs(err, errResetCode.Detail)
		}
		if squads, err = tx.SquadsOf(ctx, db.SquadsOfParams{UserID: user.ID}); err != nil {
			return err
		}
		if how, err = useCode(ctx, tx, user.ID, codeHash(reset.Code), squads, now); err != nil {
			return err
		}
		if ended, err = tx.EndSignIns(ctx, db.EndSignInsParams{EndedAt: &now, UserID: user.ID}); err != nil {
			return err
		}
		if err := tx.SetPasswordHash(ctx, db.SetPasswordHashParams{ID: user.ID, PasswordHash: hash}); err != nil {
			return err
		}
		if err := tx.DeleteResetCodes(ctx, db.DeleteResetCodesParams{UserID: user.ID}); err != nil {
			return err
		}
		if err := giveBack(ctx, tx, g); err != nil {
			return err
		}
		tokens, err = s.startFamily(ctx, tx, user.ID, reset.Device, now)
		return err
	})
	if err != nil {
		return Tokens{}, err
	}
	s.signedIn.end(ended...)
	s.auditAccount(ctx, squads, tokens.User, tokens.User, ActionPasswordReset, how)
	return tokens, nil
}

// useCode spends a code and returns whose it was. One of a coach works for as long as the user is in
// that squad and in no other.
func useCode(
	ctx context.Context,
	tx *db.Tx,
	user uuid.UUID,
	hash []byte,
	squads []db.SquadsOfRow,
	now time.Time,
) (how string, err error) {
	own, err := tx.UseRecoveryCode(ctx, db.UseRecoveryCodeParams{Hash: hash, UserID: user, Now: &now})
	if err != nil {
		return "", err
	}
	if own == 1 {
		return "with a recovery code", nil
	}
	code, err := tx.UseResetCode(ctx, db.UseResetCodeParams{Hash: hash, UserID: user, Now: &now})
	if err != nil {
		return "", notFoundAs(err, errResetCode.Detail)
	}
	how = "with a code of whoever runs the server"
	if code.ForSquad != nil {
		how = "with a coach's code"
		if len(squads) != 1 || squads[0].SquadID != *code.ForSquad {
			return "", errResetCode
		}
	}
	if err := tx.DeletePasskeys(ctx, db.DeletePasskeysParams{UserID: user}); err != nil {
		return "", err
	}
	return how, tx.DeleteRecoveryCodes(ctx, db.DeleteRecoveryCodesParams{UserID: user})
}

// MakeRecoveryCodes makes a user's recovery codes, in place of earlier ones. They are known only in
// this answer.
func (s *Service) MakeRecoveryCodes(ctx context.Context, id uuid.UUID, password string) (codes []string, err error) {
	user, err := s.account(ctx, id)
	if err != nil {
		return nil, err
	}
	now := s.clock()
	if err := s.confirm(ctx, user, password, "/password", now); err != nil {
		return nil, err
	}
	codes = make([]string, recoveryCodes)
	for i := range codes {
		if codes[i], err = s.newCode(recoveryCodeBytes); err != nil {
			return nil, err
		}
	}
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		if err := tx.DeleteRecoveryCodes(ctx, db.DeleteRecoveryCodesParams{UserID: id}); err != nil {
			return err
		}
		for _, code := range codes {
			row := db.AddRecoveryCodeParams{Hash: codeHash(code), UserID: id, CreatedAt: now}
			if err := tx.AddRecoveryCode(ctx, row); err != nil {
				return err
			}
		}
		return nil
	})
	for i, code := range codes {
		codes[i] = grouped(code)
	}
	return codes, err
}

// grouped writes a code in groups of four, to be copied by hand.
func grouped(code string) string {
	var groups []string
	for ; len(code) > 4; code = code[4:] {
		groups = append(groups, code[:4])
	}
	return strings.Join(append(groups, code), "-")
}

// RecoveryCodesLeft returns how many recovery codes a user has not used, and when they were made.
func (s *Service) RecoveryCodesLeft(ctx context.Context, user uuid.UUID) (left int, made time.Time, err error) {
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		row, err := tx.RecoveryCodesLeft(ctx, db.RecoveryCodesLeftParams{UserID: user})
		left, made = int(row.Unused), row.MadeAt
		return err
	})
	return left, made, err
}
