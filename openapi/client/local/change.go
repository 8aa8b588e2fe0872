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

// MaxRecord is the largest record that can be kept, in bytes of JSON. A film map is well below.
const MaxRecord = 200 << 10

// key names a record.
type key struct {
	squad uuid.UUID
	kind  client.Kind
	id    uuid.UUID
}

func (k key) values() []any { return []any{k.squad.String(), string(k.kind), k.id.String()} }

const isKey = `squad = ? AND kind = ? AND id = ?`

// change is a row of the changes.
type change struct {
	seq     int64
	follows bool
	base    int64
	body    []byte // nil to delete
	state   State
	sent    bool
}

const changeColumns = `seq, follows, base, body, state, sent`

func (c *change) into() []any { return []any{&c.seq, &c.follows, &c.base, &c.body, &c.state, &c.sent} }

// changesOf returns the changes of a record in their order: none, one, or one and what follows it.
func changesOf(ctx context.Context, tx *sql.Tx, k key) ([]change, error) {
	rows, err := tx.QueryContext(
		ctx,
		`SELECT `+changeColumns+` FROM changes WHERE `+isKey+` ORDER BY follows`,
		k.values()...)
	if err != nil {
		return nil, err
	}
	return collect(rows, func(c *change) error { return rows.Scan(c.into()...) })
}

// Put stores a record that the person created or changed, to be sent at the next sync. Its Rev is
// the revision the change is based on, as [Store.Records] gave it, 0 for a new record. When Put
// returns nil the change is on the disk. It fails with [client.Conflict] while two versions of the
// record wait for the person's choice ([Store.Resolve]).
func (s *Store) Put(ctx context.Context, squad uuid.UUID, r client.Record) error {
	body, err := plain(r.JSON, r.ID)
	if err != nil {
		return err
	}
	if len(body) > MaxRecord {
		return fmt.Errorf("%s %s has %d bytes, and a record has at most %d", r.Kind, r.ID, len(body), MaxRecord)
	}
	return s.change(ctx, key{squad, r.Kind, r.ID}, r.Rev, body)
}

// Delete deletes a record as the person saw it, on the server at the next sync; one that was never
// sent is gone at once. It fails as Put does.
func (s *Store) Delete(ctx context.Context, squad uuid.UUID, r client.Record) error {
	return s.change(ctx, key{squad, r.Kind, r.ID}, r.Rev, nil)
}

func (s *Store) change(ctx context.Context, k key, base int64, body []byte) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		made, err := changesOf(ctx, tx, k)
		if err != nil {
			return err
		}
		if len(made) == 0 {
			if body == nil && base == 0 {
				return nil // there is nothing to delete
			}
			return insert(ctx, tx, k, base, body, false, s.now())
		}
		switch last := made[len(made)-1]; {
		case last.state == Conflict:
			return &client.Error{
				Code:   client.Conflict,
				Detail: fmt.Sprintf("two versions of this %s wait for your choice: settle that first", k.kind),
			}
		case last.sent:
			return insert(ctx, tx, k, last.base, body, true, s.now())
		case last.follows:
			_, err := tx.ExecContext(ctx, `UPDATE changes SET body = ? WHERE seq = ?`, text(body), last.seq)
			return err
		case body == nil && last.base == 0:
			return remove(ctx, tx, last.seq) // it was never sent to the server
		default:
			return requeue(ctx, tx, last.seq, last.base, body)
		}
	})
}

func insert(ctx context.Context, tx *sql.Tx, k key, base int64, body []byte, follows bool, made time.Time) error {
	_, err := tx.ExecContext(
		ctx,
		`INSERT INTO changes (squad, kind, id, follows, base, body, made_ms, schema, head)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, `+proof+`)`,
		append(k.values(), follows, base, text(body), made.UnixMilli(), client.Schema, base, k.squad.String())...)
	return err
}

// proof is what proves a revision of a squad, its two parameters: the newest head, or a cursor when
// the live tail has brought a newer record.
const proof = `coalesce((SELECT CASE WHEN seen_rev >= ? OR cursor = '' THEN seen ELSE cursor END FROM squads WHERE id = ?), '')`

