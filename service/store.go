package service

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"laneward/db"
)

// stored is a record as it stands in the database: its revision is the record's own, hash that of the payload it was written from.
type stored struct {
	Record
	hash []byte
}

// store is how one kind of record is kept. With an athlete given, reading sees what that athlete may see.
type store struct {
	byIDs  func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error)
	after  func(ctx context.Context, tx *db.Tx, squad uuid.UUID, rev int64, limit int32, athlete *uuid.UUID) ([]stored, error)
	put    func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error
	remove func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error
	// fresh returns an empty record to read JSON into.
	fresh func() Record
}

// stores is the table of all kinds.
var stores = map[Kind]store{
	KindSquad:      squadStore,
	KindAthlete:    athleteStore,
	KindMember:     memberStore,
	KindPattern:    patternStore,
	KindBall:       ballStore,
	KindSession:    sessionStore,
	KindDrill:      drillStore,
	KindAssignment: assignmentStore,
	KindShot:       shotStore,
}

// rows turns database rows into records, or passes on the error of reading them.
func rows[Row any](found []Row, err error, record func(Row) (Record, []byte, error)) ([]stored, error) {
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
func params[R Record, P any](squad uuid.UUID, records []stored, param func(uuid.UUID, R, []byte) P) []P {
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

// jsonColumn writes a JSON column. Only values that JSON can hold come here: they were read from JSON or checked.
func jsonColumn(value any) json.RawMessage {
	raw, err := json.Marshal(value)
	if err != nil {
		panic(fmt.Sprintf("service: a checked value cannot be written: %v", err))
	}
	return raw
}
