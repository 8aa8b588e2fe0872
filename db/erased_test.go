package db_test

import (
	"io/fs"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"laneward/db"
	"laneward/db/dbtest"
)

// TestErasedTakesLittle holds what an id that is refused for good takes on the disk, with its index,
// where an athlete with some thousand sessions is erased in one of many squads.
func TestErasedTakesLittle(t *testing.T) {
	t.Parallel()
	owner := connect(t, dbtest.New(t).OwnerURL)
	const ids, limit = 50_000, 160
	if _, err := owner.Exec(t.Context(), `
		INSERT INTO erased_ids (squad_id, id) SELECT md5((n % 20)::text)::uuid, gen_random_uuid() FROM generate_series(1, $1) AS n`, ids); err != nil {
		t.Fatal(err)
	}
	size := collect[int64](t, owner, "SELECT pg_total_relation_size('erased_ids')")[0]
	if each := float64(size) / ids; each >= limit {
		t.Errorf("an id takes %.0f bytes, want fewer than %d", each, limit)
	} else {
		t.Logf("an id takes %.0f bytes", each)
	}
}

// TestErasedBefore upgrades a database in which athletes have been erased: what its log and its
// deletions say of them is refused from then on, in their squad.
func TestErasedBefore(t *testing.T) {
	t.Parallel()
	owner := connect(t, dbtest.New(t).OwnerURL)
	names, err := fs.Glob(db.Migrations(), "*_erased.sql")
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	migration, err := fs.ReadFile(db.Migrations(), names[0])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := owner.Exec(t.Context(), "DROP TABLE erased_ids"); err != nil {
		t.Fatal(err)
	}
	for _, squad := range []struct {
		id     uuid.UUID
		action string
	}{{squadA, "erased"}, {squadB, "exported"}} {
		inSquad(t, owner, squad.id, func(tx pgx.Tx) {
			for _, statement := range []string{
				`INSERT INTO squads (squad_id, rev, hash, name, created_at) VALUES ($1, 1, '', 'n', now())`,
				`INSERT INTO squads_clock (squad_id, rev) VALUES ($1, 1)`,
				`INSERT INTO tombstones (squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at)
				SELECT $1, kind, md5(kind || whose)::uuid, row_number() OVER (), md5(whose)::uuid, $1, now()
				FROM unnest(ARRAY['athlete', 'session', 'ball', 'shot']) AS kind, unnest(ARRAY['erased', 'deleted']) AS whose`,
			} {
				if _, err := tx.Exec(t.Context(), statement, squad.id); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := tx.Exec(t.Context(), `INSERT INTO audit_log (squad_id, id, at, action, by_user, subject)
				VALUES ($1, gen_random_uuid(), now(), $2, $1, md5('erased')::uuid)`, squad.id, squad.action); err != nil {
				t.Fatal(err)
			}
		})
	}
	if _, err := owner.Exec(t.Context(), string(migration)); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, squad := range []uuid.UUID{squadA, squadB} {
		got = append(got, collect[string](t, owner, `SELECT what FROM erased_ids e JOIN (
			SELECT 'the athlete' AS what, md5('erased')::uuid AS id UNION SELECT kind || ' of ' || whose, md5(kind || whose)::uuid
			FROM unnest(ARRAY['athlete', 'session', 'ball', 'shot']) AS kind, unnest(ARRAY['erased', 'deleted']) AS whose
		) named USING (id) WHERE squad_id = $1 ORDER BY 1`, squad)...)
	}
	if diff := cmp.Diff([]string{"athlete of erased", "ball of erased", "session of erased", "the athlete"}, got); diff != "" {
		t.Errorf("refused after the upgrade (-want +got):\n%s", diff)
	}
}
