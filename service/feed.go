package service

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// Item is one entry of a squad's feed: the latest state of a record, or that it is gone.
type Item struct {
	Kind    record.Kind   `json:"kind"`
	ID      uuid.UUID     `json:"id"`
	Rev     int64         `json:"rev"`
	Record  record.Record `json:"record,omitempty"`
	Deleted bool          `json:"deleted,omitempty"`
	// Scope is "added" when the record came into sight by another change, such as a drill by its
	// assignment, and "removed" when the device is to drop it although it stands.
	Scope string `json:"scope,omitempty"`
}

// AppendJSON appends the item as encoding/json writes it, shots much faster.
func (i *Item) AppendJSON(b []byte) ([]byte, error) {
	s, ok := i.Record.(*record.Shot)
	if !ok || i.Deleted || i.Scope != "" {
		data, err := json.Marshal(i)
		if err != nil {
			return b, fmt.Errorf("write %s %s: %w", i.Kind, i.ID, err)
		}
		return append(b, data...), nil
	}
	b = append(b, `{"kind":"shot","id":"`...)
	b = append(b, i.ID.String()...)
	b = strconv.AppendInt(append(b, `","rev":`...), i.Rev, 10)
	b = s.AppendRecord(append(b, `,"record":`...))
	return append(b, '}'), nil
}

// The changes of scope.
const (
	ScopeAdded   = "added"
	ScopeRemoved = "removed"
)

// FeedPage is some items in revision order, parents before children, and the cursor to go on from.
type FeedPage struct {
	Items  []Item
	Cursor string
	More   bool
	Rev    int64 // the squad's revision when the page was read
	Digest Digest
}

// FeedQuery asks for what changed after a cursor. WaitFor waits until the squad has reached a
// revision, to read one's own writes.
type FeedQuery struct {
	After   string
	Limit   int
	WaitFor int64
	Schema  int
}

// feedWait bounds how long a reader may wait for a revision.
const feedWait = 10 * time.Second

// Feed returns what changed after a cursor. A cursor of another squad is NotFound; one from before
// a restore, from a time when the member saw something else, of another client schema, or older
// than the tombstones kept is Gone: begin again with a snapshot.
func (s *Service) Feed(ctx context.Context, user, squad uuid.UUID, query FeedQuery) (page FeedPage, err error) {
	if err := checkSchema(query.Schema); err != nil {
		return page, err
	}
	if query.WaitFor > 0 {
		if err := s.waitFor(ctx, user, squad, query.WaitFor); err != nil {
			return page, err
		}
	}
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		place, err := s.feedPlace(ctx, w, query)
		if err != nil {
			return err
		}
		page, err = s.feedPage(ctx, w, place, query.Limit)
		return err
	})
	return page, err
}

func checkSchema(schema int) error {
	switch {
	case schema < OldestSchema:
		return fail(
			TooOld,
			"this client speaks schema %d and the oldest still understood is %d: update it; what it has not sent stays on the device",
			schema,
			OldestSchema,
		)
	case schema > Schema:
		return fail(
			Invalid,
			"this client speaks schema %d and the server %d: the server is older, try again when it has been updated",
			schema,
			Schema,
		)
	}
	return nil
}

// SchemaError tells a client that speaks another schema than this server what to do.
func SchemaError(schema int) error { return checkSchema(schema) }

// CheckCursor reports why a reader cannot go on from a cursor, or nil.
func (s *Service) CheckCursor(ctx context.Context, user, squad uuid.UUID, query FeedQuery) error {
	if err := checkSchema(query.Schema); err != nil {
		return err
	}
	return s.readSquad(ctx, user, squad, func(w *work) error {
		_, err := s.feedPlace(ctx, w, query)
		return err
	})
}

