package service

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// Status is what became of one change.
type Status string

// The outcomes of a change. Same is a payload that was stored before: nothing is written. Waiting
// is a record that cannot be stored yet, and is to be sent again: its parent is missing, or the squad
// is full.
const (
	StatusStored   Status = "stored"
	StatusSame     Status = "same"
	StatusConflict Status = "conflict"
	StatusRefused  Status = "refused"
	StatusWaiting  Status = "waiting"
)

// Change asks to store a record or to delete one. The record's own revision is the one the change
// is based on, 0 for a new record.
type Change struct {
	Record record.Record
	Delete bool
	// Schema is the wire schema of the client whose change it is, 0 for ours: fields that came
	// later stay as they are.
	Schema int
	// Exact refuses to merge: anything but the current revision is a conflict.
	Exact bool
	// Basis says what is known of the revision the change is based on.
	Basis Basis
}

// Outcome is what became of a change. Record is the record as it is now stored: the stored one, or
// on a conflict the server's copy; nil with Deleted when it no longer exists.
type Outcome struct {
	Status  Status
	Record  record.Record
	Deleted bool
	Rev     int64 // of Record, or of the deletion
	Merged  bool  // what was stored holds another edit too
	// Replaced says of what is the same that it was stored and has been replaced since: Record says
	// something else.
	Replaced bool
	Code     Code // why it was refused or conflicts
	Faults   []record.Fault
}

// plan is a change on its way: what is stored under its id, and what is to be written.
type plan struct {
	change   *Change
	outcome  *Outcome
	existing *stored
	tomb     *db.Tombstone
	// forgotten reports whether there was such a record once, so long ago that its deletion is not
	// remembered.
	forgotten bool
	erased    string        // the field that names something erased, as a JSON Pointer; "" for none
	write     record.Record // to put; nil for nothing, or for a deletion
	refs      []record.Ref  // what that refers to, and the record did not before
	body      []byte        // the payload that was sent
	hash      []byte        // of the payload that was sent
	edit      []byte        // of the payload with the revision it is based on: what was merged is known by it, for it says something else
	stores    []byte        // the hash that is kept with what is written
}

// apply is the one way anything of a squad is written. It locks the squad's counter, decides each
// change against what is stored, gives the accepted ones the next revisions, parents before
// children, and writes them; the lock is held to the commit, so that commit order is revision order
// and no hole ever fills later. Records must be valid already, so that nothing slow happens under
// the lock. It returns an outcome for every change, in their order, and the revision reached.
func (w *work) apply(ctx context.Context, changes []Change) ([]Outcome, int64, error) {
	batch, err := w.prepare(changes)
	if err != nil {
		return nil, 0, err
	}
	return w.applyBatch(ctx, batch)
}

// batch is some changes as they were sent, with what can be worked out without the lock.
type batch struct {
	changes  []Change
	outcomes []Outcome
	plans    []plan
	digest   []byte // of the changes
}

// prepare writes the payloads of changes and digests them, before the lock.
func (w *work) prepare(changes []Change) (*batch, error) {
	b := &batch{changes: changes, outcomes: make([]Outcome, len(changes)), plans: make([]plan, len(changes))}
	told := make([]byte, 0, 64*len(changes))
	for i := range changes {
		c, p := &changes[i], &b.plans[i]
		p.change, p.outcome = c, &b.outcomes[i]
		id := c.Record.Key()
		told = append(append(told, c.Record.Kind()...), id[:]...)
		told = binary.BigEndian.AppendUint64(told, uint64(c.Record.Revision())) //nolint:gosec // bits, not a number
		told = strconv.AppendBool(strconv.AppendBool(strconv.AppendInt(told, int64(c.Schema), 10), c.Exact), c.Delete)
		if c.Delete {
			continue
		}
		var err error
		if p.body, err = record.Payload(c.Record); err != nil {
			return nil, err
		}
		p.hash = record.Hash(p.body)
		told = append(told, p.hash...)
	}
	b.digest = w.digestParts(told)
	return b, nil
}

