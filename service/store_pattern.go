package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/oil"
	"laneward/service/record"
)

var patternStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, _ *uuid.UUID) ([]stored, error) {
		found, err := tx.PatternsByIDs(ctx, db.PatternsByIDsParams{SquadID: squad, IDs: ids})
		return rows(found, err, patternOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, _ *uuid.UUID) ([]stored, error) {
		found, err := tx.PatternsAfter(
			ctx,
			db.PatternsAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit},
		)
		return rows(found, err, patternOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return finish(tx.PutPattern(ctx, params(squad, records, patternParams)).Exec)
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemovePatterns(ctx, db.RemovePatternsParams{SquadID: squad, IDs: ids})
	},
}

func patternOf(row db.Pattern) (record.Record, []byte, error) {
	loads, err := column[[]oil.Load](row.Loads, "load table")
	if err != nil {
		return nil, nil, err
	}
	film, err := column[[][]float64](row.Film, "film map")
	if err != nil {
		return nil, nil, err
	}
	return &record.Pattern{
		Head:     record.Head{ID: row.ID, Rev: row.Rev},
		Name:     row.Name,
		LengthFt: row.LengthFt,
		Loads:    loads,
		Film:     film,
		Note:     row.Note,
	}, row.Hash, nil
}

func patternParams(squad uuid.UUID, p *record.Pattern, hash []byte) db.PutPatternParams {
	row := db.PutPatternParams{
		SquadID:  squad,
		ID:       p.ID,
		Rev:      p.Rev,
		Hash:     hash,
		Name:     p.Name,
		LengthFt: p.LengthFt,
		Loads:    jsonColumn(p.Loads),
		Note:     p.Note,
	}
	if p.Film != nil {
		row.Film = jsonColumn(p.Film)
	}
	return row
}
