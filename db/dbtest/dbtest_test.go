//go:build unix

package dbtest

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"laneward/db"
)

func query(t *testing.T, address, sql string, args ...any) string {
	t.Helper()
	var text string
	err := withConn(t.Context(), address, func(conn *pgx.Conn) error {
		return conn.QueryRow(t.Context(), sql, args...).Scan(&text)
	})
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return text
}

func execute(t *testing.T, address, sql string) {
	t.Helper()
	err := withConn(t.Context(), address, func(conn *pgx.Conn) error {
		_, err := conn.Exec(t.Context(), sql)
		return err
	})
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
}

func TestNewIsMigratedAndOpensForTheService(t *testing.T) {
	t.Parallel()
	made := New(t)
	opened, err := db.Open(t.Context(), made.ServiceURL, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	opened.Close()
	if got := query(t, made.OwnerURL, "select current_database()::text"); got != made.Name {
		t.Errorf("database %s, want %s", got, made.Name)
	}
}

func TestServiceIsNeitherOwnerNorSuperuser(t *testing.T) {
	t.Parallel()
	made := New(t)
	if got := query(t, made.ServiceURL, `select string_agg(g.rolname, ' ') from pg_auth_members m
		join pg_roles g on g.oid = m.roleid join pg_roles r on r.oid = m.member where r.rolname = current_user`); got != db.ServiceRole {
		t.Errorf("the service may become %s, want %s", got, db.ServiceRole)
	}
	if got := query(t, made.ServiceURL, "select bool_or(has_table_privilege(oid, 'select'))::text from pg_class where relname = 'users'"); got != "false" {
		t.Error("the service can read before it has taken on its role")
	}
	got := query(t, made.ServiceURL, `select string_agg(rolname, ' ') from pg_roles
		where rolname in (current_user, 'laneward_service') and (rolsuper or rolbypassrls or rolcreatedb or rolcreaterole) having count(*) > 0
		union all select 'none' limit 1`)
	if got != "none" {
		t.Errorf("roles with more rights than the service may have: %s", got)
	}
	owned := query(
		t,
		made.ServiceURL,
		`select count(*)::text from pg_class c join pg_namespace n on n.oid = c.relnamespace
		where nspname = 'public' and pg_get_userbyid(relowner) in (current_user, 'laneward_service')`,
	)
	if owned != "0" {
		t.Errorf("the service owns %s tables", owned)
	}
	if tables := query(
		t,
		made.ServiceURL,
		"select (count(*) > 5)::text from pg_class where relnamespace = 'public'::regnamespace and relkind = 'r'",
	); tables != "true" {
		t.Error("there are hardly any tables, so that this test shows nothing")
	}
}

func TestDatabasesAreSeparate(t *testing.T) {
	t.Parallel()
	first, second := New(t), New(t)
	execute(t, first.OwnerURL, "create table only_here (n int)")
	if got := query(t, second.OwnerURL, "select coalesce(to_regclass('only_here')::text, 'absent')"); got != "absent" {
		t.Errorf("the other database sees it: %s", got)
	}
	third := New(t)
	if got := query(t, third.OwnerURL, "select coalesce(to_regclass('only_here')::text, 'absent')"); got != "absent" {
		t.Errorf("the template was changed: %s", got)
	}
}

func TestNewEmpty(t *testing.T) {
	t.Parallel()
	made := NewEmpty(t)
	if got := query(t, made.OwnerURL, "select count(*)::text from pg_tables where schemaname = 'public'"); got != "0" {
		t.Errorf("%s tables", got)
	}
	if err := db.Migrate(t.Context(), made.OwnerURL); err != nil {
		t.Fatal(err)
	}
	opened, err := db.Open(t.Context(), made.ServiceURL, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	opened.Close()
}

func TestManyAtOnce(t *testing.T) {
	t.Parallel()
	const many = 12
	names := make(chan string, many)
	t.Run("group", func(t *testing.T) {
		for range many {
			t.Run("one", func(t *testing.T) {
				t.Parallel()
				made := New(t)
				names <- query(t, made.ServiceURL, "select current_database()::text")
			})
		}
	})
	close(names)
	seen := map[string]bool{}
	for name := range names {
		seen[name] = true
	}
	if len(seen) != many {
		t.Errorf("%d different databases, want %d", len(seen), many)
	}
}

func TestDroppedWithTheTest(t *testing.T) {
	t.Parallel()
	var gone *DB
	t.Run("inner", func(t *testing.T) {
		gone = New(t)
		left, err := pgx.Connect(t.Context(), gone.ServiceURL)
		if err != nil {
			t.Fatal(err)
		}
		// Closed after the database is dropped: a forgotten connection must not keep it.
		go func() { <-time.After(time.Minute); _ = left.Close(context.Background()) }()
	})
	other := NewEmpty(t)
	got := query(
		t,
		other.OwnerURL,
		`select (select count(*) from pg_database where datname = $1) || ' ' || (select count(*) from pg_roles where rolname = $1)`,
		gone.Name,
	)
	if got != "0 0" {
		t.Errorf("databases and roles left: %s", got)
	}
}

func TestSweep(t *testing.T) {
	t.Parallel()
	made := NewEmpty(t)
	server, err := sharedServer()
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	fresh, left, used := databaseName(now), databaseName(now.Add(-3*leftAfter)), databaseName(now.Add(-2*leftAfter))
	for _, name := range []string{fresh, left, used} {
		if err := create(t.Context(), server.adminURL, name, "template0", "secret"); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := drop(context.Background(), server.adminURL, name); err != nil {
				t.Error(err)
			}
		})
	}
	address, err := withDatabase(server.adminURL, used)
	if err != nil {
		t.Fatal(err)
	}
	user, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	err = withConn(t.Context(), made.OwnerURL, func(conn *pgx.Conn) error { return sweep(t.Context(), conn, now) })
	if err := errors.Join(err, user.Close(t.Context())); err != nil {
		t.Fatal(err)
	}
	got := query(
		t,
		made.OwnerURL,
		`select string_agg(datname, ' ' order by datname) from pg_database where datname = any($1)`,
		[]string{fresh, left, used},
	)
	if want := used + " " + fresh; got != want {
		t.Errorf("databases kept: %s, want %s", got, want)
	}
	if got := query(t, made.OwnerURL, "select count(*)::text from pg_roles where rolname = $1", left); got != "0" {
		t.Error("the role was kept")
	}
}

