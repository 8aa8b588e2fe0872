package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/drill"
	"laneward/service/record"
)

var drillStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.DrillsByIDs(ctx, db.DrillsByIDsParams{SquadID: squad, IDs: ids, Athlete: athlete})
		return rows(found, err, drillOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.DrillsAfter(
			ctx,
			db.DrillsAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit, Athlete: athlete},
		)
		return rows(found, err, drillOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return finish(tx.PutDrill(ctx, params(squad, records, drillParams)).Exec)
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemoveDrills(ctx, db.RemoveDrillsParams{SquadID: squad, IDs: ids})
	},
}

func drillOf(row db.Drill) (record.Record, []byte, error) {
	rules, err := column[[]drill.Rule](row.Rules, "rules")
	if err != nil {
		return nil, nil, err
	}
	return &record.Drill{
		Head:      record.Head{ID: row.ID, Rev: row.Rev},
		Name:      row.Name,
		Rules:     rules,
		Reps:      row.Reps,
		PassShare: row.PassShare,
		PatternID: row.PatternID,
		Note:      row.Note,
		Model:     row.Model,
	}, row.Hash, nil
}

func drillParams(squad uuid.UUID, d *record.Drill, hash []byte) db.PutDrillParams {
	return db.PutDrillParams{
		SquadID:   squad,
		ID:        d.ID,
		Rev:       d.Rev,
		Hash:      hash,
		Name:      d.Name,
		Rules:     jsonColumn(d.Rules),
		Reps:      d.Reps,
		PassShare: d.PassShare,
		PatternID: d.PatternID,
		Note:      d.Note,
		Model:     d.Model,
	}
}

// addSentences writes the drills' rules in words, with the names of the balls they speak of.
func (w *work) addSentences(ctx context.Context, drills []*record.Drill) error {
	var ids []uuid.UUID
	for _, d := range drills {
		for _, rule := range d.Rules {
			ids = append(ids, rule.Balls...)
		}
	}
	names, err := w.ballNames(ctx, ids)
	if err != nil {
		return err
	}
	for _, d := range drills {
		d.Sentences = make([]string, len(d.Rules))
		for i, rule := range d.Rules {
			d.Sentences[i] = rule.Sentence(names)
		}
	}
	return nil
}

func (w *work) ballNames(ctx context.Context, ids []uuid.UUID) (drill.BallNames, error) {
	names := make(drill.BallNames, len(ids))
	if len(ids) == 0 {
		return names, nil
	}
	balls, err := w.BallsByIDs(ctx, db.BallsByIDsParams{SquadID: w.squad, IDs: ids, Athlete: w.athlete})
	for _, ball := range balls {
		names[ball.ID] = ball.Name
	}
	return names, err
}

var assignmentStore = store{
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.AssignmentsByIDs(ctx, db.AssignmentsByIDsParams{SquadID: squad, IDs: ids, Athlete: athlete})
		return rows(found, err, assignmentOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, athlete *uuid.UUID) ([]stored, error) {
		found, err := tx.AssignmentsAfter(
			ctx,
			db.AssignmentsAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit, Athlete: athlete},
		)
		return rows(found, err, assignmentOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return finish(tx.PutAssignment(ctx, params(squad, records, assignmentParams)).Exec)
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemoveAssignments(ctx, db.RemoveAssignmentsParams{SquadID: squad, IDs: ids})
	},
}

func assignmentOf(row db.Assignment) (record.Record, []byte, error) {
	return &record.Assignment{
		Head: record.Head{
			ID:  row.ID,
			Rev: row.Rev,
		},
		DrillID:    row.DrillID,
		AthleteID:  row.AthleteID,
		AssignedOn: record.Day{Time: row.AssignedOn},
		DueOn:      dayPointer(row.DueOn),
		Note:       row.Note,
	}, row.Hash, nil
}

func assignmentParams(squad uuid.UUID, a *record.Assignment, hash []byte) db.PutAssignmentParams {
	return db.PutAssignmentParams{
		SquadID:    squad,
		ID:         a.ID,
		Rev:        a.Rev,
		Hash:       hash,
		DrillID:    a.DrillID,
		AthleteID:  a.AthleteID,
		AssignedOn: a.AssignedOn.Time,
		DueOn:      timePointer(a.DueOn),
		Note:       a.Note,
	}
}
