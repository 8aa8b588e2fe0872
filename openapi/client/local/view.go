package local

import (
	"context"

	"github.com/google/uuid"

	"laneward/openapi/client"
)

// State is a record's state on the server.
type State string

// The states of a record. A queued change is sent at the next sync. A waiting one was sent, and is
// sent again when what it refers to has been stored. Refused and conflicting ones are set aside:
// they are for the person to decide.
const (
	Synced   State = ""
	Queued   State = "queued"
	Waiting  State = "waiting"
	Refused  State = "refused"
	Conflict State = "conflict"
)

// Record is a record as the person sees it. Its Rev is the revision a further change is based on.
type Record struct {
	client.Record
	State State
}

// Records lists the records of a kind, by id: the server's, with the person's own changes on top.
func (s *Store) Records(ctx context.Context, squad uuid.UUID, kind client.Kind) ([]Record, error) {
	return s.query(
		ctx,
		kind,
		`SELECT id, rev, body, state FROM seen WHERE squad = ? AND kind = ? ORDER BY id`,
		squad.String(),
		string(kind),
	)
}

// OfAthlete lists the records of a kind that name an athlete, such as their shots.
func (s *Store) OfAthlete(ctx context.Context, squad uuid.UUID, kind client.Kind, athlete uuid.UUID) ([]Record, error) {
	return s.query(
		ctx,
		kind,
		`SELECT id, rev, body, state FROM seen WHERE squad = ? AND kind = ? AND athlete = ? ORDER BY id`,
		squad.String(),
		string(kind),
		athlete.String(),
	)
}

// Heads lists the same records without their content: their ids, revisions and states tell which of
// them have changed.
func (s *Store) Heads(ctx context.Context, squad uuid.UUID, kind client.Kind, athlete uuid.UUID) ([]Record, error) {
	return s.query(
		ctx,
		kind,
		`SELECT id, rev, NULL, state FROM seen WHERE squad = ? AND kind = ? AND athlete = ? ORDER BY id`,
		squad.String(),
		string(kind),
		athlete.String(),
	)
}

func (s *Store) query(ctx context.Context, kind client.Kind, query string, values ...any) ([]Record, error) {
	rows, err := s.db.QueryContext(ctx, query, values...)
	if err != nil {
		return nil, err
	}
	return collect(rows, func(r *Record) error {
		r.Kind = kind
		return rows.Scan(&r.ID, &r.Rev, (*[]byte)(&r.JSON), &r.State)
	})
}

// Get returns one record as the person sees it. It fails with [client.NotFound].
func (s *Store) Get(ctx context.Context, squad uuid.UUID, kind client.Kind, id uuid.UUID) (Record, error) {
	found, err := s.query(
		ctx,
		kind,
		`SELECT id, rev, body, state FROM seen WHERE squad = ? AND kind = ? AND id = ?`,
		squad.String(),
		string(kind),
		id.String(),
	)
	if err != nil {
		return Record{}, err
	}
	if len(found) == 0 {
		return Record{}, &client.Error{
			Code:   client.NotFound,
			Detail: "there is no " + string(kind) + " " + id.String() + " on this device",
		}
	}
	return found[0], nil
}

// Status is the state of a squad's copy.
type Status struct {
	Squad
	Records   int // as the server has them
	Queued    int
	Waiting   int
	Refused   int
	Erased    int // of those, what belongs to athletes who were erased for good
	Conflicts int
	Lost      int // records the server no longer has, since its data was restored
}

// Unsent is how many changes the server has not accepted.
func (s Status) Unsent() int { return s.Queued + s.Waiting + s.Refused + s.Conflicts }

// Status returns the state of each squad's copy.
func (s *Store) Status(ctx context.Context) ([]Status, error) {
	squads, err := s.Squads(ctx)
	if err != nil {
		return nil, err
	}
	all := make([]Status, len(squads))
	for i, squad := range squads {
		if all[i], err = s.status(ctx, squad); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func (s *Store) status(ctx context.Context, squad Squad) (Status, error) {
	status := Status{Squad: squad}
	if err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM records WHERE squad = ?`, squad.ID.String()).
		Scan(&status.Records); err != nil {
		return status, err
	}
	if err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM lost WHERE squad = ?`, squad.ID.String()).
		Scan(&status.Lost); err != nil {
		return status, err
	}
	if err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM latest WHERE squad = ? AND state = 'refused'
		AND EXISTS (SELECT 1 FROM json_each(reasons) WHERE value ->> '$.code' = ?)`, squad.ID.String(), string(client.Erased)).
		Scan(&status.Erased); err != nil {
		return status, err
	}
	rows, err := s.db.QueryContext(
		ctx,
		`SELECT state, count(*) FROM latest WHERE squad = ? GROUP BY state`,
		squad.ID.String(),
	)
	if err != nil {
		return status, err
	}
	type counted struct {
		state State
		n     int
	}
	counts, err := collect(rows, func(c *counted) error { return rows.Scan(&c.state, &c.n) })
	for _, c := range counts {
		switch c.state {
		case Queued:
			status.Queued = c.n
		case Waiting:
			status.Waiting = c.n
		case Refused:
			status.Refused = c.n
		case Conflict:
			status.Conflicts = c.n
		}
	}
	return status, err
}

// digestsAt counts what the device has of the server's records, kind by kind, as the server counts
// its own, and returns the revision they are as of.
func (s *Store) digestsAt(
	ctx context.Context,
	squad uuid.UUID,
) (sums map[client.Kind]client.Digest, rev int64, err error) {
	rows, err := s.db.QueryContext(
		ctx,
		`SELECT s.rev, r.kind, r.id, r.rev FROM squads s JOIN records r ON r.squad = s.id WHERE s.id = ?`,
		squad.String(),
	)
	if err != nil {
		return nil, 0, err
	}
	sums = make(map[client.Kind]client.Digest)
	_, err = collect(rows, func(*struct{}) error {
		var kind client.Kind
		var id uuid.UUID
		var at int64
		if err := rows.Scan(&rev, &kind, &id, &at); err != nil {
			return err
		}
		sum := sums[kind]
		sum.Add(id, at)
		sums[kind] = sum
		return nil
	})
	return sums, rev, err
}
