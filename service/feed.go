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
	// assignment, and "removed" when the device is to drop it although it still exists.
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
	Rev    int64  // the squad's revision when the page was read
	Head   string // the squad's head at Rev, signed
	Digest Digest
}

// FeedQuery asks for what changed after a cursor. Seen is the newest head that the reader was ever
// given, "" when they do not say. WaitFor waits until the squad has reached a revision, to read
// one's own writes.
type FeedQuery struct {
	After   string
	Seen    string
	Limit   int
	WaitFor int64
	Schema  int
}

// feedWait bounds how long a reader may wait for a revision.
const feedWait = 10 * time.Second

// Feed returns what changed after a cursor. A cursor of another squad is NotFound. One whose head is
// not of the squad's history, as after a restore, one from a time when the member saw something
// else, of another client schema, or older than the tombstones kept is Gone: begin again with a
// snapshot. So is one beside a head seen that is not of the history.
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

// forSchema leaves out of the items' records what a client of the schema does not know.
func forSchema(items []Item, schema int) []Item {
	for i := range items {
		if items[i].Record != nil {
			items[i].Record = record.WithNewer(schema, items[i].Record, nil)
		}
	}
	return items
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

// SchemaError returns what a client must do that speaks another schema than this server.
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

// feedPlace is where a reader is in the feed. Without a cursor it is the beginning.
func (s *Service) feedPlace(ctx context.Context, w *work, query FeedQuery) (cursor, error) {
	now, err := w.clock(ctx)
	if err != nil {
		return cursor{}, err
	}
	here := cursor{
		head:   now.head,
		squad:  w.squad,
		scope:  w.scope(),
		schema: uint16(query.Schema), //nolint:gosec // checked
	}
	if query.After == "" {
		return here, s.mustHaveSeen(ctx, w, now, query.Seen)
	}
	place, err := s.readCursor(query.After)
	if err != nil {
		return place, err
	}
	if err := w.mayFollow(ctx, now, place, here); err != nil {
		return place, err
	}
	if err := s.mustHaveSeen(ctx, w, now, query.Seen); err != nil {
		return place, err
	}
	if place.kind != 0 {
		return place, fail(Invalid, "this is a place in a snapshot: read on there until it gives a cursor for the feed")
	}
	return place, nil
}

var errOtherSquad = fail(NotFound, "this cursor belongs to another squad")

// mayFollow reports whether a reader may go on from a place, or why they have to begin again.
func (w *work) mayFollow(ctx context.Context, now clock, place, here cursor) error {
	if place.squad != w.squad {
		return errOtherSquad
	}
	if err := w.mustStand(ctx, now, place.head); err != nil {
		return err
	}
	switch {
	case place.scope != here.scope:
		return beginAgain(GoneScope, "what you may see has changed since")
	case place.schema != here.schema:
		return beginAgain(GoneSchema, "your client has learnt new records since")
	case place.kind == 0 && place.rev < now.floor:
		return beginAgain(GoneForgotten, "the cursor is older than the deletions still remembered")
	}
	return nil
}

// feedPage reads the items after a place.
func (s *Service) feedPage(ctx context.Context, w *work, place cursor, limit int) (page FeedPage, err error) {
	now, err := w.clock(ctx)
	if err != nil {
		return page, err
	}
	next := place
	next.head = now.head
	var items []Item
	w.span = place.span
	items, next.rev, err = w.itemsAfter(ctx, window{place.rev, now.rev}, limit)
	if err != nil {
		return page, err
	}
	if items, err = w.within(ctx, items, place.rev); err != nil {
		return page, err
	}
	if items, err = w.completeItems(ctx, items, next.rev); err != nil {
		return page, err
	}
	items = forSchema(items, int(place.schema))
	return FeedPage{
		Items:  items,
		Cursor: s.writeCursor(next),
		More:   next.rev < now.rev,
		Rev:    now.rev,
		Head:   s.writeHead(w.squad, now.head),
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
			w.athleteOf(kind),
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

// resumptions returns, for each item of a page, the revision a reader has reached with it: below
// every item still to come. A record that is only sent along does not hold it back.
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

// waitFor returns when the squad has reached a revision, or after a while, whichever is first.
func (s *Service) waitFor(ctx context.Context, user, squad uuid.UUID, rev int64) error {
	ctx, cancel := context.WithTimeout(ctx, feedWait)
	defer cancel()
	woken, done := s.live.follow(squad)
	defer done()
	for {
		var now clock
		err := s.readSquad(ctx, user, squad, func(w *work) (err error) {
			now, err = w.clock(ctx)
			return err
		})
		if err != nil || now.rev >= rev {
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
