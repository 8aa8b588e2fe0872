package service

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"unicode/utf8"

	"github.com/google/uuid"

	"laneward/service/record"
	"laneward/service/shot"
)

// The limits of a push: items to a piece, which is one transaction, and to a push as a whole.
const (
	PushPiece    = 1_000
	MaxPushItems = 100_000
)

// PushItem is one change a device made. Record is the contract's JSON of its kind; Version is what
// the change is based on, "" for a new record. Deleted asks to delete the record named by ID. Rev,
// and the record's own, are what clients sent that know no versions.
type PushItem struct {
	Kind    record.Kind     `json:"kind"`
	ID      uuid.UUID       `json:"id"`
	Rev     int64           `json:"rev,omitempty"`
	Version string          `json:"version,omitempty"`
	Schema  int             `json:"schema,omitempty"` // it was made by, when older than the push's
	Record  json.RawMessage `json:"record,omitempty"`
	Deleted bool            `json:"deleted,omitempty"`

	shot *record.Shot // of a table, in place of Record
	read *decoded
}

// decoded is what an item asks for, as it was read: before its push is stored, and while the one
// before it is.
type decoded struct {
	change Change
	base   Version
	faults []record.Fault
}

// ReadPushTable reads a table of shots, which is valid JSON, into the items that its shots would be
// one by one. faults has those of the items that cannot be read, by their place. The table itself
// fails as a whole, in the words of [shot.ReadPushTable].
func ReadPushTable(table *shot.PushTable) (items []PushItem, faults map[int][]record.Fault) {
	items = make([]PushItem, 0, table.Count)
	for row := range table.Rows() {
		item, ok := itemOfRow(row)
		if !ok {
			var found []record.Fault
			if item, found = ReadPushItem(row.AppendItem(nil)); len(found) > 0 {
				if faults == nil {
					faults = make(map[int][]record.Fault)
				}
				faults[len(items)] = found
			}
		}
		items = append(items, item)
	}
	return items, faults
}

// itemOfRow is the item of a table's row, where its values can be taken as they are.
func itemOfRow(row *shot.TableRow) (item PushItem, ok bool) {
	if !row.Read {
		return item, false
	}
	item = PushItem{Kind: record.KindShot, ID: row.ID, shot: &record.Shot{Shot: row.Shot.Canonical()}}
	if row.Version != nil {
		if bytes.IndexByte(row.Version, '\\') >= 0 || !utf8.Valid(row.Version) ||
			json.Unmarshal(row.Version, &item.Version) != nil {
			return item, false
		}
	}
	if row.Schema != nil && json.Unmarshal(row.Schema, &item.Schema) != nil {
		return item, false
	}
	item.read = item.decode()
	return item, true
}

// ReadPushItem reads an item from its JSON, strictly. The item is empty when there are faults.
func ReadPushItem(data []byte) (item PushItem, faults []record.Fault) {
	if faults := record.CheckJSON(data); len(faults) > 0 {
		return PushItem{}, faults
	}
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&item); err != nil {
		return PushItem{}, []record.Fault{{
			Code:   "format",
			Detail: "cannot be read as an item with kind, id, version, record or deleted: " + err.Error(),
		}}
	}
	item.read = item.decode()
	return item, nil
}

// PushOutcome is what became of an item. Record is set where the device does not hold what is
// stored now: on a conflict, and when two edits were merged.
type PushOutcome struct {
	Kind    record.Kind
	ID      uuid.UUID
	Status  Status
	Rev     int64
	Record  record.Record
	Deleted bool
	Faults  []record.Fault
}

// PushQuery says how a push is to be stored. Schema is the device's: fields it does not know stay as
// they are. Seen is the newest head that the device was ever given, "" when it does not say. With
// Atomic nothing is stored unless everything is.
type PushQuery struct {
	Schema int
	Seen   string
	Atomic bool
}

