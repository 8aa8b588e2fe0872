package service

import (
	"context"
	"encoding/binary"

	"laneward/service/record"

	"github.com/google/uuid"
)

// Digest lets a device prove that it holds what the server does: how many records, and the sum
// modulo 2^64 of [RecordSum] over them.
type Digest struct {
	Count int64
	Sum   uint64
}

func (d *Digest) add(id uuid.UUID, rev int64) {
	d.Count++
	d.Sum += RecordSum(id, rev)
}

// RecordSum is one record's part of a digest: the two halves of its id and its revision, each mixed
// into the one before by the finaliser of SplitMix64 (Steele, Lea, Flood 2014; constants from
// memory), so that two records cannot trade revisions unseen.
func RecordSum(id uuid.UUID, rev int64) uint64 {
	mixed := mix(binary.BigEndian.Uint64(id[:8]))
	mixed = mix(mixed ^ binary.BigEndian.Uint64(id[8:]))
	return mix(mixed ^ uint64(rev)) //nolint:gosec // bits, not a number
}

func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// digestOf digests the records of a page; what is deleted or dropped has no part in it.
func digestOf(items []Item) Digest {
	var d Digest
	for _, item := range items {
		if item.Record != nil {
			d.add(item.ID, item.Rev)
		}
	}
	return d
}

// DigestAll digests everything a member may see, kind by kind, at the squad's present revision. With
// the cursor of a copy it digests what that copy's span holds.
func (s *Service) DigestAll(
	ctx context.Context,
	user, squad uuid.UUID,
	copied string,
) (kinds map[record.Kind]Digest, rev int64, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		kinds = make(map[record.Kind]Digest, len(record.Kinds))
		now, err := w.clock(ctx)
		if err != nil {
			return err
		}
		rev = now.rev
		place := cursor{squad: squad, rev: now.rev}
		if copied != "" {
			found, err := s.readCursor(copied)
			if err != nil {
				return errCursor
			}
			if found.squad != squad {
				return errOtherSquad
			}
			place.span = found.span
		}
		w.span = place.span
		for _, kind := range record.Kinds {
			if kinds[kind], err = w.digest(ctx, kind, place); err != nil {
				return err
			}
		}
		return nil
	})
	return kinds, rev, err
}

func (w *work) digest(ctx context.Context, kind record.Kind, place cursor) (d Digest, err error) {
	if kind == record.KindShot && place.spanned() {
		for found := make([]stored, eachPage); len(found) == eachPage; {
			if found, err = w.shotsInSpan(ctx, place, eachPage); err != nil {
				return d, err
			}
			for _, one := range found {
				d.add(one.Key(), one.Revision())
				place.session, place.within = one.Record.(*record.Shot).SessionID, one.Revision()
			}
		}
		return d, nil
	}
	err = w.each(ctx, kind, w.athleteOf(kind), func(r record.Record) error {
		if session, is := r.(*record.Session); !is || w.span.holds(session) {
			d.add(r.Key(), r.Revision())
		}
		return nil
	})
	return d, err
}
