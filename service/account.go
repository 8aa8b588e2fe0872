package service

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// confirm checks the password of somebody who is signed in, before what a stolen device must not do.
// pointer is where the password was sent. A wrong one is Invalid, for the sign-in itself is good.
func (s *Service) confirm(ctx context.Context, user db.User, password, pointer string, now time.Time) error {
	g := guess{own: counter{"confirm:" + user.ID.String(), freeFailures, maxWait}}
	ok, _, err := s.tryPassword(ctx, g, user.PasswordHash, password, now)
	if err != nil {
		return err
	}
	if !ok {
		return passwordError(pointer, "wrong", "is wrong")
	}
	return s.db.Global(ctx, func(tx *db.Tx) error { return giveBack(ctx, tx, g) })
}

// account is the user who is signed in.
func (s *Service) account(ctx context.Context, id uuid.UUID) (user db.User, err error) {
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		user, err = tx.UserByID(ctx, db.UserByIDParams{ID: id})
		if err != nil {
			return notFoundAs(err, "your account is gone: sign up again")
		}
		return nil
	})
	return user, err
}

// ChangePassword sets a new password in place of the current one, and ends all other sign-ins.
func (s *Service) ChangePassword(ctx context.Context, who Identity, current, wanted string) error {
	user, err := s.account(ctx, who.User)
	if err != nil {
		return err
	}
	if detail := passwordFault(wanted, user.Email); detail != "" {
		return passwordError("/new_password", "guessable", detail)
	}
	now := s.clock()
	if err := s.confirm(ctx, user, current, "/current_password", now); err != nil {
		return err
	}
	hash, err := s.hashPassword(ctx, wanted)
	if err != nil {
		return err
	}
	return s.endSignIns(
		ctx,
		db.EndSignInsParams{EndedAt: &now, UserID: who.User, But: &who.SignIn},
		func(tx *db.Tx) error {
			if err := tx.DeleteResetCodes(ctx, db.DeleteResetCodesParams{UserID: who.User}); err != nil {
				return err
			}
			return tx.SetPasswordHash(ctx, db.SetPasswordHashParams{ID: who.User, PasswordHash: hash})
		},
	)
}

// endSignIns ends sign-ins in a transaction with what else is to happen, and at once on this server.
func (s *Service) endSignIns(ctx context.Context, which db.EndSignInsParams, also func(tx *db.Tx) error) error {
	var ended []uuid.UUID
	err := s.db.Global(ctx, func(tx *db.Tx) (err error) {
		if ended, err = tx.EndSignIns(ctx, which); err != nil {
			return err
		}
		return also(tx)
	})
	if err == nil {
		s.signedIn.end(ended...)
	}
	return err
}

// SignedInDevice is one sign-in that has not ended. LastUsed is when it was last refreshed, which a
// device does every quarter of an hour while it is in use.
type SignedInDevice struct {
	ID                       uuid.UUID
	Device                   string
	Since, LastUsed, Expires time.Time
}

// SignIns lists a user's sign-ins, the newest first.
func (s *Service) SignIns(ctx context.Context, user uuid.UUID) (list []SignedInDevice, err error) {
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		rows, err := tx.SignInsOf(ctx, db.SignInsOfParams{UserID: user, Now: s.clock()})
		list = make([]SignedInDevice, len(rows))
		for i, row := range rows {
			list[i] = SignedInDevice{row.ID, row.Device, row.CreatedAt, row.CreatedAt, row.ExpiresAt}
			if row.LastUsedAt != nil {
				list[i].LastUsed = *row.LastUsedAt
			}
		}
		return err
	})
	return list, err
}

// EndSignIn ends one of a user's sign-ins.
func (s *Service) EndSignIn(ctx context.Context, user, signIn uuid.UUID) error {
	now := s.clock()
	return s.endSignIns(ctx, db.EndSignInsParams{EndedAt: &now, UserID: user, Only: &signIn}, func(tx *db.Tx) error {
		_, err := tx.SignInEnd(ctx, db.SignInEndParams{ID: signIn, UserID: user})
		if err != nil {
			return notFoundAs(err, "there is no such sign-in of yours")
		}
		return nil
	})
}

