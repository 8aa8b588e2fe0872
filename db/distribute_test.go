package db_test

import (
	"os"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"laneward/db"
	"laneward/db/dbtest"
)

// standIns are Citus's functions as far as deploy/distribute.sql needs them: they note what is
// distributed, and refuse what Citus refuses, a foreign key with one end that is distributed and one
// that is not.
const standIns = `
	CREATE TABLE distributed (name text, how text);
	CREATE FUNCTION ends_apart() RETURNS void LANGUAGE plpgsql AS $$
	BEGIN
		IF EXISTS (SELECT FROM pg_constraint WHERE contype = 'f'
			AND (conrelid::regclass::text IN (SELECT name FROM distributed WHERE how <> 'everywhere'))
				<> (confrelid::regclass::text IN (SELECT name FROM distributed WHERE how <> 'everywhere'))
			AND confrelid::regclass::text NOT IN (SELECT name FROM distributed WHERE how = 'everywhere')) THEN
			RAISE 'a foreign key would cross';
		END IF;
	END $$;
	CREATE FUNCTION create_reference_table(t regclass) RETURNS void LANGUAGE plpgsql AS $$
	BEGIN
		INSERT INTO distributed VALUES (t::text, 'everywhere');
		PERFORM ends_apart();
	END $$;
	CREATE FUNCTION create_distributed_table(t regclass, by text, colocate_with text DEFAULT 'itself') RETURNS void
	LANGUAGE plpgsql AS $$
	BEGIN
		INSERT INTO distributed VALUES (t::text, by || ' with ' || colocate_with);
		PERFORM ends_apart();
	END $$;`

// TestDistribute holds that the tables can be distributed by squad in the order of the script, and
// that every key is there afterwards as it was.
func TestDistribute(t *testing.T) {
	t.Parallel()
	owner := connect(t, dbtest.New(t).OwnerURL)
	keys := func() []string {
		return collect[string](t, owner, `SELECT conrelid::regclass || ' ' || conname || ' ' || pg_get_constraintdef(oid)
			FROM pg_constraint WHERE connamespace = 'public'::regnamespace ORDER BY 1`)
	}
	tables := squadTables(t, owner)
	before := keys()
	script, err := os.ReadFile("../deploy/distribute.sql")
	if err != nil {
		t.Fatal(err)
	}
	do(t, owner, standIns, string(script))
	if diff := cmp.Diff(before, keys()); diff != "" {
		t.Errorf("keys (-before +after):\n%s", diff)
	}
	var want []string
	for _, table := range tables {
		with := "squads"
		if table == "squads" {
			with = "itself"
		}
		want = append(want, table+" squad_id with "+with)
	}
	want = append(want, "users everywhere")
	slices.Sort(want)
	got := collect[string](t, owner, "SELECT name || ' ' || how FROM distributed")
	slices.Sort(got)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("tables (-want +distributed):\n%s", diff)
	}
}

// TestDistributable holds what a distributed Postgres asks of the schema besides its keys: policies
// without a sub-select, functions in PL/pgSQL, and a role that the workers can be entered as, which
// has no password of its own.
func TestDistributable(t *testing.T) {
	t.Parallel()
	owner := connect(t, dbtest.New(t).OwnerURL)
	for what, query := range map[string]string{
		"policies with a sub-select": `SELECT tablename || '.' || policyname FROM pg_policies
			WHERE schemaname = 'public' AND concat(qual, with_check) ILIKE '%select%'`,
		"functions that are not PL/pgSQL": `SELECT p.proname::text FROM pg_proc p JOIN pg_language l ON l.oid = p.prolang
			WHERE p.pronamespace = 'public'::regnamespace AND l.lanname <> 'plpgsql'`,
		"the role cannot sign in": "SELECT rolname::text FROM pg_roles WHERE rolname = '" + db.ServiceRole + "' AND NOT rolcanlogin",
		"the role has a password": "SELECT rolname::text FROM pg_authid WHERE rolname = '" + db.ServiceRole + "' AND rolpassword IS NOT NULL",
	} {
		if got := collect[string](t, owner, query); len(got) > 0 {
			t.Errorf("%s: %v", what, got)
		}
	}
}
