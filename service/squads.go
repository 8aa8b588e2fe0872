package service

import (
	"context"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// CreateSquad creates a squad with the user as its coach. created is false when the same user
// created the same squad before.
func (s *Service) CreateSquad(
	ctx context.Context,
	user uuid.UUID,
	squad *record.Squad,
) (result *record.Squad, created bool, err error) {
	if found := squad.Faults(); len(found) > 0 {
		return nil, false, InvalidError(found)
	}
	if squad.ID == uuid.Nil {
		squad.ID = newID()
	}
	id, now := squad.ID, s.clock()
	err = s.commit(ctx, id, func(tx *db.Tx) (*work, error) {
		created = false
		_, err := tx.MembershipOfUser(ctx, db.MembershipOfUserParams{SquadID: id, UserID: user})
		if err == nil {
			if result, err = sameSquad(ctx, tx, squad); err != nil {
				return nil, err
			}
			return nil, s.prove(ctx, &work{Tx: tx, member: member{user: user, squad: id}}, result)
		}
		if err = db.Translate(err); !errors.Is(err, db.ErrNotFound) {
			return nil, err
		}
		w := &work{Tx: tx, member: member{user: user, squad: id, role: record.RoleCoach}, now: now}
		created = true
		if result, err = s.found(ctx, w, squad); err != nil {
			return nil, err
		}
		return w, s.prove(ctx, w, result)
	})
	return result, created, err
}

// found stores a new squad with the user as its first member.
func (s *Service) found(ctx context.Context, w *work, squad *record.Squad) (*record.Squad, error) {
	person, err := w.UserByID(ctx, db.UserByIDParams{ID: w.user})
	if err != nil {
		return nil, err
	}
	first := db.PutSquadParams{
		SquadID:   w.squad,
		Name:      squad.Name,
		Invented:  squad.Invented,
		CreatedAt: w.now,
		Hash:      []byte{},
	}
	if err := w.PutSquad(ctx, first); err != nil {
		return nil, idTaken(err)
	}
	begin := make([]byte, headBytes)
	if _, err := io.ReadFull(s.random, begin); err != nil {
		return nil, fmt.Errorf("make a head: %w", err)
	}
	if err := w.StartClock(ctx, db.StartClockParams{SquadID: w.squad, Head: begin}); err != nil {
		return nil, idTaken(err)
	}
	squad.Stamp(w.squad, 0)
	coach := &record.Member{Head: record.Head{ID: newID()}, UserID: w.user, Name: person.Name, Role: record.RoleCoach}
	outcomes, _, err := w.apply(ctx, []Change{{Record: squad}, {Record: coach}})
	if err != nil {
		return nil, err
	}
	return outcomes[0].Record.(*record.Squad), nil
}

func sameSquad(ctx context.Context, tx *db.Tx, squad *record.Squad) (*record.Squad, error) {
	found, err := oneSquad(ctx, tx, squad.ID)
	if err != nil {
		return nil, err
	}
	stands := found[0].Record.(*record.Squad)
	if stands.Name != squad.Name {
		return nil, fail(Conflict, "you have a squad of this id with another name: to rename it, replace it")
	}
	return stands, nil
}

// idTaken hides whose the id is: a row of another squad is only known to the database.
func idTaken(err error) error {
	err = db.Translate(err)
	var constraint *db.ConstraintError
	if errors.As(err, &constraint) {
		return fail(Conflict, "this id cannot be used: leave it out to be given one")
	}
	return err
}

// invitationTTL is how long a code works.
const invitationTTL = 7 * 24 * time.Hour

// Invitation lets one person join. Code is known only in the answer that creates it. Open reports
// whether it can still be used.
type Invitation struct {
	ID        uuid.UUID
	Code      string
	Role      record.Role
	AthleteID *uuid.UUID
	ExpiresAt time.Time
	UsedAt    *time.Time
	Open      bool
}

// codeEncoding has no letters that look alike when read out: no I, O, 0 and 1.
var codeEncoding = base32.NewEncoding("ABCDEFGHJKLMNPQRSTUVWXYZ23456789").WithPadding(base32.NoPadding)

// Invite creates an invitation with a one-time code.
func (s *Service) Invite(
	ctx context.Context,
	user, squad uuid.UUID,
	role record.Role,
	athlete *uuid.UUID,
) (made Invitation, err error) {
	code, err := s.newCode(codeBytes)
	if err != nil {
		return made, err
	}
	as := record.Member{Name: "invited", Role: role, AthleteID: athlete}
	if found := as.Faults(); len(found) > 0 {
		return made, InvalidError(found)
	}
	err = s.inSquad(ctx, user, squad, func(w *work) error {
		if err := w.mustCoach(); err != nil {
			return err
		}
		if athlete != nil {
			if _, err := w.get(ctx, record.KindAthlete, *athlete); err != nil {
				return InvalidError(
					[]record.Fault{
						{
							Pointer: "/athlete_id",
							Code:    string(NotFound),
							Detail:  "there is no such athlete in the squad",
						},
					},
				)
			}
		}
		row := db.PutInvitationParams{
			SquadID:   squad,
			ID:        newID(),
			CodeHash:  codeHash(code),
			Role:      string(role),
			AthleteID: athlete,
			InvitedBy: user,
			CreatedAt: w.now,
			ExpiresAt: w.now.Add(invitationTTL),
		}
		made = Invitation{ID: row.ID, Code: code, Role: role, AthleteID: athlete, ExpiresAt: row.ExpiresAt}
		return w.PutInvitation(ctx, row)
	})
	return made, err
}

// Invitations lists a squad's invitations after an id; next is the id to go on after, zero on the
// last page.
func (s *Service) Invitations(
	ctx context.Context,
	user, squad, after uuid.UUID,
	limit int,
) (list []Invitation, next uuid.UUID, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		if err := w.mustCoach(); err != nil {
			return err
		}
		found, err := w.Invitations(
			ctx,
			db.InvitationsParams{
				SquadID: squad,
				After:   after,
				MaxRows: int32(limit + 1), //nolint:gosec // at most 1001
			},
		)
		if err != nil {
			return err
		}
		list, next = nil, uuid.Nil
		if len(found) > limit {
			found = found[:limit]
			next = found[limit-1].ID
		}
		for _, row := range found {
			list = append(
				list,
				Invitation{
					ID:        row.ID,
					Role:      record.Role(row.Role),
					AthleteID: row.AthleteID,
					ExpiresAt: row.ExpiresAt,
					UsedAt:    row.UsedAt,
					Open:      row.UsedAt == nil && row.ExpiresAt.After(w.now),
				},
			)
		}
		return nil
	})
	return list, next, err
}

