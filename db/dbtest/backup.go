package dbtest

import (
	"context"
	"fmt"
	"sync/atomic"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Backup is a database, or one squad's rows of it, as it was: what a dump would hold.
type Backup struct {
	db     *DB
	squad  uuid.UUID // the nil UUID for everything
	schema string    // that holds the copy
}

var backups atomic.Int64

// BackUp copies a squad's rows, or with the nil UUID the whole database.
func (d *DB) BackUp(ctx context.Context, squad uuid.UUID) (*Backup, error) {
	b := &Backup{d, squad, fmt.Sprintf("backup%d", backups.Add(1))}
	return b, b.each(ctx, "CREATE SCHEMA "+b.schema, func(table string) string {
		return fmt.Sprintf("CREATE TABLE %s.%s AS SELECT * FROM public.%s%s", b.schema, table, table, b.where())
	})
}

// Restore puts the copy back in the place of what is there, in one transaction, while servers run.
func (b *Backup) Restore(ctx context.Context) error {
	return b.each(ctx, "SET LOCAL session_replication_role = replica", func(table string) string {
		return fmt.Sprintf(
			"DELETE FROM public.%s%s; INSERT INTO public.%s SELECT * FROM %s.%s",
			table, b.where(), table, b.schema, table,
		)
	})
}

// Drop removes the copy.
func (b *Backup) Drop(ctx context.Context) error {
	return withConn(ctx, b.db.OwnerURL, func(conn *pgx.Conn) error {
		_, err := conn.Exec(ctx, "DROP SCHEMA "+b.schema+" CASCADE")
		return err
	})
}

func (b *Backup) where() string {
	if b.squad == uuid.Nil {
		return ""
	}
	return " WHERE squad_id = '" + b.squad.String() + "'"
}

func (b *Backup) each(ctx context.Context, first string, statement func(table string) string) error {
	return withConn(ctx, b.db.OwnerURL, func(conn *pgx.Conn) error {
		return pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, first); err != nil {
				return err
			}
			rows, err := tx.Query(ctx, `SELECT t.tablename::text FROM pg_tables t
				WHERE t.schemaname = 'public' AND t.tablename <> 'goose_db_version' AND ($1 OR EXISTS (
					SELECT 1 FROM information_schema.columns c
					WHERE c.table_schema = 'public' AND c.table_name = t.tablename AND c.column_name = 'squad_id'))`,
				b.squad == uuid.Nil)
			if err != nil {
				return err
			}
			tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
			for _, table := range tables {
				if err == nil {
					_, err = tx.Exec(ctx, statement(table))
				}
			}
			return err
		})
	})
}
