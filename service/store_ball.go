package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

var ballStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.BallsByIDs(ctx, db.BallsByIDsParams{SquadID: squad, IDs: ids, Athlete: athlete})
		return rows(found, err, ballOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.BallsAfter(
			ctx,
			db.BallsAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit, Athlete: athlete},
		)
		return rows(found, err, ballOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return finish(tx.PutBall(ctx, params(squad, records, ballParams)).Exec)
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemoveBalls(ctx, db.RemoveBallsParams{SquadID: squad, IDs: ids})
	},
}

func ballOf(row db.Ball) (record.Record, []byte, error) {
	return &record.Ball{
		Head:           record.Head{ID: row.ID, Rev: row.Rev},
		AthleteID:      row.AthleteID,
		Name:           row.Name,
		WeightLB:       row.WeightLB,
		RGIn:           row.RGIn,
		DifferentialIn: row.DifferentialIn,
		Cover:          row.Cover,
		SurfaceGrit:    row.SurfaceGrit,
		Retired:        row.Retired,
		Note:           row.Note,
	}, row.Hash, nil
}

func ballParams(squad uuid.UUID, b *record.Ball, hash []byte) db.PutBallParams {
	return db.PutBallParams{
		SquadID:        squad,
		ID:             b.ID,
		Rev:            b.Rev,
		Hash:           hash,
		AthleteID:      b.AthleteID,
		Name:           b.Name,
		WeightLB:       b.WeightLB,
		RGIn:           b.RGIn,
		DifferentialIn: b.DifferentialIn,
		Cover:          b.Cover,
		SurfaceGrit:    b.SurfaceGrit,
		Retired:        b.Retired,
		Note:           b.Note,
	}
}
