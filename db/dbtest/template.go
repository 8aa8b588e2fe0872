//go:build unix

package dbtest

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"laneward/db"
)

// templateLock is the advisory lock that makes one process at a time build a template. The number
// means nothing.
const templateLock = 715_031_990

// ensureTemplate returns the name of the database that holds the schema of these migrations, built
// when the server has none yet. Any number of processes may call it at once. The name appears only
// when the schema is whole.
func ensureTemplate(ctx context.Context, adminURL string) (string, error) {
	name := "laneward_template_" + db.MigrationsHash()
	err := withConn(ctx, adminURL, func(conn *pgx.Conn) error {
		if ready, err := exists(ctx, conn, name); ready || err != nil {
			return err
		}
		if _, err := conn.Exec(
			ctx,
			"SELECT pg_advisory_lock($1)",
			templateLock,
		); err != nil { // let go with the connection
			return err
		}
		if ready, err := exists(ctx, conn, name); ready || err != nil {
			return err
		}
		if err := sweep(ctx, conn, time.Now()); err != nil {
			return err
		}
		return buildTemplate(ctx, conn, adminURL, name)
	})
	if err != nil {
		return "", fmt.Errorf("make the template database: %w", err)
	}
	return name, nil
}

func exists(ctx context.Context, conn *pgx.Conn, name string) (bool, error) {
	var found bool
	err := conn.QueryRow(ctx, "SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)", name).Scan(&found)
	return found, err
}

func buildTemplate(ctx context.Context, conn *pgx.Conn, adminURL, name string) error {
	building := name + "_building"
	for _, statement := range []string{
		"DROP DATABASE IF EXISTS " + quote(building) + " WITH (FORCE)", // of a process that was killed
		"CREATE DATABASE " + quote(building) + " TEMPLATE template0 ENCODING 'UTF8'",
	} {
		if _, err := conn.Exec(ctx, statement); err != nil {
			return err
		}
	}
	address, err := withDatabase(adminURL, building)
	if err != nil {
		return err
	}
	if err := db.Migrate(ctx, address); err != nil {
		return err
	}
	for _, statement := range []string{
		"ALTER DATABASE " + quote(building) + " RENAME TO " + quote(name),
		"ALTER DATABASE " + quote(name) + " ALLOW_CONNECTIONS false", // a connection would prevent a clone
	} {
		if _, err := conn.Exec(ctx, statement); err != nil {
			return err
		}
	}
	return nil
}

// leftAfter is how old a test's database is taken to have been left behind, when no one is
// connected to it.
const leftAfter = 2 * time.Hour

// sweep drops the databases and roles of test processes that were killed: they stay on a server
// that outlives its tests.
func sweep(ctx context.Context, conn *pgx.Conn, now time.Time) error {
	rows, err := conn.Query(ctx, `
		(SELECT datname FROM pg_database UNION SELECT rolname FROM pg_roles)
		EXCEPT SELECT datname FROM pg_stat_activity`)
	if err != nil {
		return err
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, name := range names {
		if made, ok := madeAt(name); !ok || now.Sub(made) < leftAfter {
			continue
		}
		if _, err := conn.Exec(ctx, "DROP DATABASE IF EXISTS "+quote(name)); hasCode(err, objectInUse) {
			continue // another process has just connected
		} else if err != nil {
			return err
		}
		if _, err := conn.Exec(ctx, "DROP ROLE IF EXISTS "+quote(name)); err != nil {
			return err
		}
	}
	return nil
}

// madeAt reads the time from a name that [databaseName] made; it is false for other names.
func madeAt(name string) (time.Time, bool) {
	rest, ours := strings.CutPrefix(name, namePrefix)
	stamp, _, whole := strings.Cut(rest, "_")
	if !ours || !whole {
		return time.Time{}, false
	}
	seconds, err := strconv.ParseInt(stamp, 10, 64)
	return time.Unix(seconds, 0), err == nil
}

// objectInUse is the SQLSTATE of a database that still has connections (PostgreSQL
// documentation, appendix A).
const objectInUse = "55006"

func hasCode(err error, code string) bool {
	var fault *pgconn.PgError
	return errors.As(err, &fault) && fault.Code == code
}
