package db

import (
	"context"
	"encoding/json"
	"time"

	"github.com/google/uuid"
)

// putShots writes a whole set in one statement; a generated statement cannot say arrays with NULLs
// in them.
const putShots = `
INSERT INTO shots (squad_id, id, rev, hash, session_id, athlete_id, ball_id, drill_id, shot_order, shot_time, laydown_board, arrows_board,
    breakpoint_board, breakpoint_ft, entry_board, entry_angle_deg, launch_angle_deg, speed_mph, rev_rate_rpm, rotation_deg, tilt_deg,
    track, standing, source, board_se, angle_se_deg, speed_se_mph, rev_rate_se_rpm, axis_se_deg, note)
SELECT $1, * FROM unnest($2::uuid[], $3::bigint[], $4::bytea[], $5::uuid[], $6::uuid[], $7::uuid[], $8::uuid[], $9::integer[],
    $10::timestamptz[], $11::float8[], $12::float8[], $13::float8[], $14::float8[], $15::float8[], $16::float8[], $17::float8[],
    $18::float8[], $19::float8[], $20::float8[], $21::float8[], $22::jsonb[], $23::smallint[], $24::text[], $25::float8[],
    $26::float8[], $27::float8[], $28::float8[], $29::float8[], $30::text[])
ON CONFLICT (squad_id, id) DO UPDATE SET (rev, hash, session_id, athlete_id, ball_id, drill_id, shot_order, shot_time, laydown_board,
    arrows_board, breakpoint_board, breakpoint_ft, entry_board, entry_angle_deg, launch_angle_deg, speed_mph, rev_rate_rpm, rotation_deg,
    tilt_deg, track, standing, source, board_se, angle_se_deg, speed_se_mph, rev_rate_se_rpm, axis_se_deg, note)
  = (excluded.rev, excluded.hash, excluded.session_id, excluded.athlete_id, excluded.ball_id, excluded.drill_id, excluded.shot_order,
    excluded.shot_time, excluded.laydown_board, excluded.arrows_board, excluded.breakpoint_board, excluded.breakpoint_ft,
    excluded.entry_board, excluded.entry_angle_deg, excluded.launch_angle_deg, excluded.speed_mph, excluded.rev_rate_rpm,
    excluded.rotation_deg, excluded.tilt_deg, excluded.track, excluded.standing, excluded.source, excluded.board_se,
    excluded.angle_se_deg, excluded.speed_se_mph, excluded.rev_rate_se_rpm, excluded.axis_se_deg, excluded.note)`

// PutShots inserts or replaces shots of one squad by id, in sets of at most 5,000. Ids must be
// distinct.
func (t *Tx) PutShots(ctx context.Context, squad uuid.UUID, shots []Shot) error {
	const most = 5000
	for len(shots) > 0 {
		n := min(most, len(shots))
		if _, err := t.tx.Exec(ctx, putShots, shotColumns(squad, shots[:n])...); err != nil {
			return Translate(err)
		}
		shots = shots[n:]
	}
	return nil
}

func column[T any](shots []Shot, value func(*Shot) T) []T {
	values := make([]T, len(shots))
	for i := range shots {
		values[i] = value(&shots[i])
	}
	return values
}

func shotColumns(squad uuid.UUID, shots []Shot) []any {
	return []any{
		squad,
		column(shots, func(s *Shot) uuid.UUID { return s.ID }),
		column(shots, func(s *Shot) int64 { return s.Rev }),
		column(shots, func(s *Shot) []byte { return s.Hash }),
		column(shots, func(s *Shot) uuid.UUID { return s.SessionID }),
		column(shots, func(s *Shot) uuid.UUID { return s.AthleteID }),
		column(shots, func(s *Shot) *uuid.UUID { return s.BallID }),
		column(shots, func(s *Shot) *uuid.UUID { return s.DrillID }),
		column(shots, func(s *Shot) int32 { return s.ShotOrder }),
		column(shots, func(s *Shot) time.Time { return s.ShotTime }),
		column(shots, func(s *Shot) *float64 { return s.LaydownBoard }),
		column(shots, func(s *Shot) *float64 { return s.ArrowsBoard }),
		column(shots, func(s *Shot) *float64 { return s.BreakpointBoard }),
		column(shots, func(s *Shot) *float64 { return s.BreakpointFt }),
		column(shots, func(s *Shot) *float64 { return s.EntryBoard }),
		column(shots, func(s *Shot) *float64 { return s.EntryAngleDeg }),
		column(shots, func(s *Shot) *float64 { return s.LaunchAngleDeg }),
		column(shots, func(s *Shot) *float64 { return s.SpeedMPH }),
		column(shots, func(s *Shot) *float64 { return s.RevRateRPM }),
		column(shots, func(s *Shot) *float64 { return s.RotationDeg }),
		column(shots, func(s *Shot) *float64 { return s.TiltDeg }),
		column(shots, func(s *Shot) json.RawMessage { return s.Track }),
		column(shots, func(s *Shot) *int16 { return s.Standing }),
		column(shots, func(s *Shot) string { return s.Source }),
		column(shots, func(s *Shot) *float64 { return s.BoardSE }),
		column(shots, func(s *Shot) *float64 { return s.AngleSEDeg }),
		column(shots, func(s *Shot) *float64 { return s.SpeedSEMPH }),
		column(shots, func(s *Shot) *float64 { return s.RevRateSERPM }),
		column(shots, func(s *Shot) *float64 { return s.AxisSEDeg }),
		column(shots, func(s *Shot) string { return s.Note }),
	}
}
