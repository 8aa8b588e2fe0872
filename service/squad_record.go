package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"laneward/db"
)

// SquadRecord is the squad itself: the tenant everything else belongs to.
type SquadRecord struct {
	Head
	Name     string `json:"name"`
	Invented bool   `json:"invented,omitempty"` // a made-up example, not real people
	created  time.Time
}

// Kind is [KindSquad].
func (*SquadRecord) Kind() Kind { return KindSquad }

// Owner is nobody: it is the squad's.
func (*SquadRecord) Owner() *uuid.UUID { return nil }

// Parents is none.
func (*SquadRecord) Parents() []Ref { return nil }

// Faults lists what is wrong with the record.
func (s *SquadRecord) Faults() []Fault {
	var f faults
	f.name(s.Name)
	return f
}

// MemberRecord is a person's place in the squad.
type MemberRecord struct {
	Head
	UserID    uuid.UUID  `json:"user_id"`
	Name      string     `json:"name"`
	Role      Role       `json:"role"`
	AthleteID *uuid.UUID `json:"athlete_id,omitempty"` // the athlete this person is, for the role athlete only
}

// Kind is [KindMember].
func (*MemberRecord) Kind() Kind { return KindMember }

// Owner is the athlete the member is, if any.
func (m *MemberRecord) Owner() *uuid.UUID { return m.AthleteID }

// Parents is the athlete the member is, if any.
func (m *MemberRecord) Parents() []Ref { return optionalRef(KindAthlete, m.AthleteID, "/athlete_id") }

// Faults lists what is wrong with the record.
func (m *MemberRecord) Faults() []Fault {
	var f faults
	f.name(m.Name)
	f.add(
		m.Role != Coach && m.Role != Athlete && m.Role != Analyst,
		"/role",
		"unknown",
		"%q is no role: write coach, athlete or analyst",
		m.Role,
	)
	f.add(m.Role == Athlete && m.AthleteID == nil, "/athlete_id", "required", "name the athlete this person is")
	f.add(
		m.Role != Athlete && m.AthleteID != nil,
		"/athlete_id",
		"mismatch",
		"belongs to the role athlete only: leave it out",
	)
	return f
}

var squadStore = store{
	fresh: func() Record { return &SquadRecord{} },
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
		s := records[0].Record.(*SquadRecord)
		row := db.PutSquadParams{
			SquadID:   squad,
			Rev:       s.Rev,
			Hash:      records[0].hash,
			Name:      s.Name,
			Invented:  s.Invented,
			CreatedAt: s.created,
		}
		return db.Translate(tx.PutSquad(ctx, row))
	},
	remove: func(context.Context, *db.Tx, uuid.UUID, []uuid.UUID) error {
		return fail(Forbidden, "a squad cannot be deleted")
	},
}

func oneSquad(ctx context.Context, tx *db.Tx, squad uuid.UUID) ([]stored, error) {
	row, err := tx.Squad(ctx, db.SquadParams{SquadID: squad})
	return rows([]db.Squad{row}, err, func(row db.Squad) (Record, []byte, error) {
		return &SquadRecord{
			Head:     Head{row.SquadID, row.Rev},
			Name:     row.Name,
			Invented: row.Invented,
			created:  row.CreatedAt,
		}, row.Hash, nil
	})
}

var memberStore = store{
	fresh: func() Record { return &MemberRecord{} },
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

func memberOf(row db.Membership) (Record, []byte, error) {
	return &MemberRecord{
		Head:      Head{row.ID, row.Rev},
		UserID:    row.UserID,
		Name:      row.Name,
		Role:      Role(row.Role),
		AthleteID: row.AthleteID,
	}, row.Hash, nil
}

func memberParams(squad uuid.UUID, m *MemberRecord, hash []byte) db.PutMembershipParams {
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
