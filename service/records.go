package service

import (
	"context"
	"slices"

	"laneward/service/record"

	"github.com/google/uuid"
)

// Page is some records in revision order. Next is the revision to go on after; 0 when there are no
// more. Head proves the revisions of all of them.
type Page struct {
	Records []record.Record
	Next    int64
	Head    string
}

// Get returns one record that the user may see.
func (s *Service) Get(
	ctx context.Context,
	user, squad uuid.UUID,
	kind record.Kind,
	id uuid.UUID,
) (record record.Record, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		if record, err = w.get(ctx, kind, id); err != nil {
			return err
		}
		return s.prove(ctx, w, record)
	})
	return record, err
}

func (w *work) get(ctx context.Context, kind record.Kind, id uuid.UUID) (record.Record, error) {
	found, err := stores[kind].byIDs(ctx, w.Tx, w.squad, []uuid.UUID{id}, w.athlete)
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, fail(NotFound, "there is no %s %s in the squad, or you may not see it", kind, id)
	}
	return found[0].Record, w.decorate(ctx, found[0].Record)
}

// decorate adds what is sent with a record but is not part of it.
func (w *work) decorate(ctx context.Context, records ...record.Record) error {
	var drills []*record.Drill
	for _, rec := range records {
		if d, ok := rec.(*record.Drill); ok {
			drills = append(drills, d)
		}
	}
	if len(drills) == 0 {
		return nil
	}
	return w.addSentences(ctx, drills)
}

// List returns the records of a kind that the user may see, changed after revision `after`, in
// revision order.
func (s *Service) List(
	ctx context.Context,
	user, squad uuid.UUID,
	kind record.Kind,
	after int64,
	limit int,
) (page Page, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		now, err := w.clock(ctx)
		if err != nil {
			return err
		}
		found, _, err := w.after(ctx, kind, window{after, now.rev}, limit+1, w.athlete)
		if err != nil {
			return err
		}
		page = Page{Head: s.writeHead(squad, now.head)}
		if len(found) > limit {
			found = found[:limit]
			page.Next = found[limit-1].Revision()
		}
		for _, one := range found {
			page.Records = append(page.Records, one.Record)
		}
		return w.decorate(ctx, page.Records...)
	})
	return page, err
}

// Create stores a new record, giving it an id if it has none. created is false when the same record
// already exists.
func (s *Service) Create(
	ctx context.Context,
	user, squad uuid.UUID,
	record record.Record,
) (result record.Record, created bool, err error) {
	if found := record.Faults(); len(found) > 0 {
		return nil, false, InvalidError(found)
	}
	id := record.Key()
	if id == uuid.Nil {
		id = newID()
	}
	record.Stamp(id, 0)
	outcome, err := s.applyOne(ctx, user, squad, Version{}, Change{Record: record, Exact: true})
	if err != nil {
		return nil, false, err
	}
	if outcome.Record == nil { // stored once, and deleted since
		return nil, false, fail(Conflict, "this record was stored before and has been deleted")
	}
	return outcome.Record, outcome.Status == StatusStored, nil
}

// Replace changes a record whose version is `base`; Stale when it is another one by now.
func (s *Service) Replace(
	ctx context.Context,
	user, squad uuid.UUID,
	id uuid.UUID,
	base Version,
	schema int,
	rec record.Record,
) (record.Record, error) {
	if rec.Key() != uuid.Nil && rec.Key() != id {
		return nil, InvalidError(
			[]record.Fault{
				{Pointer: "/id", Code: "mismatch", Detail: "is not the id of the address: leave it out or correct it"},
			},
		)
	}
	rec.Stamp(id, base.Rev)
	if found := rec.Faults(); len(found) > 0 {
		return nil, InvalidError(found)
	}
	outcome, err := s.applyOne(ctx, user, squad, base, Change{Record: rec, Schema: schema, Exact: true})
	return outcome.Record, err
}

// Delete removes a record whose version is `base`; Stale when it is another one by now.
func (s *Service) Delete(
	ctx context.Context,
	user, squad uuid.UUID,
	kind record.Kind,
	id uuid.UUID,
	base Version,
) error {
	record := record.New(kind)
	record.Stamp(id, base.Rev)
	_, err := s.applyOne(ctx, user, squad, base, Change{Record: record, Delete: true, Exact: true})
	return err
}

