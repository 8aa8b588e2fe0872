package service

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"laneward/service/lane"
	"laneward/service/record"
	"laneward/service/shot"
)

// blockShot is a shot with everything that wire schema 2 brought.
func blockShot(session, athlete record.Record) *record.Shot {
	s := &record.Shot{Shot: shot.Shot{
		ID: newID(), SessionID: session.Key(), AthleteID: athlete.Key(), Order: 1, Time: time.Date(2026, 3, 14, 18, 5, 0, 0, time.UTC),
		Lane: new(11), Game: new(2), Frame: new(10), Delivery: new(3), Gutter: lane.Left,
		AimLaydownBoard: new(18.0), AimLaunchAngleDeg: new(2.5),
		ArrowsBoard: new(12.0), ArrowsFt: new(14.5), Note: "first",
	}}
	return s
}

// An old client is not told of what it does not know, and what it sends leaves that as it is: an
// edit of what stands, one that is merged, and one that is sent again.
func TestOldClientKeepsWhatItDoesNotKnow(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	athlete := newAthlete("Rhea")
	session := newSession(athlete.ID)
	f.store(t, squad, coach, athlete, session)
	whole := blockShot(session, athlete)
	f.store(t, squad, coach, whole)

	known := func(schema int) *record.Shot {
		t.Helper()
		page, err := f.Snapshot(t.Context(), coach, squad, SnapshotQuery{Limit: 100, Schema: schema})
		if err != nil {
			t.Fatal(err)
		}
		for _, item := range page.Items {
			if s, ok := item.Record.(*record.Shot); ok {
				return s
			}
		}
		t.Fatal("the snapshot has no shot")
		return nil
	}
	old := known(1)
	if old.Lane != nil || old.Gutter != "" || old.ArrowsFt != nil || old.AimLaydownBoard != nil || old.Note != "first" {
		t.Fatalf("an old client is told %+v", old.Shot)
	}
	push := func(schema int, base int64, change func(*record.Shot), from *record.Shot) PushOutcome {
		t.Helper()
		edited := *from
		edited.Rev = base
		change(&edited)
		body, err := json.Marshal(edited)
		if err != nil {
			t.Fatal(err)
		}
		stored, err := f.Push(t.Context(), coach, squad, PushQuery{Schema: schema}, []PushItem{{
			Kind:    record.KindShot,
			ID:      edited.ID,
			Version: f.version(t, squad, base).String(),
			Record:  body,
		}})
		if err != nil {
			t.Fatal(err)
		}
		return stored.Outcomes[0]
	}
	base := old.Rev
	speed := func(s *record.Shot) { s.SpeedMPH = new(17.0) }
	if got := push(1, base, speed, old); got.Status != StatusStored || got.Record != nil && got.Record.(*record.Shot).Lane != nil {
		t.Fatalf("an old client's edit: %+v", got)
	}
	if got := known(Schema); *got.SpeedMPH != 17 || *got.Lane != 11 || got.Gutter != lane.Left || *got.ArrowsFt != 14.5 {
		t.Fatalf("after an old client's edit: %+v", got.Shot)
	}
	if got := push(1, base, speed, old); got.Status != StatusSame {
		t.Fatalf("the edit sent again: %+v", got)
	}
	if got := push(1, base, func(s *record.Shot) { s.Note = "second" }, old); got.Status != StatusStored {
		t.Fatalf("an old client's edit of an older version: %+v", got)
	}
	now := known(Schema)
	if now.Note != "second" || *now.SpeedMPH != 17 || *now.Lane != 11 {
		t.Fatalf("after the merge: %+v", now.Shot)
	}
	// What a client of today takes away is gone.
	if got := push(Schema, now.Rev, func(s *record.Shot) { s.Lane, s.Gutter = nil, "" }, now); got.Status != StatusStored {
		t.Fatalf("taken away: %+v", got)
	}
	if now = known(Schema); now.Lane != nil || now.Gutter != "" || *now.Game != 2 {
		t.Fatalf("after it was taken away: %+v", now.Shot)
	}
}

// A squad's time zone is a name that is known, and a drill names what it was computed by.
func TestTimeZoneAndModel(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	squad, coach := f.squad(t)
	own := func(zone string) (*record.Squad, error) {
		was, err := f.Get(t.Context(), coach, squad, record.KindSquad, squad)
		if err != nil {
			t.Fatal(err)
		}
		is := *was.(*record.Squad)
		is.TimeZone = zone
		stored, err := f.Replace(t.Context(), coach, squad, squad, VersionOf(was), Schema, &is)
		if err != nil {
			return nil, err
		}
		return stored.(*record.Squad), nil
	}
	for _, wrong := range []string{"Local", "Middle-earth", "+01:00"} {
		if _, err := own(wrong); err == nil || !strings.Contains(AsError(err).Faults[0].Detail, "IANA") {
			t.Errorf("time zone %q: %v", wrong, err)
		}
	}
	stored, err := own("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	if zone, err := stored.Location(); err != nil || zone.String() != "Europe/Berlin" {
		t.Errorf("the squad is at %v, %v", zone, err)
	}
	// One who knows only the first schema names the squad anew.
	named := *stored
	named.Name, named.TimeZone = "Renamed", ""
	if _, err := f.Replace(t.Context(), coach, squad, squad, VersionOf(stored), 1, &named); err != nil {
		t.Fatal(err)
	}
	if now, err := f.Get(t.Context(), coach, squad, record.KindSquad, squad); err != nil ||
		now.(*record.Squad).TimeZone != "Europe/Berlin" || now.(*record.Squad).Name != "Renamed" {
		t.Errorf("renamed by an old client: %+v, %v", now, err)
	}
}
