package service

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// TombstoneLife is how long deletions are remembered for devices that were away.
const TombstoneLife = 180 * 24 * time.Hour

// Forget removes the tombstones and heads older than [TombstoneLife] and old sign-ins. It returns the number
// of tombstones removed.
func (s *Service) Forget(ctx context.Context) (forgotten int64, err error) {
	now := s.clock()
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		if forgotten, err = tx.ForgetTombstones(
			ctx,
			db.ForgetTombstonesParams{Before: now.Add(-TombstoneLife)},
		); err != nil {
			return err
		}
		if err := tx.DeleteOldGuesses(ctx, db.DeleteOldGuessesParams{Before: now.Add(-forgetAfter)}); err != nil {
			return err
		}
		if err := tx.DeleteOldCeremonies(ctx, db.DeleteOldCeremoniesParams{Before: now}); err != nil {
			return err
		}
		if _, err = tx.ForgetHeads(ctx, db.ForgetHeadsParams{Before: now.Add(-TombstoneLife)}); err != nil {
			return err
		}
		_, err = tx.DeleteOldRefreshFamilies(ctx, db.DeleteOldRefreshFamiliesParams{Before: now.Add(-refreshTTL)})
		return err
	})
	return forgotten, err
}

// Erase removes an athlete and everything of theirs, the history included. What remains is that ids
// are gone, so that devices drop them too, and the ids that are refused from now on, for good. What
// other athletes' shots use of theirs is let go of first, so that nothing blocks it. confirm is the
// athlete's name, to be sure that it is meant. It returns how many records were removed.
func (s *Service) Erase(ctx context.Context, user, squad, athlete uuid.UUID, confirm string) (erased int64, err error) {
	err = s.inSquad(ctx, user, squad, func(w *work) error {
		erased = 0
		if err := w.mustCoach(); err != nil {
			return err
		}
		digest := w.digestParts([]byte("erase"), athlete[:])
		began, err := w.lock(ctx)
		if err != nil {
			return err
		}
		found, err := w.get(ctx, record.KindAthlete, athlete)
		if err != nil {
			return err
		}
		if name := found.(*record.Athlete).Name; confirm != name {
			return InvalidError(
				[]record.Fault{
					{
						Pointer: "/confirm",
						Code:    "mismatch",
						Detail:  fmt.Sprintf("to erase for good, confirm with the athlete's name, %q", name),
					},
				},
			)
		}
		reached, err := w.release(ctx, athlete, began.rev)
		if err != nil {
			return err
		}
		if err := w.RefuseErased(ctx, db.RefuseErasedParams{SquadID: squad, Athlete: athlete}); err != nil {
			return err
		}
		for _, step := range w.eraseSteps(ctx, athlete) {
			n, err := step(reached + erased)
			if err != nil {
				return err
			}
			erased += n
		}
		if err := w.EraseHistory(ctx, db.EraseHistoryParams{SquadID: squad, Athlete: athlete}); err != nil {
			return err
		}
		w.locked.counted = false
		if err := w.count(ctx, w.locked); err != nil {
			return err
		}
		if _, err = w.advance(ctx, reached+erased-began.rev, digest); err != nil {
			return err
		}
		return w.audit(ctx, ActionErased, athlete, "")
	})
	return erased, err
}

// releasedPage is how many of others' shots are let go of at a time.
const releasedPage = 1_000

// release lets go of what other athletes' shots use of an athlete's: a session that others have
// shots in becomes the squad's, without its name and note, and the shots are left without the ball.
// It gives them the revisions after rev and returns the last.
func (w *work) release(ctx context.Context, athlete uuid.UUID, rev int64) (int64, error) {
	sessions, err := w.SessionsWithGuests(ctx, db.SessionsWithGuestsParams{SquadID: w.squad, Athlete: athlete})
	held, err := rows(sessions, err, sessionOf)
	if err != nil {
		return 0, err
	}
	rev, err = w.rewrite(ctx, held, rev, func(rec record.Record) record.Record {
		released := *rec.(*record.Session)
		released.AthleteID, released.Name, released.Note = nil, "Session", ""
		return &released
	})
	for err == nil {
		query := db.ShotsWithBallsOfParams{SquadID: w.squad, Athlete: athlete, MaxRows: releasedPage}
		shots, failed := w.ShotsWithBallsOf(ctx, query)
		held, failed := rows(shots, failed, shotOf)
		if failed != nil || len(held) == 0 {
			return rev, failed
		}
		rev, err = w.rewrite(ctx, held, rev, func(rec record.Record) record.Record {
			released := *rec.(*record.Shot)
			released.BallID = nil
			return &released
		})
	}
	return 0, err
}