// DeleteSession removes a session whose version is `base`, and with withShots its shots, all or
// nothing. Without it a session that has shots is a Conflict.
func (s *Service) DeleteSession(
	ctx context.Context,
	user, squad, id uuid.UUID,
	base Version,
	withShots bool,
) error {
	if !withShots {
		return s.Delete(ctx, user, squad, record.KindSession, id, base)
	}
	return s.inSquad(ctx, user, squad, func(w *work) error {
		found, err := w.get(ctx, record.KindSession, id)
		if err != nil {
			return err
		}
		basis, err := s.basisOf(ctx, w)(base)
		if err != nil {
			return err
		}
		if basis == Held && found.Revision() == base.Rev { // else the session's own deletion says that it has changed
			if err := w.deleteShots(ctx, id); err != nil {
				return err
			}
		}
		session := &record.Session{Head: record.Head{ID: id, Rev: base.Rev}}
		return w.applyAll(ctx, []Change{{Record: session, Delete: true, Exact: true, Basis: basis}})
	})
}

// deleteShots removes a session's shots, a batch at a time.
func (w *work) deleteShots(ctx context.Context, session uuid.UUID) error {
	for {
		shots, err := w.shotsOf(ctx, session, PushPiece)
		if err != nil || len(shots) == 0 {
			return err
		}
		changes := make([]Change, len(shots))
		for i, shot := range shots {
			changes[i] = Change{Record: shot, Delete: true, Exact: true}
		}
		if err := w.applyAll(ctx, changes); err != nil {
			return err
		}
	}
}

// applyAll applies changes of which each has to be made, and fails with the first that is not.
func (w *work) applyAll(ctx context.Context, changes []Change) error {
	outcomes, _, err := w.apply(ctx, changes)
	if err != nil {
		return err
	}
	for i, outcome := range outcomes {
		if err := outcome.err(changes[i].Record.Revision()); err != nil {
			return err
		}
	}
	return nil
}

// applyOne applies one change, which is based on a version, and turns an outcome that stored nothing
// into an error.
func (s *Service) applyOne(
	ctx context.Context,
	user, squad uuid.UUID,
	base Version,
	change Change,
) (outcome Outcome, err error) {
	err = s.inSquad(ctx, user, squad, func(w *work) error {
		if err := w.mustSee(ctx, change); err != nil {
			return err
		}
		if change.Basis, err = s.basisOf(ctx, w)(base); err != nil {
			return err
		}
		outcomes, _, err := w.apply(ctx, []Change{change})
		if err != nil {
			return err
		}
		outcome = outcomes[0]
		if err := outcome.err(base.Rev); err != nil {
			return err
		}
		if outcome.Record == nil {
			return nil
		}
		if err := w.decorate(ctx, outcome.Record); err != nil {
			return err
		}
		return s.prove(ctx, w, outcome.Record)
	})
	return outcome, err
}

// mustSee fails with NotFound when the change is to a record that the member may not see, and with
// Erased when it would bring back one that was erased.
func (w *work) mustSee(ctx context.Context, change Change) error {
	if change.Record.Revision() == 0 && !change.Delete {
		return nil
	}
	_, err := w.get(ctx, change.Record.Kind(), change.Record.Key())
	if change.Delete {
		return err
	}
	ids := []uuid.UUID{change.Record.Key()}
	if owner := change.Record.Owner(); owner != nil {
		ids = append(ids, *owner)
	}
	return w.orErased(ctx, err, ids...)
}

func (o Outcome) err(base int64) error {
	switch o.Status {
	case StatusConflict:
		code := Conflict
		if o.Code == Stale || base != 0 && o.Rev != base {
			code = Stale
		}
		if o.Deleted {
			return fail(code, "a record of this id has been deleted: to have it again, store it under a new id")
		}
		return &Error{Code: code, Detail: o.Faults[0].Detail, Faults: o.Faults[1:]}
	case StatusRefused:
		refused := &Error{Code: o.Code, Detail: o.Faults[0].Detail}
		if o.Faults[0].Pointer != "" { // else it is the record as a whole
			refused.Faults = slices.Clone(o.Faults)
		}
		return refused
	case StatusWaiting:
		if o.Code == OverQuota {
			return &Error{Code: OverQuota, Detail: o.Faults[0].Detail}
		}
		return &Error{Code: Invalid, Detail: o.Faults[0].Detail, Faults: slices.Clone(o.Faults)}
	}
	return nil
}
