package service

import (
	"context"
	"maps"
	"slices"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// What a client is told that would bring back something of an erased athlete.
const (
	erasedForGood = "was erased for good with its athlete, and cannot be stored again: discard this change"
	erasedAthlete = "the athlete was erased for good, and nothing of theirs can be stored again: discard this change"
	erasedRef     = "was erased for good with its athlete: name another %s, or discard this change"
)

func idsIn(set map[uuid.UUID]bool) []uuid.UUID { return slices.Collect(maps.Keys(set)) }

// erasedAmong returns those of some ids that are refused for good.
func (w *work) erasedAmong(ctx context.Context, ids map[uuid.UUID]bool) (erased map[uuid.UUID]bool, err error) {
	erased = make(map[uuid.UUID]bool)
	if len(ids) == 0 {
		return erased, nil
	}
	found, err := w.ErasedIDs(ctx, db.ErasedIDsParams{SquadID: w.squad, IDs: idsIn(ids)})
	if err != nil {
		return nil, err
	}
	for _, id := range found {
		erased[id] = true
	}
	return erased, nil
}

// findErased marks the changes of what is not stored, and must not be again. A shot's own id is not
// looked up: it is refused by its athlete, here when there was such a shot, else as one whose parent
// is missing. So new shots and edits, which are what is pushed from day to day, cost no look-up.
func (w *work) findErased(ctx context.Context, plans []*plan) error {
	suspects := make(map[uuid.UUID]bool)
	for _, p := range plans {
		for _, ref := range p.suspects() {
			suspects[ref.ID] = true
		}
	}
	erased, err := w.erasedAmong(ctx, suspects)
	if err != nil || len(erased) == 0 {
		return err
	}
	for _, p := range plans {
		for _, ref := range p.suspects() {
			if erased[ref.ID] {
				p.erased = ref.Pointer
				break
			}
		}
	}
	return nil
}

// suspects are the ids by which a change of what is not stored would bring back something erased.
func (p *plan) suspects() (refs []record.Ref) {
	rec := p.change.Record
	if p.existing != nil || rec.Kind() == record.KindMember || rec.Kind() == record.KindSquad {
		return nil
	}
	if rec.Kind() != record.KindShot {
		refs = append(refs, record.Ref{ID: rec.Key(), Pointer: "/id"})
	}
	owner, was := rec.Owner(), p.tomb != nil || rec.Revision() != 0 // else the athlete is a parent that is missing
	if owner != nil && was && !p.change.Delete && *owner != rec.Key() {
		refs = append(refs, record.Ref{ID: *owner, Pointer: "/athlete_id"})
	}
	return refs
}

// decideErased settles a change of what was erased: to delete it has been done, and anything else is
// refused.
func (p *plan) decideErased() {
	switch {
	case p.change.Delete:
		p.same(false)
		p.outcome.Deleted = true
	case p.erased == "/athlete_id":
		p.refuse(Erased, p.erased, erasedAthlete)
	default:
		p.refuse(Erased, p.erased, erasedForGood)
	}
}

// orErased makes an error that there is no such record Erased, when it was erased: to whoever sees
// all of the squad.
func (w *work) orErased(ctx context.Context, err error, ids ...uuid.UUID) error {
	if err == nil || AsError(err).Code != NotFound || w.athlete != nil {
		return err
	}
	suspects := make(map[uuid.UUID]bool, len(ids))
	for _, id := range ids {
		suspects[id] = true
	}
	erased, failed := w.erasedAmong(ctx, suspects)
	switch {
	case failed != nil:
		return failed
	case len(erased) > 0:
		return fail(Erased, "it %s", erasedForGood)
	}
	return err
}

// OrErased returns err, which looking for a record has failed with, and Erased in its place where
// there is none because it was erased.
func (s *Service) OrErased(ctx context.Context, user, squad, id uuid.UUID, err error) error {
	if err == nil || AsError(err).Code != NotFound {
		return err
	}
	return s.readSquad(ctx, user, squad, func(w *work) error { return w.orErased(ctx, err, id) })
}