// EndAllSignIns signs a user out everywhere.
func (s *Service) EndAllSignIns(ctx context.Context, user uuid.UUID) error {
	now := s.clock()
	return s.endSignIns(ctx, db.EndSignInsParams{EndedAt: &now, UserID: user}, func(*db.Tx) error { return nil })
}

// DeleteAccount deletes a user: address, name, password and everything else to sign in with, and
// their place in each squad with what the squad's history says of it. What they wrote stays and
// bears an id that no longer has a name. An athlete's records are the squad's: a coach erases those.
// It fails with Conflict for who is the only coach of a squad with anybody else in it.
func (s *Service) DeleteAccount(ctx context.Context, who Identity, password string) error {
	user, err := s.account(ctx, who.User)
	if err != nil {
		return err
	}
	now := s.clock()
	if err := s.confirm(ctx, user, password, "/password", now); err != nil {
		return err
	}
	squads, err := s.squadsOf(ctx, who.User)
	if err != nil {
		return err
	}
	var needed []string
	for _, squad := range squads {
		var stays bool
		err := s.readSquad(ctx, who.User, squad.SquadID, func(w *work) (err error) {
			stays, err = w.onlyCoach(ctx)
			return err
		})
		if err != nil {
			return err
		}
		if stays {
			needed = append(needed, squad.Name)
		}
	}
	if len(needed) > 0 {
		return errOnlyCoach(needed...)
	}
	for _, squad := range squads { // each is a transaction of its own; what is left over is done by asking again
		err := s.inSquad(ctx, who.User, squad.SquadID, func(w *work) error { return w.leaveForGood(ctx, squad.Name) })
		if err != nil {
			return err
		}
	}
	return s.endSignIns(ctx, db.EndSignInsParams{EndedAt: &now, UserID: who.User}, func(tx *db.Tx) error {
		_, err := tx.DeleteUser(ctx, db.DeleteUserParams{ID: who.User})
		return err
	})
}

func errOnlyCoach(squads ...string) error {
	return fail(
		Conflict,
		"you are the only coach of %s: make another member a coach there first, or, if you are the last one left, erase its athletes",
		strings.Join(squads, " and of "),
	)
}

// onlyCoach reports whether the member is the squad's only coach, and others are in it.
func (w *work) onlyCoach(ctx context.Context) (bool, error) {
	if w.role != record.RoleCoach {
		return false, nil
	}
	coaches, err := w.CountCoaches(ctx, db.CountCoachesParams{SquadID: w.squad})
	if err != nil || coaches > 1 {
		return false, err
	}
	others, err := w.CountOthers(ctx, db.CountOthersParams{SquadID: w.squad, UserID: w.user})
	return others > 0, err
}

// leaveForGood takes the member out of the squad, and out of its history.
func (w *work) leaveForGood(ctx context.Context, squad string) error {
	if _, err := w.LockClock(ctx, db.LockClockParams{SquadID: w.squad}); err != nil {
		return err
	}
	needed, err := w.onlyCoach(ctx)
	if err != nil {
		return err
	}
	if needed {
		return errOnlyCoach(squad)
	}
	row, err := w.MembershipOfUser(ctx, db.MembershipOfUserParams{SquadID: w.squad, UserID: w.user})
	if err != nil {
		return err
	}
	rec, err := w.get(ctx, record.KindMember, row.ID)
	if err != nil {
		return err
	}
	w.role = record.RoleCoach // anyone may leave
	outcomes, _, err := w.apply(ctx, []Change{{Record: rec, Delete: true, Exact: true}})
	if err != nil {
		return err
	}
	if err := outcomes[0].err(row.Rev); err != nil {
		return err
	}
	if err := w.ForgetMember(ctx, db.ForgetMemberParams{SquadID: w.squad, UserID: w.user}); err != nil {
		return fmt.Errorf("forget the member: %w", err)
	}
	return w.audit(ctx, ActionAccountDeleted, w.user, "")
}

func (s *Service) squadsOf(ctx context.Context, user uuid.UUID) (squads []db.SquadsOfRow, err error) {
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		squads, err = tx.SquadsOf(ctx, db.SquadsOfParams{UserID: user})
		return err
	})
	return squads, err
}
