package service

import (
	"encoding/json"
	"testing"

	"laneward/service/record"
	"laneward/service/shot"
)

// The cost of one small transaction each, as a device that is online makes them, on the test's
// server, which does not wait for the disk.

func benchSquad(b *testing.B) (f *fixture, person, squad record.Head, session *record.Session) {
	f = newFixture(b, 2)
	squadID, coach := f.squad(b)
	athlete := newAthlete("Rhea")
	session = newSession(athlete.ID)
	f.store(b, squadID, coach, athlete, session)
	return f, record.Head{ID: coach}, record.Head{ID: squadID}, session
}

// BenchmarkPushOne pushes one new shot.
func BenchmarkPushOne(b *testing.B) {
	f, coach, squad, session := benchSquad(b)
	order, seen := 0, ""
	for b.Loop() {
		order++
		one := record.Shot{Shot: shot.Shot{
			ID: newID(), SessionID: session.ID, AthleteID: *session.AthleteID, Order: order, Time: f.Service.clock(),
		}}
		body, err := json.Marshal(one)
		if err != nil {
			b.Fatal(err)
		}
		item := PushItem{Kind: record.KindShot, ID: one.ID, Record: body}
		stored, err := f.Push(b.Context(), coach.ID, squad.ID, PushQuery{Schema: Schema, Seen: seen}, []PushItem{item})
		if err != nil || stored.Outcomes[0].Status != StatusStored {
			b.Fatal(stored.Outcomes, err)
		}
		seen = stored.Head
	}
}

// BenchmarkReadOne reads one record by its id.
func BenchmarkReadOne(b *testing.B) {
	f, coach, squad, session := benchSquad(b)
	for b.Loop() {
		if _, err := f.Get(b.Context(), coach.ID, squad.ID, record.KindSession, session.ID); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkReadNoNews asks the feed for what has changed, where nothing has.
func BenchmarkReadNoNews(b *testing.B) {
	f, coach, squad, _ := benchSquad(b)
	page, err := f.Snapshot(b.Context(), coach.ID, squad.ID, SnapshotQuery{Limit: 100, Schema: Schema})
	if err != nil {
		b.Fatal(err)
	}
	query := FeedQuery{After: page.Cursor, Schema: Schema, Limit: 100}
	for b.Loop() {
		if _, err := f.Feed(b.Context(), coach.ID, squad.ID, query); err != nil {
			b.Fatal(err)
		}
	}
}
