package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/advice"
	"laneward/service/record"
	"laneward/service/shot"
)

// planner reads everything a query needs. A record that the member may not see is NotFound.
func (w *work) planner(ctx context.Context, query advice.Query) (*advice.Planner, error) {
	if wrong := query.Faults(); len(wrong) > 0 {
		return nil, InvalidError(wrong)
	}
	from := advice.Records{}
	found, err := w.get(ctx, record.KindAthlete, query.Athlete)
	if err != nil {
		return nil, err
	}
	from.Athlete = found.(*record.Athlete)
	if query.Ball != nil {
		if found, err = w.get(ctx, record.KindBall, *query.Ball); err != nil {
			return nil, err
		}
		from.Ball = found.(*record.Ball)
	}
	if found, err = w.get(ctx, record.KindPattern, query.Pattern); err != nil {
		return nil, err
	}
	from.Pattern = found.(*record.Pattern)
	if from.Shots, from.PatternFt, err = w.recentShots(ctx, query); err != nil {
		return nil, err
	}
	if query.Worn != nil && query.Worn.Session != nil {
		if from.Worn, err = w.sessionShots(ctx, *query.Worn); err != nil {
			return nil, err
		}
	}
	return advice.NewPlanner(query, from)
}

// recentShots reads what an athlete's latest shots say of how they play and scatter, and the
// lengths of the patterns of their sessions.
func (w *work) recentShots(
	ctx context.Context,
	query advice.Query,
) (shots []shot.Shot, patternFt map[uuid.UUID]float64, err error) {
	params := db.RecentShotsOfAthleteParams{SquadID: w.squad, AthleteID: query.Athlete, MaxRows: advice.MaxScatterShots}
	found, err := w.RecentShotsOfAthlete(ctx, params)
	if err != nil {
		return nil, nil, err
	}
	shots, patternFt = make([]shot.Shot, len(found)), map[uuid.UUID]float64{}
	for i, row := range found {
		if row.PatternFt != nil {
			patternFt[row.SessionID] = *row.PatternFt
		}
		shots[i] = shot.Shot{
			ID:             row.ID,
			SessionID:      row.SessionID,
			BallID:         row.BallID,
			Order:          int(row.ShotOrder),
			ArrowsBoard:    row.ArrowsBoard,
			LaunchAngleDeg: row.LaunchAngleDeg,
			SpeedMPH:       row.SpeedMPH,
			RevRateRPM:     row.RevRateRPM,
			Errors: shot.StandardErrors{
				Board:      row.BoardSE,
				AngleDeg:   row.AngleSEDeg,
				SpeedMPH:   row.SpeedSEMPH,
				RevRateRPM: row.RevRateSERPM,
			},
		}
	}
	return shots, patternFt, nil
}
