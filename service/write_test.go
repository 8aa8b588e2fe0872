package service

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"laneward/service/lane"
	"laneward/service/record"
	"laneward/service/shot"
)

// TestResentEditUndoesNothing: an edit whose answer was lost is sent again after somebody has
// changed the record back. It is the same, and what came after it stands.
func TestResentEditUndoesNothing(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	first := newPattern("long")
	f.store(t, squad, coach, first)
	edit := func(base int64, note string) Change {
		changed := *first
		changed.Rev, changed.Note = base, note
		return Change{Record: &changed}
	}
	base := first.Rev
	if got := f.apply(t, squad, coach, edit(base, "flattened"))[0]; got.Status != StatusStored {
		t.Fatal(got)
	}
	back := f.apply(t, squad, coach, edit(base+1, ""))[0]
	if back.Status != StatusStored {
		t.Fatal(back)
	}
	again := f.apply(t, squad, coach, edit(base, "flattened"))[0]
	if again.Status != StatusSame || again.Rev != back.Rev || again.Record.(*record.Pattern).Note != "" {
		t.Errorf("sent again: %+v", again)
	}
}

// TestEverythingOfARecordIsKept goes through a record's whole life and reads its history.
func TestEverythingOfARecordIsKept(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	first := newPattern("one")
	f.store(t, squad, coach, first)
	id, rev := first.ID, first.Rev
	step := func(base int64, name string, remove bool) Outcome {
		f.clock.move(time.Minute)
		got := f.apply(t, squad, coach, Change{Record: &record.Pattern{Head: record.Head{ID: id, Rev: base}, Name: name, LengthFt: 41}, Delete: remove})[0]
		if got.Status != StatusStored {
			t.Fatal(got)
		}
		return got
	}
	step(rev, "two", false)
	step(rev+1, "", true)
	step(rev+2, "three", false) // in full knowledge of the deletion
	step(rev+3, "four", false)
	conn := f.owner(t)
	rows, err := conn.Query(
		t.Context(),
		`SELECT format('%s %s %s %s', rev, body ->> 'name', replaced_by = $3, to_char(replaced_at AT TIME ZONE 'UTC', 'HH24:MI'))
		FROM history WHERE squad_id = $1 AND kind = 'pattern' AND id = $2 ORDER BY rev`,
		squad,
		id,
		coach,
	)
	if err != nil {
		t.Fatal(err)
	}
	got, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		fmt.Sprintf(
			"%d one t 18:01",
			rev,
		),
		fmt.Sprintf("%d two t 18:02", rev+1),
		fmt.Sprintf("%d three t 18:04", rev+3),
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("history (-want +got):\n%s", diff)
	}
}

