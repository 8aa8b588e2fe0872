package service

import (
	"context"
	"encoding/json"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
	"laneward/service/shot"
)

// wantCounted wants the squad's counter to have as many records as there are.
func (f *fixture) wantCounted(t testing.TB, squad uuid.UUID) (records int64) {
	t.Helper()
	err := f.db.InSquad(t.Context(), squad, func(tx *db.Tx) error {
		row, err := tx.Clock(t.Context(), db.ClockParams{SquadID: squad})
		if err != nil {
			return err
		}
		if records, err = tx.CountRecords(t.Context(), db.CountRecordsParams{SquadID: squad}); err != nil {
			return err
		}
		if row.Counted != row.Rev || row.Records != records {
			t.Errorf("the counter has %d records as of revision %d; there are %d at %d", row.Records, row.Counted, records, row.Rev)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return records
}

func (f *fixture) setQuota(t testing.TB, squad uuid.UUID, quota int64) {
	t.Helper()
	if _, err := f.SetQuota(t.Context(), squad, &quota); err != nil {
		t.Fatal(err)
	}
}

func newShots(session *record.Session, n int) []*record.Shot {
	shots := make([]*record.Shot, n)
	for i := range shots {
		shots[i] = &record.Shot{Shot: shot.Shot{
			ID: newID(), SessionID: session.ID, AthleteID: *session.AthleteID, Order: i + 1, Time: session.Date.Time,
		}}
	}
	return shots
}

// The counter has as many records as there are, whatever is stored, changed, deleted, stored again
// and erased.
func TestRecordsAreCounted(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	if got := f.wantCounted(t, squad); got != 0 {
		t.Errorf("a new squad has %d records", got)
	}
	athlete, other := newAthlete("Rhea"), newAthlete("Ansa")
	session, _ := f.life(t, squad, coach, athlete)
	f.life(t, squad, coach, other)
	before := f.wantCounted(t, squad)
	shots := newShots(session, 3)
	f.store(t, squad, coach, shots[0], shots[1], shots[2])
	f.apply(t, squad, coach, Change{Record: shots[0]}) // the same again
	f.apply(t, squad, coach, Change{Record: shots[1], Delete: true}, Change{Record: shots[2], Delete: true})
	if got := f.wantCounted(t, squad); got != before+1 {
		t.Errorf("%d records after one of three shots stayed, want %d", got, before+1)
	}
	again := *shots[1]
	again.Rev = f.tombstone(t, squad, record.KindShot, again.ID)
	f.store(t, squad, coach, &again)
	if got := f.wantCounted(t, squad); got != before+2 {
		t.Errorf("%d records with a deleted one stored again, want %d", got, before+2)
	}
	base := f.version(t, squad, session.Rev)
	if err := f.DeleteSession(t.Context(), coach, squad, session.ID, base, false); err == nil {
		t.Error("a session was deleted, and not its shots")
	}
	if got := f.wantCounted(t, squad); got != before+2 {
		t.Errorf("%d records after a deletion that could not be, want %d", got, before+2)
	}
	if err := f.DeleteSession(t.Context(), coach, squad, session.ID, base, true); err != nil {
		t.Fatal(err)
	}
	if got := f.wantCounted(t, squad); got != before-2 { // it, and the shot of before
		t.Errorf("%d records after a session was deleted with its shots, want %d", got, before-2)
	}
	if _, err := f.Erase(t.Context(), coach, squad, athlete.ID, athlete.Name); err != nil {
		t.Fatal(err)
	}
	f.wantCounted(t, squad)
}

// tombstone is the revision of a deletion.
func (f *fixture) tombstone(t testing.TB, squad uuid.UUID, kind record.Kind, id uuid.UUID) (rev int64) {
	t.Helper()
	err := f.db.ReadSquad(t.Context(), squad, func(tx *db.Tx) error {
		found, err := tx.TombstonesByIDs(t.Context(), db.TombstonesByIDsParams{SquadID: squad, Kind: string(kind), IDs: []uuid.UUID{id}})
		if err == nil {
			rev = found[0].Rev
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return rev
}

// What an older program has written, which moves the revision alone, is counted at the next write.
func TestUncountedRecordsAreCounted(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	athlete := newAthlete("Rhea")
	f.store(t, squad, coach, athlete)
	owner := f.owner(t)
	if _, err := owner.Exec(t.Context(), `UPDATE squads_clock SET records = 77, counted = rev - 1 WHERE squad_id = $1`, squad); err != nil {
		t.Fatal(err)
	}
	usage, err := f.Usage(t.Context(), coach, squad)
	if err != nil || usage.Records != 1 {
		t.Errorf("%+v, %v: want 1 record", usage, err)
	}
	f.store(t, squad, coach, newBall(athlete.ID))
	if got := f.wantCounted(t, squad); got != 2 {
		t.Errorf("%d records, want 2", got)
	}
}

// Of a push the squad stores as much as it has room for, parents first and then in the order sent.
// The rest waits on the device, and goes when there is room.
func TestQuota(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	athlete := newAthlete("Rhea")
	f.store(t, squad, coach, athlete)
	f.setQuota(t, squad, 5)
	session := newSession(athlete.ID)
	shots := newShots(session, 4)
	orphan := newShots(newSession(athlete.ID), 1)[0] // its session is not stored: it takes no room
	changes := []Change{{Record: orphan}, {Record: shots[0]}, {Record: shots[1]}, {Record: shots[2]}, {Record: shots[3]}, {Record: session}}
	type settled struct {
		Status Status
		Code   Code
	}
	statuses := func(outcomes []Outcome) (all []settled) {
		for _, o := range outcomes {
			all = append(all, settled{o.Status, o.Code})
		}
		return all
	}
	stored, full := settled{StatusStored, ""}, settled{StatusWaiting, OverQuota}
	outcomes := f.apply(t, squad, coach, changes...)
	if diff := cmp.Diff([]settled{{StatusWaiting, NotFound}, stored, stored, stored, full, stored}, statuses(outcomes)); diff != "" {
		t.Fatal(diff)
	}
	if says := outcomes[4].Faults[0].Detail; !strings.Contains(says, "all of the 5 records") || !strings.Contains(says, "delete sessions") {
		t.Errorf("it is told %q", says)
	}
	if got := f.wantCounted(t, squad); got != 5 {
		t.Errorf("%d records", got)
	}

	t.Run("changes, deletions and members go on", func(t *testing.T) {
		session.Note = "went well"
		f.store(t, squad, coach, session)
		f.join(t, squad, coach, record.RoleAnalyst, nil)
	})
	t.Run("a change that needs a new record waits with it", func(t *testing.T) {
		other := newSession(athlete.ID)
		moved := *shots[0]
		moved.SessionID = other.ID
		outcomes := f.apply(t, squad, coach, Change{Record: other}, Change{Record: &moved})
		if diff := cmp.Diff([]settled{full, {StatusWaiting, NotFound}}, statuses(outcomes)); diff != "" {
			t.Error(diff)
		}
	})
	t.Run("a deletion makes room in the same push", func(t *testing.T) {
		outcomes := f.apply(t, squad, coach, Change{Record: shots[3]}, Change{Record: shots[1], Delete: true})
		if diff := cmp.Diff([]settled{stored, stored}, statuses(outcomes)); diff != "" {
			t.Error(diff)
		}
	})
	t.Run("one record by itself", func(t *testing.T) {
		_, _, err := f.Create(t.Context(), coach, squad, newBall(athlete.ID))
		wantCode(t, err, OverQuota)
	})
	t.Run("a smaller quota takes nothing away", func(t *testing.T) {
		f.setQuota(t, squad, 1)
		f.apply(t, squad, coach, Change{Record: shots[2], Delete: true})
		usage, err := f.Usage(t.Context(), coach, squad)
		if want := (Usage{4, 1}); err != nil || usage != want || !usage.Full() {
			t.Errorf("%+v, %v", usage, err)
		}
	})
	f.wantCounted(t, squad)
}

// An atomic push that is over the quota stores nothing.
func TestQuotaOfAtomicPush(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	f.setQuota(t, squad, 1)
	items := make([]PushItem, 2)
	for i := range items {
		text, err := json.Marshal(newAthlete("Rhea"))
		if err != nil {
			t.Fatal(err)
		}
		items[i] = PushItem{Kind: record.KindAthlete, Record: text}
	}
	result, err := f.Push(t.Context(), coach, squad, PushQuery{Schema: Schema, Atomic: true}, items)
	if err != nil {
		t.Fatal(err)
	}
	if result.Outcomes[0].Status != StatusRefused || result.Outcomes[0].Faults[0].Code != "held-back" ||
		result.Outcomes[1].Status != StatusWaiting || result.Outcomes[1].Faults[0].Code != string(OverQuota) {
		t.Errorf("%+v", result.Outcomes)
	}
	if got := f.wantCounted(t, squad); got != 0 {
		t.Errorf("%d records were stored", got)
	}
	result, err = f.Push(t.Context(), coach, squad, PushQuery{Schema: Schema}, items)
	if want := (Usage{1, 1}); err != nil || result.Usage == nil || *result.Usage != want {
		t.Errorf("a push that fills the squad tells %+v, %v", result.Usage, err)
	}
}

// Pushes at once never exceed a quota.
func TestQuotaHoldsAtOnce(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	athlete := newAthlete("Rhea")
	session := newSession(athlete.ID)
	f.store(t, squad, coach, athlete, session)
	const quota = 25
	f.setQuota(t, squad, quota)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			shots := newShots(session, 7)
			changes := make([]Change, len(shots))
			for i, one := range shots {
				changes[i] = Change{Record: one}
			}
			if err := f.inSquad(context.Background(), coach, squad, func(w *work) error {
				_, _, err := w.apply(context.Background(), changes)
				return err
			}); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if got := f.wantCounted(t, squad); got != quota {
		t.Errorf("%d records, want %d", got, quota)
	}
}

func TestUsageNearAndFull(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		usage      Usage
		near, full bool
	}{
		"none":          {Usage{0, 100}, false, false},
		"79 of 100":     {Usage{79, 100}, false, false},
		"80 of 100":     {Usage{80, 100}, true, false},
		"99 of 100":     {Usage{99, 100}, true, false},
		"full":          {Usage{100, 100}, true, true},
		"beyond":        {Usage{140, 100}, true, true},
		"any number":    {Usage{1 << 40, 0}, false, false},
		"none of one":   {Usage{0, 1}, false, false},
		"the most":      {Usage{MaxQuota, MaxQuota}, true, true},
		"79 % of large": {Usage{MaxQuota/100*80 - 1, MaxQuota}, false, false},
	} {
		t.Run(name, func(t *testing.T) {
			if tc.usage.Near() != tc.near || tc.usage.Full() != tc.full {
				t.Errorf("near %v, full %v", tc.usage.Near(), tc.usage.Full())
			}
		})
	}
}

func TestSetQuota(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	f.quota = 1_000
	squad, coach := f.squad(t)
	f.store(t, squad, coach, newAthlete("Rhea"))
	for _, tc := range []struct {
		name string
		set  *int64
		want Usage
	}{
		{"its own", new(int64(7)), Usage{1, 7}},
		{"any number", new(int64(0)), Usage{1, 0}},
		{"the server's", nil, Usage{1, 1_000}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			set, err := f.SetQuota(t.Context(), squad, tc.set)
			if err != nil || set != tc.want {
				t.Errorf("%+v, %v", set, err)
			}
			if got, err := f.QuotaOf(t.Context(), squad); err != nil || got != tc.want {
				t.Errorf("then %+v, %v", got, err)
			}
		})
	}
	_, err := f.SetQuota(t.Context(), squad, new(int64(-1)))
	wantCode(t, err, Invalid)
	_, err = f.SetQuota(t.Context(), newID(), nil)
	wantCode(t, err, NotFound)
	_, err = f.QuotaOf(t.Context(), newID())
	wantCode(t, err, NotFound)
	_, err = f.Usage(t.Context(), f.person(t), squad)
	wantCode(t, err, NotFound)
}
