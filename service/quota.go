package service

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// Usage is how many records a squad has, itself and its members aside, and how many it may have; a
// quota of 0 is any number.
type Usage struct {
	Records, Quota int64
}

// nearPercent is the share of a quota from which on people are warned.
const nearPercent = 80

// Near reports whether the squad has used so much of its quota that people should hear of it.
func (u Usage) Near() bool { return u.Quota > 0 && 100*u.Records >= nearPercent*u.Quota }

// Full reports whether no new record is stored.
func (u Usage) Full() bool { return u.Quota > 0 && u.Records >= u.Quota }

// takesRoom reports whether records of a kind count. Members do not: a full squad can still be
// joined and left.
func takesRoom(kind record.Kind) bool { return kind != record.KindSquad && kind != record.KindMember }

// count counts a squad's records, unless the counter has them.
func (w *work) count(ctx context.Context, c *clock) error {
	if c.counted {
		return nil
	}
	records, err := w.CountRecords(ctx, db.CountRecordsParams{SquadID: w.squad})
	c.records, c.counted = records, err == nil
	return db.Translate(err)
}

func (w *work) usage(c clock) Usage {
	usage := Usage{c.records, w.quota}
	if c.quota != nil {
		usage.Quota = *c.quota
	}
	return usage
}

// keepQuota lets the new records wait for which the squad has no room. Those are served first that
// are written first: parents before children, and of one kind in the order sent. It is under the
// lock, so a quota is never exceeded, not by pushes at once either. It reports whether any waits.
func (w *work) keepQuota(plans []*plan, known *parents) (waits bool) {
	usage := w.usage(*w.locked)
	room := usage.Quota - usage.Records
	if usage.Quota == 0 || room >= int64(len(plans)) {
		return false
	}
	groups := byKind(plans, func(p *plan) bool { return p.write != nil && p.existing == nil })
	for _, kind := range record.Kinds {
		for _, p := range groups[kind] {
			if !takesRoom(kind) {
				continue
			}
			if room--; room >= 0 {
				continue
			}
			*p.outcome = Outcome{
				Status: StatusWaiting,
				Code:   OverQuota,
				Faults: []record.Fault{{Code: string(OverQuota), Detail: usage.full()}},
			}
			delete(known.owners, record.Ref{Kind: kind, ID: p.write.Key()})
			p.write, waits = nil, true
		}
	}
	return waits
}

// full is what people are told whose new record is not stored.
func (u Usage) full() string {
	return fmt.Sprintf(
		"the squad has all of the %d records that it may have: delete sessions that nobody needs any more, "+
			"or ask whoever runs the server for more room",
		u.Quota,
	)
}

// Usage returns how much of its quota a squad has used. Every member may know.
func (s *Service) Usage(ctx context.Context, user, squad uuid.UUID) (usage Usage, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		now, err := w.clock(ctx)
		if err != nil {
			return err
		}
		err = w.count(ctx, &now)
		usage = w.usage(now)
		return err
	})
	return usage, err
}

// MaxQuota is the largest quota there is: more is any number.
const MaxQuota = 1_000_000_000_000

// QuotaOf is [Service.Usage] for whoever runs the server.
func (s *Service) QuotaOf(ctx context.Context, squad uuid.UUID) (usage Usage, err error) {
	err = s.db.ReadSquad(ctx, squad, func(tx *db.Tx) error {
		w := &work{Tx: tx, member: member{squad: squad}, quota: s.quota}
		now, err := w.clock(ctx)
		if err != nil {
			return notFoundAs(err, noSquad)
		}
		err = w.count(ctx, &now)
		usage = w.usage(now)
		return err
	})
	return usage, err
}

// SetQuota sets how many records a squad may have, 0 for any number and nil for as many as the
// server gives every squad, and counts its records anew. What a squad has beyond its quota stays.
func (s *Service) SetQuota(ctx context.Context, squad uuid.UUID, quota *int64) (usage Usage, err error) {
	if quota != nil && (*quota < 0 || *quota > MaxQuota) {
		return usage, fail(Invalid, "a quota is from 1 to %d records, or 0 for any number", int64(MaxQuota))
	}
	err = s.commit(ctx, squad, func(tx *db.Tx) (*work, error) {
		w := &work{Tx: tx, member: member{squad: squad}, quota: s.quota}
		if _, err := w.lock(ctx); err != nil {
			return nil, notFoundAs(err, noSquad)
		}
		w.locked.counted, w.locked.quota = false, quota
		if err := w.count(ctx, w.locked); err != nil {
			return nil, err
		}
		usage = w.usage(*w.locked)
		return w, w.Tx.SetQuota(ctx, db.SetQuotaParams{SquadID: squad, Quota: quota, Records: usage.Records})
	})
	return usage, err
}

const noSquad = "there is no squad of this id: its coach sees it in the address of the squad's page"