// TestWritersAtOnce lets many writers at one squad: every revision is given once, none is left out,
// and nobody waits for ever.
func TestWritersAtOnce(t *testing.T) {
	t.Parallel()
	const writers, each = 32, 8
	f := newFixture(t, 16)
	squad, coach := f.squad(t)
	shared := newPattern("shared")
	f.store(t, squad, coach, shared)
	var mu sync.Mutex
	var revs []int64
	conflicts := 0
	var wg sync.WaitGroup
	for i := range writers {
		wg.Go(func() {
			for n := range each {
				edit := *shared
				edit.Note = fmt.Sprintf("writer %d, %d", i, n)
				changes := []Change{{Record: newPattern("own")}, {Record: &edit}, {Record: newPattern("own too")}}
				err := f.inSquad(t.Context(), coach, squad, func(w *work) error {
					outcomes, _, err := w.apply(t.Context(), changes)
					if err != nil {
						return err
					}
					mu.Lock()
					defer mu.Unlock()
					for _, o := range outcomes {
						switch o.Status {
						case StatusStored:
							revs = append(revs, o.Rev)
						case StatusConflict:
							conflicts++
						default:
							t.Errorf("outcome %+v", o)
						}
					}
					return nil
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	slices.Sort(revs)
	for i, rev := range revs {
		if want := shared.Rev + 1 + int64(i); rev != want {
			t.Fatalf("revision %d is followed by %d", want-1, rev)
		}
	}
	if len(revs)+conflicts != writers*each*3 || len(revs) < writers*each*2+1 {
		t.Errorf("%d stored and %d conflicts of %d changes", len(revs), conflicts, writers*each*3)
	}
	var clock int64
	if err := f.owner(t).
		QueryRow(t.Context(), "SELECT rev FROM squads_clock WHERE squad_id = $1", squad).
		Scan(&clock); err != nil ||
		clock != revs[len(revs)-1] {
		t.Errorf("the clock stands at %d, want %d (%v)", clock, revs[len(revs)-1], err)
	}
}

// TestReadersSeeWholeCommits reads a squad while it is written: whoever sees a revision sees every
// one before it.
func TestReadersSeeWholeCommits(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 8)
	squad, coach := f.squad(t)
	done := make(chan struct{})
	var writers, readers sync.WaitGroup
	for range 4 {
		writers.Go(func() {
			for range 20 {
				f.store(t, squad, coach, newPattern("a"), newPattern("b"))
			}
		})
	}
	for range 2 {
		readers.Go(func() {
			for {
				page, err := f.List(t.Context(), coach, squad, record.KindPattern, 0, 1000)
				if err != nil {
					t.Error(err)
					return
				}
				for i, record := range page.Records {
					if want := int64(i) + 3; record.Revision() != want { // after the squad and its coach
						t.Errorf("place %d has revision %d: one before it is missing", i, record.Revision())
						return
					}
				}
				select {
				case <-done:
					return
				default:
				}
			}
		})
	}
	writers.Wait()
	close(done)
	readers.Wait()
}

// TestParentsAndChildren sends children before, with and without their parents.
func TestParentsAndChildren(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	athlete := newAthlete("Ansa Brightwater")
	ball := newBall(athlete.ID)
	session := newSession(athlete.ID)
	thrown := func(order int) *record.Shot {
		return &record.Shot{Shot: shot.Shot{
			ID:        newID(),
			SessionID: session.ID,
			AthleteID: athlete.ID,
			BallID:    &ball.ID,
			Order:     order,
			Time:      f.clock.now(),
		}}
	}
	statuses := func(changes ...Change) (list []Status) {
		for _, o := range f.apply(t, squad, coach, changes...) {
			list = append(list, o.Status)
		}
		return list
	}
	if got := statuses(Change{Record: thrown(1)}); !slices.Equal(got, []Status{StatusWaiting}) {
		t.Errorf("without any parent: %v", got)
	}
	outcome := f.apply(t, squad, coach, Change{Record: ball}, Change{Record: thrown(1)})
	if outcome[0].Status != StatusWaiting || outcome[1].Status != StatusWaiting ||
		outcome[0].Faults[0].Pointer != "/athlete_id" {
		t.Errorf("a parent that waits holds up its child: %+v", outcome)
	}
	all := []Change{{Record: thrown(1)}, {Record: session}, {Record: thrown(2)}, {Record: ball}, {Record: athlete}}
	if got := statuses(all...); slices.ContainsFunc(got, func(s Status) bool { return s != StatusStored }) {
		t.Errorf("all together, children first: %v", got)
	}
	if shotRev, parent := all[0].Record.Revision(), max(session.Rev, ball.Rev, athlete.Rev); shotRev <= parent {
		t.Errorf("a shot at revision %d comes before its parent at %d", shotRev, parent)
	}
	removal := func(record record.Record) Change { return Change{Record: record, Delete: true} }
	outcome = f.apply(t, squad, coach, removal(ball), removal(athlete), removal(session))
	for i, o := range outcome {
		if o.Status != StatusConflict || !strings.Contains(o.Faults[0].Detail, "still refer to it") {
			t.Errorf("removal %d of what is referred to: %+v", i, o)
		}
	}
	if got := statuses(
		removal(athlete),
		removal(ball),
		removal(session),
		removal(all[0].Record),
		removal(all[2].Record),
	); slices.ContainsFunc(
		got,
		func(s Status) bool { return s != StatusStored },
	) {
		t.Errorf("all removed together, parents first: %v", got)
	}
}

// TestDeleteInUse is the refusal as a person meets it.
func TestDeleteInUse(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	athlete := newAthlete("Ansa Brightwater")
	f.store(t, squad, coach, athlete, newBall(athlete.ID))
	before := athlete.Rev
	known := wantCode(t, f.Delete(t.Context(), coach, squad, record.KindAthlete, athlete.ID, f.version(t, squad, before)), Conflict)
	if !strings.Contains(known.Detail, "balls") {
		t.Errorf("%q does not say what refers to it", known.Detail)
	}
	record, err := f.Get(t.Context(), coach, squad, record.KindAthlete, athlete.ID)
	if err != nil || record.Revision() != before {
		t.Errorf("the athlete is at %v, want %d (%v)", record, before, err)
	}
}

// uploadText uploads a CSV log as the coach.
func (f *fixture) uploadText(t *testing.T, squad, coach uuid.UUID, session *record.Session, csv string) UploadResult {
	t.Helper()
	result, err := f.Upload(
		t.Context(),
		coach,
		squad,
		Log{Format: LogCSV, Body: strings.NewReader(csv), Session: session.ID},
	)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

func statusesOf(result UploadResult) (list []Status) {
	for _, o := range result.Outcomes {
		list = append(list, o.Status)
	}
	return list
}

// TestUploadAgain sends a log again: as it is, with a row changed, with a row more, and after a
// shot was deleted.
func TestUploadAgain(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	athlete := newAthlete("Ansa Brightwater")
	session := newSession(athlete.ID)
	f.store(t, squad, coach, athlete, session)
	const log = "order,time,arrows_board\n1,2026-03-14T18:00:00Z,12\n2,2026-03-14T18:02:00Z,13\n"
	first := f.uploadText(t, squad, coach, session, log)
	if got := statusesOf(first); !slices.Equal(got, []Status{StatusStored, StatusStored}) {
		t.Fatal(first)
	}
	again := f.uploadText(t, squad, coach, session, log)
	if got := statusesOf(again); !slices.Equal(got, []Status{StatusSame, StatusSame}) || again.Rev != first.Rev {
		t.Errorf("as it is: %+v", again)
	}
	spelt := strings.NewReplacer("12", "12.0", "18:02:00Z", "19:02:00.000+01:00").Replace(log)
	if got := statusesOf(
		f.uploadText(t, squad, coach, session, spelt),
	); !slices.Equal(
		got,
		[]Status{StatusSame, StatusSame},
	) {
		t.Errorf("spelt otherwise: %v", got)
	}
	changed := f.uploadText(t, squad, coach, session, strings.Replace(log, "13", "14", 1)+"3,2026-03-14T18:04:00Z,\n")
	if got := statusesOf(
		changed,
	); !slices.Equal(got, []Status{StatusSame, StatusConflict, StatusStored}) ||
		changed.Rev != first.Rev+1 {
		t.Errorf("one changed and one more: %+v", changed)
	}
	conflict := changed.Outcomes[1]
	if conflict.Current == nil || conflict.Current.Rev != first.Rev || *conflict.Current.ArrowsBoard != 13 ||
		len(conflict.Faults) != 1 {
		t.Errorf("the conflict does not show the stored shot: %+v", conflict)
	}
	if err := f.Delete(t.Context(), coach, squad, record.KindShot, conflict.ID, f.version(t, squad, first.Rev)); err != nil {
		t.Fatal(err)
	}
	deleted := f.uploadText(t, squad, coach, session, log)
	if got := statusesOf(deleted); !slices.Equal(got, []Status{StatusSame, StatusSame}) {
		t.Errorf("after a deletion: %+v", deleted)
	}
	other := f.uploadText(t, squad, coach, session, strings.Replace(log, "13", "15", 1))
	if got := statusesOf(
		other,
	); !slices.Equal(got, []Status{StatusSame, StatusConflict}) ||
		!strings.Contains(other.Outcomes[1].Faults[0].Detail, "deleted") {
		t.Errorf("another after a deletion: %+v", other)
	}
}

// TestUploadStoresTheGoodRows: a bad row is refused with its place, and holds up nothing.
func TestUploadStoresTheGoodRows(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	athlete, another := newAthlete("Ansa Brightwater"), newAthlete("Bero Quill")
	session := newSession(athlete.ID)
	ball := newBall(another.ID)
	f.store(t, squad, coach, athlete, another, session, ball)
	result := f.uploadText(t, squad, coach, session, "order,time,arrows_board,ball\n"+
		"1,2026-03-14T18:00:00Z,12,\n2,2026-03-14T18:01:00Z,41,\n3,2026-03-14T18:02:00Z,12,"+uuid.NewString()+"\n4,2026-03-14T18:03:00Z,12,\n4,2026-03-14T18:03:00Z,13,\n")
	want := []Status{StatusStored, StatusRefused, StatusRefused, StatusStored, StatusRefused}
	if got := statusesOf(result); !slices.Equal(got, want) {
		t.Fatalf("%+v", result)
	}
	if faults := result.Outcomes[1].Faults; len(faults) != 1 || faults[0].Pointer != "/arrows_board" {
		t.Errorf("row 2: %+v", faults)
	}
	if faults := result.Outcomes[2].Faults; len(faults) != 1 || faults[0].Pointer != "/ball_id" {
		t.Errorf("row 3: %+v", faults)
	}
	if faults := result.Outcomes[4].Faults; len(faults) != 1 ||
		!strings.Contains(faults[0].Detail, "row 4") { // the same order twice in one log
		t.Errorf("row 5: %+v", faults)
	}
	for i, o := range result.Outcomes {
		if o.Row != i+1 {
			t.Errorf("outcome %d is of row %d", i, o.Row)
		}
	}
}

// TestStoredShotsReadBackAlike reads back what was stored, left-handers too, bit by bit.
func TestStoredShotsReadBackAlike(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	athlete := newAthlete("Ansa Brightwater")
	athlete.Side = lane.Left
	session, ball := newSession(athlete.ID), newBall(athlete.ID)
	f.store(t, squad, coach, athlete, session, ball)
	full := shot.Shot{
		ID:        newID(),
		SessionID: session.ID,
		AthleteID: athlete.ID,
		BallID:    &ball.ID,
		Order:     7,
		Time:      time.Date(2026, 3, 14, 17, 5, 1, 123456000, time.UTC),
		LaydownBoard: new(
			18.25,
		),
		ArrowsBoard:     new(13.1),
		BreakpointBoard: new(0.1 + 0.2),
		BreakpointFt:    new(41.7),
		EntryBoard:      new(17.5),
		EntryAngleDeg: new(
			5.5,
		),
		LaunchAngleDeg: new(-1.25),
		SpeedMPH:       new(17.3),
		RevRateRPM:     new(352.0),
		RotationDeg:    new(45.0),
		TiltDeg:        new(12.5),
		Track: []shot.TrackPoint{
			{Ft: 0, Board: 18.25},
			{Ft: 15, Board: 13.1},
		},
		Standing: new(lane.PinSet(0)),
		Source:   "sensor",
		Errors: shot.StandardErrors{
			Board:      new(0.5),
			AngleDeg:   new(0.3),
			SpeedMPH:   new(0.1),
			RevRateRPM: new(10.0),
			AxisDeg:    new(2.0),
		},
		Note: "é ö — π",
	}
	bare := shot.Shot{ID: newID(), SessionID: session.ID, AthleteID: athlete.ID, Order: 8, Time: full.Time}
	for name, want := range map[string]shot.Shot{"everything measured": full, "nothing measured": bare} {
		t.Run(name, func(t *testing.T) {
			f.store(t, squad, coach, &record.Shot{Shot: want})
			got, err := f.Get(t.Context(), coach, squad, record.KindShot, want.ID)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got.(*record.Shot).Shot); diff != "" {
				t.Errorf("(-stored +read):\n%s", diff)
			}
		})
	}
}

// TestMergedToWhatWasSent: an edit that a merge left as it was sent is known by what it says, like
// one that needed no merge.
func TestMergedToWhatWasSent(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	first := newPattern("long")
	f.store(t, squad, coach, first)
	base := first.Rev
	send := func(base int64, name, note string, want Status) Outcome {
		t.Helper()
		got := f.apply(t, squad, coach, Change{Record: &record.Pattern{Head: record.Head{ID: first.ID, Rev: base}, Name: name, LengthFt: 41, Note: note}})[0]
		if got.Status != want {
			t.Fatalf("%+v, want %s", got, want)
		}
		return got
	}
	send(base, "longer", "", StatusStored)
	merged := send(base, "longer", "worn", StatusStored) // both renamed it alike; the note is new
	send(merged.Rev, "longer", "washed", StatusStored)
	send(0, "longer", "worn", StatusSame)
	send(base, "longer", "worn", StatusSame)
}