// feedPlace is where a reader stands. No cursor is the beginning of all.
func (s *Service) feedPlace(ctx context.Context, w *work, query FeedQuery) (cursor, error) {
	epoch, err := w.Epoch(ctx)
	if err != nil {
		return cursor{}, db.Translate(err)
	}
	here := cursor{
		epoch:  epoch,
		squad:  w.squad,
		scope:  w.scope(),
		schema: uint16(query.Schema), //nolint:gosec // checked
	}
	if query.After == "" {
		return here, nil
	}
	place, err := s.readCursor(query.After)
	if err != nil {
		return place, err
	}
	if err := w.mayFollow(ctx, place, here); err != nil {
		return place, err
	}
	if place.kind != 0 {
		return place, fail(Invalid, "this is a place in a snapshot: read on there until it gives a cursor for the feed")
	}
	return place, nil
}

// mayFollow reports whether a reader may go on from a place, or why they have to begin again.
func (w *work) mayFollow(ctx context.Context, place, here cursor) error {
	if place.squad != w.squad {
		return fail(NotFound, "this cursor belongs to another squad")
	}
	again := func(why string) error {
		return &Error{
			Code:   Gone,
			Detail: why + ": read a snapshot and go on from there; what you have not sent yet stays yours",
		}
	}
	floor, err := w.FeedFloor(ctx, db.FeedFloorParams{SquadID: w.squad})
	if err != nil {
		return db.Translate(err)
	}
	switch {
	case place.epoch != here.epoch:
		return again("the server's data was restored since")
	case place.scope != here.scope:
		return again("what you may see has changed since")
	case place.schema != here.schema:
		return again("your client has learnt new records since")
	case place.kind == 0 && place.rev < floor.Floor:
		return again("the cursor is older than the deletions still remembered")
	case place.rev > floor.Rev:
		return again("the cursor is ahead of the server")
	}
	return nil
}

// feedPage reads the items after a place.
func (s *Service) feedPage(ctx context.Context, w *work, place cursor, limit int) (page FeedPage, err error) {
	rev, err := w.clock(ctx)
	if err != nil {
		return page, err
	}
	next := place
	var items []Item
	items, next.rev, err = w.itemsAfter(ctx, window{place.rev, rev}, limit)
	if err != nil {
		return page, err
	}
	if items, err = w.completeItems(ctx, items, next.rev); err != nil {
		return page, err
	}
	return FeedPage{
		Items:  items,
		Cursor: s.writeCursor(next),
		More:   next.rev < rev,
		Rev:    rev,
		Digest: digestOf(items),
	}, nil
}

// itemsAfter merges all kinds and the tombstones of a window by revision, at most limit items.
// reached is how far it has looked, over what this member may not see too. It reads in steps that
// widen while they find little.
func (w *work) itemsAfter(ctx context.Context, in window, limit int) (items []Item, reached int64, err error) {
	for step := int64(limit); in.after < in.upto && len(items) < limit; step *= 4 {
		part := window{in.after, min(in.after+step, in.upto)}
		found, err := w.itemsIn(ctx, part, limit-len(items)+1)
		if err != nil {
			return nil, 0, err
		}
		items = append(items, found...)
		in.after = part.upto
	}
	if len(items) > limit {
		return items[:limit], items[limit-1].Rev, nil
	}
	return items, in.after, nil
}