// Withdraw removes an invitation that has not been used.
func (s *Service) Withdraw(ctx context.Context, user, squad, id uuid.UUID) error {
	return s.inSquad(ctx, user, squad, func(w *work) error {
		if err := w.mustCoach(); err != nil {
			return err
		}
		n, err := w.RemoveInvitation(ctx, db.RemoveInvitationParams{SquadID: squad, ID: id})
		if err == nil && n == 0 {
			return fail(NotFound, "there is no such invitation, or it has been used")
		}
		return err
	})
}

var errCode = fail(NotFound, "the code is wrong, used or too old: ask the coach for a new one")

// Join spends an invitation's code and makes the user a member.
func (s *Service) Join(
	ctx context.Context,
	user uuid.UUID,
	code string,
) (squad uuid.UUID, joined *record.Member, err error) {
	hash := codeHash(code)
	var person db.User
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		if person, err = tx.UserByID(ctx, db.UserByIDParams{ID: user}); err != nil {
			return err
		}
		found, err := tx.SquadOfInvitation(ctx, db.SquadOfInvitationParams{CodeHash: hash})
		if err != nil {
			return err
		}
		if found == uuid.Nil {
			return errCode
		}
		squad = found
		return nil
	})
	if err != nil {
		return squad, nil, err
	}
	now := s.clock()
	err = s.commit(ctx, squad, func(tx *db.Tx) (*work, error) {
		row, err := tx.UseInvitation(ctx, db.UseInvitationParams{SquadID: squad, CodeHash: hash, UsedAt: &now})
		if err != nil {
			return nil, notFoundAs(err, errCode.Detail)
		}
		_, err = tx.MembershipOfUser(ctx, db.MembershipOfUserParams{SquadID: squad, UserID: user})
		if err == nil {
			return nil, fail(Conflict, "you are in this squad already; the code has not been used up")
		}
		if err = db.Translate(err); !errors.Is(err, db.ErrNotFound) {
			return nil, err
		}
		// The coach who invited vouches for the new member.
		w := &work{Tx: tx, member: member{user: row.InvitedBy, squad: squad, role: record.RoleCoach}, now: now}
		joined = &record.Member{
			Head:      record.Head{ID: newID()},
			UserID:    user,
			Name:      person.Name,
			Role:      record.Role(row.Role),
			AthleteID: row.AthleteID,
		}
		outcomes, _, err := w.apply(ctx, []Change{{Record: joined}})
		if err != nil {
			return nil, err
		}
		joined = outcomes[0].Record.(*record.Member)
		return w, w.audit(ctx, ActionJoined, user, "as "+string(joined.Role))
	})
	return squad, joined, err
}