// applyBatch locks the squad's counter, unless this transaction has it already, and does what
// [work.apply] says.
func (w *work) applyBatch(ctx context.Context, b *batch) ([]Outcome, int64, error) {
	began, err := w.lock(ctx)
	if err != nil {
		return nil, 0, err
	}
	rev := began.rev
	for _, round := range distinct(b.changes) {
		plans := make([]*plan, len(round))
		for i, at := range round {
			plans[i] = &b.plans[at]
		}
		if rev, err = w.applyRound(ctx, plans, rev, began.floor > 0); err != nil {
			return nil, 0, err
		}
	}
	settled := make([]byte, 0, 8*len(b.outcomes))
	for i := range b.outcomes { // what became of them is part of the history too
		settled = strconv.AppendBool(append(settled, b.outcomes[i].Status...), b.outcomes[i].Merged)
	}
	now, err := w.advance(ctx, rev-began.rev, w.digestParts(b.digest, settled))
	return b.outcomes, now.rev, err
}

// distinct splits changes into rounds in which no record appears twice, keeping the order for each
// record.
func distinct(changes []Change) [][]int {
	var rounds [][]int
	seen := make(map[record.Ref]int, len(changes))
	for i, change := range changes {
		key := record.Ref{Kind: change.Record.Kind(), ID: change.Record.Key()}
		round := seen[key]
		seen[key] = round + 1
		if round == len(rounds) {
			rounds = append(rounds, nil)
		}
		rounds[round] = append(rounds[round], i)
	}
	return rounds
}

func (w *work) applyRound(ctx context.Context, plans []*plan, rev int64, forgets bool) (int64, error) {
	if err := w.findExisting(ctx, plans, forgets); err != nil {
		return 0, err
	}
	for _, p := range plans {
		if err := w.decide(ctx, p); err != nil {
			return 0, err
		}
		w.guardConsent(p)
	}
	next, err := w.remove(ctx, plans, rev)
	if err != nil {
		return 0, err
	}
	if err := w.checkParents(ctx, plans); err != nil { // after the deletions: a deleted record is no longer a parent
		return 0, err
	}
	return w.put(ctx, plans, next)
}

// byKind lists the plans of each kind, keeping their order.
func byKind(plans []*plan, want func(*plan) bool) map[record.Kind][]*plan {
	groups := make(map[record.Kind][]*plan)
	for _, p := range plans {
		if want(p) {
			kind := p.change.Record.Kind()
			groups[kind] = append(groups[kind], p)
		}
	}
	return groups
}

func keys(plans []*plan) []uuid.UUID {
	ids := make([]uuid.UUID, len(plans))
	for i, p := range plans {
		ids[i] = p.change.Record.Key()
	}
	return ids
}

// findExisting looks up what is stored under each id: a record, or the tombstone of one, or, where
// tombstones have been forgotten, the trace of one in the history; and whether it was erased.
func (w *work) findExisting(ctx context.Context, plans []*plan, forgets bool) error {
	for kind, group := range byKind(plans, func(*plan) bool { return true }) {
		byID := make(map[uuid.UUID]*plan, len(group))
		for _, p := range group {
			byID[p.change.Record.Key()] = p
		}
		found, err := stores[kind].byIDs(ctx, w.Tx, w.squad, keys(group), nil)
		if err != nil {
			return err
		}
		for i := range found {
			byID[found[i].Key()].existing = &found[i]
		}
		if len(found) == len(group) {
			continue
		}
		tombs, err := w.TombstonesByIDs(
			ctx,
			db.TombstonesByIDsParams{SquadID: w.squad, Kind: string(kind), IDs: keys(group)},
		)
		if err != nil {
			return err
		}
		for i := range tombs {
			byID[tombs[i].ID].tomb = &tombs[i]
		}
		if !forgets {
			continue
		}
		once, err := w.HistoryIDs(ctx, db.HistoryIDsParams{SquadID: w.squad, Kind: string(kind), IDs: keys(group)})
		if err != nil {
			return err
		}
		for _, id := range once {
			byID[id].forgotten = byID[id].existing == nil && byID[id].tomb == nil
		}
	}
	return w.findErased(ctx, plans)
}

