package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/service/record"
)

// SnapshotQuery asks for a page of a first copy. Page is the place the page before gave, "" to
// begin.
type SnapshotQuery struct {
	Page   string
	Limit  int
	Schema int
}

// SnapshotPage is some records as they were at revision Rev, parents before children. Page is
// where the next one begins; on the last it is "" and Cursor says where the feed goes on. What
// changed meanwhile is not in the snapshot: the feed brings it.
type SnapshotPage struct {
	Items  []Item
	Page   string
	Cursor string
	Rev    int64
	Head   string // the squad's head when the page was read, signed
	Digest Digest
}

// Snapshot reads a page of a first copy of what a member may see.
func (s *Service) Snapshot(
	ctx context.Context,
	user, squad uuid.UUID,
	query SnapshotQuery,
) (page SnapshotPage, err error) {
	if err := checkSchema(query.Schema); err != nil {
		return page, err
	}
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		place, err := s.snapshotPlace(ctx, w, query)
		if err != nil {
			return err
		}
		page, err = s.snapshotPage(ctx, w, place, query.Limit)
		return err
	})
	return page, err
}

// snapshotPlace is where a reader is: kind is the place in Kinds counted from 1.
func (s *Service) snapshotPlace(ctx context.Context, w *work, query SnapshotQuery) (cursor, error) {
	now, err := w.clock(ctx)
	if err != nil {
		return cursor{}, err
	}
	here := cursor{
		head:   now.head,
		squad:  w.squad,
		scope:  w.scope(),
		schema: uint16(query.Schema), //nolint:gosec // checked
		rev:    now.rev,
		kind:   1,
	}
	if query.Page == "" {
		return here, nil
	}
	place, err := s.readCursor(query.Page)
	if err != nil {
		return place, err
	}
	if place.kind == 0 || int(place.kind) > len(record.Kinds) {
		return place, fail(Invalid, "this is a cursor of the feed: ask for the snapshot without a page to begin it")
	}
	if err := w.mayFollow(ctx, now, place, here); err != nil {
		return place, err
	}
	place.head = now.head
	return place, nil
}

func (s *Service) snapshotPage(ctx context.Context, w *work, place cursor, limit int) (page SnapshotPage, err error) {
	page.Rev, page.Head = place.rev, s.writeHead(w.squad, place.head)
	page.Items, err = w.snapshotItems(ctx, &place, limit)
	if err != nil {
		return page, err
	}
	missing, err := w.missingParents(ctx, page.Items, place.rev)
	if err != nil {
		return page, err
	}
	page.Items = forSchema(parentsFirst(page.Items, missing), int(place.schema))
	page.Digest = digestOf(page.Items)
	if place.kind != 0 {
		page.Page = s.writeCursor(place)
	} else {
		page.Cursor = s.writeCursor(place)
	}
	return page, nil
}

// snapshotItems reads on from a place and moves it; at the end of all it becomes a place in the
// feed.
func (w *work) snapshotItems(ctx context.Context, place *cursor, limit int) (items []Item, err error) {
	for ; int(place.kind) <= len(record.Kinds); place.kind, place.within = place.kind+1, 0 {
		kind := record.Kinds[place.kind-1]
		room := limit - len(items)
		// What has changed since the snapshot began is beyond its revision: the feed brings it.
		found, _, err := w.after(ctx, kind, window{place.within, place.rev}, room+1, w.athlete)
		if err != nil {
			return nil, err
		}
		for i, one := range found {
			if i == room {
				return items, nil
			}
			items = append(items, Item{Kind: kind, ID: one.Key(), Rev: one.Revision(), Record: one.Record})
			place.within = one.Revision()
		}
	}
	place.kind, place.within = 0, 0
	return items, nil
}
