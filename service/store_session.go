package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

var sessionStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.SessionsByIDs(ctx, db.SessionsByIDsParams{SquadID: squad, IDs: ids, Athlete: athlete})
		return rows(found, err, sessionOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.SessionsAfter(
			ctx,
			db.SessionsAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit, Athlete: athlete},
		)
		return rows(found, err, sessionOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return finish(tx.PutSession(ctx, params(squad, records, sessionParams)).Exec)
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemoveSessions(ctx, db.RemoveSessionsParams{SquadID: squad, IDs: ids})
	},
}

func sessionOf(row db.Session) (record.Record, []byte, error) {
	return &record.Session{
		Head:      record.Head{ID: row.ID, Rev: row.Rev},
		Form:      row.Kind,
		Name:      row.Name,
		Date:      record.Day{Time: row.HeldOn},
		Centre:    row.Centre,
		Lanes:     row.Lanes,
		PatternID: row.PatternID,
		AthleteID: row.AthleteID,
		Note:      row.Note,
	}, row.Hash, nil
}

func sessionParams(squad uuid.UUID, s *record.Session, hash []byte) db.PutSessionParams {
	lanes := s.Lanes
	if lanes == nil {
		lanes = []int32{}
	}
	return db.PutSessionParams{
		SquadID:   squad,
		ID:        s.ID,
		Rev:       s.Rev,
		Hash:      hash,
		Kind:      s.Form,
		Name:      s.Name,
		HeldOn:    s.Date.Time,
		Centre:    s.Centre,
		Lanes:     lanes,
		PatternID: s.PatternID,
		AthleteID: s.AthleteID,
		Note:      s.Note,
	}
}
