package service

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strconv"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

func (p *plan) refuse(code Code, pointer, detail string) {
	*p.outcome = Outcome{
		Status: StatusRefused,
		Code:   code,
		Faults: []record.Fault{{Pointer: pointer, Code: string(code), Detail: detail}},
	}
}

func (p *plan) conflict(detail string) {
	*p.outcome = Outcome{
		Status: StatusConflict,
		Code:   Conflict,
		Faults: []record.Fault{{Code: string(Conflict), Detail: detail}},
	}
	p.showExisting()
}

// same settles a change that was made before. replaced is true when something else has been stored
// since.
func (p *plan) same(replaced bool) {
	*p.outcome = Outcome{Status: StatusSame, Replaced: replaced && p.existing != nil}
	p.showExisting()
}

func (p *plan) showExisting() {
	switch {
	case p.existing != nil:
		p.outcome.Record, p.outcome.Rev = p.existing.Record, p.existing.Revision()
	case p.tomb != nil:
		p.outcome.Deleted, p.outcome.Rev = true, p.tomb.Rev
	}
}

// decide settles what is to become of one change, before parents are looked at.
func (w *work) decide(ctx context.Context, p *plan) error {
	if detail := w.mayNot(p); detail != "" {
		// A member who may not see the record gets NotFound, so that its existence does not leak.
		p.refuse(Forbidden, "", detail)
		return nil
	}
	if p.erased != "" {
		p.decideErased()
		return nil
	}
	if p.change.Delete {
		w.decideDelete(p)
		return nil
	}
	body, base := p.body, p.change.Record.Revision()
	p.stores = p.hash
	if base != 0 {
		p.edit = record.Hash(strconv.AppendInt(slices.Clip(body), base, 10))
	}
	sent, wanted := p.change.Record, body
	var err error
	if p.existing != nil {
		if sent, wanted, err = p.change.withNewer(p.existing.Record, body); err != nil {
			return err
		}
	}
	stands, err := p.stands(wanted)
	if err != nil {
		return err
	}
	switch {
	case p.movesOwner():
		p.refuse(
			Invalid,
			"/athlete_id",
			"cannot change: devices hold what is their athlete's. Delete the record and store a new one",
		)
	case stands:
		p.same(false)
	case base != 0 && p.change.Basis != Held:
		p.decideUnheld()
	case p.existing != nil && base == p.existing.Revision():
		if p.write = sent; sent != p.change.Record {
			p.stores = p.edit // it may say more than what was sent
		}
	case p.existing != nil:
		return w.decideOlder(ctx, p, body)
	case p.tomb != nil && base == p.tomb.Rev:
		p.write = p.change.Record // written again in full knowledge of the deletion
	case p.tomb != nil:
		return w.decideDeleted(ctx, p)
	case p.forgotten:
		p.refuseForgotten()
	case base != 0:
		p.refuse(NotFound, "/rev", "there is no such record: leave rev out to store a new one")
	default:
		p.write = p.change.Record
	}
	return nil
}

// unproven is what a client is told that changes a record without showing which history its
// revision is of.
const unproven = "this program is too old to change what is stored already: update it; the change stays on the device"

// decideUnheld settles a change whose revision is not known to be of the squad's history: nothing
// is overwritten by it. A record that a restored backup has lost is stored again, for the change
// holds all of it.
func (p *plan) decideUnheld() {
	switch {
	case p.change.Basis == Unproven && !p.change.Exact:
		p.refuse(TooOld, "/version", unproven)
	case p.existing != nil:
		p.conflict(
			"the version this is based on is not one of the server's, whose data may have been restored from a backup since: " +
				"look at the record again, then send your change with the version it has now",
		)
		p.outcome.Code = Stale
	case p.tomb != nil:
		p.conflict("it has been deleted: to keep it, send it again with the version of its deletion")
	case p.forgotten:
		p.refuseForgotten()
	default:
		p.write = p.change.Record
	}
}

func (p *plan) refuseForgotten() {
	p.refuse(
		Gone,
		"/id",
		"a record of this id was deleted long ago and does not come back: store it under a new id if you want it",
	)
}

