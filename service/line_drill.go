package service

import (
	"cmp"
	"context"
	"time"

	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/line"
	"laneward/service/motion"
	"laneward/service/record"
)

// LineAssignment asks to store a line's drill and to assign it. ID is the drill's, so that sending
// it again stores it once; empty values mean the suggested drill's, and today.
type LineAssignment struct {
	ID         *uuid.UUID
	Aim        line.Aim
	Name       string
	Reps       int32
	PassShare  float64
	AssignedOn *record.Day
	DueOn      *record.Day
}

// AssignLine computes a line, stores the drill that keeps its athlete on it, and assigns it to
// that athlete, both or neither. created is false when both were stored before.
func (s *Service) AssignLine(
	ctx context.Context,
	user, squad uuid.UUID,
	query advice.Query,
	asked LineAssignment,
) (d *record.Drill, a *record.Assignment, created bool, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error { return w.mustCoach() })
	if err != nil {
		return nil, nil, false, err
	}
	study, err := s.StudyLine(ctx, user, squad, query, asked.Aim)
	if err != nil {
		return nil, nil, false, err
	}
	if study.Drill == nil {
		return nil, nil, false, fail(
			Conflict,
			"this line has no drill to keep to: the line itself misses the pocket's boards",
		)
	}
	given, err := s.Assign(ctx, user, squad, asked.assign(query.Athlete, study.Drill, s.clock()))
	if err != nil {
		return nil, nil, false, err
	}
	return given.Drill, given.Assignments[0], given.New, nil
}

// assign asks for the suggested drill, as the assignment changes it, to be stored and assigned.
func (l LineAssignment) assign(athlete uuid.UUID, suggested *advice.SuggestedDrill, now time.Time) AssignQuery {
	query := AssignQuery{DrillID: newID(), Athletes: []uuid.UUID{athlete}, DueOn: l.DueOn}
	if l.ID != nil {
		query.DrillID = *l.ID
	}
	query.AssignedOn, _ = record.ParseDay(record.Day{Time: now}.String())
	if l.AssignedOn != nil {
		query.AssignedOn = *l.AssignedOn
	}
	query.Drill = &record.Drill{
		Name:      cmp.Or(l.Name, suggested.Name),
		Rules:     suggested.Rules,
		Reps:      cmp.Or(l.Reps, suggested.Reps),
		PassShare: cmp.Or(l.PassShare, suggested.PassShare),
		PatternID: suggested.PatternID,
		Note:      suggested.Note,
		Model:     motion.Model,
	}
	return query
}
