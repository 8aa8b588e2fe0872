package service

import (
	"context"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// span is which sessions and shots a copy holds: the sessions held on or after a day with their
// shots, and of one athlete the sessions that are theirs or shared with their own shots. Everything
// else a copy holds whole.
//
// What a span holds depends on the records as they are now and on nothing else, so that a device's
// copy can be compared with the server's. A session or a shot outside does not come when it changes;
// one that leaves the span, because its session is given an older day, is dropped from the copy; one
// that enters comes with its shots.
type span struct {
	since   int32 // the day, counted from 1970-01-01; 0 for all
	athlete uuid.UUID
}

func dayNumber(day record.Day) int32 {
	return int32(day.Unix() / int64(24*time.Hour/time.Second)) //nolint:gosec // until the year 5 million
}

func dayOfNumber(number int32) time.Time { return time.Unix(0, 0).UTC().AddDate(0, 0, int(number)) }

// day is the first day of the span, nil for all.
func (p span) day() *record.Day {
	if p.since == 0 {
		return nil
	}
	return &record.Day{Time: dayOfNumber(p.since)}
}

// one is the athlete of the span, nil for all.
func (p span) one() *uuid.UUID {
	if p.athlete == uuid.Nil {
		return nil
	}
	return &p.athlete
}

// holds reports whether a session is held within the span.
func (p span) holds(session *record.Session) bool {
	return (p.since == 0 || dayNumber(session.Date) >= p.since) &&
		(p.athlete == uuid.Nil || session.AthleteID == nil || *session.AthleteID == p.athlete)
}

// lacks reports whether a session belongs to the snapshot: held within its span, and not within that
// of the copy that it is added to.
func (c cursor) lacks(session *record.Session) bool {
	return c.span.holds(session) && (c.held == 0 || dayNumber(session.Date) < c.held)
}

// athleteOf is whose records of a kind the reader sees, nil for everybody's.
func (w *work) athleteOf(kind record.Kind) *uuid.UUID {
	if w.athlete == nil && (kind == record.KindSession || kind == record.KindShot) {
		return w.span.one()
	}
	return w.athlete
}

const maxSpanDays = 36_500

// spanOf reads the span that a snapshot is asked for.
func (w *work) spanOf(ctx context.Context, query SnapshotQuery) (p span, err error) {
	if query.Athlete != nil {
		if _, err := w.get(ctx, record.KindAthlete, *query.Athlete); err != nil {
			return p, err
		}
		if w.athlete == nil { // an athlete sees their own anyway
			p.athlete = *query.Athlete
		}
	}
	if query.Since == "" {
		return p, nil
	}
	if number, is := strings.CutSuffix(query.Since, "d"); is {
		days, err := strconv.Atoi(number)
		if err != nil || days < 1 || days > maxSpanDays {
			return p, fail(Invalid, "since %q is not a number of days up to %d: write for example 90d", query.Since, maxSpanDays)
		}
		today, err := w.today(ctx)
		p.since = dayNumber(today) - int32(days) //nolint:gosec // bounded
		return p, err
	}
	day, err := record.ParseDay(query.Since)
	if err != nil || dayNumber(day) < 1 {
		return p, fail(
			Invalid,
			"since %q is neither a day after 1970 nor a number of days: write for example 2026-09-01 or 90d",
			query.Since,
		)
	}
	p.since = dayNumber(day)
	return p, nil
}

// today is the day it is where the squad is.
func (w *work) today(ctx context.Context) (record.Day, error) {
	found, err := w.get(ctx, record.KindSquad, w.squad)
	if err != nil {
		return record.Day{}, err
	}
	where, err := found.(*record.Squad).Location()
	if err != nil {
		return record.Day{}, err
	}
	year, month, day := w.now.In(where).Date()
	return record.Day{Time: time.Date(year, month, day, 0, 0, 0, 0, time.UTC)}, nil
}

// lastDay is later than the day of any session.
var lastDay = time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC)

// shotsInSpan reads shots in the order of their sessions' ids, then of their revisions.
func (w *work) shotsInSpan(ctx context.Context, place cursor, limit int) ([]stored, error) {
	before := lastDay
	if place.held != 0 {
		before = dayOfNumber(place.held)
	}
	found, err := w.ShotsInSpan(ctx, db.ShotsInSpanParams{
		SquadID:      w.squad,
		Since:        dayOfNumber(place.span.since),
		Before:       before,
		Athlete:      w.athleteOf(record.KindShot),
		AfterSession: place.session,
		AfterRev:     place.within,
		Upto:         place.rev,
		MaxRows:      int32(limit), //nolint:gosec // at most some thousands
	})
	return rows(found, err, shotOf)
}

// within makes the items of a feed those of the span: what is outside is dropped by the device, and
// with a session its shots come and go that are as they were when the reader was last here.
func (w *work) within(ctx context.Context, items []Item, seen int64) ([]Item, error) {
	if w.span.since == 0 || len(items) == 0 {
		return items, nil
	}
	holds, err := w.heldSessions(ctx, items)
	if err != nil {
		return nil, err
	}
	spanned := make([]Item, 0, len(items))
	for _, item := range items {
		switch r := item.Record.(type) {
		case *record.Shot:
			if !holds[r.SessionID] {
				item = item.outside()
			}
			spanned = append(spanned, item)
		case *record.Session:
			shots, err := w.withSession(ctx, item, seen)
			if err != nil {
				return nil, err
			}
			spanned = append(spanned, shots...)
		default:
			spanned = append(spanned, item)
		}
	}
	return spanned, nil
}

// outside is the item of a record that the device is to drop.
func (i Item) outside() Item { return Item{Kind: i.Kind, ID: i.ID, Rev: i.Rev, Scope: ScopeRemoved} }

// heldSessions reports of the items' sessions which are within the span.
func (w *work) heldSessions(ctx context.Context, items []Item) (map[uuid.UUID]bool, error) {
	holds := make(map[uuid.UUID]bool)
	var ids []uuid.UUID
	for _, item := range items {
		shot, is := item.Record.(*record.Shot)
		if !is {
			continue
		}
		if _, known := holds[shot.SessionID]; !known {
			holds[shot.SessionID] = false
			ids = append(ids, shot.SessionID)
		}
	}
	found, err := stores[record.KindSession].byIDs(ctx, w.Tx, w.squad, ids, w.athlete)
	for _, one := range found {
		holds[one.Key()] = w.span.holds(one.Record.(*record.Session))
	}
	return holds, err
}

// withSession is a session that has changed, and those of its shots that have not: its day may be
// another than before.
func (w *work) withSession(ctx context.Context, session Item, seen int64) ([]Item, error) {
	found, err := w.ShotsOfSessionUpto(ctx, db.ShotsOfSessionUptoParams{
		SquadID:   w.squad,
		SessionID: session.ID,
		Upto:      seen,
		Athlete:   w.athleteOf(record.KindShot),
	})
	shots, err := rows(found, err, shotOf)
	if err != nil {
		return nil, err
	}
	inside := w.span.holds(session.Record.(*record.Session))
	if !inside {
		session = session.outside()
	}
	items := make([]Item, 0, 1+len(shots))
	items = append(items, session)
	for _, one := range shots {
		item := Item{Kind: record.KindShot, ID: one.Key(), Rev: session.Rev}
		if inside {
			item.Rev, item.Record, item.Scope = one.Revision(), one.Record, ScopeAdded
		} else {
			item.Scope = ScopeRemoved
		}
		items = append(items, item)
	}
	return items, nil
}
