package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/lane"
	"laneward/service/record"
	"laneward/service/shot"
)

var shotStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.ShotsByIDs(ctx, db.ShotsByIDsParams{SquadID: squad, IDs: ids, Athlete: athlete})
		return rows(found, err, shotOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.ShotsAfter(
			ctx,
			db.ShotsAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit, Athlete: athlete},
		)
		return rows(found, err, shotOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return tx.PutShots(ctx, squad, params(squad, records, shotRow))
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemoveShots(ctx, db.RemoveShotsParams{SquadID: squad, IDs: ids})
	},
}

var measures = shot.Measures()

// numberColumns are where a row keeps each of the measures, wholeColumns where it keeps those that
// are whole numbers; the other is nil.
var numberColumns, wholeColumns = func() (numbers []func(*db.Shot) **float64, wholes []func(*db.Shot) **int16) {
	numbers, wholes = make([]func(*db.Shot) **float64, len(measures)), make([]func(*db.Shot) **int16, len(measures))
	for i, m := range measures {
		if m.Whole != nil {
			wholes[i] = db.ShotColumn[*int16](m.Column)
		} else {
			numbers[i] = db.ShotColumn[*float64](m.Column)
		}
	}
	return numbers, wholes
}()

func shotOf(row db.Shot) (record.Record, []byte, error) {
	track, err := column[[]shot.TrackPoint](row.Track, "track")
	if err != nil {
		return nil, nil, err
	}
	record := &record.Shot{Rev: row.Rev, Shot: shot.Shot{
		ID:        row.ID,
		SessionID: row.SessionID,
		AthleteID: row.AthleteID,
		BallID:    row.BallID,
		DrillID:   row.DrillID,
		Order:     int(row.ShotOrder),
		Time:      row.ShotTime.UTC(),
		Track:     track,
		Gutter:    lane.Side(row.Gutter),
		Source:    row.Source,
		Note:      row.Note,
	}}
	for i, m := range measures {
		if m.Whole == nil {
			*m.Value(&record.Shot) = *numberColumns[i](&row)
		} else if whole := *wholeColumns[i](&row); whole != nil {
			*m.Whole(&record.Shot) = new(int(*whole))
		}
	}
	if row.Standing != nil {
		standing := lane.PinSet(*row.Standing) //nolint:gosec // ten bits
		record.Standing = &standing
	}
	return record, row.Hash, nil
}

func shotRow(squad uuid.UUID, s *record.Shot, hash []byte) db.Shot {
	row := db.Shot{
		SquadID:   squad,
		ID:        s.ID,
		Rev:       s.Rev,
		Hash:      hash,
		SessionID: s.SessionID,
		AthleteID: s.AthleteID,
		BallID:    s.BallID,
		DrillID:   s.DrillID,
		ShotOrder: int32(s.Order), //nolint:gosec // at most shot.MaxOrder
		ShotTime:  s.Time,
		Gutter:    string(s.Gutter),
		Source:    s.Source,
		Note:      s.Note,
	}
	for i, m := range measures {
		if m.Whole == nil {
			*numberColumns[i](&row) = *m.Value(&s.Shot)
		} else if whole := *m.Whole(&s.Shot); whole != nil {
			*wholeColumns[i](&row) = new(int16(*whole)) //nolint:gosec // its limit is below
		}
	}
	if len(s.Track) > 0 {
		row.Track = jsonColumn(s.Track)
	}
	if s.Standing != nil {
		standing := int16(*s.Standing) //nolint:gosec // ten bits
		row.Standing = &standing
	}
	return row
}
