package local

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/openapi/client"
)

// version is what the server has of a record at a revision; body is nil when it has deleted it.
type version struct {
	rev  int64
	body []byte
}

// editionOf is the copy that rows written now belong to.
func editionOf(ctx context.Context, tx *sql.Tx, squad uuid.UUID) (e edition, err error) {
	var why string
	err = tx.QueryRowContext(ctx, `SELECT copy, why, common FROM squads WHERE id = ?`, squad.String()).
		Scan(&e.number, &why, &e.common)
	if err != nil {
		return e, err
	}
	e.restored = why == client.Restored
	e.missing, err = anyLost(ctx, tx, squad)
	return e, err
}

// hold writes the server's version into the copy, unless a newer one is known already. Rows of an
// older snapshot do not count: the server's data may have been restored since. changed is false
// when the copy had it already.
func hold(ctx context.Context, tx *sql.Tx, k key, into edition, v version) (changed bool, err error) {
	var rev, of int64
	var body []byte
	err = tx.QueryRowContext(ctx, `SELECT rev, copy, body FROM records WHERE `+isKey, k.values()...).Scan(&rev, &of, &body)
	if err != nil && !isNone(err) {
		return false, err
	}
	held := err == nil
	if held && of == into.number && rev > v.rev {
		return false, nil
	}
	if held && of != into.number {
		if err := replaced(ctx, tx, k, into, version{rev, body}, v); err != nil {
			return false, err
		}
	}
	if into.missing {
		if err := found(ctx, tx, k, v); err != nil {
			return false, err
		}
	}
	if v.body == nil {
		_, err = tx.ExecContext(ctx, `DELETE FROM records WHERE `+isKey, k.values()...)
		return held, err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO records (squad, kind, id, rev, copy, body) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT (squad, kind, id) DO UPDATE SET rev = excluded.rev, copy = excluded.copy, body = excluded.body`,
		append(k.values(), v.rev, into.number, string(v.body))...)
	return !held || rev != v.rev, err
}

// settle records what became of changes that were sent. One that another process has settled
// meanwhile is skipped.
func (s *Store) settle(ctx context.Context, squad uuid.UUID, sent []outgoing, answer client.Sent) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		into, err := editionOf(ctx, tx, squad)
		if err != nil {
			return err
		}
		if err := look(ctx, tx, squad, seen{answer.Head, answer.Rev}, false); err != nil {
			return err
		}
		for i := range sent {
			if err := settleOne(ctx, tx, into, sent[i], answer.Outcomes[i]); err != nil {
				return fmt.Errorf("take in what became of %s %s: %w", sent[i].kind, sent[i].id, err)
			}
		}
		return nil
	})
}

func settleOne(ctx context.Context, tx *sql.Tx, into edition, sent outgoing, o client.Outcome) error {
	made, err := changesOf(ctx, tx, sent.key)
	if err != nil || len(made) == 0 || made[0].seq != sent.seq {
		return err
	}
	newest := made[len(made)-1].body
	switch o.Outcome {
	case client.Stored, client.Same:
		stands := version{o.Rev, sent.body}
		if o.Deleted {
			stands.body = nil
		} else if o.Record != nil {
			stands.body = o.Record
		}
		if _, err := hold(ctx, tx, sent.key, into, stands); err != nil {
			return err
		}
		if err := remove(ctx, tx, sent.seq); err != nil || len(made) == 1 {
			return err
		}
		return goOn(ctx, tx, sent, made[1], stands)
	case client.Conflicting:
		theirs := version{o.Rev, o.Record}
		if _, err := hold(ctx, tx, sent.key, into, theirs); err != nil {
			return err
		}
		return setAside(ctx, tx, made, newest, Conflict, o.Rev, o.Errors)
	case client.Waiting:
		return setAside(ctx, tx, made, newest, Waiting, 0, o.Errors)
	case client.Refused:
		if len(made) > 1 { // it was edited meanwhile, which may have fixed it
			return setAside(ctx, tx, made, newest, Queued, 0, nil)
		}
		return setAside(ctx, tx, made, newest, Refused, 0, o.Errors)
	}
	return fmt.Errorf("the server answers %q, which this program does not know: update it", o.Outcome)
}

// setAside leaves one change of a record, as the person has it now, in a state.
func setAside(
	ctx context.Context,
	tx *sql.Tx,
	made []change,
	body []byte,
	state State,
	theirsRev int64,
	reasons []openapi.Fault,
) error {
	if reasons == nil {
		reasons = []openapi.Fault{}
	}
	words, err := json.Marshal(reasons)
	if err != nil {
		return err
	}
	for _, later := range made[1:] {
		if err := remove(ctx, tx, later.seq); err != nil {
			return err
		}
	}
	_, err = tx.ExecContext(
		ctx,
		`UPDATE changes SET follows = 0, sent = 0, body = ?, state = ?, theirs_rev = ?, reasons = ? WHERE seq = ?`,
		text(body),
		string(state),
		theirsRev,
		string(words),
		made[0].seq,
	)
	return err
}

// goOn applies the change that waited for another on top of its outcome, and puts it in the queue.
func goOn(ctx context.Context, tx *sql.Tx, sent outgoing, next change, stands version) error {
	switch {
	case next.body == nil && stands.body == nil:
		return remove(ctx, tx, next.seq) // both have deleted it
	case next.body == nil, sent.body == nil && stands.body == nil: // deleted now, or created again after it was deleted
		return requeue(ctx, tx, next.seq, stands.rev, next.body)
	case sent.body == nil || stands.body == nil:
		return setAside(ctx, tx, []change{next}, next.body, Conflict, stands.rev, bothChanged)
	}
	merged, ok, err := merge(sent.body, next.body, stands.body)
	if err != nil {
		return err
	}
	if !ok {
		return setAside(ctx, tx, []change{next}, next.body, Conflict, stands.rev, bothChanged)
	}
	differing, err := Differing(merged, stands.body)
	if err != nil {
		return err
	}
	if len(differing) == 0 {
		return remove(ctx, tx, next.seq)
	}
	if merged, err = plain(merged, sent.id); err != nil {
		return err
	}
	return requeue(ctx, tx, next.seq, stands.rev, merged)
}

var bothChanged = []openapi.Fault{{Detail: "it was changed here and, meanwhile, elsewhere: choose between the two"}}
