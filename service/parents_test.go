package service

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service/record"
)

// TestShotsKeepToTheirAthlete: a shot's session, ball and drill are its athlete's or the squad's, in
// a push of many, one by one, and in a log. What is stored otherwise stays, and can be edited.
func TestShotsKeepToTheirAthlete(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	one, other := newAthlete("Ansa Brightwater"), newAthlete("Bero Quill")
	own, foreign, shared := newSession(one.ID), newSession(other.ID), newSession(uuid.Nil)
	shared.AthleteID = nil
	ball, foreignBall := newBall(one.ID), newBall(other.ID)
	given, both, theirs, nobodys := aDrill(), aDrill(), aDrill(), aDrill()
	assign := func(drill *record.Drill, athlete uuid.UUID) *record.Assignment {
		return &record.Assignment{
			Head: record.Head{ID: newID()}, DrillID: drill.ID, AthleteID: athlete,
			AssignedOn: record.Day{Time: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)},
		}
	}
	taken := assign(given, one.ID)
	f.store(t, squad, coach, one, other, own, foreign, shared, ball, foreignBall, given, both, theirs, nobodys, taken,
		assign(both, one.ID), assign(both, other.ID), assign(theirs, other.ID))
	user, _ := f.join(t, squad, coach, record.RoleAthlete, &one.ID)

	at := func(session *record.Session, ball *record.Ball, drill *record.Drill) *record.Shot {
		s := shotOfAthlete(f, session.ID, one.ID, 1)
		if ball != nil {
			s.BallID = &ball.ID
		}
		if drill != nil {
			s.DrillID = &drill.ID
		}
		return s
	}
	for name, tc := range map[string]struct {
		shot    *record.Shot
		foreign []string // the fields at fault
		unseen  string   // the one that an athlete is told of, who sees nothing of others'
	}{
		"all their own":                      {at(own, ball, given), nil, ""},
		"a shared session":                   {at(shared, ball, nil), nil, ""},
		"a drill that several have":          {at(own, nil, both), nil, ""},
		"another's session":                  {at(foreign, ball, nil), []string{"/session_id"}, "/session_id"},
		"another's ball":                     {at(own, foreignBall, nil), []string{"/ball_id"}, "/ball_id"},
		"another's drill":                    {at(own, nil, theirs), []string{"/drill_id"}, "/drill_id"},
		"nobody's drill":                     {at(own, nil, nobodys), []string{"/drill_id"}, "/drill_id"},
		"another's session, ball and drill":  {at(foreign, foreignBall, theirs), []string{"/session_id", "/ball_id", "/drill_id"}, "/session_id"},
		"another's ball in a shared session": {at(shared, foreignBall, nil), []string{"/ball_id"}, "/ball_id"},
	} {
		pointers := func(faults []record.Fault) (list []string) {
			for _, fault := range faults {
				list = append(list, fault.Pointer)
			}
			return list
		}
		got := f.apply(t, squad, coach, Change{Record: tc.shot})[0]
		switch {
		case tc.foreign == nil && got.Status != StatusStored:
			t.Errorf("%s: %+v, want stored", name, got)
		case tc.foreign != nil && (got.Status != StatusRefused || got.Code != Invalid):
			t.Errorf("%s: %+v, want refused as invalid", name, got)
		}
		if diff := cmp.Diff(tc.foreign, pointers(got.Faults)); diff != "" {
			t.Errorf("%s: the fields at fault (-want +got):\n%s", name, diff)
		}
		if tc.foreign == nil {
			continue
		}
		_, _, err := f.Create(t.Context(), coach, squad, tc.shot)
		if known := wantCode(t, err, Invalid); !cmp.Equal(tc.foreign, pointers(known.Faults)) {
			t.Errorf("%s, POST: faults at %v", name, pointers(known.Faults))
		}
		alone := f.apply(t, squad, user, Change{Record: tc.shot})[0]
		if alone.Status != StatusWaiting || alone.Faults[0].Pointer != tc.unseen {
			t.Errorf("%s, the athlete: %+v; want to hear of nothing that they do not see", name, alone)
		}
	}
	t.Run("a whole family in one push", func(t *testing.T) {
		session, drill := newSession(one.ID), aDrill()
		s := at(session, nil, drill)
		for i, got := range f.apply(t, squad, coach, Change{Record: s}, Change{Record: session}, Change{Record: assign(drill, one.ID)}, Change{Record: drill}) {
			if got.Status != StatusStored {
				t.Errorf("change %d: %+v", i, got)
			}
		}
		strange := at(newSession(other.ID), nil, nil)
		strange.SessionID = session.ID
		strange.AthleteID = other.ID
		if got := f.apply(t, squad, coach, Change{Record: strange})[0]; got.Status != StatusRefused {
			t.Errorf("the other athlete in that session: %+v", got)
		}
	})
	t.Run("an edit moves a shot", func(t *testing.T) {
		s := at(own, ball, given)
		f.store(t, squad, coach, s)
		moved := *s
		moved.SessionID = foreign.ID
		if got := f.apply(t, squad, coach, Change{Record: &moved, Basis: Held})[0]; got.Status != StatusRefused || got.Faults[0].Pointer != "/session_id" {
			t.Errorf("%+v, want refused at the session", got)
		}
	})
	t.Run("what is stored otherwise", func(t *testing.T) {
		s := at(own, ball, given)
		f.store(t, squad, coach, s)
		if _, err := f.owner(t).Exec(t.Context(), "UPDATE shots SET session_id = $1, ball_id = $2 WHERE id = $3",
			foreign.ID, foreignBall.ID, s.ID); err != nil {
			t.Fatal(err)
		}
		for _, o := range f.apply(t, squad, coach, Change{Record: taken, Delete: true, Basis: Held}) { // the drill is taken back
			if o.Status != StatusStored {
				t.Fatal(o)
			}
		}
		s.SessionID, s.BallID = foreign.ID, &foreignBall.ID
		for name, who := range map[string]uuid.UUID{"the coach": coach, "the athlete": user} {
			s.Note = "edited by " + name
			if got := f.apply(t, squad, who, Change{Record: s, Basis: Held})[0]; got.Status != StatusStored {
				t.Errorf("an edit of the note by %s: %+v, want stored", name, got)
			}
		}
	})
	t.Run("a log", func(t *testing.T) {
		line := `{"order":1,"time":"2026-03-14T18:05:00Z","ball_id":"` + foreignBall.ID.String() + `"}` + "\n" +
			`{"order":2,"time":"2026-03-14T18:06:00Z"}`
		result, err := f.Upload(t.Context(), coach, squad, Log{
			Format: LogNDJSON, Body: strings.NewReader(line), Session: shared.ID, Athlete: one.ID,
		})
		if err != nil || result.Outcomes[0].Status != StatusRefused || result.Outcomes[0].Faults[0].Pointer != "/ball_id" ||
			result.Outcomes[1].Status != StatusStored {
			t.Errorf("%+v, %v; want the first row refused at its ball, and the second stored", result.Outcomes, err)
		}
		result, err = f.Upload(t.Context(), coach, squad, Log{
			Format: LogNDJSON, Body: strings.NewReader(line), Session: foreign.ID, Athlete: one.ID,
		})
		if err != nil || result.Outcomes[1].Faults[0].Pointer != "/session_id" {
			t.Errorf("in another's session: %+v, %v", result.Outcomes, err)
		}
	})
}