func TestWithDatabase(t *testing.T) {
	t.Parallel()
	for _, test := range []struct{ name, address, want, fault string }{
		{name: "tcp", address: "postgres://a:b@h:5432/x?sslmode=disable", want: "postgres://a:b@h:5432/y?sslmode=disable"},
		{name: "socket", address: "postgresql://a@/x?host=%2Ftmp%2Fs", want: "postgresql://a@/y?host=%2Ftmp%2Fs"},
		{name: "no database", address: "postgres://a:b@h", want: "postgres://a:b@h/y"},
		{name: "key and value", address: "host=h password=secret", fault: "write postgres://"},
		{name: "not an address", address: "postgres://a:secret@h:port/", fault: "write postgres://"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			got, err := withDatabase(test.address, "y")
			if diff := cmp.Diff(test.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
			if (err != nil) != (test.fault != "") ||
				err != nil && (!strings.Contains(err.Error(), test.fault) || strings.Contains(err.Error(), "secret")) {
				t.Errorf("error %v, want one that says %q and keeps the password", err, test.fault)
			}
		})
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		server, err := sharedServer()
		if err != nil {
			b.Fatal(err)
		}
		name := databaseName(time.Now())
		b.StartTimer()
		if err := create(b.Context(), server.adminURL, name, server.template, "secret"); err != nil {
			b.Fatal(err)
		}
		if err := drop(b.Context(), server.adminURL, name); err != nil {
			b.Fatal(err)
		}
	}
}
