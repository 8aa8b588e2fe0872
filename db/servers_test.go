package db_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/db/dbtest"
)

// TestClocksSince holds that asking again and again where squads stand misses no commit: not one of
// a transaction that was under way at the last question, and says nothing when nothing was written.
func TestClocksSince(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner := connect(t, database.OwnerURL)
	for _, squad := range []uuid.UUID{squadA, squadB} {
		fill(t, owner, squadTables(t, owner), squad)
	}
	opened := open(t, database.ServiceURL, 4)
	var since int64
	ask := func() []uuid.UUID {
		t.Helper()
		var row db.ClocksSinceRow
		err := opened.Global(t.Context(), func(tx *db.Tx) (err error) {
			row, err = tx.ClocksSince(t.Context(), db.ClocksSinceParams{Since: since})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		since = row.Upto
		if len(row.SquadIDs) != len(row.Revs) {
			t.Fatalf("%d squads, %d revisions", len(row.SquadIDs), len(row.Revs))
		}
		return row.SquadIDs
	}
	wants := func(when string, squads ...uuid.UUID) {
		t.Helper()
		if got := ask(); !slices.Equal(got, squads) {
			t.Errorf("%s: %v, want %v", when, got, squads)
		}
	}
	// A squad may be named again as long as an older transaction runs, and be it another test's: what
	// is still running is counted for the whole of Postgres.
	settles := func(when string) {
		t.Helper()
		got := ask()
		for end := time.Now().Add(time.Minute); len(got) > 0 && time.Now().Before(end); got = ask() {
			time.Sleep(10 * time.Millisecond)
		}
		if len(got) > 0 {
			t.Errorf("%s: still %v", when, got)
		}
	}
	advance := func(squad uuid.UUID, meanwhile func()) {
		t.Helper()
		err := opened.InSquad(t.Context(), squad, func(tx *db.Tx) error {
			_, err := tx.AdvanceClock(t.Context(), db.AdvanceClockParams{SquadID: squad, ByRows: 1, Digest: []byte{1}})
			meanwhile()
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	wants("the first question only begins")
	settles("nothing was written")
	advance(squadA, func() { wants("one is writing") })
	wants("it has committed", squadA)
	settles("nothing was written since")
	advance(squadA, func() {
		advance(squadB, func() { wants("two are writing") })
		wants("the later has committed", squadB)
	})
	if got := ask(); !slices.Contains(got, squadA) { // and may name the other again
		t.Errorf("the earlier has committed: %v", got)
	}
	settles("nothing was written since both")
}

// BenchmarkClocks asks where 10,000 squads stand: each by its own counter, or which of them have been
// written since the last question, while none is and while one is.
func BenchmarkClocks(b *testing.B) {
	database := dbtest.New(b)
	const many = 10_000
	squads := make([]uuid.UUID, many)
	for i := range squads {
		squads[i] = uuid.Must(uuid.NewV7())
	}
	if _, err := connect(b, database.OwnerURL).Exec(b.Context(), `WITH made AS (
		INSERT INTO squads (squad_id, rev, hash, name, created_at) SELECT id, 1, '', 'Squad', now() FROM unnest($1::uuid[]) AS id
		RETURNING squad_id
	) INSERT INTO squads_clock (squad_id, rev) SELECT squad_id, 1 FROM made`, squads); err != nil {
		b.Fatal(err)
	}
	opened := open(b, database.ServiceURL, 2)
	ctx := b.Context()
	var since int64
	news := func() (changed int) {
		err := opened.Global(ctx, func(tx *db.Tx) error {
			row, err := tx.ClocksSince(ctx, db.ClocksSinceParams{Since: since})
			since, changed = row.Upto, len(row.SquadIDs)
			return err
		})
		if err != nil {
			b.Fatal(err)
		}
		return changed
	}
	b.Run("each", func(b *testing.B) {
		for b.Loop() {
			err := opened.Global(ctx, func(tx *db.Tx) error {
				rows, err := tx.HeadsOf(ctx, db.HeadsOfParams{SquadIDs: squads})
				if err == nil && len(rows) != many {
					b.Fatal(len(rows))
				}
				return err
			})
			if err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("none written", func(b *testing.B) {
		news()
		for b.Loop() {
			if n := news(); n != 0 {
				b.Fatal(n)
			}
		}
	})
	b.Run("one written", func(b *testing.B) {
		news()
		for b.Loop() {
			b.StopTimer()
			err := opened.InSquad(ctx, squads[0], func(tx *db.Tx) error {
				_, err := tx.AdvanceClock(ctx, db.AdvanceClockParams{SquadID: squads[0], ByRows: 1, Digest: []byte{1}})
				return err
			})
			if err != nil {
				b.Fatal(err)
			}
			b.StartTimer()
			if n := news(); n != 1 {
				b.Fatal(n)
			}
		}
	})
}
