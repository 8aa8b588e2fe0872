package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/line"
	"laneward/service/record"
)

// LineAssignment asks to store a line's drill and to assign it. ID is the drill's, so that sending
// it again stores it once; empty values stand for the suggested drill's, and for today.
type LineAssignment struct {
	ID         *uuid.UUID
	Aim        line.Aim
	Name       string
	Reps       int32
	PassShare  float64
	AssignedOn *record.Day
	DueOn      *record.Day
}

// AssignLine works a line out, stores the drill that keeps its athlete on it, and assigns it to
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
		reason := "the line itself does not come back to the pocket's boards"
		if study.Corridor.EdgeOnly {
			reason = "every miss outside that stays on the lane comes back"
		}
		return nil, nil, false, fail(Conflict, "this line has no drill to keep to: %s", reason)
	}
	d, a = asked.records(query.Athlete, study.Drill, record.Day{Time: s.clock()})
	if wrong := append(d.Faults(), a.Faults()...); len(wrong) > 0 {
		return nil, nil, false, InvalidError(wrong)
	}
	return s.storeBoth(ctx, user, squad, d, a)
}

// records makes the drill and its assignment.
func (asked LineAssignment) records(athlete uuid.UUID, suggested *advice.SuggestedDrill, today record.Day) (*record.Drill, *record.Assignment) {
	id := newID()
	if asked.ID != nil {
		id = *asked.ID
	}
	d := &record.Drill{
		Head: record.Head{
			ID: id,
		},
		Name:      suggested.Name,
		Rules:     suggested.Rules,
		Reps:      suggested.Reps,
		PassShare: suggested.PassShare,
		PatternID: suggested.PatternID,
		Note:      suggested.Note,
	}
	if asked.Name != "" {
		d.Name = asked.Name
	}
	if asked.Reps != 0 {
		d.Reps = asked.Reps
	}
	if asked.PassShare != 0 {
		d.PassShare = asked.PassShare
	}
	// The assignment's id follows from the drill's, so that sending both again stores them once.
	a := &record.Assignment{
		Head:      record.Head{ID: uuid.NewSHA1(id, athlete[:])},
		DrillID:   id,
		AthleteID: athlete,
		DueOn:     asked.DueOn,
	}
	if a.AssignedOn, _ = record.ParseDay(today.String()); asked.AssignedOn != nil {
		a.AssignedOn = *asked.AssignedOn
	}
	return d, a
}

// storeBoth writes a drill and its assignment, both or neither.
func (s *Service) storeBoth(
	ctx context.Context,
	user, squad uuid.UUID,
	d *record.Drill,
	a *record.Assignment,
) (*record.Drill, *record.Assignment, bool, error) {
	created := false
	err := s.inSquad(ctx, user, squad, func(w *work) error {
		d.Stamp(d.ID, 0) // the transaction may be run again
		a.Stamp(a.ID, 0)
		outcomes, _, err := w.apply(ctx, []Change{{Record: d, Exact: true}, {Record: a, Exact: true}})
		if err != nil {
			return err
		}
		for _, outcome := range outcomes {
			if err := outcome.err(0); err != nil {
				return err
			}
			if outcome.Record == nil { // stored once, and deleted since
				return fail(Conflict, "the drill or its assignment was stored before and has been deleted")
			}
		}
		d, a = outcomes[0].Record.(*record.Drill), outcomes[1].Record.(*record.Assignment)
		created = outcomes[0].Status == StatusStored || outcomes[1].Status == StatusStored
		return w.decorate(ctx, d)
	})
	return d, a, created, err
}
