package db_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"laneward/db"
	"laneward/db/dbtest"
)

// The squads of these tests. Every uuid column of a squad's rows holds the squad's id, so that
// every reference between them holds.
var (
	squadA = uuid.MustParse("0191e2c4-7d00-7000-8000-00000000000a")
	squadB = uuid.MustParse("0191e2c4-7d00-7000-8000-00000000000b")
)

func connect(t testing.TB, url string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return conn
}

// connectAsService works under the service's role for the whole session.
func connectAsService(t testing.TB, database *dbtest.DB) *pgx.Conn {
	t.Helper()
	conn := connect(t, database.ServiceURL)
	if _, err := conn.Exec(t.Context(), "SET ROLE "+db.ServiceRole); err != nil {
		t.Fatal(err)
	}
	return conn
}

func open(t testing.TB, url string, conns int32) *db.DB {
	t.Helper()
	opened, err := db.Open(t.Context(), url, db.Options{MaxConns: conns, Wait: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(opened.Close)
	return opened
}

// collect reads one column.
func collect[T any](t testing.TB, conn *pgx.Conn, query string, args ...any) []T {
	t.Helper()
	rows, err := conn.Query(t.Context(), query, args...)
	if err != nil {
		t.Fatal(err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[T])
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// squadTables are all tables with a squad_id, from the catalogue: a new one is tested without being
// named here.
func squadTables(t testing.TB, conn *pgx.Conn) []string {
	t.Helper()
	tables := collect[string](t, conn, `
		SELECT c.relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND a.attname = 'squad_id' AND NOT a.attisdropped
		ORDER BY c.relname`)
	if len(tables) < 13 {
		t.Fatalf("only %d squad tables found: %v", len(tables), tables)
	}
	return tables
}

// column is one column of a table.
type column struct {
	Name, Type string
}

func columns(t testing.TB, conn *pgx.Conn, table string) []column {
	t.Helper()
	rows, err := conn.Query(t.Context(), `
		SELECT attname, format_type(atttypid, NULL) FROM pg_attribute
		WHERE attrelid = $1::regclass AND attnum > 0 AND NOT attisdropped AND attgenerated = '' AND attidentity = '' ORDER BY attnum`, table)
	if err != nil {
		t.Fatal(err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[column])
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// values are what a sample row holds, by type; checked are those that a CHECK wants otherwise, by
// table.column or column.
var (
	values = map[string]string{
		"uuid":                     "$1",
		"bigint":                   "1",
		"integer":                  "1",
		"smallint":                 "1",
		"bytea":                    `'\x01'`,
		"text":                     "'sample'",
		"double precision":         "1",
		"jsonb":                    "'[]'",
		"date":                     "'2026-03-14'",
		"timestamp with time zone": "'2026-03-14T18:00:00Z'",
		"boolean":                  "false",
		"integer[]":                "'{1}'",
	}
	checked = map[string]string{"side": "'left'", "role": "'athlete'", "sessions.kind": "'practice'", "gutter": "'left'"}
)

func insertSample(t testing.TB, conn *pgx.Conn, table string) string {
	t.Helper()
	var names, list []string
	for _, c := range columns(t, conn, table) {
		value, ok := checked[table+"."+c.Name]
		if !ok {
			value, ok = checked[c.Name]
		}
		if !ok {
			value, ok = values[c.Type]
		}
		if !ok {
			t.Fatalf("%s.%s is of type %s: give values a sample of it", table, c.Name, c.Type)
		}
		names, list = append(names, pgx.Identifier{c.Name}.Sanitize()), append(list, value)
	}
	return fmt.Sprintf(
		"INSERT INTO %s (%s) VALUES (%s)",
		pgx.Identifier{table}.Sanitize(),
		strings.Join(names, ", "),
		strings.Join(list, ", "),
	)
}

// fill stores a row of the squad in every squad table, as the owner, whom forced policies may bind
// too.
func fill(t testing.TB, owner *pgx.Conn, tables []string, squad uuid.UUID) {
	t.Helper()
	_, err := owner.Exec(
		t.Context(),
		`INSERT INTO users (id, email, name, password_hash, created_at) VALUES ($1, $1::uuid || '@invented.example', 'n', 'h', now())`,
		squad,
	)
	if err != nil {
		t.Fatal(err)
	}
	_, err = owner.Exec(
		t.Context(),
		`INSERT INTO refresh_families (id, user_id, device, created_at, expires_at) VALUES ($1, $1, 'd', now(), now())`,
		squad,
	)
	if err != nil {
		t.Fatal(err)
	}
	inSquad(t, owner, squad, func(tx pgx.Tx) {
		if _, err := tx.Exec(t.Context(), "SET CONSTRAINTS ALL DEFERRED"); err != nil {
			t.Fatal(err)
		}
		left := slices.Clone(tables)
		for len(left) > 0 { // a table whose parents have no row yet comes in a later turn
			before := len(left)
			var last error
			left = slices.DeleteFunc(left, func(table string) bool {
				last = attempt(t, tx, insertSample(t, owner, table), squad)
				return last == nil
			})
			if len(left) == before {
				t.Fatalf("no sample row fits %v: %v: say in checked what its CHECKs want", left, last)
			}
		}
	})
}

// attempt runs a statement in a savepoint.
func attempt(t testing.TB, tx pgx.Tx, statement string, args ...any) error {
	t.Helper()
	inner, err := tx.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := inner.Exec(t.Context(), statement, args...); err != nil {
		if rolled := inner.Rollback(t.Context()); rolled != nil {
			t.Fatal(rolled)
		}
		return err
	}
	return inner.Commit(t.Context())
}

// inSquad runs work in a transaction of the squad and commits it.
func inSquad(t testing.TB, conn *pgx.Conn, squad uuid.UUID, work func(tx pgx.Tx)) {
	t.Helper()
	tx, err := conn.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = tx.Rollback(context.Background()) }() // after the commit this does nothing
	if _, err := tx.Exec(t.Context(), "SELECT set_config('laneward.squad', $1, true)", squad.String()); err != nil {
		t.Fatal(err)
	}
	work(tx)
	if err := tx.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func count(t testing.TB, tx pgx.Tx, query string, args ...any) int {
	t.Helper()
	var n int
	if err := tx.QueryRow(t.Context(), query, args...).Scan(&n); err != nil {
		t.Fatal(query, err)
	}
	return n
}

func affected(t testing.TB, tx pgx.Tx, statement string, args ...any) int64 {
	t.Helper()
	tag, err := tx.Exec(t.Context(), statement, args...)
	if err != nil {
		t.Fatal(statement, err)
	}
	return tag.RowsAffected()
}

func wantCode(t testing.TB, err error, code string) {
	t.Helper()
	var fault *pgconn.PgError
	if !errors.As(err, &fault) || fault.Code != code {
		t.Errorf("error %v, want SQLSTATE %s", err, code)
	}
}

const insufficientPrivilege = "42501" // PostgreSQL documentation, appendix A; also what a row-level policy answers

// TestSquadsAreApart runs as the service with statements that forget the squad, on every squad
// table there is.
func TestSquadsAreApart(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner, service := connect(t, database.OwnerURL), connectAsService(t, database)
	tables := squadTables(t, owner)
	fill(t, owner, tables, squadA)
	fill(t, owner, tables, squadB)
	for _, table := range tables {
		t.Run(table, func(t *testing.T) {
			name := pgx.Identifier{table}.Sanitize()
			t.Run("read", func(t *testing.T) {
				inSquad(t, service, squadA, func(tx pgx.Tx) {
					if n := count(t, tx, "SELECT count(*) FROM "+name); n != 1 {
						t.Errorf("%d rows are seen, want the squad's own one", n)
					}
					if n := count(t, tx, "SELECT count(*) FROM "+name+" WHERE squad_id = $1", squadB); n != 0 {
						t.Errorf("%d rows of the other squad are seen", n)
					}
				})
			})
			t.Run("write", func(t *testing.T) {
				inSquad(t, service, squadA, func(tx pgx.Tx) {
					if n := affected(
						t,
						tx,
						"UPDATE "+name+" SET squad_id = squad_id WHERE squad_id = $1",
						squadB,
					); n != 0 {
						t.Errorf("%d rows of the other squad were changed", n)
					}
					if n := affected(t, tx, "DELETE FROM "+name+" WHERE squad_id = $1", squadB); n != 0 {
						t.Errorf("%d rows of the other squad were deleted", n)
					}
					wantCode(t, attempt(t, tx, insertSample(t, owner, table), squadB), insufficientPrivilege)
					wantCode(t, attempt(t, tx, "UPDATE "+name+" SET squad_id = $1", squadB), insufficientPrivilege)
					wantCode(t, attempt(t, tx, "TRUNCATE "+name), insufficientPrivilege) // no policy binds it
				})
			})
			t.Run("no squad", func(t *testing.T) { noSquad(t, service, name) })
		})
	}
}

// noSquad holds that nothing is seen, and nothing can be written, when the transaction names no
// squad or nonsense.
func noSquad(t *testing.T, service *pgx.Conn, name string) {
	tx, err := service.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = tx.Rollback(context.Background()) }()
	for _, setting := range []string{"unset", ""} {
		if setting != "unset" {
			affected(t, tx, "SELECT set_config('laneward.squad', $1, true)", setting)
		}
		if n := count(t, tx, "SELECT count(*) FROM "+name); n != 0 {
			t.Errorf("setting %q: %d rows are seen", setting, n)
		}
		if n := affected(t, tx, "UPDATE "+name+" SET squad_id = squad_id"); n != 0 {
			t.Errorf("setting %q: %d rows were changed", setting, n)
		}
	}
	affected(t, tx, "SELECT set_config('laneward.squad', 'nonsense', true)")
	wantCode(t, attempt(t, tx, "SELECT * FROM "+name), "22P02")
}

// TestSampleRowsCanBeWritten is the control of the refusals above: the same rows are taken for the
// own squad.
func TestSampleRowsCanBeWritten(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner, service := connect(t, database.OwnerURL), connectAsService(t, database)
	tables := squadTables(t, owner)
	fill(t, owner, tables, squadA)
	inSquad(t, service, squadA, func(tx pgx.Tx) {
		if _, err := tx.Exec(t.Context(), "DELETE FROM shots"); err != nil {
			t.Fatal(err)
		}
		if err := attempt(t, tx, insertSample(t, owner, "shots"), squadA); err != nil {
			t.Error(err)
		}
	})
}

// TestSquadSettingEndsWithItsTransaction takes one connection through transactions that end in
// every way.
func TestSquadSettingEndsWithItsTransaction(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner := connect(t, database.OwnerURL)
	fill(t, owner, squadTables(t, owner), squadA)
	opened := open(t, database.ServiceURL, 1)
	seen := func(run func(context.Context, func(*db.Tx) error) error) (found bool) {
		err := run(t.Context(), func(tx *db.Tx) error {
			_, err := tx.Squad(t.Context(), db.SquadParams{SquadID: squadA})
			found = err == nil
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return found
	}
	inA := func(ctx context.Context, work func(*db.Tx) error) error { return opened.InSquad(ctx, squadA, work) }
	boom := errors.New("boom")
	for name, end := range map[string]func(t *testing.T){
		"commit": func(t *testing.T) {
			if err := inA(t.Context(), func(*db.Tx) error { return nil }); err != nil {
				t.Fatal(err)
			}
		},
		"an error": func(t *testing.T) {
			if err := inA(t.Context(), func(*db.Tx) error { return boom }); !errors.Is(err, boom) {
				t.Fatal(err)
			}
		},
		"a panic": func(t *testing.T) {
			defer func() {
				if recover() == nil {
					t.Fatal("the panic was swallowed")
				}
			}()
			_ = inA(t.Context(), func(*db.Tx) error { panic("boom") })
		},
		"a cancelled request": func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			err := inA(ctx, func(tx *db.Tx) error {
				cancel()
				_, err := tx.Squad(ctx, db.SquadParams{SquadID: squadA})
				return err
			})
			if !errors.Is(err, context.Canceled) {
				t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			if !seen(inA) {
				t.Fatal("the squad does not see itself")
			}
			end(t)
			if seen(opened.Global) {
				t.Error("the next transaction on the connection still sees the squad")
			}
			if seen(
				func(ctx context.Context, work func(*db.Tx) error) error { return opened.InSquad(ctx, squadB, work) },
			) {
				t.Error("another squad's transaction sees the squad")
			}
		})
	}
}

// TestReadSquadCannotWrite holds that what says it reads does.
func TestReadSquadCannotWrite(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner := connect(t, database.OwnerURL)
	fill(t, owner, squadTables(t, owner), squadA)
	opened := open(t, database.ServiceURL, 1)
	err := opened.ReadSquad(t.Context(), squadA, func(tx *db.Tx) error {
		_, err := tx.AdvanceClock(t.Context(), db.AdvanceClockParams{SquadID: squadA, ByRows: 1})
		return err
	})
	wantCode(t, err, "25006") // read_only_sql_transaction
}

// TestServiceRole holds that the role can do what the service does and no more.
func TestServiceRole(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner, service := connect(t, database.OwnerURL), connectAsService(t, database)
	if got := collect[string](t, service, "SELECT current_user::text")[0]; got != db.ServiceRole {
		t.Errorf("the service works as %s", got)
	}
	for _, role := range collect[string](t, service, "SELECT unnest(ARRAY[current_user, session_user])::text") {
		powers := collect[bool](
			t,
			owner,
			`SELECT unnest(ARRAY[rolsuper, rolbypassrls, rolcreaterole, rolcreatedb, rolreplication]) FROM pg_roles WHERE rolname = $1`,
			role,
		)
		if len(powers) != 5 || slices.Contains(powers, true) {
			t.Errorf(
				"%s is superuser, bypasses row-level security, creates roles or databases, or replicates: %v",
				role,
				powers,
			)
		}
		if owned := collect[string](
			t,
			owner,
			"SELECT relname FROM pg_class c JOIN pg_roles r ON r.oid = c.relowner WHERE r.rolname = $1",
			role,
		); len(
			owned,
		) > 0 {
			t.Errorf("%s owns %v", role, owned)
		}
		if memberOf := collect[string](
			t,
			owner,
			`SELECT g.rolname FROM pg_auth_members m JOIN pg_roles g ON g.oid = m.roleid JOIN pg_roles r ON r.oid = m.member
			WHERE r.rolname = $1 AND g.rolname <> $2`,
			role,
			db.ServiceRole,
		); len(
			memberOf,
		) > 0 {
			t.Errorf("%s may become %v", role, memberOf)
		}
	}
	granted := collect[string](t, owner, `
		SELECT table_name || ': ' || string_agg(privilege_type, ' ' ORDER BY privilege_type) FROM information_schema.role_table_grants
		WHERE table_schema = 'public' AND grantee IN ($1, 'PUBLIC') GROUP BY table_name ORDER BY table_name`, db.ServiceRole)
	var want []string
	for _, table := range squadTables(t, owner) {
		want = append(want, table+": DELETE INSERT SELECT UPDATE")
	}
	want = append(
		want,
		"goose_db_version: SELECT",
		"instance: SELECT",
		"users: DELETE INSERT SELECT UPDATE",
		"reset_codes: DELETE INSERT SELECT UPDATE",
		"recovery_codes: DELETE INSERT SELECT UPDATE",
		"passkeys: DELETE INSERT SELECT UPDATE",
		"passkey_ceremonies: DELETE INSERT SELECT UPDATE",
		"refresh_families: DELETE INSERT SELECT UPDATE",
		"refresh_tokens: DELETE INSERT SELECT UPDATE",
		"sign_in_failures: DELETE INSERT SELECT UPDATE",
		"server_keys: DELETE INSERT SELECT UPDATE",
		"shared_secrets: INSERT SELECT",
	)
	slices.Sort(want)
	slices.Sort(granted)
	if diff := cmp.Diff(want, granted); diff != "" {
		t.Errorf("privileges of the service's role (-want +got):\n%s", diff)
	}
	if _, err := service.Exec(t.Context(), "SET row_security = off"); err != nil {
		t.Fatal(err)
	}
	_, err := service.Exec(t.Context(), "SELECT * FROM shots")
	wantCode(t, err, insufficientPrivilege)
}

// ownerPolicies are what the functions that run as their owner need, where the owner is no
// superuser: by table, the commands.
var ownerPolicies = map[string][]string{
	"memberships": {
		"SELECT",
	},
	"squads":       {"SELECT"},
	"invitations":  {"SELECT"},
	"squads_clock": {"SELECT", "UPDATE"},
	"tombstones":   {"ALL"},
	"heads":        {"ALL"},
}

// TestPolicies holds that every squad table enables and forces row-level security, with no policy
// for the service but its squad's.
func TestPolicies(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner := connect(t, database.OwnerURL)
	ownerName := collect[string](t, owner, "SELECT current_user::text")[0]
	for _, table := range squadTables(t, owner) {
		secured := collect[bool](
			t,
			owner,
			"SELECT relrowsecurity AND relforcerowsecurity FROM pg_class WHERE oid = $1::regclass",
			table,
		)
		if !secured[0] {
			t.Errorf("%s does not enable and force row-level security", table)
		}
		const squad = "(squad_id = (NULLIF(current_setting('laneward.squad'::text, true), ''::text))::uuid)"
		for _, policy := range collect[string](t, owner, `SELECT concat_ws(' | ', permissive, roles::text, cmd, qual, with_check) FROM pg_policies WHERE tablename = $1`, table) {
			owners := slices.ContainsFunc(ownerPolicies[table], func(command string) bool {
				return strings.HasPrefix(policy, "PERMISSIVE | {"+ownerName+"} | "+command+" | true")
			})
			const direct = "(squad_id = (NULLIF(current_setting('laneward.squad'::text, true), ''::text))::uuid)"
			if !owners && policy != "PERMISSIVE | {public} | ALL | "+squad+" | "+squad &&
				policy != "PERMISSIVE | {public} | ALL | "+direct+" | "+direct {
				t.Errorf("%s has another policy: %s", table, policy)
			}
		}
	}
}

// TestKeysBeginWithTheSquad reads every primary, unique and foreign key of a squad's table, so that
// rows can be spread by squad and no key tells of another squad's rows.
func TestKeysBeginWithTheSquad(t *testing.T) {
	t.Parallel()
	owner := connect(t, dbtest.New(t).OwnerURL)
	for _, table := range squadTables(t, owner) {
		unique := collect[string](t, owner, `
			SELECT i.indexrelid::regclass::text FROM pg_index i JOIN pg_attribute a ON a.attrelid = i.indrelid AND a.attnum = i.indkey[0]
			WHERE i.indrelid = $1::regclass AND i.indisunique AND a.attname <> 'squad_id'`, table)
		if len(unique) > 0 {
			t.Errorf("%s: unique without the squad: %v", table, unique)
		}
		if primary := collect[int](t, owner, "SELECT count(*)::int FROM pg_index WHERE indrelid = $1::regclass AND indisprimary", table)[0]; primary != 1 {
			t.Errorf("%s has no primary key", table)
		}
		foreign := collect[string](t, owner, `
			SELECT c.conname FROM pg_constraint c
			JOIN pg_attribute near ON near.attrelid = c.conrelid AND near.attnum = c.conkey[1]
			JOIN pg_attribute far ON far.attrelid = c.confrelid AND far.attnum = c.confkey[1]
			WHERE c.conrelid = $1::regclass AND c.contype = 'f' AND NOT (near.attname = 'squad_id' AND far.attname = 'squad_id')`, table)
		// A person and their sign-ins are in no squad; only membership ties one to the other, and when a
		// device last synced goes with its sign-in.
		foreign = slices.DeleteFunc(foreign, func(name string) bool {
			return name == "memberships_user_id_fkey" || name == "device_syncs_sign_in"
		})
		if len(foreign) > 0 {
			t.Errorf("%s: foreign keys without the squad: %v", table, foreign)
		}
	}
}

// TestFunctionsAcrossSquads holds the functions that see more than one squad: they are few, and
// each gives what its caller can prove.
func TestFunctionsAcrossSquads(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner, service := connect(t, database.OwnerURL), connectAsService(t, database)
	functions := collect[string](t, owner, `
		SELECT proname || ' ' || array_to_string(proconfig, ',') || ' ' || has_function_privilege('public', oid, 'EXECUTE')::text
		FROM pg_proc WHERE prosecdef AND pronamespace = 'public'::regnamespace ORDER BY proname`)
	var want []string
	for _, name := range []string{
		"clocks_of", "clocks_since", "forget_heads", "forget_tombstones", "heads_of", "squad_of_invitation", "squads_of",
	} {
		want = append(want, name+" search_path=public, pg_temp false")
	}
	if diff := cmp.Diff(want, functions); diff != "" {
		t.Errorf("functions that run as their owner (-want +got):\n%s", diff)
	}
	tables := squadTables(t, owner)
	fill(t, owner, tables, squadA)
	fill(t, owner, tables, squadB)
	t.Run("squads_of", func(t *testing.T) {
		if got := collect[uuid.UUID](
			t,
			service,
			"SELECT squad_id FROM squads_of($1)",
			squadA,
		); !slices.Equal(
			got,
			[]uuid.UUID{squadA},
		) {
			t.Errorf("squads of the first user: %v", got)
		}
		if got := collect[uuid.UUID](t, service, "SELECT squad_id FROM squads_of($1)", uuid.New()); len(got) != 0 {
			t.Errorf("squads of nobody: %v", got)
		}
	})
	t.Run("squad_of_invitation", func(t *testing.T) {
		if got := collect[*uuid.UUID](t, service, `SELECT squad_of_invitation('\x99')`)[0]; got != nil {
			t.Errorf("squad of no code: %v", got)
		}
	})
	t.Run("clocks_of", func(t *testing.T) {
		if got := collect[string](
			t,
			service,
			"SELECT squad_id || ' ' || rev FROM clocks_of($1)",
			[]uuid.UUID{squadB, uuid.New()},
		); !slices.Equal(
			got,
			[]string{squadB.String() + " 1"},
		) {
			t.Errorf("clocks %v", got)
		}
	})
	t.Run("forget_tombstones", func(t *testing.T) {
		seen := func() (list []string) {
			for _, squad := range []uuid.UUID{squadA, squadB} {
				inSquad(t, service, squad, func(tx pgx.Tx) {
					list = append(
						list,
						fmt.Sprintf(
							"%d, floor %d",
							count(t, tx, "SELECT count(*) FROM tombstones"),
							count(t, tx, "SELECT floor FROM squads_clock"),
						),
					)
				})
			}
			return list
		}
		if _, err := owner.Exec(t.Context(), "UPDATE squads_clock SET floor = 0"); err != nil {
			t.Fatal(err)
		}
		if n := collect[int64](t, service, "SELECT forget_tombstones('2026-03-14T18:00:00Z')")[0]; n != 0 {
			t.Errorf("%d forgotten that are not older", n)
		}
		if got := seen(); !slices.Equal(got, []string{"1, floor 0", "1, floor 0"}) {
			t.Errorf("before: %v", got)
		}
		if n := collect[int64](t, service, "SELECT forget_tombstones('2026-03-14T18:00:01Z')")[0]; n != 2 {
			t.Errorf("%d forgotten, want one of each squad", n)
		}
		if got := seen(); !slices.Equal(got, []string{"0, floor 1", "0, floor 1"}) {
			t.Errorf("after: %v", got)
		}
	})
}
