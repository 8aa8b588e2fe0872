package db

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgconn"
)

// NotReadyError says why the database must not be served from, and what an operator does about it.
type NotReadyError struct{ sentence string }

func (e *NotReadyError) Error() string { return e.sentence }

func notReady(format string, args ...any) error {
	return &NotReadyError{fmt.Sprintf(format, args...)}
}

// Ready reports whether the database answers, holds exactly the migrations of this program, and
// binds the service by row-level security: neither who signs in nor [ServiceRole] is a superuser,
// bypasses row-level security, or is or may become the owner of a squad's table. What an operator
// has to change is a [NotReadyError].
func (d *DB) Ready(ctx context.Context) error {
	err := d.transaction(ctx, reading, uuid.Nil, func(tx *Tx) error {
		if err := tx.checkVersion(ctx); err != nil {
			return err
		}
		return tx.checkRoles(ctx)
	})
	if mayNotServe(err) {
		return notReady("the database's user may not work as %s: run laneward migrate as the owner of the tables, "+
			"then sign in as %[1]s or GRANT %[1]s to the user", ServiceRole)
	}
	var operator *NotReadyError
	if err != nil && !errors.As(err, &operator) {
		return fmt.Errorf("check the database: %w", withoutURL(err))
	}
	return err
}

// mayNotServe reports whether a transaction could not take on the role, or not read the schema's
// version under it.
func mayNotServe(err error) bool {
	var fault *pgconn.PgError
	return errors.As(err, &fault) && (fault.Code == "42501" || fault.Code == "22023")
}

func (t *Tx) checkVersion(ctx context.Context) error {
	var version int64
	err := t.tx.QueryRow(ctx, "SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied").Scan(&version)
	var fault *pgconn.PgError
	if errors.As(err, &fault) && fault.Code == "42P01" { // undefined_table: never migrated
		err = nil
	}
	if err != nil {
		return fmt.Errorf("read the schema's version: %w", err)
	}
	if want := latestMigration(); version != want {
		return notReady("the database's schema is at version %d and this program needs %d: run laneward migrate", version, want)
	}
	return nil
}

// roleFacts is what one role could do to a squad's rows but for the policies.
type roleFacts struct {
	name                            string
	superuser, bypasses, ownsTables bool
}

// unbound are the tables with a squad_id whose policies do not bind the transaction's role, or have
// one for a role that it may act as.
const unbound = `
	SELECT coalesce(string_agg(c.relname, ', ' ORDER BY c.relname), '') FROM pg_class c
	JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'squad_id' AND NOT a.attisdropped
	WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
	AND (NOT row_security_active(c.oid) OR EXISTS (
		SELECT FROM pg_policy p, unnest(p.polroles) AS role
		WHERE p.polrelid = c.oid AND role <> 0 AND pg_has_role(current_user, role, 'MEMBER')))`

func (t *Tx) checkRoles(ctx context.Context) error {
	var working, tables string
	if err := t.tx.QueryRow(ctx, "SELECT current_user::text, ("+unbound+")").Scan(&working, &tables); err != nil {
		return fmt.Errorf("read whom row-level security binds: %w", err)
	}
	if working != ServiceRole {
		return notReady("the database works as %s and not as %s: a pooler in between must run in transaction mode",
			working, ServiceRole)
	}
	for _, who := range []string{"current_user", "session_user"} {
		var facts roleFacts
		err := t.tx.QueryRow(ctx, `SELECT rolname::text, rolsuper, rolbypassrls, EXISTS (
			SELECT FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'squad_id'
			WHERE c.relnamespace = 'public'::regnamespace AND pg_has_role(r.oid, c.relowner, 'MEMBER'))
			FROM pg_roles r WHERE rolname = `+who).Scan(&facts.name, &facts.superuser, &facts.bypasses, &facts.ownsTables)
		if err != nil {
			return fmt.Errorf("read what %s may do: %w", who, err)
		}
		if why := facts.unsafe(); why != "" {
			return notReady("the database's user %s %s, so row-level security would not keep squads apart: %s", facts.name, why,
				facts.remedy())
		}
	}
	if tables != "" {
		return notReady("row-level security does not bind %s on %s: ENABLE and FORCE ROW LEVEL SECURITY there, "+
			"and REVOKE from %[1]s the roles that have a policy of their own", ServiceRole, tables)
	}
	return nil
}

func (f roleFacts) unsafe() string {
	switch {
	case f.superuser:
		return "is a superuser"
	case f.bypasses:
		return "bypasses row-level security"
	case f.ownsTables:
		return "owns the tables or may become their owner"
	}
	return ""
}

func (f roleFacts) remedy() string {
	if f.name != ServiceRole {
		return "sign in as " + ServiceRole + " (ALTER ROLE " + ServiceRole + " PASSWORD '…'), and name the owner for migrating only"
	}
	var revoked []string
	if f.superuser || f.bypasses {
		revoked = append(revoked, "ALTER ROLE "+ServiceRole+" NOSUPERUSER NOBYPASSRLS")
	}
	if f.ownsTables {
		revoked = append(revoked, "give the tables to another owner and REVOKE that role from "+ServiceRole)
	}
	return strings.Join(revoked, ", and ")
}
