package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
)

// SessionRecord is a time at the lanes: one athlete's practice, or a block the squad shares.
type SessionRecord struct {
	Head
	Form      string     `json:"kind"` // practice or block
	Name      string     `json:"name"`
	Date      Day        `json:"date"`
	Centre    string     `json:"centre,omitempty"`
	Lanes     []int32    `json:"lanes,omitempty"`
	PatternID *uuid.UUID `json:"pattern_id,omitempty"`
	AthleteID *uuid.UUID `json:"athlete_id,omitempty"` // whose session it is; nil when the squad shares it
	Note      string     `json:"note,omitempty"`
}

// Kind is [KindSession].
func (*SessionRecord) Kind() Kind { return KindSession }

// Owner is the athlete whose session it is; nil when it is shared.
func (s *SessionRecord) Owner() *uuid.UUID { return s.AthleteID }

// Parents are the pattern and the athlete, if named.
func (s *SessionRecord) Parents() []Ref {
	return append(
		optionalRef(KindPattern, s.PatternID, "/pattern_id"),
		optionalRef(KindAthlete, s.AthleteID, "/athlete_id")...)
}

// Faults lists what is wrong with the record.
func (s *SessionRecord) Faults() []Fault {
	var f faults
	f.name(s.Name)
	f.note(s.Note)
	f.add(
		s.Form != "practice" && s.Form != "block",
		"/kind",
		"unknown",
		"%q is no kind of session: write practice or block",
		s.Form,
	)
	f.add(
		s.Date.Year() < 1900 || s.Date.Year() > 2199,
		"/date",
		"required",
		"give the day of the session, such as 2026-03-14",
	)
	f.line(s.Centre, "/centre")
	for _, lane := range s.Lanes {
		f.add(lane < 1 || lane > 999, "/lanes", "range", "%d is no lane: lanes are numbered 1 to 999", lane)
	}
	return f
}

var sessionStore = store{
	fresh: func() Record { return &SessionRecord{} },
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

func sessionOf(row db.Session) (Record, []byte, error) {
	return &SessionRecord{
		Head: Head{
			row.ID,
			row.Rev,
		},
		Form:      row.Kind,
		Name:      row.Name,
		Date:      Day{row.HeldOn},
		Centre:    row.Centre,
		Lanes:     row.Lanes,
		PatternID: row.PatternID,
		AthleteID: row.AthleteID,
		Note:      row.Note,
	}, row.Hash, nil
}

func sessionParams(squad uuid.UUID, s *SessionRecord, hash []byte) db.PutSessionParams {
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
