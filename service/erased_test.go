package service

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service/record"
	"laneward/service/shot"
)

func shotOfAthlete(f *fixture, session, athlete uuid.UUID, order int) *record.Shot {
	return &record.Shot{
		Shot: shot.Shot{ID: newID(), SessionID: session, AthleteID: athlete, Order: order, Time: f.clock.now()},
	}
}

// leftBehind is what a device still has of an erased athlete, and of another whose shots it is in.
type leftBehind struct {
	erased, stays *record.Athlete
	session       *record.Session
	ball          *record.Ball
	given         *record.Assignment
	thrown        *record.Shot // in the squad's session, which stays
	shared        *record.Session
}

// erase stores a life, and erases it. What it returns is as it was stored.
func (f *fixture) erase(t *testing.T, squad, coach uuid.UUID) *leftBehind {
	t.Helper()
	left := &leftBehind{erased: newAthlete("Ansa Brightwater"), stays: newAthlete("Bero Quill")}
	left.session, left.ball = newSession(left.erased.ID), newBall(left.erased.ID)
	left.shared = newSession(uuid.Nil)
	left.shared.AthleteID = nil
	drill := aDrill()
	left.given = &record.Assignment{
		Head: record.Head{ID: newID()}, DrillID: drill.ID, AthleteID: left.erased.ID,
		AssignedOn: record.Day{Time: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)},
	}
	left.thrown = shotOfAthlete(f, left.shared.ID, left.erased.ID, 1)
	f.store(t, squad, coach, left.erased, left.stays, left.session, left.ball, left.shared, drill, left.given, left.thrown)
	if _, err := f.Erase(t.Context(), coach, squad, left.erased.ID, left.erased.Name); err != nil {
		t.Fatal(err)
	}
	return left
}

func aDrill() *record.Drill {
	return &record.Drill{Head: record.Head{ID: newID()}, Name: "Play inside", Reps: 30, PassShare: 0.7}
}

// anew is a record as a device sends it that knows no server's version of it.
func anew[R record.Record](rec R) R { return record.At(rec, 0).(R) }

