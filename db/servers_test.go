package db_test

import (
	"slices"
	"testing"

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
	advance := func(squad uuid.UUID, meanwhile func()) {
		t.Helper()
		err := opened.InSquad(t.Context(), squad, func(tx *db.Tx) error {
			_, err := tx.AdvanceClock(t.Context(), db.AdvanceClockParams{SquadID: squad, ByRows: 1})
			meanwhile()
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	wants("the first question only begins")
	wants("nothing was written")
	advance(squadA, func() { wants("one is writing") })
	wants("it has committed", squadA)
	wants("nothing was written since")
	advance(squadA, func() {
		advance(squadB, func() { wants("two are writing") })
		wants("the later has committed", squadB)
	})
	if got := ask(); !slices.Contains(got, squadA) { // and may name the other again
		t.Errorf("the earlier has committed: %v", got)
	}
	wants("nothing was written since both")
}
