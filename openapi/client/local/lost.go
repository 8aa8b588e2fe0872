package local

import (
	"context"
	"database/sql"
	"encoding/json"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/openapi/client"
)

// Lost is a record that the device held and the server no longer has, since its data was restored
// from a backup.
type Lost struct {
	Kind   client.Kind
	ID     uuid.UUID
	Mine   json.RawMessage // as the device held it
	Theirs json.RawMessage // what the server has under its id; nil when it has none
	May    bool            // the person may send it again; else a coach may
}

func anyLost(ctx context.Context, tx *sql.Tx, squad uuid.UUID) (some bool, err error) {
	err = tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM lost WHERE squad = ?)`, squad.String()).Scan(&some)
	return some, err
}

// setAsideLost keeps the records of the copy before that the new one has not. What both histories had
// in common has been deleted since, and one with an unsent change is in that.
func setAsideLost(ctx context.Context, tx *sql.Tx, squad uuid.UUID, copied, common int64) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO lost (squad, kind, id, body)
		SELECT r.squad, r.kind, r.id, r.body FROM records r
		WHERE r.squad = ? AND r.copy <> ? AND r.rev > ? AND r.kind NOT IN ('squad', 'member')
		AND NOT EXISTS (SELECT 1 FROM changes c WHERE c.squad = r.squad AND c.kind = r.kind AND c.id = r.id)
		ON CONFLICT (squad, kind, id) DO UPDATE SET body = excluded.body`, squad.String(), copied, common)
	return err
}

// replaced is called when a new copy has another row in the place of the one before. Unsent changes
// that are based on another version than the new one are marked, and after a restore a record that
// says something else than the server's is kept.
func replaced(ctx context.Context, tx *sql.Tx, k key, into edition, was, is version) error {
	differing, err := Differing(was.body, is.body)
	if err != nil || was.rev == is.rev && len(differing) == 0 {
		return err
	}
	if _, err := tx.ExecContext(ctx, `UPDATE changes SET moved = 1 WHERE `+isKey, k.values()...); err != nil {
		return err
	}
	if !into.restored || was.rev <= into.common || len(differing) == 0 || is.body == nil || k.kind == client.Squad || k.kind == client.Member {
		return nil
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO lost (squad, kind, id, body) VALUES (?, ?, ?, ?)
		ON CONFLICT (squad, kind, id) DO UPDATE SET body = excluded.body`, append(k.values(), string(was.body))...)
	return err
}

// found ends that a record is lost, when the server has it again as it was, or has deleted it.
func found(ctx context.Context, tx *sql.Tx, k key, v version) error {
	var body []byte
	err := tx.QueryRowContext(ctx, `SELECT body FROM lost WHERE `+isKey, k.values()...).Scan(&body)
	if isNone(err) {
		return nil
	}
	if err != nil {
		return err
	}
	if v.body != nil {
		differing, err := Differing(body, v.body)
		if err != nil || len(differing) > 0 {
			return err
		}
	}
	_, err = tx.ExecContext(ctx, `DELETE FROM lost WHERE `+isKey, k.values()...)
	return err
}

// Lost lists what the server no longer has, parents before children.
func (s *Store) Lost(ctx context.Context, squad uuid.UUID) (all []Lost, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		all, err = lostOf(ctx, tx, squad)
		return err
	})
	return all, err
}

func lostOf(ctx context.Context, tx *sql.Tx, squad uuid.UUID) ([]Lost, error) {
	order, err := json.Marshal(client.SyncedKinds)
	if err != nil {
		return nil, err
	}
	// Athletes change their own shots, sessions and balls; analysts nothing.
	rows, err := tx.QueryContext(ctx, `SELECT l.kind, l.id, l.body, r.body, q.role = 'coach' OR q.role = 'athlete' AND
			l.kind IN ('shot', 'session', 'ball') AND l.athlete IS q.athlete AND q.athlete IS NOT NULL
		FROM lost l JOIN squads q ON q.id = l.squad LEFT JOIN records r ON r.squad = l.squad AND r.kind = l.kind AND r.id = l.id
		WHERE l.squad = ? ORDER BY (SELECT key FROM json_each(?) WHERE value = l.kind), l.id`, squad.String(), string(order))
	if err != nil {
		return nil, err
	}
	return collect(rows, func(l *Lost) error {
		return rows.Scan(&l.Kind, &l.ID, (*[]byte)(&l.Mine), (*[]byte)(&l.Theirs), &l.May)
	})
}

var lostReason = []openapi.Fault{{
	Detail: "the server was restored from a backup and has another version than the one this device holds: choose between the two",
}}

// SendAgain queues what the server no longer has and the person may send, to be stored as it was at
// the next sync. A record that the server has in another version becomes a conflict, for the person
// to choose. It returns how many are queued, and how many conflict.
func (s *Store) SendAgain(ctx context.Context, squad uuid.UUID) (queued, conflicts int, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		queued, conflicts = 0, 0
		all, err := lostOf(ctx, tx, squad)
		if err != nil {
			return err
		}
		for _, one := range all {
			if !one.May {
				continue
			}
			k := key{squad, one.Kind, one.ID}
			conflict, err := s.sendAgain(ctx, tx, k, one)
			if err != nil {
				return err
			}
			if conflict {
				conflicts++
			} else {
				queued++
			}
			if _, err := tx.ExecContext(ctx, `DELETE FROM lost WHERE `+isKey, k.values()...); err != nil {
				return err
			}
		}
		return nil
	})
	return queued, conflicts, err
}

func (s *Store) sendAgain(ctx context.Context, tx *sql.Tx, k key, one Lost) (conflict bool, err error) {
	made, err := changesOf(ctx, tx, k)
	if err != nil || len(made) > 0 { // the person has changed it since, which has all of it
		return false, err
	}
	body, err := plain(one.Mine, one.ID)
	if err != nil {
		return false, err
	}
	var base int64
	err = tx.QueryRowContext(ctx, `SELECT rev FROM records WHERE `+isKey, k.values()...).Scan(&base)
	if err != nil && !isNone(err) {
		return false, err
	}
	if err := insert(ctx, tx, k, base, body, false, s.now()); err != nil || base == 0 {
		return false, err
	}
	if made, err = changesOf(ctx, tx, k); err != nil {
		return false, err
	}
	return true, setAside(ctx, tx, made, body, Conflict, base, lostReason)
}

// ForgetLost gives up what the server no longer has: this device drops it too. It returns how many
// records that were.
func (s *Store) ForgetLost(ctx context.Context, squad uuid.UUID) (n int64, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		gone, err := tx.ExecContext(ctx, `DELETE FROM lost WHERE squad = ?`, squad.String())
		if err != nil {
			return err
		}
		n, err = gone.RowsAffected()
		return err
	})
	return n, err
}