// TestErasedStaysErased sends what devices may hold of an erased athlete, at once and when the
// deletions have been forgotten, in every way that stores a deleted record otherwise.
func TestErasedStaysErased(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	left := f.erase(t, squad, coach)
	sharedNow := anew(left.session)
	sharedNow.AthleteID = nil
	theirsNow := anew(left.ball)
	theirsNow.AthleteID = left.stays.ID
	in := func(session uuid.UUID, ball *uuid.UUID) *record.Shot {
		s := shotOfAthlete(f, session, left.stays.ID, 7)
		s.BallID = ball
		return s
	}
	for _, when := range []string{"at once", "when the deletions are forgotten"} {
		conn := f.owner(t)
		revs := make(map[uuid.UUID]int64)
		rows, err := conn.Query(t.Context(), "SELECT id, rev FROM tombstones WHERE squad_id = $1", squad)
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			var id uuid.UUID
			var rev int64
			if err := rows.Scan(&id, &rev); err != nil {
				t.Fatal(err)
			}
			revs[id] = rev
		}
		if err := rows.Err(); err != nil {
			t.Fatal(err)
		}
		for name, tc := range map[string]struct {
			record  record.Record
			pointer string
		}{
			"the athlete":                          {left.erased, "/id"},
			"their session":                        {left.session, "/id"},
			"their session, shared":                {sharedNow, "/id"},
			"their ball":                           {left.ball, "/id"},
			"their ball, given to another":         {theirsNow, "/id"},
			"their assignment":                     {left.given, "/id"},
			"their shot":                           {left.thrown, "/athlete_id"},
			"a new shot of theirs":                 {shotOfAthlete(f, left.shared.ID, left.erased.ID, 2), "/athlete_id"},
			"a new session of theirs":              {newSession(left.erased.ID), "/athlete_id"},
			"another athlete's shot there":         {in(left.session.ID, nil), "/session_id"},
			"another athlete's shot with the ball": {in(left.shared.ID, &left.ball.ID), "/ball_id"},
		} {
			stale := record.At(tc.record, 3)
			for how, change := range map[string]Change{
				"new":                            {Record: anew(tc.record)},
				"based on the deletion":          {Record: record.At(tc.record, revs[tc.record.Key()]), Basis: Held},
				"an edit":                        {Record: stale, Basis: Held},
				"an edit after a restore":        {Record: stale, Basis: Lost},
				"an edit of an old program":      {Record: stale, Basis: Unproven, Exact: true},
				"new, not to be merged":          {Record: anew(tc.record), Exact: true},
				"an edit by a client of an age ": {Record: stale, Basis: Held, Schema: 1},
			} {
				got := f.apply(t, squad, coach, change)[0]
				fresh := slices.Contains([]string{"a new shot of theirs", "a new session of theirs", "another athlete's shot there", "another athlete's shot with the ball"}, name)
				if fresh && change.Record.Revision() != 0 {
					continue // an edit of what never was
				}
				if got.Status != StatusRefused || got.Code != Erased || len(got.Faults) != 1 || got.Faults[0].Pointer != tc.pointer ||
					!strings.Contains(got.Faults[0].Detail, "erased for good") {
					t.Errorf("%s, %s, %s: %+v; want refused as erased at %s", when, name, how, got, tc.pointer)
				}
			}
		}
		for _, rec := range []record.Record{left.erased, left.session, left.ball, left.given} {
			got := f.apply(t, squad, coach, Change{Record: record.At(rec, 3), Delete: true, Basis: Held})[0]
			if got.Status != StatusSame || !got.Deleted {
				t.Errorf("%s, a deletion of the %s: %+v; want the same, deleted", when, rec.Kind(), got)
			}
		}
		if n := countRows(t, f, "SELECT count(*) FROM athletes WHERE squad_id = $1 AND id = $2", squad, left.erased.ID); n != 0 {
			t.Fatalf("%s the athlete is back", when)
		}
		f.clock.move(TombstoneLife + time.Hour)
		if _, err := f.Forget(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	t.Run("with parents in the same push", func(t *testing.T) {
		session, ball := newSession(left.erased.ID), newBall(left.erased.ID)
		thrown := shotOfAthlete(f, session.ID, left.erased.ID, 1)
		thrown.BallID = &ball.ID
		guest := shotOfAthlete(f, session.ID, left.stays.ID, 1)
		for i, got := range f.apply(t, squad, coach,
			Change{Record: thrown}, Change{Record: guest}, Change{Record: anew(left.erased)}, Change{Record: session}, Change{Record: ball}) {
			if got.Status != StatusRefused || got.Code != Erased {
				t.Errorf("change %d: %+v, want refused as erased", i, got)
			}
		}
	})
	t.Run("a shot's id with new data of another athlete", func(t *testing.T) {
		again := shotOfAthlete(f, left.shared.ID, left.stays.ID, 1)
		again.ID = left.thrown.ID
		if got := f.apply(t, squad, coach, Change{Record: again})[0]; got.Status != StatusStored {
			t.Errorf("%+v, want stored: it says nothing of the erased", got)
		}
	})
	t.Run("in another squad", func(t *testing.T) {
		other, owner := f.squad(t)
		f.store(t, other, owner, anew(left.erased), anew(left.session))
	})
}

func countRows(t *testing.T, f *fixture, query string, values ...any) (n int) {
	t.Helper()
	if err := f.owner(t).QueryRow(t.Context(), query, values...).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// TestErasedByOtherWays asks for the same of the ways in that are not a push.
func TestErasedByOtherWays(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	left := f.erase(t, squad, coach)
	log := func(session uuid.UUID, athlete uuid.UUID) (UploadResult, error) {
		line := fmt.Sprintf(`{"athlete_id":%q,"order":1,"time":"2026-03-14T18:05:00Z"}`, athlete)
		return f.Upload(t.Context(), coach, squad, Log{Format: LogNDJSON, Body: strings.NewReader(line), Session: session})
	}
	for name, do := range map[string]func() error{
		"POST the athlete": func() error {
			_, _, err := f.Create(t.Context(), coach, squad, anew(left.erased))
			return err
		},
		"POST a session of theirs": func() error {
			_, _, err := f.Create(t.Context(), coach, squad, newSession(left.erased.ID))
			return err
		},
		"PUT the session": func() error {
			_, err := f.Replace(t.Context(), coach, squad, left.session.ID, f.version(t, squad, left.session.Rev), Schema, anew(left.session))
			return err
		},
		"PUT the shot": func() error {
			_, err := f.Replace(t.Context(), coach, squad, left.thrown.ID, f.version(t, squad, left.thrown.Rev), Schema, anew(left.thrown))
			return err
		},
		"import into the session": func() error {
			_, err := log(left.session.ID, left.stays.ID)
			return err
		},
	} {
		if err := do(); AsError(err).Code != Erased {
			t.Errorf("%s: %v, want code erased", name, err)
		}
	}
	result, err := log(left.shared.ID, left.erased.ID)
	if err != nil || result.Outcomes[0].Status != StatusRefused || result.Outcomes[0].Faults[0].Code != string(Erased) ||
		result.Outcomes[0].Faults[0].Pointer != "/athlete_id" {
		t.Errorf("a row that names the athlete: %+v, %v", result.Outcomes, err)
	}
	// An athlete is told no more than that there is nothing.
	user, _ := f.join(t, squad, coach, record.RoleAthlete, &left.stays.ID)
	_, err = f.Replace(t.Context(), user, squad, left.session.ID, f.version(t, squad, left.session.Rev), Schema, anew(left.session))
	wantCode(t, err, NotFound)
}

// TestEraseWhatOthersUse erases an athlete whose session and ball are in another's shots, as they
// were stored once: those stay, and let go of what was the erased one's.
func TestEraseWhatOthersUse(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	erased, stays := newAthlete("Ansa Brightwater"), newAthlete("Bero Quill")
	session, ball := f.life(t, squad, coach, erased)
	alone := newSession(erased.ID)
	own, others := newSession(stays.ID), newBall(stays.ID)
	f.store(t, squad, coach, alone, stays, own, others)
	guest, borrower := shotOfAthlete(f, own.ID, stays.ID, 1), shotOfAthlete(f, own.ID, stays.ID, 2)
	borrower.Note, guest.BallID = "a borrowed ball", &others.ID
	f.store(t, squad, coach, guest, borrower)
	conn := f.owner(t)
	for _, move := range []struct {
		column string
		to, of uuid.UUID
	}{{"session_id", session.ID, guest.ID}, {"ball_id", ball.ID, borrower.ID}} {
		if _, err := conn.Exec(t.Context(), "UPDATE shots SET "+move.column+" = $1 WHERE id = $2", move.to, move.of); err != nil {
			t.Fatal(err)
		}
	}
	before, err := f.Feed(t.Context(), coach, squad, FeedQuery{Limit: 100, Schema: Schema})
	if err != nil {
		t.Fatal(err)
	}
	n, err := f.Erase(t.Context(), coach, squad, erased.ID, erased.Name)
	if err != nil || n != 6 { // athlete, member, the session nobody else is in, ball, assignment and shot
		t.Fatalf("%d erased, %v", n, err)
	}
	if text := f.dump(t, conn, squad); strings.Contains(text, "Ansa") {
		t.Errorf("the name is still there:\n%s", linesWith(text, "Ansa"))
	}
	kept, err := f.Get(t.Context(), coach, squad, record.KindSession, session.ID)
	if s, ok := kept.(*record.Session); err != nil || !ok || s.AthleteID != nil || s.Note != "" || s.Name != "Session" || !s.Date.Equal(session.Date.Time) {
		t.Errorf("the session that another is in: %+v, %v; want it the squad's, without name and note", kept, err)
	}
	want := *guest
	got, err := f.Get(t.Context(), coach, squad, record.KindShot, guest.ID)
	if s, ok := got.(*record.Shot); err != nil || !ok || s.SessionID != session.ID || !record.SameID(s.BallID, want.BallID) {
		t.Errorf("the guest's shot: %+v, %v", got, err)
	}
	got, err = f.Get(t.Context(), coach, squad, record.KindShot, borrower.ID)
	if s, ok := got.(*record.Shot); err != nil || !ok || s.BallID != nil || s.Note != borrower.Note {
		t.Errorf("the shot with the borrowed ball: %+v, %v; want it without the ball", got, err)
	}
	// A device hears of both, each at a revision of its own, and ends with what the server has.
	after, err := f.Feed(t.Context(), coach, squad, FeedQuery{After: before.Cursor, Limit: 100, Schema: Schema})
	if err != nil {
		t.Fatal(err)
	}
	revs := make(map[int64]bool)
	for _, item := range after.Items {
		revs[item.Rev] = true
	}
	if len(after.Items) != 8 || len(revs) != 8 || after.More {
		t.Errorf("%d items of %d revisions; want 6 deletions, a session and a shot", len(after.Items), len(revs))
	}
	// An edit of the guest's own that is based on what was before is merged with it.
	edit := *borrower
	edit.BallID, edit.Note = &ball.ID, "thrown late"
	merged := f.apply(t, squad, coach, Change{Record: &edit, Basis: Held})[0]
	if s, ok := merged.Record.(*record.Shot); merged.Status != StatusStored || !ok || s.BallID != nil || s.Note != "thrown late" {
		t.Errorf("an edit from before: %+v; want it merged, without the ball", merged)
	}
	// The session is not among what is refused: it stands.
	if diff := cmp.Diff(0, countRows(t, f, "SELECT count(*) FROM erased_ids WHERE id = $1", session.ID)); diff != "" {
		t.Error("the session that stays is refused")
	}
}
