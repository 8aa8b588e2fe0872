package service

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/lane"
	"laneward/service/record"
)

var athleteStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.AthletesByIDs(ctx, db.AthletesByIDsParams{SquadID: squad, IDs: ids, Athlete: athlete})
		return rows(found, err, athleteOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.AthletesAfter(
			ctx,
			db.AthletesAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit, Athlete: athlete},
		)
		return rows(found, err, athleteOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return finish(tx.PutAthlete(ctx, params(squad, records, athleteParams)).Exec)
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemoveAthletes(ctx, db.RemoveAthletesParams{SquadID: squad, IDs: ids})
	},
}

func athleteOf(row db.Athlete) (record.Record, []byte, error) {
	side, err := lane.ParseSide(row.Side)
	if err != nil {
		return nil, nil, fmt.Errorf("athlete %s: %w", row.ID, err)
	}
	return &record.Athlete{
		Head:            record.Head{ID: row.ID, Rev: row.Rev},
		Name:            row.Name,
		Side:            side,
		SpeedMPH:        row.SpeedMPH,
		RevRateRPM:      row.RevRateRPM,
		RotationDeg:     row.RotationDeg,
		TiltDeg:         row.TiltDeg,
		SlideOffset:     row.SlideOffset,
		BornOn:          dayPointer(row.BornOn),
		GuardianName:    row.GuardianName,
		GuardianConsent: dayPointer(row.GuardianConsent),
		Note:            row.Note,
	}, row.Hash, nil
}

func athleteParams(squad uuid.UUID, a *record.Athlete, hash []byte) db.PutAthleteParams {
	return db.PutAthleteParams{
		SquadID:     squad,
		ID:          a.ID,
		Rev:         a.Rev,
		Hash:        hash,
		Name:        a.Name,
		Side:        string(a.Side),
		SpeedMPH:    a.SpeedMPH,
		RevRateRPM:  a.RevRateRPM,
		RotationDeg: a.RotationDeg,
		TiltDeg:     a.TiltDeg,
		SlideOffset: a.SlideOffset,
		BornOn: timePointer(
			a.BornOn,
		),
		GuardianName:    a.GuardianName,
		GuardianConsent: timePointer(a.GuardianConsent),
		Note:            a.Note,
	}
}
