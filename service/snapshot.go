package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/service/record"
)

// SnapshotQuery asks for a page of a first copy. Page is the place the page before gave, "" to
// begin; the copy's span is told then. Since is the day from which on sessions and their shots are
// wanted, as a date or as a number of days such as 90d, "" for all; Athlete whose, nil for all.
// Extends is the cursor of a copy that an older span is added to.
type SnapshotQuery struct {
	Page    string
	Limit   int
	Schema  int
	Since   string
	Athlete *uuid.UUID
	Extends string
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
	// The span of the copy: nil when it has sessions of all times, of all athletes.
	Since   *record.Day
	Athlete *uuid.UUID
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
		return s.beginSnapshot(ctx, w, now, here, query)
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

// beginSnapshot is where a copy begins: at its first record, or where it is added to, at what it
// lacks as of its own revision. The feed brings what has changed since then in the whole span.
func (s *Service) beginSnapshot(
	ctx context.Context, w *work, now clock, here cursor, query SnapshotQuery,
) (cursor, error) {
	var err error
	if here.span, err = w.spanOf(ctx, query); err != nil || query.Extends == "" {
		return here, err
	}
	copied, err := s.readCursor(query.Extends)
	if err != nil {
		return here, err
	}
	if err := w.mayFollow(ctx, now, copied, here); err != nil {
		return here, err
	}
	switch {
	case copied.kind != 0:
		return here, fail(Invalid, "this is a place in a snapshot: read it to its end, then send the cursor that it gives")
	case copied.span.athlete != here.span.athlete:
		return here, fail(Invalid, "the copy is of another athlete: begin a new one, without extends")
	case copied.span.since == 0 || here.span.since != 0 && here.span.since >= copied.span.since:
		return here, fail(Invalid, "the copy has these sessions: ask for older ones, for example since=365d, or leave since out for all")
	}
	here.rev, here.held = copied.rev, copied.span.since
	for kind, one := range record.Kinds {
		if one == record.KindSession {
			here.kind = uint8(kind + 1)
		}
	}
	return here, nil
}

func (s *Service) snapshotPage(ctx context.Context, w *work, place cursor, limit int) (page SnapshotPage, err error) {
	page.Rev, page.Head = place.rev, s.writeHead(w.squad, place.head)
	page.Since, page.Athlete = place.span.day(), place.span.one()
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
	w.span = place.span
	for ; int(place.kind) <= len(record.Kinds); place.kind, place.within = place.kind+1, 0 {
		kind := record.Kinds[place.kind-1]
		if place.held != 0 && kind != record.KindSession && kind != record.KindShot {
			continue // the copy has them
		}
		room := limit - len(items)
		// What has changed since the snapshot began is beyond its revision: the feed brings it.
		found, err := w.snapshotOf(ctx, kind, *place, room+1)
		if err != nil {
			return nil, err
		}
		for i, one := range found {
			if i == room {
				return items, nil
			}
			place.within = one.Revision()
			if shot, is := one.Record.(*record.Shot); is && place.spanned() {
				place.session = shot.SessionID
			}
			if session, is := one.Record.(*record.Session); is && !place.lacks(session) {
				continue
			}
			items = append(items, Item{Kind: kind, ID: one.Key(), Rev: one.Revision(), Record: one.Record})
		}
	}
	place.kind, place.within, place.session, place.held = 0, 0, uuid.Nil, 0
	return items, nil
}

// snapshotOf reads the records of a kind after a place. The shots of a span are read session by
// session: those of a few sessions are spread over all of a squad's revisions.
func (w *work) snapshotOf(ctx context.Context, kind record.Kind, place cursor, limit int) ([]stored, error) {
	if kind == record.KindShot && place.spanned() {
		return w.shotsInSpan(ctx, place, limit)
	}
	found, _, err := w.after(ctx, kind, window{place.within, place.rev}, limit, w.athleteOf(kind))
	return found, err
}
