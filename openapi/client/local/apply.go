package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"laneward/openapi/client"
)

// place is how far a squad has been read.
type place struct {
	cursor string // of the feed; "" before the first whole copy
	page   string // of a snapshot that is being read
	copied int64  // the snapshot's number
}

// place returns how far a squad has been read.
func (s *Store) place(ctx context.Context, squad uuid.UUID) (p place, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT cursor, page, copy FROM squads WHERE id = ?`, squad.String()).
		Scan(&p.cursor, &p.page, &p.copied)
	if isNone(err) {
		return p, &client.Error{Code: client.NotFound, Detail: "this device does not know the squad " + squad.String()}
	}
	return p, err
}

// errMoved means that another process has read on meanwhile.
var errMoved = errors.New("another process reads the same squad")

// advance takes in items that were read at one place and moves to the next, all or nothing. It
// fails with errMoved, and takes in nothing, when the reading has moved elsewhere. received is
// how many items brought something new.
func (s *Store) advance(
	ctx context.Context,
	squad uuid.UUID,
	from, to place,
	items []client.Item,
	then func(*sql.Tx) error,
) (received int, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		received = 0
		moved, err := tx.ExecContext(
			ctx,
			`UPDATE squads SET cursor = ?, page = ?, copy = ? WHERE id = ? AND cursor = ? AND page = ? AND copy = ?`,
			to.cursor,
			to.page,
			to.copied,
			squad.String(),
			from.cursor,
			from.page,
			from.copied,
		)
		if err != nil {
			return err
		}
		if n, err := moved.RowsAffected(); err != nil || n == 0 {
			return errMoved
		}
		for _, item := range items {
			changed, err := applyItem(ctx, tx, squad, to.copied, item)
			if err != nil {
				return fmt.Errorf("take in %s %s: %w", item.Kind, item.ID, err)
			}
			if changed {
				received++
			}
		}
		return then(tx)
	})
	return received, err
}

func applyItem(
	ctx context.Context,
	tx *sql.Tx,
	squad uuid.UUID,
	copied int64,
	item client.Item,
) (changed bool, err error) {
	k := key{squad, item.Kind, item.ID}
	if item.Scope == "removed" { // it exists, and is out of sight: its revision says nothing
		result, err := tx.ExecContext(ctx, `DELETE FROM records WHERE `+isKey, k.values()...)
		if err != nil {
			return false, err
		}
		n, err := result.RowsAffected()
		return n > 0, err
	}
	v := version{rev: item.Rev, body: item.Record}
	if item.Deleted {
		v.body = nil
		if _, err := tx.ExecContext(
			ctx,
			`UPDATE changes SET theirs_rev = ? WHERE `+isKey+` AND state = 'conflict'`,
			append([]any{item.Rev}, k.values()...)...); err != nil {
			return false, err
		}
	} else if len(item.Record) == 0 {
		return false, fmt.Errorf("the server sent neither a record nor a deletion")
	}
	return hold(ctx, tx, k, copied, v)
}

// reached records that the copy is complete as of a revision.
func reached(ctx context.Context, squad uuid.UUID, rev, nowMS int64) func(*sql.Tx) error {
	return func(tx *sql.Tx) error {
		_, err := tx.ExecContext(
			ctx,
			`UPDATE squads SET rev = ?, synced_ms = ? WHERE id = ?`,
			rev,
			nowMS,
			squad.String(),
		)
		return err
	}
}

// atLeast records that the copy holds what came up to a revision.
func atLeast(ctx context.Context, squad uuid.UUID, rev, nowMS int64) func(*sql.Tx) error {
	return func(tx *sql.Tx) error {
		_, err := tx.ExecContext(
			ctx,
			`UPDATE squads SET rev = max(rev, ?), synced_ms = ? WHERE id = ?`,
			rev,
			nowMS,
			squad.String(),
		)
		return err
	}
}

// sweep drops what a completely read snapshot did not contain.
func sweep(ctx context.Context, squad uuid.UUID, copied int64) func(*sql.Tx) error {
	return func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM records WHERE squad = ? AND copy <> ?`, squad.String(), copied)
		return err
	}
}

func nothing(*sql.Tx) error { return nil }