// requeue puts a change that is not being sent into the queue, as it is now.
func requeue(ctx context.Context, tx *sql.Tx, seq, base int64, body []byte) error {
	_, err := tx.ExecContext(
		ctx,
		`UPDATE changes SET head = CASE WHEN base = ? AND state <> 'conflict' AND follows = 0 THEN head ELSE
		coalesce((SELECT CASE WHEN seen_rev >= ? OR cursor = '' THEN seen ELSE cursor END FROM squads WHERE id = changes.squad), '') END,
		base = ?, body = ?, follows = 0, sent = 0, state = 'queued', reasons = '[]', theirs_rev = 0,
		schema = CASE WHEN ? = 0 THEN ? ELSE schema END WHERE seq = ?`,
		base, // the same basis is proven by what proved it before
		base,
		base,
		text(body),
		base, // a new record has nothing that it could remove
		client.Schema,
		seq,
	)
	return err
}

func remove(ctx context.Context, tx *sql.Tx, seq int64) error {
	_, err := tx.ExecContext(ctx, `DELETE FROM changes WHERE seq = ?`, seq)
	return err
}

// text is a body as the database keeps it.
func text(body []byte) any {
	if body == nil {
		return nil
	}
	return string(body)
}

// outgoing is a change that is being sent.
type outgoing struct {
	key
	seq  int64
	base int64
	head string // proves base
	body []byte
	// schema is the wire schema it was made with.
	schema int
}

// maxPush is how many bytes of JSON one push has, about.
const maxPush = 1 << 20

// take picks the changes to send next, after a place in the queue, and marks that they may have
// reached the server from now on.
func (s *Store) take(ctx context.Context, squad uuid.UUID, after int64) (batch []outgoing, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		// One that an older program made is proven by the next whole copy.
		rows, err := tx.QueryContext(ctx, `SELECT seq, kind, id, base, head, body, schema FROM changes
			WHERE squad = ? AND follows = 0 AND state IN ('queued', 'waiting') AND (base = 0 OR head <> '')
			AND seq > ? ORDER BY seq LIMIT ?`, squad.String(), after, client.MaxPush)
		if err != nil {
			return err
		}
		batch, err = collect(rows, func(o *outgoing) error {
			o.squad = squad
			return rows.Scan(&o.seq, &o.kind, &o.id, &o.base, &o.head, &o.body, &o.schema)
		})
		if err != nil {
			return err
		}
		size := 0
		for i := range batch {
			if size += len(batch[i].body); size > maxPush && i > 0 {
				batch = batch[:i]
				break
			}
		}
		for _, one := range batch {
			if _, err := tx.ExecContext(ctx, `UPDATE changes SET sent = 1 WHERE seq = ?`, one.seq); err != nil {
				return err
			}
		}
		return nil
	})
	return batch, err
}

// change is the change as a push has it.
func (o outgoing) change() client.Change {
	c := client.Change{Kind: o.kind, ID: o.id, Record: o.body, Deleted: o.body == nil}
	if o.base != 0 {
		c.Version = client.VersionOf(o.base, o.head)
	}
	if o.body != nil && o.schema < client.Schema {
		c.Schema = o.schema
	}
	return c
}

// queued counts the changes of a squad that can be sent.
func (s *Store) queued(ctx context.Context, squad uuid.UUID) (n int, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT count(*) FROM changes WHERE squad = ? AND state = 'queued' AND follows = 0`, squad.String()).
		Scan(&n)
	return n, err
}

// changeAt returns a change by its number, and its record's key; sql.ErrNoRows when there is none.
func changeAt(ctx context.Context, tx *sql.Tx, seq int64) (k key, c change, theirsRev int64, err error) {
	err = tx.QueryRowContext(ctx, `SELECT squad, kind, id, theirs_rev, `+changeColumns+` FROM changes WHERE seq = ?`, seq).
		Scan(append([]any{&k.squad, &k.kind, &k.id, &theirsRev}, c.into()...)...)
	return k, c, theirsRev, err
}

func isNone(err error) bool { return errors.Is(err, sql.ErrNoRows) }