// decideDeleted settles a change of a record that has been deleted since: what was stored before is
// the same, anything else a conflict.
func (w *work) decideDeleted(ctx context.Context, p *plan) error {
	history, err := w.historyOf(ctx, p)
	if err != nil {
		return err
	}
	if p.storedSince(history) {
		p.same(true) // and deleted after that
		return nil
	}
	p.conflict("it has been deleted: to keep it, send it again with the version of its deletion")
	return nil
}

// stands reports whether the stored record already says what the change would make it say. The hash
// of a merged record is that of the edit, so then its payload is looked at.
func (p *plan) stands(wanted []byte) (bool, error) {
	if p.existing == nil || p.existing.Revision() == 0 { // a squad that is being founded
		return false, nil
	}
	if bytes.Equal(p.hash, p.existing.hash) {
		return true, nil
	}
	is, err := record.Payload(p.existing.Record)
	return bytes.Equal(is, wanted), err
}

// withNewer returns the record that a change asks for, with what its client does not know of as
// base has it, and its payload. They are the change's own, whose payload is body, where that is the
// same.
func (c Change) withNewer(base record.Record, body []byte) (record.Record, []byte, error) {
	if c.Schema == 0 || c.Schema >= Schema {
		return c.Record, body, nil
	}
	whole := record.WithNewer(c.Schema, c.Record, base)
	payload, err := record.Payload(whole)
	if err != nil || bytes.Equal(payload, body) {
		return c.Record, body, err
	}
	return whole, payload, nil
}

// movesOwner reports whether a change would give a record to another athlete, whose old device
// would never hear that it is gone. A member may become another athlete: that changes what the
// device may see, and its cursor with it.
func (p *plan) movesOwner() bool {
	if p.change.Record.Kind() == record.KindMember {
		return false
	}
	owner := p.change.Record.Owner()
	return p.existing != nil && !record.SameID(p.existing.Owner(), owner) ||
		p.existing == nil && p.tomb != nil && !record.SameID(p.tomb.AthleteID, owner)
}

func (w *work) decideDelete(p *plan) {
	base := p.change.Record.Revision()
	switch {
	case p.existing != nil && p.change.Basis != Held:
		p.decideUnheld()
	case p.existing != nil && base == p.existing.Revision():
		// removed below
	case p.existing != nil:
		p.conflict("it has changed since: look at it again before you delete it")
	case p.tomb != nil:
		p.same(false)
	case p.change.Basis == Lost:
		*p.outcome = Outcome{Status: StatusSame, Deleted: true} // the server has lost it
	default:
		p.refuse(NotFound, "", "there is no such record")
	}
}

// decideOlder settles a change that is based on an older revision than the current one: a payload
// stored before is the same, an edit is merged field by field where the fields do not overlap, and
// anything else is a conflict.
func (w *work) decideOlder(ctx context.Context, p *plan, mine []byte) error {
	history, err := w.historyOf(ctx, p)
	if err != nil {
		return err
	}
	if p.storedSince(history) {
		p.same(true)
		return nil
	}
	base := p.change.Record.Revision()
	if base == 0 {
		p.conflict("another record is stored under this id: to change it, send rev with the revision you hold")
		return nil
	}
	at := slices.IndexFunc(history, func(h db.History) bool { return h.Rev == base })
	if p.change.Exact || at < 0 {
		p.conflict(
			fmt.Sprintf(
				"it has changed since revision %d: look at it again, then send your change with the revision it has now",
				base,
			),
		)
		return nil
	}
	if p.change.Schema != 0 && p.change.Schema < Schema {
		began, found := record.Decode(p.change.Record.Kind(), history[at].Body)
		if began == nil {
			return fmt.Errorf(
				"read revision %d of %s %s: %v",
				base, p.change.Record.Kind(), p.change.Record.Key(), found,
			)
		}
		if _, mine, err = p.change.withNewer(began, mine); err != nil {
			return err
		}
	}
	theirs, err := record.Payload(p.existing.Record)
	if err != nil {
		return err
	}
	merged, met, err := record.MergeFields(history[at].Body, mine, theirs)
	if err != nil {
		return err
	}
	if len(met) > 0 {
		p.conflict(
			"it has changed since, in the same fields: choose between the two and send the choice with the revision it has now",
		)
		for _, field := range met {
			p.outcome.Faults = append(
				p.outcome.Faults,
				record.Fault{Pointer: "/" + field, Code: string(Conflict), Detail: "was changed by both"},
			)
		}
		return nil
	}
	return p.takeMerged(merged, theirs)
}

