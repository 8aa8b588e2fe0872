package service

import (
	"context"
	"strconv"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/lane"
	"laneward/service/shot"
)

// ShotRecord is one logged shot of the squad.
type ShotRecord struct {
	shot.Shot
	Rev int64 `json:"rev,omitempty"`
}

// Kind is [KindShot].
func (*ShotRecord) Kind() Kind { return KindShot }

// Key returns the shot's id.
func (s *ShotRecord) Key() uuid.UUID { return s.ID }

// Revision returns the revision the shot was read at; 0 when it is new.
func (s *ShotRecord) Revision() int64 { return s.Rev }

func (s *ShotRecord) stamp(id uuid.UUID, rev int64) { s.ID, s.Rev = id, rev }

// appendJSON appends the record as encoding/json writes it.
func (s *ShotRecord) appendJSON(b []byte) []byte {
	b = s.AppendJSON(b)
	if s.Rev != 0 {
		b = strconv.AppendInt(append(b, `,"rev":`...), s.Rev, 10)
	}
	return append(b, '}')
}

// Owner is the athlete who threw it.
func (s *ShotRecord) Owner() *uuid.UUID { return &s.AthleteID }

// Parents are the session and the athlete, and the ball and the drill if named.
func (s *ShotRecord) Parents() []Ref {
	refs := make([]Ref, 2, 4)
	refs[0] = Ref{KindSession, s.SessionID, "/session_id"}
	refs[1] = Ref{KindAthlete, s.AthleteID, "/athlete_id"}
	if s.BallID != nil {
		refs = append(refs, Ref{KindBall, *s.BallID, "/ball_id"})
	}
	if s.DrillID != nil {
		refs = append(refs, Ref{KindDrill, *s.DrillID, "/drill_id"})
	}
	return refs
}

// Faults lists what is wrong with the shot. Whoever stores it gives it the id that it lacks, as
// with every record.
func (s *ShotRecord) Faults() []Fault {
	checked := s.Shot
	if checked.ID == uuid.Nil {
		checked.ID = newID()
	}
	return shotFaults(shot.Validate(checked))
}

func shotFaults(found []shot.Fault) []Fault {
	var f faults
	for _, fault := range found {
		pointer := ""
		if fault.Field != "" { // else it is the row as a whole
			pointer = "/" + fault.Field
		}
		f.add(true, pointer, string(fault.Code), "%s", fault.Detail)
	}
	return f
}

var shotStore = store{
	fresh: func() Record { return &ShotRecord{} },
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

func shotOf(row db.Shot) (Record, []byte, error) {
	track, err := column[[]shot.TrackPoint](row.Track, "track")
	if err != nil {
		return nil, nil, err
	}
	record := &ShotRecord{Rev: row.Rev, Shot: shot.Shot{
		ID:              row.ID,
		SessionID:       row.SessionID,
		AthleteID:       row.AthleteID,
		BallID:          row.BallID,
		DrillID:         row.DrillID,
		Order:           int(row.ShotOrder),
		Time:            row.ShotTime.UTC(),
		LaydownBoard:    row.LaydownBoard,
		ArrowsBoard:     row.ArrowsBoard,
		BreakpointBoard: row.BreakpointBoard,
		BreakpointFt:    row.BreakpointFt,
		EntryBoard:      row.EntryBoard,
		EntryAngleDeg:   row.EntryAngleDeg,
		LaunchAngleDeg:  row.LaunchAngleDeg,
		SpeedMPH:        row.SpeedMPH,
		RevRateRPM:      row.RevRateRPM,
		RotationDeg:     row.RotationDeg,
		TiltDeg:         row.TiltDeg,
		Track:           track,
		Source:          row.Source,
		Note:            row.Note,
		Errors: shot.StandardErrors{
			Board:      row.BoardSE,
			AngleDeg:   row.AngleSEDeg,
			SpeedMPH:   row.SpeedSEMPH,
			RevRateRPM: row.RevRateSERPM,
			AxisDeg:    row.AxisSEDeg,
		},
	}}
	if row.Standing != nil {
		standing := lane.PinSet(*row.Standing)
		record.Standing = &standing
	}
	return record, row.Hash, nil
}

func shotRow(squad uuid.UUID, s *ShotRecord, hash []byte) db.Shot {
	row := db.Shot{
		SquadID:         squad,
		ID:              s.ID,
		Rev:             s.Rev,
		Hash:            hash,
		SessionID:       s.SessionID,
		AthleteID:       s.AthleteID,
		BallID:          s.BallID,
		DrillID:         s.DrillID,
		ShotOrder:       int32(s.Order),
		ShotTime:        s.Time, //nolint:gosec // an order is at most shot.MaxOrder
		LaydownBoard:    s.LaydownBoard,
		ArrowsBoard:     s.ArrowsBoard,
		BreakpointBoard: s.BreakpointBoard,
		BreakpointFt:    s.BreakpointFt,
		EntryBoard:      s.EntryBoard,
		EntryAngleDeg:   s.EntryAngleDeg,
		LaunchAngleDeg:  s.LaunchAngleDeg,
		SpeedMPH:        s.SpeedMPH,
		RevRateRPM:      s.RevRateRPM,
		RotationDeg:     s.RotationDeg,
		TiltDeg:         s.TiltDeg,
		Source:          s.Source,
		Note:            s.Note,
		BoardSE:         s.Errors.Board,
		AngleSEDeg:      s.Errors.AngleDeg,
		SpeedSEMPH:      s.Errors.SpeedMPH,
		RevRateSERPM:    s.Errors.RevRateRPM,
		AxisSEDeg:       s.Errors.AxisDeg,
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
