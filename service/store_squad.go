package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

var squadStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, _ *uuid.UUID) ([]stored, error) {
		for _, id := range ids {
			if id == squad {
				return oneSquad(ctx, tx, squad)
			}
		}
		return nil, nil
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, _ int32, _ *uuid.UUID) ([]stored, error) {
		found, err := oneSquad(ctx, tx, squad)
		if err != nil || found[0].Revision() <= in.after || found[0].Revision() > in.upto {
			return nil, err
		}
		return found, nil
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		s := records[0].Record.(*record.Squad)
		row := db.PutSquadParams{
			SquadID:   squad,
			Rev:       s.Rev,
			Hash:      records[0].hash,
			Name:      s.Name,
			TimeZone:  s.TimeZone,
			Invented:  s.Invented,
			CreatedAt: s.Created,
		}
		return db.Translate(tx.PutSquad(ctx, row))
	},
	remove: func(context.Context, *db.Tx, uuid.UUID, []uuid.UUID) error {
		return fail(Forbidden, "a squad cannot be deleted")
	},
}

func oneSquad(ctx context.Context, tx *db.Tx, squad uuid.UUID) ([]stored, error) {
	row, err := tx.Squad(ctx, db.SquadParams{SquadID: squad})
	return rows([]db.Squad{row}, err, func(row db.Squad) (record.Record, []byte, error) {
		return &record.Squad{
			Head:     record.Head{ID: row.SquadID, Rev: row.Rev},
			Name:     row.Name,
			TimeZone: row.TimeZone,
			Invented: row.Invented,
			Created:  row.CreatedAt,
		}, row.Hash, nil
	})
}

var memberStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.MembershipsByIDs(ctx, db.MembershipsByIDsParams{SquadID: squad, IDs: ids, Athlete: athlete})
		return rows(found, err, memberOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.MembershipsAfter(
			ctx,
			db.MembershipsAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit, Athlete: athlete},
		)
		return rows(found, err, memberOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return finish(tx.PutMembership(ctx, params(squad, records, memberParams)).Exec)
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemoveMemberships(ctx, db.RemoveMembershipsParams{SquadID: squad, IDs: ids})
	},
}

func memberOf(row db.Membership) (record.Record, []byte, error) {
	return &record.Member{
		Head:      record.Head{ID: row.ID, Rev: row.Rev},
		UserID:    row.UserID,
		Name:      row.Name,
		Role:      record.Role(row.Role),
		AthleteID: row.AthleteID,
	}, row.Hash, nil
}

func memberParams(squad uuid.UUID, m *record.Member, hash []byte) db.PutMembershipParams {
	return db.PutMembershipParams{
		SquadID:   squad,
		ID:        m.ID,
		Rev:       m.Rev,
		Hash:      hash,
		UserID:    m.UserID,
		Name:      m.Name,
		Role:      string(m.Role),
		AthleteID: m.AthleteID,
	}
}
