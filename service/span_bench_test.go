package service

import (
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/service/record"
	"laneward/service/shot"
)

// benchShots is how many shots the squad of BenchmarkSnapshotSpan has: LANEWARD_BENCH_SHOTS, or few.
func benchShots(b *testing.B) int {
	b.Helper()
	text := os.Getenv("LANEWARD_BENCH_SHOTS")
	if text == "" {
		return 20_000
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// BenchmarkSnapshotSpan reads a first copy of the last 90 days of three years, in pages of 5,000 and
// written as tables, as a device gets it but for packing and the network.
func BenchmarkSnapshotSpan(b *testing.B) {
	f, coach, squad, session := benchSquad(b)
	total := benchShots(b)
	const days, toSession = 1095, 100
	athlete := *session.AthleteID
	today := time.Date(2026, 11, 29, 0, 0, 0, 0, time.UTC)
	sessions := total / toSession
	for made := range sessions {
		s := &record.Session{Form: "practice", Name: "Practice", AthleteID: &athlete}
		s.ID = uuid.Must(uuid.NewV7())
		s.Date = record.Day{Time: today.AddDate(0, 0, -days+made*days/sessions)}
		records := []record.Record{s}
		for order := range toSession {
			records = append(records, &record.Shot{Shot: shot.Shot{
				ID:        uuid.Must(uuid.NewV7()),
				SessionID: s.ID,
				AthleteID: athlete,
				Order:     order + 1,
				Time:      s.Date.Add(time.Duration(order) * time.Minute),
				SpeedMPH:  new(16.5),
			}})
		}
		f.store(b, squad.ID, coach.ID, records...)
	}
	conn := f.owner(b)
	if _, err := conn.Exec(b.Context(), "ANALYZE"); err != nil {
		b.Fatal(err)
	}
	since := today.AddDate(0, 0, -90).Format(time.DateOnly)
	b.ResetTimer()
	for b.Loop() {
		shots, bytes := 0, 0
		query := SnapshotQuery{Limit: 5000, Schema: Schema, Since: since}
		for {
			page, err := f.Snapshot(b.Context(), coach.ID, squad.ID, query)
			if err != nil {
				b.Fatal(err)
			}
			body, err := AppendItems(nil, page.Items, true, '\n')
			if err != nil {
				b.Fatal(err)
			}
			shots, bytes = shots+len(page.Items), bytes+len(body)
			if query.Page = page.Page; page.Cursor != "" {
				break
			}
		}
		b.ReportMetric(float64(shots), "records")
		b.ReportMetric(float64(bytes), "bytes")
	}
}
