package service

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/lane"
)

// AthleteRecord is an athlete of the squad and how they typically throw. Nil numbers are not known.
type AthleteRecord struct {
	Head
	Name            string    `json:"name"`
	Side            lane.Side `json:"side"`
	SpeedMPH        *float64  `json:"speed_mph,omitempty"`
	RevRateRPM      *float64  `json:"rev_rate_rpm,omitempty"`
	RotationDeg     *float64  `json:"rotation_deg,omitempty"`
	TiltDeg         *float64  `json:"tilt_deg,omitempty"`
	SlideOffset     *float64  `json:"slide_offset,omitempty"` // boards from the laydown to the slide foot, positive inside
	BornOn          *Day      `json:"born_on,omitempty"`
	GuardianName    *string   `json:"guardian_name,omitempty"`
	GuardianConsent *Day      `json:"guardian_consent,omitempty"`
	Note            string    `json:"note,omitempty"`
}

// Kind is [KindAthlete].
func (*AthleteRecord) Kind() Kind { return KindAthlete }

// Owner is the athlete.
func (a *AthleteRecord) Owner() *uuid.UUID { return &a.ID }

// Parents is none.
func (*AthleteRecord) Parents() []Ref { return nil }

// Faults lists what is wrong with the record. The ranges catch slips of the pen (common practice,
// no source).
func (a *AthleteRecord) Faults() []Fault {
	var f faults
	f.name(a.Name)
	_, err := lane.ParseSide(string(a.Side))
	f.add(err != nil, "/side", "unknown", "%v", err)
	f.within(a.SpeedMPH, 5, 30, "/speed_mph", "mph at launch")
	f.within(a.RevRateRPM, 0, 800, "/rev_rate_rpm", "rpm")
	f.within(a.RotationDeg, -30, 180, "/rotation_deg", "degrees of axis rotation")
	f.within(a.TiltDeg, -30, 90, "/tilt_deg", "degrees of axis tilt")
	f.within(a.SlideOffset, -20, 20, "/slide_offset", "boards")
	f.add(a.BornOn != nil && a.BornOn.Year() < 1900, "/born_on", "range", "is before 1900: check the year")
	if a.GuardianName != nil {
		f.line(*a.GuardianName, "/guardian_name")
	}
	f.note(a.Note)
	return f
}

var athleteStore = store{
	fresh: func() Record { return &AthleteRecord{} },
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

func athleteOf(row db.Athlete) (Record, []byte, error) {
	side, err := lane.ParseSide(row.Side)
	if err != nil {
		return nil, nil, fmt.Errorf("athlete %s: %w", row.ID, err)
	}
	return &AthleteRecord{
		Head:            Head{row.ID, row.Rev},
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

func athleteParams(squad uuid.UUID, a *AthleteRecord, hash []byte) db.PutAthleteParams {
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
