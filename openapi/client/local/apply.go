package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"laneward/openapi/client"
)

// place is how far a squad has been read.
type place struct {
	cursor string // of the feed; "" before the first whole copy
	page   string // of a snapshot that is being read
	copied int64  // the snapshot's number
	why    string // why that was begun, while it is being read
	common int64  // after a restore, the newest revision known to be of the server's history too
	seen          // the newest head the server gave
	span          // what the copy holds
}

// seen is what a squad's history had come to at a revision, as the server said it.
type seen struct {
	head string
	rev  int64
}

// differs is why a copy is read anew that is not what the server has, though no restore is known of.
const differs = "differs"

// restored reports whether the copy that is being read is one of another history than the copy
// before.
func (p place) restored() bool { return p.why == client.Restored }

// keeps reports whether what the copy before has and the new one has not is kept as lost.
func (p place) keeps() bool { return p.restored() || p.why == differs }

// place returns how far a squad has been read.
func (s *Store) place(ctx context.Context, squad uuid.UUID) (p place, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT cursor, page, copy, why, common, seen, seen_rev, since, of_athlete
		FROM squads WHERE id = ?`, squad.String()).
		Scan(&p.cursor, &p.page, &p.copied, &p.why, &p.common, &p.head, &p.rev, &p.since, &p.athlete)
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
			`UPDATE squads SET cursor = ?, page = ?, copy = ?, why = ?, common = ?, since = ?, of_athlete = ?
			WHERE id = ? AND cursor = ? AND page = ? AND copy = ?`,
			to.cursor,
			to.page,
			to.copied,
			to.why,
			to.common,
			to.since,
			textOf(to.athlete),
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
		if err := look(ctx, tx, squad, to.seen, to.copied != from.copied); err != nil {
			return err
		}
		into := edition{number: to.copied, restored: from.restored(), common: from.common}
		if into.missing, err = anyLost(ctx, tx, squad); err != nil {
			return err
		}
		for _, item := range items {
			changed, err := applyItem(ctx, tx, squad, into, item)
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

// look remembers the newest head that the server gave. anew forgets those of the history before.
func look(ctx context.Context, tx *sql.Tx, squad uuid.UUID, now seen, anew bool) error {
	if anew {
		_, err := tx.ExecContext(ctx, `UPDATE squads SET seen = '', seen_rev = 0 WHERE id = ?`, squad.String())
		if err == nil {
			_, err = tx.ExecContext(ctx, `DELETE FROM heads WHERE squad = ?`, squad.String())
		}
		return err
	}
	if now.head == "" {
		return nil
	}
	_, err := tx.ExecContext(
		ctx,
		`UPDATE squads SET seen = ?, seen_rev = ? WHERE id = ? AND seen_rev <= ?`,
		now.head,
		now.rev,
		squad.String(),
		now.rev,
	)
	if err != nil {
		return err
	}
	for _, step := range []struct {
		statement string
		values    []any
	}{
		{`INSERT OR REPLACE INTO heads (squad, rev, head) VALUES (?, ?, ?)`, []any{squad.String(), now.rev, now.head}},
		{
			`DELETE FROM heads WHERE squad = ? AND rev <= (SELECT rev FROM heads WHERE squad = ? ORDER BY rev DESC LIMIT 1 OFFSET ?)`,
			[]any{squad.String(), squad.String(), headsKept},
		},
	} {
		if _, err := tx.ExecContext(ctx, step.statement, step.values...); err != nil {
			return err
		}
	}
	return nil
}

// headsKept is how many heads a device remembers.
const headsKept = 200

// headsOf are the heads that are remembered of a squad, oldest first.
func (s *Store) headsOf(ctx context.Context, squad uuid.UUID) ([]seen, error) {
	rows, err := s.db.QueryContext(ctx, `SELECT head, rev FROM heads WHERE squad = ? ORDER BY rev`, squad.String())
	if err != nil {
		return nil, err
	}
	return collect(rows, func(h *seen) error { return rows.Scan(&h.head, &h.rev) })
}

// edition is the copy that items are written into.
type edition struct {
	number   int64
	restored bool  // the copy before is of another history
	common   int64 // but for what it has up to this revision
	missing  bool  // something is known to be lost
}

func applyItem(
	ctx context.Context,
	tx *sql.Tx,
	squad uuid.UUID,
	into edition,
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
	return hold(ctx, tx, k, into, v)
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

// sweep ends a copy that has been read completely. What it did not contain is dropped; after a
// restore it is set aside as lost. Unsent changes of what both copies have alike are based on the
// new one.
func sweep(ctx context.Context, squad uuid.UUID, at place, now seen, nowMS int64) func(*sql.Tx) error {
	return func(tx *sql.Tx) error {
		if at.keeps() {
			if err := setAsideLost(ctx, tx, squad, at.copied, at.common); err != nil {
				return err
			}
		}
		for _, step := range []struct {
			statement string
			values    []any
		}{
			{`DELETE FROM records WHERE squad = ? AND copy <> ?`, []any{squad.String(), at.copied}},
			{
				`UPDATE changes SET head = ? WHERE squad = ? AND base <> 0 AND moved = 0 AND EXISTS (SELECT 1 FROM records r
				WHERE r.squad = changes.squad AND r.kind = changes.kind AND r.id = changes.id AND r.rev = changes.base)`,
				[]any{now.head, squad.String()},
			},
			// A change of an older program whose record is another one by now is for the person to
			// decide: no server proves its basis.
			{`UPDATE changes SET head = '-' WHERE squad = ? AND base <> 0 AND head = ''`, []any{squad.String()}},
			{`UPDATE changes SET moved = 0 WHERE squad = ?`, []any{squad.String()}},
			{`UPDATE squads SET compared_ms = ? WHERE id = ?`, []any{nowMS, squad.String()}},
		} {
			if _, err := tx.ExecContext(ctx, step.statement, step.values...); err != nil {
				return err
			}
		}
		return nil
	}
}

func nothing(*sql.Tx) error { return nil }

// compareDue reports whether a squad's copy has not been compared with the server's for a time.
func (s *Store) compareDue(ctx context.Context, squad uuid.UUID, every time.Duration) (due bool, err error) {
	err = s.db.QueryRowContext(
		ctx,
		`SELECT compared_ms < ? FROM squads WHERE id = ?`,
		s.now().Add(-every).UnixMilli(),
		squad.String(),
	).Scan(&due)
	return due, err
}

// compared records that a squad's copy is what the server has.
func (s *Store) compared(ctx context.Context, squad uuid.UUID) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(
			ctx,
			`UPDATE squads SET compared_ms = ? WHERE id = ?`,
			s.now().UnixMilli(),
			squad.String(),
		)
		return err
	})
}