// PushResult has an outcome for each item of a push in their order, the revision reached, 0 where an
// atomic push was held back, and the head at that, signed. Usage is the squad's once it is near its
// quota, nil before.
type PushResult struct {
	Outcomes []PushOutcome
	Rev      int64
	Head     string
	Usage    *Usage
}

// Push stores a piece of a device's changes, at most [PushPiece], in one transaction. Parents may
// come in any order within it. It is Gone, with nothing stored, when the head that the device has
// seen is not of the squad's history: a restored backup has lost some of what it holds.
func (s *Service) Push(
	ctx context.Context,
	user, squad uuid.UUID,
	query PushQuery,
	items []PushItem,
) (result PushResult, err error) {
	sent := decodePush(items, query.Schema)
	result.Outcomes = sent.outcomes
	err = s.inSquad(ctx, user, squad, func(w *work) error { return s.applyPush(ctx, w, query, sent, &result) })
	if err == errHeldBack { //nolint:errorlint // our own signal, handed up unwrapped
		return PushResult{Outcomes: holdBack(sent.outcomes)}, nil
	}
	return result, err
}

// push is the changes among the items of a push: at is each one's place, bases the version it is
// based on. Items that cannot be read are refused already.
type push struct {
	outcomes []PushOutcome
	changes  []Change
	at       []int
	bases    []Version
}

func decodePush(items []PushItem, schema int) *push {
	p := &push{outcomes: make([]PushOutcome, len(items))}
	for i, item := range items {
		p.outcomes[i] = PushOutcome{Kind: item.Kind, ID: item.ID}
		read := item.read
		if read == nil {
			read = item.decode()
		}
		if len(read.faults) > 0 {
			p.outcomes[i].Status, p.outcomes[i].Faults = StatusRefused, read.faults
			continue
		}
		change := read.change
		if change.Schema = schema; item.Schema > 0 {
			change.Schema = min(item.Schema, schema)
		}
		p.changes, p.at, p.bases = append(p.changes, change), append(p.at, i), append(p.bases, read.base)
	}
	return p
}

func (s *Service) applyPush(ctx context.Context, w *work, query PushQuery, sent *push, result *PushResult) error {
	batch, err := w.prepare(sent.changes)
	if err != nil {
		return err
	}
	now, err := w.lock(ctx)
	if err != nil {
		return err
	}
	if err := s.mustHaveSeen(ctx, w, now, query.Seen); err != nil {
		return err
	}
	basisOf := s.basisOf(ctx, w)
	for n, base := range sent.bases {
		if sent.changes[n].Basis, err = basisOf(base); err != nil {
			return err
		}
	}
	applied, reached, err := w.applyBatch(ctx, batch)
	if err != nil {
		return err
	}
	result.Rev, result.Head = reached, s.writeHead(w.squad, w.locked.head)
	if usage := w.usage(*w.locked); usage.Near() {
		result.Usage = &usage
	}
	for n, i := range sent.at {
		o := &sent.outcomes[i]
		if o.settle(applied[n], sent.changes[n].Record); o.Record != nil {
			o.Record = record.WithNewer(query.Schema, o.Record, nil)
		}
	}
	if query.Atomic && !allStored(sent.outcomes) {
		return errHeldBack
	}
	return nil
}

var errHeldBack = fail(Conflict, "nothing was stored, because not everything could be")

func allStored(outcomes []PushOutcome) bool {
	for _, o := range outcomes {
		if o.Status != StatusStored && o.Status != StatusSame {
			return false
		}
	}
	return true
}

// holdBack marks valid items as not stored, because another item of the push was refused.
func holdBack(outcomes []PushOutcome) []PushOutcome {
	for i := range outcomes {
		if outcomes[i].Status == StatusStored {
			outcomes[i].Status, outcomes[i].Rev, outcomes[i].Record, outcomes[i].Deleted = StatusRefused, 0, nil, false
			outcomes[i].Faults = []record.Fault{
				{
					Code:   "held-back",
					Detail: "is valid, but the push was to be stored whole or not at all: fix the others and send it again",
				},
			}
		}
	}
	return outcomes
}