// SetRole changes a member's role. The last coach stays one.
func (s *Service) SetRole(
	ctx context.Context,
	user, squad, id uuid.UUID,
	base Version,
	role record.Role,
	athlete *uuid.UUID,
) (result *record.Member, err error) {
	err = s.inSquad(ctx, user, squad, func(w *work) error {
		rec, basis, err := s.memberToChange(ctx, w, id, role != record.RoleCoach, base)
		if err != nil {
			return err
		}
		if err := w.mustCoach(); err != nil {
			return err
		}
		before := rec.Role
		rec.Role, rec.AthleteID = role, athlete
		if found := rec.Faults(); len(found) > 0 {
			return InvalidError(found)
		}
		outcomes, _, err := w.apply(ctx, []Change{{Record: rec, Exact: true, Basis: basis}})
		if err != nil {
			return err
		}
		if err := outcomes[0].err(base.Rev); err != nil {
			return err
		}
		result = outcomes[0].Record.(*record.Member)
		if err := s.prove(ctx, w, result); err != nil || before == role {
			return err
		}
		return w.audit(ctx, ActionRoleChanged, rec.UserID, roleChange(before, role))
	})
	return result, err
}

// RemoveMember takes a member out. A coach may remove anyone, a member only themselves; the last
// coach cannot leave.
func (s *Service) RemoveMember(ctx context.Context, user, squad, id uuid.UUID, base Version) error {
	return s.inSquad(ctx, user, squad, func(w *work) error {
		rec, basis, err := s.memberToChange(ctx, w, id, true, base)
		if err != nil {
			return err
		}
		if w.role != record.RoleCoach && rec.UserID != user {
			return fail(Forbidden, "only a coach can remove someone else: ask one")
		}
		w.role = record.RoleCoach // anyone may leave
		outcomes, _, err := w.apply(ctx, []Change{{Record: rec, Delete: true, Exact: true, Basis: basis}})
		if err != nil {
			return err
		}
		if err := outcomes[0].err(base.Rev); err != nil {
			return err
		}
		return w.audit(ctx, ActionRemoved, rec.UserID, "")
	})
}

// memberToChange reads a member under the squad's lock, and what is known of the version that a
// change is based on. It refuses to change the last coach.
func (s *Service) memberToChange(
	ctx context.Context,
	w *work,
	id uuid.UUID,
	losesCoach bool,
	base Version,
) (*record.Member, Basis, error) {
	if _, err := w.lock(ctx); err != nil {
		return nil, Lost, err
	}
	basis, err := s.basisOf(ctx, w)(base)
	if err != nil {
		return nil, Lost, err
	}
	found, err := w.get(ctx, record.KindMember, id)
	if err != nil {
		return nil, Lost, err
	}
	rec := found.(*record.Member)
	rec.Rev = base.Rev
	if rec.Role != record.RoleCoach || !losesCoach {
		return rec, basis, nil
	}
	coaches, err := w.CountCoaches(ctx, db.CountCoachesParams{SquadID: w.squad})
	if err != nil {
		return nil, Lost, err
	}
	if coaches < 2 {
		return nil, Lost, fail(Conflict, "a squad needs a coach: make someone else one first")
	}
	return rec, basis, nil
}
