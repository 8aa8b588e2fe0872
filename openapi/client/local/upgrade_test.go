package local_test

import (
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"testing"

	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

// A store that the first schema made, with a copy and unsent changes in it, is opened by today's
// program: nothing is lost, and each change knows the wire schema it was made by.
func TestUpgradeFromTheFirstSchema(t *testing.T) {
	t.Parallel()
	dir, user, squad, shot, edited := t.TempDir(), newID(), newID(), newID(), newID()
	path := local.Path(dir, somewhere, user)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	first, err := os.ReadFile("schema1.sql")
	if err != nil {
		t.Fatal(err)
	}
	execute(t, path, string(first)+fmt.Sprintf(`
		PRAGMA user_version = 1;
		INSERT INTO owner (server, user) VALUES ('%[1]s', '%[2]s');
		INSERT INTO squads (id, name, role, member, cursor, copy, rev, synced_ms) VALUES ('%[3]s', 'Quillfen', 'coach', 1, 'place', 1, 7, 1000);
		INSERT INTO records (squad, kind, id, rev, copy, body) VALUES ('%[3]s', 'shot', '%[4]s', 5, 1, '{"id":"%[4]s","order":1,"athlete_id":"a"}');
		INSERT INTO changes (squad, kind, id, base, body, made_ms) VALUES
			('%[3]s', 'shot', '%[4]s', 5, '{"id":"%[4]s","order":1,"athlete_id":"a","note":"mine"}', 2000),
			('%[3]s', 'shot', '%[5]s', 0, '{"id":"%[5]s","order":2,"athlete_id":"a"}', 3000);`,
		somewhere, user, squad, shot, edited))
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	store := mustOpen(t, dir, somewhere, user)
	squads, err := store.Squads(t.Context())
	if err != nil || len(squads) != 1 || squads[0].Name != "Quillfen" || squads[0].Rev != 7 {
		t.Fatalf("squads %+v, %v", squads, err)
	}
	seen, err := store.Records(t.Context(), squad, client.Shot)
	if err != nil || len(seen) != 2 || seen[0].State != local.Queued || seen[1].State != local.Queued {
		t.Fatalf("records %+v, %v", seen, err)
	}
	for _, change := range []client.Record{
		record(client.Shot, edited, `{"order":2,"athlete_id":"a","lane":11}`), // never sent: it may say anything now
		record(client.Shot, newID(), `{"order":3,"athlete_id":"a"}`),
	} {
		if err := store.Put(t.Context(), squad, change); err != nil {
			t.Fatal(err)
		}
	}
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Path: path}).String())
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var schemas string
	err = db.QueryRowContext(t.Context(), `SELECT group_concat(schema) FROM (SELECT schema FROM changes ORDER BY seq)`).Scan(&schemas)
	if want := fmt.Sprintf("1,%[1]d,%[1]d", client.Schema); err != nil || schemas != want {
		t.Errorf("the changes were made by schemas %s, want %s (%v)", schemas, want, err)
	}
}
