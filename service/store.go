package service

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// stored is a record as it is in the database: its revision is the record's own, hash that of
// the payload it was written from.
type stored struct {
	record.Record
	hash []byte
}

// store is how one kind of record is kept. With an athlete given, reading sees what that athlete
// may see.
type store struct {
	byIDs  func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error)
	after  func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, athlete *uuid.UUID) ([]stored, error)
	put    func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error
	remove func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error
}

// window is a stretch of revisions: after one, up to and with another.
type window struct{ after, upto int64 }

// after reads the records of a kind that lie in a window, in revision order, at most limit of them.
// reached is how far it has looked: the last record's revision when there may be more, else the
// window's end. It reads in steps that widen while they find little.
func (w *work) after(
	ctx context.Context,
	kind record.Kind,
	in window,
	limit int,
	athlete *uuid.UUID,
) (found []stored, reached int64, err error) {
	for step := int64(limit); in.after < in.upto; step *= 4 {
		part := window{in.after, min(in.after+step, in.upto)}
		rows, err := stores[kind].after(
			ctx,
			w.Tx,
			w.squad,
			part,
			int32(limit-len(found)), //nolint:gosec // at most some thousands
			athlete,
		)
		if err != nil {
			return nil, 0, err
		}
		found = append(found, rows...)
		if len(found) == limit {
			return found, found[limit-1].Revision(), nil
		}
		in.after = part.upto
	}
	return found, in.upto, nil
}

// stores is the table of all kinds.
var stores = map[record.Kind]store{
	record.KindSquad:      squadStore,
	record.KindAthlete:    athleteStore,
	record.KindMember:     memberStore,
	record.KindPattern:    patternStore,
	record.KindBall:       ballStore,
	record.KindSession:    sessionStore,
	record.KindDrill:      drillStore,
	record.KindAssignment: assignmentStore,
	record.KindShot:       shotStore,
}

// rows turns database rows into records, or passes on the error of reading them.
func rows[Row any](found []Row, err error, record func(Row) (record.Record, []byte, error)) ([]stored, error) {
	if err != nil {
		return nil, db.Translate(err)
	}
	records := make([]stored, len(found))
	for i, row := range found {
		r, hash, err := record(row)
		if err != nil {
			return nil, err
		}
		records[i] = stored{r, hash}
	}
	return records, nil
}

// params turns records into the parameters of their statement.
func params[R record.Record, P any](squad uuid.UUID, records []stored, param func(uuid.UUID, R, []byte) P) []P {
	list := make([]P, len(records))
	for i, s := range records {
		list[i] = param(squad, s.Record.(R), s.hash)
	}
	return list
}

// finish runs a batch to its end and returns its first error.
func finish(exec func(func(int, error))) error {
	var first error
	exec(func(_ int, err error) {
		if first == nil {
			first = db.Translate(err)
		}
	})
	return first
}

// column reads a JSON column; an empty one leaves the value as it is.
func column[T any](raw json.RawMessage, name string) (value T, err error) {
	if len(raw) == 0 {
		return value, nil
	}
	if err := json.Unmarshal(raw, &value); err != nil {
		return value, fmt.Errorf("read the stored %s: %w", name, err)
	}
	return value, nil
}

// jsonColumn writes a JSON column. Only values that JSON can hold come here: they were read from
// JSON or checked.
func jsonColumn(value any) json.RawMessage {
	raw, err := json.Marshal(value)
	if err != nil {
		panic(fmt.Sprintf("service: a checked value cannot be written: %v", err))
	}
	return raw
}

func dayPointer(t *time.Time) *record.Day {
	if t == nil {
		return nil
	}
	return &record.Day{Time: *t}
}

func timePointer(d *record.Day) *time.Time {
	if d == nil {
		return nil
	}
	return &d.Time
}