// itemsIn reads the first items of a window, at most limit of each kind.
func (w *work) itemsIn(ctx context.Context, in window, limit int) (items []Item, err error) {
	for _, kind := range record.Kinds {
		found, err := stores[kind].after(
			ctx,
			w.Tx,
			w.squad,
			in,
			int32(limit), //nolint:gosec // at most some thousands
			w.athlete,
		)
		if err != nil {
			return nil, err
		}
		items = slices.Grow(items, len(found))
		for _, one := range found {
			items = append(items, Item{Kind: kind, ID: one.Key(), Rev: one.Revision(), Record: one.Record})
		}
	}
	if w.athlete != nil {
		dropped, err := w.droppedMembers(ctx, in)
		if err != nil {
			return nil, err
		}
		items = append(items, dropped...)
	}
	tombs, err := w.TombstonesAfter(ctx, db.TombstonesAfterParams{
		SquadID: w.squad,
		After:   in.after,
		Upto:    in.upto,
		MaxRows: int32(limit), //nolint:gosec // as above
		Athlete: w.athlete,
	})
	if err != nil {
		return nil, db.Translate(err)
	}
	for _, tomb := range tombs {
		items = append(items, Item{Kind: record.Kind(tomb.Kind), ID: tomb.ID, Rev: tomb.Rev, Deleted: true})
	}
	slices.SortFunc(items, func(a, b Item) int { return int(a.Rev - b.Rev) })
	return items, nil
}

// completeItems adds what has to come along, so that parents precede children, and for an athlete
// the drills that an assignment takes out of sight.
func (w *work) completeItems(ctx context.Context, items []Item, upto int64) ([]Item, error) {
	missing, err := w.missingParents(ctx, items, upto)
	if err != nil {
		return nil, err
	}
	ordered := parentsFirst(items, missing)
	if w.athlete == nil {
		return ordered, nil
	}
	complete := make([]Item, 0, len(ordered))
	for _, item := range ordered {
		complete = append(complete, item)
		if item.Kind == record.KindAssignment {
			dropped, err := w.droppedDrills(ctx, item)
			if err != nil {
				return nil, err
			}
			complete = append(complete, dropped...)
		}
	}
	return complete, nil
}

// missingParents are the parents of the records, and theirs, that a reader at revision upto may not
// have: those that have changed after it, and for an athlete the drills, which come into sight by
// an assignment, maybe after upto.
func (w *work) missingParents(ctx context.Context, items []Item, upto int64) (missing []Item, err error) {
	known := make(map[record.Ref]bool)
	for _, item := range items {
		if item.Kind != record.KindShot { // which is nobody's parent, and there are many
			known[record.Ref{Kind: item.Kind, ID: item.ID}] = true
		}
	}
	for next := items; len(next) > 0; {
		wanted := make(map[record.Kind][]uuid.UUID)
		for _, item := range next {
			if item.Record == nil {
				continue
			}
			for _, ref := range item.Record.Parents() {
				if key := (record.Ref{Kind: ref.Kind, ID: ref.ID}); !known[key] {
					known[key] = true
					wanted[ref.Kind] = append(wanted[ref.Kind], ref.ID)
				}
			}
		}
		next = nil
		for kind, ids := range wanted {
			found, err := stores[kind].byIDs(ctx, w.Tx, w.squad, ids, w.athlete)
			if err != nil {
				return nil, err
			}
			for _, one := range found {
				item := Item{Kind: kind, ID: one.Key(), Rev: one.Revision(), Record: one.Record}
				switch {
				case kind == record.KindDrill && w.athlete != nil:
					item.Scope = ScopeAdded
				case one.Revision() <= upto:
					continue
				}
				next = append(next, item)
			}
		}
		missing = append(missing, next...)
	}
	return missing, nil
}

// parentsFirst orders items as they are, but each after its parents among them and the missing
// ones: a parent that was changed after its child has the later revision.
func parentsFirst(items, missing []Item) []Item {
	all := slices.Concat(items, missing)
	at := make(map[record.Ref]int)
	for i, item := range all {
		if item.Kind != record.KindShot { // as above
			at[record.Ref{Kind: item.Kind, ID: item.ID}] = i
		}
	}
	ordered, placed := make([]Item, 0, len(all)), make([]bool, len(all))
	var place func(i int)
	place = func(i int) {
		if placed[i] {
			return
		}
		placed[i] = true
		if all[i].Record != nil {
			for _, ref := range all[i].Record.Parents() {
				if parent, ok := at[record.Ref{Kind: ref.Kind, ID: ref.ID}]; ok {
					place(parent)
				}
			}
		}
		ordered = append(ordered, all[i])
	}
	for i := range items {
		place(i)
	}
	return ordered
}