// takeMerged makes the merged payload what is written, unless it equals what is stored already.
func (p *plan) takeMerged(merged, theirs []byte) error {
	rec, found := record.Decode(p.change.Record.Kind(), merged)
	if rec == nil || len(found) > 0 {
		p.conflict("it has changed since, and the two changes together are not valid: look at it again")
		return nil
	}
	body, err := record.Payload(rec)
	if err != nil {
		return err
	}
	if bytes.Equal(body, theirs) {
		p.same(true)
		return nil
	}
	p.write = rec
	if !bytes.Equal(record.Hash(body), p.hash) {
		p.stores = p.edit // else it says what was sent, and is known by that like any other
	}
	return nil
}

func (w *work) historyOf(ctx context.Context, p *plan) ([]db.History, error) {
	return w.HistoryOf(
		ctx,
		db.HistoryOfParams{SquadID: w.squad, Kind: string(p.change.Record.Kind()), ID: p.change.Record.Key()},
	)
}

// storedSince reports whether the payload was stored after the revision it is based on, or merged,
// and replaced since: it is sent again because its answer was lost, and to store it now would undo
// what came after. An exact change asks for the current revision and gets no such answer.
func (p *plan) storedSince(history []db.History) bool {
	base := p.change.Record.Revision()
	if p.change.Exact && base != 0 {
		return false
	}
	made := func(hash []byte) bool { return bytes.Equal(hash, p.hash) || p.edit != nil && bytes.Equal(hash, p.edit) }
	return p.existing != nil && made(p.existing.hash) ||
		slices.ContainsFunc(history, func(h db.History) bool { return h.Rev > base && made(h.Hash) })
}

// mayNot returns why the member may not make the change, or "".
func (w *work) mayNot(p *plan) string {
	kind := p.change.Record.Kind()
	switch {
	case kind == record.KindSquad && p.change.Delete:
		return "a squad cannot be deleted"
	case w.role == record.RoleCoach:
		return ""
	case w.role == record.RoleAnalyst:
		return "an analyst reads everything and changes nothing: ask a coach"
	}
	mine := func(owner *uuid.UUID) bool { return owner != nil && *owner == *w.athlete }
	if p.existing != nil && !mine(p.existing.Owner()) {
		return "it is not yours: ask a coach"
	}
	if p.tomb != nil && !mine(p.tomb.AthleteID) {
		return "it was not yours: ask a coach"
	}
	switch kind {
	case record.KindShot, record.KindSession, record.KindBall:
		if !p.change.Delete && !mine(p.change.Record.Owner()) {
			return "athletes can change only their own records: set athlete_id to yours, or ask a coach"
		}
		return ""
	case record.KindAthlete:
		if p.existing != nil && !p.change.Delete {
			return ""
		}
	}
	return fmt.Sprintf("only a coach may do this to the squad's %ss: ask one", kind)
}

// guardConsent refuses that an athlete's own account records a guardian's consent: a minor would
// give it in the guardian's name. What it leaves as it is does not count, whatever is based on what.
func (w *work) guardConsent(p *plan) {
	is, ok := p.write.(*record.Athlete)
	if !ok || w.role == record.RoleCoach || p.existing == nil {
		return
	}
	was := p.existing.Record.(*record.Athlete)
	const detail = "only a coach records this: ask the guardian to tell one"
	var faults record.Faults
	faults.Add(!sameValue(is.GuardianName, was.GuardianName), "/guardian_name", string(Forbidden), detail)
	faults.Add(!sameDay(is.GuardianConsent, was.GuardianConsent), "/guardian_consent", string(Forbidden), detail)
	if len(faults) > 0 {
		p.write = nil
		*p.outcome = Outcome{Status: StatusRefused, Code: Forbidden, Faults: faults}
	}
}

// sameValue reports whether both are nil or have the same value.
func sameValue[T comparable](a, b *T) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}
