package db_test

import (
	"testing"

	"laneward/db/dbtest"
)

// TestHeadsTakeLittle holds what the head of a commit takes on the disk, with its index, where many
// squads commit in turns.
func TestHeadsTakeLittle(t *testing.T) {
	t.Parallel()
	owner := connect(t, dbtest.New(t).OwnerURL)
	const squads, commits, limit = 50, 1_000, 160
	if _, err := owner.Exec(t.Context(), `
		INSERT INTO heads (squad_id, rev, made_at, head)
		SELECT md5(squad::text)::uuid, rev, now(), uuid_send(gen_random_uuid())
		FROM generate_series(1, $2) AS rev, generate_series(1, $1) AS squad ORDER BY rev, squad`, squads, commits); err != nil {
		t.Fatal(err)
	}
	size := collect[int64](t, owner, "SELECT pg_total_relation_size('heads')")[0]
	if each := float64(size) / (squads * commits); each >= limit {
		t.Errorf("a commit takes %.0f bytes, want fewer than %d", each, limit)
	} else {
		t.Logf("a commit takes %.0f bytes", each)
	}
}