// decode reads an item into a change and the version it is based on.
func (i PushItem) decode() *decoded {
	change, found := i.change()
	if len(found) > 0 {
		return &decoded{faults: found}
	}
	base := Version{Rev: change.Record.Revision()}
	if i.Version != "" {
		var ok bool
		if base, ok = ParseVersion(i.Version); !ok {
			return &decoded{faults: []record.Fault{{
				Pointer: "/version",
				Code:    "format",
				Detail:  "is not a version: send the record's revision, a dot and a head as the server gave it",
			}}}
		}
		change.Record.Stamp(change.Record.Key(), base.Rev)
	}
	return &decoded{change: change, base: base}
}

// change reads what an item asks for.
func (i PushItem) change() (Change, []record.Fault) {
	empty := record.New(i.Kind)
	switch {
	case empty == nil:
		return Change{}, []record.Fault{
			{Pointer: "/kind", Code: "unknown", Detail: fmt.Sprintf("%q is not a kind of record", i.Kind)},
		}
	case i.Kind == record.KindSquad || i.Kind == record.KindMember:
		return Change{}, []record.Fault{
			{
				Pointer: "/kind",
				Code:    "kind",
				Detail:  fmt.Sprintf("a %s is not changed by a push: use its own address", i.Kind),
			},
		}
	case i.Rev < 0:
		return Change{}, []record.Fault{{Pointer: "/rev", Code: "range", Detail: revBelowZero}}
	case i.Deleted && len(i.Record) > 0:
		return Change{}, []record.Fault{
			{Pointer: "/record", Code: "mismatch", Detail: "a deletion has no record: leave it out"},
		}
	case i.Deleted:
		empty.Stamp(i.ID, i.Rev)
		return Change{Record: empty, Delete: true}, nil
	}
	rec, wrong := i.decodeRecord()
	for n := range wrong {
		wrong[n].Pointer = "/record" + wrong[n].Pointer
	}
	if len(wrong) > 0 {
		return Change{}, wrong
	}
	id, rev := rec.Key(), rec.Revision()
	switch {
	case rev < 0:
		return Change{}, []record.Fault{{Pointer: "/record/rev", Code: "range", Detail: revBelowZero}}
	case i.Rev != 0 && rev != 0 && i.Rev != rev:
		return Change{}, []record.Fault{
			{Pointer: "/record/rev", Code: "mismatch", Detail: "is not the item's rev: give it once"},
		}
	case i.ID != uuid.Nil && id != uuid.Nil && i.ID != id:
		return Change{}, []record.Fault{{Pointer: "/record/id", Code: "mismatch", Detail: "is not the item's id"}}
	}
	if id == uuid.Nil {
		id = i.ID
	}
	rec.Stamp(id, max(rev, i.Rev))
	if rec.Key() == uuid.Nil {
		return Change{}, []record.Fault{
			{
				Pointer: "/id",
				Code:    "required",
				Detail:  "give the record an id, a UUIDv7: it is how it is known when it is sent again",
			},
		}
	}
	return Change{Record: rec}, nil
}

// decodeRecord reads the item's record, with everything that is wrong with it.
func (i PushItem) decodeRecord() (record.Record, []record.Fault) {
	if i.shot != nil {
		return i.shot, i.shot.Faults()
	}
	return record.Decode(i.Kind, i.Record)
}

const revBelowZero = "is below 0: give the revision that the change is based on, for example 17"

func (o *PushOutcome) settle(applied Outcome, sent record.Record) {
	o.Status, o.Rev, o.Deleted, o.Faults = applied.Status, applied.Rev, applied.Deleted, applied.Faults
	o.ID, o.Record = sent.Key(), nil
	if applied.Merged || applied.Status == StatusConflict || applied.Replaced ||
		applied.Status == StatusSame && sent.Revision() != 0 && applied.Rev != sent.Revision() {
		o.Record = applied.Record
	}
}
