package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/record"
	"laneward/service/shot"
	"laneward/service/tenpin"
)

// LeavesQuery asks what was left on first balls: of one athlete, of one session, on one lane, or by
// a drill, whose kept shots are then set against those that broke it. At least an athlete, a session
// or a drill is named.
type LeavesQuery struct {
	Athlete, Session, Drill *uuid.UUID
	Lane                    *int16
}

// leaveWeights is what leaves say, the same for everyone.
var leaveWeights = tenpin.DefaultDoubt().Weights()

// Leaves counts what was left.
func (s *Service) Leaves(ctx context.Context, user, squad uuid.UUID, query LeavesQuery) (tenpin.LeaveReport, error) {
	switch {
	case query.Drill != nil:
		return s.leavesByDrill(ctx, user, squad, query)
	case query.Athlete == nil && query.Session == nil:
		return tenpin.LeaveReport{}, fail(
			Invalid, "whose leaves? Name an athlete, a session or a drill, for example ?session_id=...",
		)
	}
	var table tenpin.LeaveTable
	err := s.readSquad(ctx, user, squad, func(w *work) error {
		if err := w.seen(ctx, query); err != nil {
			return err
		}
		athlete := query.Athlete
		if w.athlete != nil {
			athlete = w.athlete
		}
		rows, err := w.CountLeaves(ctx, db.CountLeavesParams{
			SquadID: w.squad, Athlete: athlete, Session: query.Session, Lane: query.Lane,
		})
		for _, row := range rows {
			left := turned(lane.Side(row.Side), lane.PinSet(*row.Standing)) //nolint:gosec // ten bits
			for range row.Shots {
				table.Add(left, nil)
			}
		}
		return err
	})
	return leaveWeights.Report(table, false), err
}

// seen reports whom or what the query names and the caller may not see.
func (w *work) seen(ctx context.Context, query LeavesQuery) error {
	if query.Athlete != nil {
		if _, err := w.get(ctx, record.KindAthlete, *query.Athlete); err != nil {
			return err
		}
	}
	if query.Session != nil {
		if _, err := w.get(ctx, record.KindSession, *query.Session); err != nil {
			return err
		}
	}
	return nil
}

func (s *Service) leavesByDrill(
	ctx context.Context,
	user, squad uuid.UUID,
	query LeavesQuery,
) (report tenpin.LeaveReport, err error) {
	err = s.judge(ctx, user, func() error {
		asked := DrillQuery{Drill: *query.Drill, Athlete: query.Athlete, Session: query.Session}
		tasks, err := s.readTasks(ctx, user, squad, asked)
		if err != nil {
			return err
		}
		var table tenpin.LeaveTable
		for _, task := range tasks.athletes {
			task.earlier = nil // a verdict's past says nothing of leaves
			_, judged := task.judge(tasks.drill.Drill())
			for _, one := range judged {
				if query.Lane == nil || one.Shot.Lane != nil && *one.Shot.Lane == int(*query.Lane) {
					addLeave(&table, task.athlete.Side, &one.Shot.Shot, one.Judgement)
				}
			}
		}
		report = leaveWeights.Report(table, true)
		return ctx.Err()
	})
	return report, err
}

// leavesOf counts what an athlete's judged shots left.
func leavesOf(side lane.Side, shots []shot.Shot, judged []drill.ShotJudgement) (table tenpin.LeaveTable) {
	for i := range shots {
		addLeave(&table, side, &shots[i], judged[i])
	}
	return table
}

// addLeave counts a judged first ball whose pins were recorded.
func addLeave(table *tenpin.LeaveTable, side lane.Side, s *shot.Shot, judged drill.ShotJudgement) {
	if s.Standing == nil || s.Delivery != nil && *s.Delivery > 1 {
		return
	}
	var kept *bool
	if judged.Verdict != drill.Unknown {
		did := judged.Verdict == drill.Kept
		kept = &did
	}
	table.Add(turned(side, *s.Standing), kept)
}

// turned is a leave as a right-hander would have left it.
func turned(side lane.Side, standing lane.PinSet) lane.PinSet {
	if side == lane.Left {
		return standing.Mirror()
	}
	return standing
}