// resumptions tells for each item of a page the revision that a reader has reached with it: not
// more than what the items still to come leave behind. A record that only came along holds nothing
// back.
func resumptions(items []Item, upto int64) []int64 {
	reached := make([]int64, len(items))
	for i := len(items) - 1; i >= 0; i-- {
		reached[i] = upto
		if items[i].Scope != ScopeAdded {
			upto = min(upto, items[i].Rev-1)
		}
	}
	return reached
}

// maxMembers is more than a squad has.
const maxMembers = 10_000

// droppedMembers tells an athlete's device to drop the members that were this athlete before, as a
// parent may have been, and are not any more.
func (w *work) droppedMembers(ctx context.Context, in window) (dropped []Item, err error) {
	members, err := stores[record.KindMember].after(ctx, w.Tx, w.squad, in, maxMembers, nil)
	if err != nil {
		return nil, err
	}
	for _, one := range members {
		if record.SameID(one.Owner(), w.athlete) {
			continue
		}
		history, err := w.HistoryOf(ctx, db.HistoryOfParams{SquadID: w.squad, Kind: string(record.KindMember), ID: one.Key()})
		if err != nil {
			return nil, db.Translate(err)
		}
		for _, version := range history {
			var was record.Member
			if err := json.Unmarshal(version.Body, &was); err != nil {
				return nil, fmt.Errorf("read the history of member %s: %w", one.Key(), err)
			}
			if record.SameID(was.AthleteID, w.athlete) {
				dropped = append(
					dropped,
					Item{Kind: record.KindMember, ID: one.Key(), Rev: one.Revision(), Scope: ScopeRemoved},
				)
				break
			}
		}
	}
	return dropped, nil
}

// droppedDrills tells an athlete's device to drop the drills that an assignment was for once, is
// not now, and no other is.
func (w *work) droppedDrills(ctx context.Context, assignment Item) (dropped []Item, err error) {
	history, err := w.HistoryOf(
		ctx,
		db.HistoryOfParams{SquadID: w.squad, Kind: string(record.KindAssignment), ID: assignment.ID},
	)
	if err != nil {
		return nil, db.Translate(err)
	}
	seen := make(map[uuid.UUID]bool)
	for _, version := range history {
		var was record.Assignment
		if err := json.Unmarshal(version.Body, &was); err != nil {
			return nil, fmt.Errorf("read the history of assignment %s: %w", assignment.ID, err)
		}
		if seen[was.DrillID] {
			continue
		}
		seen[was.DrillID] = true
		visible, err := stores[record.KindDrill].byIDs(ctx, w.Tx, w.squad, []uuid.UUID{was.DrillID}, w.athlete)
		if err != nil {
			return nil, err
		}
		if len(visible) == 0 {
			dropped = append(dropped, Item{Kind: record.KindDrill, ID: was.DrillID, Rev: assignment.Rev, Scope: ScopeRemoved})
		}
	}
	return dropped, nil
}

// waitFor returns when the squad has reached a revision, or after a while, whichever is first.
func (s *Service) waitFor(ctx context.Context, user, squad uuid.UUID, rev int64) error {
	ctx, cancel := context.WithTimeout(ctx, feedWait)
	defer cancel()
	woken, done := s.live.follow(squad)
	defer done()
	for {
		var now int64
		err := s.readSquad(ctx, user, squad, func(w *work) (err error) {
			now, err = w.Clock(ctx, db.ClockParams{SquadID: squad})
			return err
		})
		if err != nil || now >= rev {
			return err
		}
		select {
		case <-woken:
		case <-ctx.Done():
			return fail(
				Unavailable,
				"the squad has not reached revision %d within %s: is it a revision of this squad?",
				rev,
				feedWait,
			)
		}
	}
}
