package local

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/openapi/client"
)

// Pending is a change that the server has not accepted.
type Pending struct {
	Number  int64 // names it while it exists
	Squad   uuid.UUID
	Kind    client.Kind
	ID      uuid.UUID
	State   State
	Base    int64           // the revision it is based on; 0 for a new record
	Mine    json.RawMessage // nil when the person deleted it
	Theirs  json.RawMessage // what the server has; nil when it has none
	Reasons []openapi.Fault // why it waits, was refused or conflicts
	MadeAt  time.Time       // by this device's clock
}

// Erased reports whether the change was refused because it belongs to an athlete who was erased for
// good: it can be dropped, and never be stored.
func (p Pending) Erased() bool {
	return p.State == Refused && slices.ContainsFunc(p.Reasons, func(why openapi.Fault) bool {
		return why.Code != nil && *why.Code == string(client.Erased)
	})
}

// Pending lists the changes in one of some states, in the order they were made.
func (s *Store) Pending(ctx context.Context, states ...State) ([]Pending, error) {
	wanted, err := json.Marshal(states)
	if err != nil {
		return nil, err
	}
	rows, err := s.db.QueryContext(
		ctx,
		`SELECT l.seq, l.squad, l.kind, l.id, l.state, l.base, l.body, r.body, l.reasons, l.made_ms
		FROM latest l LEFT JOIN records r ON r.squad = l.squad AND r.kind = l.kind AND r.id = l.id
		WHERE l.state IN (SELECT value FROM json_each(?)) ORDER BY l.seq`,
		string(wanted),
	)
	if err != nil {
		return nil, err
	}
	return collect(rows, func(p *Pending) error {
		var reasons []byte
		var made int64
		if err := rows.Scan(
			&p.Number,
			&p.Squad,
			&p.Kind,
			&p.ID,
			&p.State,
			&p.Base,
			(*[]byte)(&p.Mine),
			(*[]byte)(&p.Theirs),
			&reasons,
			&made,
		); err != nil {
			return err
		}
		p.MadeAt = time.UnixMilli(made)
		return json.Unmarshal(reasons, &p.Reasons)
	})
}

// Resolve puts a change that was set aside back into the queue with a new body; nil deletes the
// record. A conflicting change is then based on the server's version, so that it replaces that. It
// fails with [client.NotFound] when no such change is set aside.
func (s *Store) Resolve(ctx context.Context, number int64, body json.RawMessage) error {
	return s.setAsideChange(ctx, number, func(tx *sql.Tx, k key, c change, theirsRev int64) error {
		if body != nil {
			var err error
			if body, err = plain(body, k.id); err != nil {
				return err
			}
			if len(body) > MaxRecord {
				return fmt.Errorf("the record has %d bytes, and may have at most %d", len(body), MaxRecord)
			}
		}
		base := c.base
		if c.state == Conflict {
			base = theirsRev
			err := tx.QueryRowContext(ctx, `SELECT rev FROM records WHERE `+isKey, k.values()...).Scan(&base)
			if err != nil && !isNone(err) {
				return err
			}
		}
		if body == nil && base == 0 {
			return remove(ctx, tx, number) // the server has no such record
		}
		return requeue(ctx, tx, number, base, body)
	})
}

// Drop gives up a change that was set aside: the server's version stays.
func (s *Store) Drop(ctx context.Context, number int64) error {
	return s.setAsideChange(
		ctx,
		number,
		func(tx *sql.Tx, _ key, _ change, _ int64) error { return remove(ctx, tx, number) },
	)
}

func (s *Store) setAsideChange(ctx context.Context, number int64, do func(*sql.Tx, key, change, int64) error) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		k, c, theirsRev, err := changeAt(ctx, tx, number)
		if err != nil && !isNone(err) {
			return err
		}
		if err != nil || c.state != Refused && c.state != Conflict {
			return &client.Error{
				Code:   client.NotFound,
				Detail: fmt.Sprintf("there is no change %d that was refused or conflicts", number),
			}
		}
		return do(tx, k, c, theirsRev)
	})
}