// TestGuardianConsent: a coach records what a guardian has consented to, and the athlete's own
// account leaves it as it is.
func TestGuardianConsent(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	minor := newAthlete("Ansa Brightwater")
	f.store(t, squad, coach, minor)
	user, _ := f.join(t, squad, coach, record.RoleAthlete, &minor.ID)
	consent := record.Day{Time: time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)}
	version := func() Version { return f.version(t, squad, minor.Rev) }
	replace := func(who uuid.UUID, change func(*record.Athlete)) error {
		is := *minor
		change(&is)
		stored, err := f.Replace(t.Context(), who, squad, minor.ID, version(), Schema, &is)
		if err == nil {
			minor = stored.(*record.Athlete)
		}
		return err
	}
	both := func(a *record.Athlete) { a.GuardianName, a.GuardianConsent = new("Oda Quorrie"), &consent }
	for name, tc := range map[string]struct {
		change   func(*record.Athlete)
		pointers []string
	}{
		"gives it":      {both, []string{"/guardian_name", "/guardian_consent"}},
		"dates it":      {func(a *record.Athlete) { a.GuardianConsent = &consent }, []string{"/guardian_consent"}},
		"names another": {func(a *record.Athlete) { a.GuardianName = new("Ansa") }, []string{"/guardian_name"}},
	} {
		err := replace(user, tc.change)
		known := wantCode(t, err, Forbidden)
		var got []string
		for _, fault := range known.Faults {
			got = append(got, fault.Pointer)
		}
		if diff := cmp.Diff(tc.pointers, got); diff != "" {
			t.Errorf("the minor %s (-want +got):\n%s", name, diff)
		}
	}
	began := *minor
	if err := replace(coach, both); err != nil {
		t.Fatalf("the coach records it: %v", err)
	}
	if err := replace(user, func(a *record.Athlete) { a.GuardianName, a.GuardianConsent = nil, nil }); AsError(err).Code != Forbidden {
		t.Errorf("the minor takes it back: %v", err)
	}
	if err := replace(user, func(a *record.Athlete) { a.Note = "learns fast" }); err != nil {
		t.Errorf("the minor changes something else: %v", err)
	}
	// A device that has not heard of the consent leaves it as it is, too.
	began.SpeedMPH = new(17.5)
	got := f.apply(t, squad, user, Change{Record: &began, Basis: Held})[0]
	if a, ok := got.Record.(*record.Athlete); got.Status != StatusStored || !ok || a.GuardianName == nil || *a.GuardianName != "Oda Quorrie" {
		t.Errorf("an edit from before the consent: %+v", got)
	}
	began.GuardianName = new("Ansa")
	if got := f.apply(t, squad, user, Change{Record: &began, Basis: Held})[0]; got.Status == StatusStored {
		t.Errorf("consent in an edit from before: %+v", got)
	}
}