// remove deletes what is to be deleted, children before parents, and leaves tombstones with the
// revisions after rev.
func (w *work) remove(ctx context.Context, plans []*plan, rev int64) (int64, error) {
	groups := byKind(plans, func(p *plan) bool { return p.change.Delete && p.outcome.Status == "" })
	for i := len(record.Kinds) - 1; i >= 0; i-- {
		for _, p := range groups[record.Kinds[i]] {
			err := w.Savepoint(ctx, func() error {
				return stores[record.Kinds[i]].remove(ctx, w.Tx, w.squad, []uuid.UUID{p.change.Record.Key()})
			})
			var constraint *db.ConstraintError
			if errors.As(err, &constraint) && constraint.InUse {
				p.conflict(fmt.Sprintf("%s still refer to it: delete those first", constraint.Table))
				p.outcome.Code = Conflict
				continue
			}
			if err != nil {
				return 0, err
			}
			rev++
			if err := w.bury(ctx, p, rev); err != nil {
				return 0, err
			}
			if takesRoom(record.Kinds[i]) {
				w.locked.records--
			}
		}
	}
	return rev, nil
}

func (w *work) bury(ctx context.Context, p *plan, rev int64) error {
	kind, id := p.change.Record.Kind(), p.change.Record.Key()
	if err := w.keepHistory(ctx, []*plan{p}); err != nil {
		return err
	}
	tomb := db.PutTombstoneParams{
		SquadID:   w.squad,
		Kind:      string(kind),
		ID:        id,
		Rev:       rev,
		AthleteID: p.existing.Owner(),
		DeletedBy: w.user,
		DeletedAt: w.now,
	}
	if kind == record.KindMember {
		tomb.AthleteID = nil // the devices of the athlete it was before hold it too
	}
	*p.outcome = Outcome{Status: StatusStored, Deleted: true, Rev: rev}
	return finish(w.PutTombstone(ctx, []db.PutTombstoneParams{tomb}).Exec)
}

// put writes what is to be written, parents before children, with the revisions after rev.
func (w *work) put(ctx context.Context, plans []*plan, rev int64) (int64, error) {
	groups := byKind(plans, func(p *plan) bool { return p.write != nil })
	for _, kind := range record.Kinds {
		group := groups[kind]
		if len(group) == 0 {
			continue
		}
		if err := w.keepHistory(ctx, group); err != nil {
			return 0, err
		}
		records := make([]stored, len(group))
		var risen []uuid.UUID
		for i, p := range group {
			rev++
			written := record.At(p.write, rev) // what was sent stays as it is: the transaction may run again
			records[i] = stored{written, p.stores}
			*p.outcome = Outcome{Status: StatusStored, Record: written, Rev: rev, Merged: p.write != p.change.Record}
			if p.tomb != nil {
				risen = append(risen, p.write.Key())
			}
			if p.existing == nil && takesRoom(kind) {
				w.locked.records++
			}
		}
		if len(risen) > 0 {
			if err := w.RemoveTombstones(
				ctx,
				db.RemoveTombstonesParams{SquadID: w.squad, Kind: string(kind), IDs: risen},
			); err != nil {
				return 0, err
			}
		}
		if err := stores[kind].put(ctx, w.Tx, w.squad, records); err != nil {
			return 0, err
		}
	}
	return rev, nil
}

// keepHistory sets aside the versions that the plans replace.
func (w *work) keepHistory(ctx context.Context, plans []*plan) error {
	var replaced []db.PutHistoryParams
	for _, p := range plans {
		if p.existing == nil {
			continue
		}
		body, err := record.Payload(p.existing.Record)
		if err != nil {
			return err
		}
		replaced = append(replaced, db.PutHistoryParams{
			SquadID:    w.squad,
			Kind:       string(p.existing.Kind()),
			ID:         p.existing.Key(),
			Rev:        p.existing.Revision(),
			Hash:       p.existing.hash,
			Body:       body,
			ReplacedBy: w.user,
			ReplacedAt: w.now,
		})
	}
	if len(replaced) == 0 {
		return nil
	}
	return finish(w.PutHistory(ctx, replaced).Exec)
}
