package db_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/db"
	"laneward/db/dbtest"
)

// TestValuesReadBackAlike stores ids alone, in sets, absent and of all zeros and ones, and numbers
// with all their digits or absent, and reads them in every place a query has them.
func TestValuesReadBackAlike(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner := connect(t, database.OwnerURL)
	fill(t, owner, squadTables(t, owner), squadA)
	opened := open(t, database.ServiceURL, 1)
	// Of RFC 9562, sections 5.9, 5.10 and appendix A.6 (from memory).
	odd := []uuid.UUID{uuid.Nil, uuid.Max, uuid.MustParse("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")}
	var shots []db.Shot
	for i, id := range odd {
		one := db.Shot{
			SquadID:   squadA,
			ID:        id,
			Rev:       int64(i) + 2,
			Hash:      []byte{1},
			SessionID: squadA,
			AthleteID: squadA,
			ShotOrder: int32(i) + 1,
			ShotTime:  time.Date(2026, 3, 14, 18, 0, 0, 0, time.UTC),
		}
		board, speed := 20.1+0.2, 16.0
		if i%2 == 0 {
			one.BallID, one.LaydownBoard = &squadA, &board
		} else {
			one.DrillID, one.SpeedMPH = &squadA, &speed
		}
		shots = append(shots, one)
	}
	err := opened.InSquad(t.Context(), squadA, func(tx *db.Tx) error {
		if err := tx.PutShots(t.Context(), squadA, shots); err != nil {
			return err
		}
		for name, athlete := range map[string]*uuid.UUID{"anybody": nil, "one athlete": &squadA} {
			got, err := tx.ShotsByIDs(t.Context(), db.ShotsByIDsParams{SquadID: squadA, IDs: odd, Athlete: athlete})
			if err != nil {
				return err
			}
			slices.SortFunc(got, func(a, b db.Shot) int { return int(a.Rev - b.Rev) })
			for i := range got {
				got[i].ShotTime = got[i].ShotTime.UTC()
			}
			if diff := cmp.Diff(shots, got); diff != "" {
				t.Errorf("%s (-stored +read):\n%s", name, diff)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
