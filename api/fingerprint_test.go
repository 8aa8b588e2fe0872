package api_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
)

// fingerprint digests every row of every table, but for the log of migrations: two that are equal
// mean that nothing was written.
type fingerprint map[string]string

// keeper reads a server's whole database as its owner.
type keeper struct {
	conn  *pgx.Conn
	query string
}

func (s *server) keeper(t testing.TB) *keeper {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.db.OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(context.Background()); err != nil {
			t.Error(err)
		}
	})
	rows, err := conn.Query(
		t.Context(),
		`SELECT relname FROM pg_class WHERE relkind IN ('r', 'p') AND relnamespace = 'public'::regnamespace
		AND relname <> 'goose_db_version' ORDER BY relname`,
	)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(tables) == 0 {
		t.Fatal(tables, err)
	}
	seeAll(t, conn, tables)
	parts := make([]string, len(tables))
	for i, table := range tables {
		parts[i] = fmt.Sprintf(
			"SELECT '%s', count(*) || ' ' || coalesce(md5(string_agg(r::text, E'\\n' ORDER BY r::text)), '') FROM %s r",
			table,
			pgx.Identifier{table}.Sanitize(),
		)
	}
	return &keeper{conn, strings.Join(parts, " UNION ALL ")}
}

// seeAll lifts the policies from the owner, who may be no superuser; the service is not the owner
// and stays bound. No policy is passed over in silence after that.
func seeAll(t testing.TB, conn *pgx.Conn, tables []string) {
	t.Helper()
	for _, table := range tables {
		if _, err := conn.Exec(
			t.Context(),
			"ALTER TABLE "+pgx.Identifier{table}.Sanitize()+" NO FORCE ROW LEVEL SECURITY",
		); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := conn.Exec(t.Context(), "SET row_security = off"); err != nil {
		t.Fatal(err)
	}
}

func (k *keeper) fingerprint(t testing.TB) fingerprint {
	t.Helper()
	rows, err := k.conn.Query(t.Context(), k.query)
	if err != nil {
		t.Fatal(err)
	}
	found := make(fingerprint)
	var table, digest string
	if _, err := pgx.ForEachRow(
		rows,
		[]any{&table, &digest},
		func() error { found[table] = digest; return nil },
	); err != nil {
		t.Fatal(err)
	}
	return found
}

// unchanged fails the test when anything was written since.
func (k *keeper) unchanged(t testing.TB, since fingerprint) {
	t.Helper()
	if diff := cmp.Diff(since, k.fingerprint(t)); diff != "" {
		t.Errorf("rows were written (-before +after):\n%s", diff)
	}
}