// rewrite writes what change makes of stored records, and keeps the versions it replaces.
func (w *work) rewrite(
	ctx context.Context,
	held []stored,
	rev int64,
	change func(record.Record) record.Record,
) (int64, error) {
	plans := make([]*plan, len(held))
	for i := range held {
		is := change(held[i].Record)
		body, err := record.Payload(is)
		if err != nil {
			return 0, err
		}
		plans[i] = &plan{
			change:   &Change{Record: is},
			outcome:  new(Outcome),
			existing: &held[i],
			write:    is,
			stores:   record.Hash(body),
		}
	}
	return w.put(ctx, plans, rev)
}

// auditExport writes into the log that an export begins, when it may.
func (s *Service) auditExport(ctx context.Context, user, squad, athlete uuid.UUID) error {
	return s.inSquad(ctx, user, squad, func(w *work) error {
		if w.role == record.RoleAnalyst {
			return w.mustCoach()
		}
		if _, err := w.get(ctx, record.KindAthlete, athlete); err != nil {
			return err
		}
		return w.audit(ctx, ActionExported, athlete, "")
	})
}

// eraseSteps remove one kind each, children before parents, giving tombstones the revisions after
// the one they are called with.
func (w *work) eraseSteps(ctx context.Context, athlete uuid.UUID) []func(after int64) (int64, error) {
	by, at := w.user, w.now
	return []func(int64) (int64, error){
		func(after int64) (int64, error) {
			return w.EraseShots(
				ctx,
				db.EraseShotsParams{SquadID: w.squad, Athlete: athlete, AfterRev: after, DeletedBy: by, DeletedAt: at},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseAssignments(
				ctx,
				db.EraseAssignmentsParams{
					SquadID:   w.squad,
					Athlete:   athlete,
					AfterRev:  after,
					DeletedBy: by,
					DeletedAt: at,
				},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseSessions(
				ctx,
				db.EraseSessionsParams{
					SquadID:   w.squad,
					Athlete:   athlete,
					AfterRev:  after,
					DeletedBy: by,
					DeletedAt: at,
				},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseBalls(
				ctx,
				db.EraseBallsParams{SquadID: w.squad, Athlete: athlete, AfterRev: after, DeletedBy: by, DeletedAt: at},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseMemberships(
				ctx,
				db.EraseMembershipsParams{
					SquadID:   w.squad,
					Athlete:   athlete,
					AfterRev:  after,
					DeletedBy: by,
					DeletedAt: at,
				},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseAthletes(
				ctx,
				db.EraseAthletesParams{
					SquadID:   w.squad,
					Athlete:   athlete,
					AfterRev:  after,
					DeletedBy: by,
					DeletedAt: at,
				},
			)
		},
	}
}

// eachPage is how many records are read at a time, so that a long career does not have to fit in
// memory.
const eachPage = 2_000

// each visits the records of a kind, all or what an athlete may see, page by page.
func (w *work) each(ctx context.Context, kind record.Kind, athlete *uuid.UUID, visit func(record.Record) error) error {
	now, err := w.clock(ctx)
	if err != nil {
		return err
	}
	for in := (window{0, now.rev}); in.after < in.upto; {
		found, reached, err := w.after(ctx, kind, in, eachPage, athlete)
		if err != nil {
			return err
		}
		for _, one := range found {
			if err := visit(one.Record); err != nil {
				return err
			}
		}
		in.after = reached
	}
	return nil
}
