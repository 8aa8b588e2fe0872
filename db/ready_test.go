package db_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"laneward/db"
	"laneward/db/dbtest"
	"laneward/db/pgprivate"
)

// cluster is a migrated server of one test's own, where the roles themselves may be changed.
func cluster(t *testing.T) (*pgprivate.Server, *pgx.Conn) {
	t.Helper()
	dir, err := os.MkdirTemp("", "laneward-ready-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o711); err != nil { // when root runs it, the server's account must get through
		t.Fatal(err)
	}
	server, err := pgprivate.Start(t.Context(), pgprivate.Config{
		DataDir: filepath.Join(dir, "data"), Settings: map[string]string{"fsync": "off"},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := server.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	if err := db.Migrate(t.Context(), server.URL("postgres")); err != nil {
		t.Fatal(err)
	}
	return server, connect(t, server.URL("postgres"))
}

func do(t *testing.T, conn *pgx.Conn, statements ...string) {
	t.Helper()
	for _, statement := range statements {
		if _, err := conn.Exec(t.Context(), statement); err != nil {
			t.Fatal(statement, err)
		}
	}
}

// TestRefusesWhomPoliciesDoNotBind holds that no one is served who could see more than one squad,
// at the start and, when it comes to be so later, at the next look.
func TestRefusesWhomPoliciesDoNotBind(t *testing.T) {
	t.Parallel()
	server, admin := cluster(t)
	do(t, admin,
		"CREATE ROLE landlord LOGIN", "CREATE ROLE lodger LOGIN NOINHERIT IN ROLE laneward_service",
		"CREATE ROLE stranger LOGIN")
	for name, tc := range map[string]struct {
		as       string
		make, to []string // what makes it so, and what undoes it
		says     string
	}{
		"the service's role":            {as: db.ServiceRole},
		"a member of it":                {as: "lodger"},
		"a superuser":                   {as: pgprivate.Superuser, says: "postgres is a superuser"},
		"a member who is a superuser":   {"lodger", []string{"ALTER ROLE lodger SUPERUSER"}, []string{"ALTER ROLE lodger NOSUPERUSER"}, "lodger is a superuser"},
		"a member who bypasses":         {"lodger", []string{"ALTER ROLE lodger BYPASSRLS"}, []string{"ALTER ROLE lodger NOBYPASSRLS"}, "lodger bypasses row-level security"},
		"an owner":                      {"lodger", []string{"ALTER TABLE shots OWNER TO lodger"}, []string{"ALTER TABLE shots OWNER TO postgres"}, "lodger owns the tables"},
		"a member of the owner":         {"lodger", []string{"ALTER TABLE shots OWNER TO landlord", "GRANT landlord TO lodger"}, []string{"ALTER TABLE shots OWNER TO postgres", "REVOKE landlord FROM lodger"}, "may become their owner"},
		"a role that is a superuser":    {"lodger", []string{"ALTER ROLE laneward_service SUPERUSER"}, []string{"ALTER ROLE laneward_service NOSUPERUSER"}, "ALTER ROLE laneward_service NOSUPERUSER NOBYPASSRLS"},
		"a role that bypasses":          {"lodger", []string{"ALTER ROLE laneward_service BYPASSRLS"}, []string{"ALTER ROLE laneward_service NOBYPASSRLS"}, "ALTER ROLE laneward_service NOSUPERUSER NOBYPASSRLS"},
		"a role that owns":              {"lodger", []string{"ALTER TABLE shots OWNER TO laneward_service"}, []string{"ALTER TABLE shots OWNER TO postgres"}, "give the tables to another owner"},
		"a table without policies":      {"lodger", []string{"ALTER TABLE shots DISABLE ROW LEVEL SECURITY"}, []string{"ALTER TABLE shots ENABLE ROW LEVEL SECURITY"}, "does not bind laneward_service on shots"},
		"a policy that shows all":       {"lodger", []string{"CREATE POLICY open ON shots TO laneward_service USING (true)"}, []string{"DROP POLICY open ON shots"}, "does not bind laneward_service on shots"},
		"one who may not take the role": {as: "stranger", says: "GRANT laneward_service"},
		"a role that is not granted":    {"lodger", []string{"REVOKE laneward_service FROM lodger"}, []string{"GRANT laneward_service TO lodger"}, "GRANT laneward_service"},
	} {
		t.Run(name, func(t *testing.T) {
			var before *db.DB
			if tc.make != nil {
				before = open(t, server.URLAs(tc.as, "postgres"), 1)
				do(t, admin, tc.make...)
				defer do(t, admin, tc.to...)
			}
			opened, err := db.Open(t.Context(), server.URLAs(tc.as, "postgres"), db.Options{MaxConns: 1})
			if tc.says == "" {
				if err != nil {
					t.Fatal(err)
				}
				opened.Close()
				return
			}
			if err == nil {
				opened.Close()
			}
			looks := map[string]error{"the start": err}
			if before != nil {
				looks["a look later"] = before.Ready(t.Context())
			}
			for when, err := range looks {
				var operator *db.NotReadyError
				if !errors.As(err, &operator) || !strings.Contains(err.Error(), tc.says) {
					t.Errorf("%s says %v, want %q", when, err, tc.says)
				}
			}
		})
	}
}

// TestBehindAPooler holds that a pooler in transaction mode changes nothing: the role, the squad and
// the limits are those of the transaction, whatever session of the server it gets.
func TestBehindAPooler(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t)
	owner := connect(t, database.OwnerURL)
	fill(t, owner, squadTables(t, owner), squadA)
	fill(t, owner, squadTables(t, owner), squadB)
	opened := open(t, dbtest.Pooled(t, database.ServiceURL), 4)
	if err := opened.Ready(t.Context()); err != nil {
		t.Fatal(err)
	}
	errs := make(chan error)
	const many = 40
	for i := range many {
		squad, other := squadA, squadB
		if i%2 == 0 {
			squad, other = squadB, squadA
		}
		go func() { errs <- readsOnly(t.Context(), opened, squad, other) }()
	}
	for range many {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	if _, err := db.Open(t.Context(), dbtest.Pooled(t, database.OwnerURL), db.Options{}); err == nil ||
		!strings.Contains(err.Error(), "would not keep squads apart") {
		t.Errorf("a pooler that signs in as the owner: %v", err)
	}
}

// readsOnly reads its own squad and not the other, several times on several sessions.
func readsOnly(ctx context.Context, opened *db.DB, squad, other uuid.UUID) error {
	for range 5 {
		err := opened.InSquad(ctx, squad, func(tx *db.Tx) error {
			if _, err := tx.AdvanceClock(ctx, db.AdvanceClockParams{SquadID: squad, ByRows: 1, Digest: []byte{1}}); err != nil {
				return err
			}
			if _, err := tx.Squad(ctx, db.SquadParams{SquadID: squad}); err != nil {
				return err
			}
			if _, err := tx.Squad(ctx, db.SquadParams{SquadID: other}); !errors.Is(db.Translate(err), db.ErrNotFound) {
				return errors.New("another squad is seen")
			}
			return nil
		})
		if err != nil {
			return err
		}
		err = opened.Global(ctx, func(tx *db.Tx) error {
			if _, err := tx.Squad(ctx, db.SquadParams{SquadID: squad}); !errors.Is(db.Translate(err), db.ErrNotFound) {
				return errors.New("the squad is seen outside")
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}
