package service

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/service/drill"
	"laneward/service/line"
)

// SuggestedDrill is a drill that keeps an athlete on a line, ready to be stored and assigned.
type SuggestedDrill struct {
	Name      string       `json:"name"`
	Rules     []drill.Rule `json:"rules"`
	Sentences []string     `json:"sentences"`
	Reps      int32        `json:"reps"`
	PassShare float64      `json:"pass_share"`
	PatternID *uuid.UUID   `json:"pattern_id,omitempty"`
	Note      string       `json:"note"`
}

// What a suggested drill asks for unless told otherwise (common practice, no source).
const (
	suggestedReps      = 30
	suggestedPassShare = 0.8
)

// suggest makes the drill of a line's corridor; nil when there is nothing to keep inside of.
func (s *subject) suggest(one line.Line) *SuggestedDrill {
	corridor := one.Corridor
	if !corridor.Found || corridor.EdgeOnly {
		return nil
	}
	board := float64(corridor.Board)
	rule := drill.Rule{Measure: drill.Board, At: drill.Place(corridor.At), Min: &board}
	return &SuggestedDrill{
		Name: fmt.Sprintf("%s: board %d or inside", s.pattern.Name, corridor.Board),
		Rules: []drill.Rule{
			rule,
		},
		Sentences: []string{rule.Sentence(nil)},
		Reps:      suggestedReps,
		PassShare: suggestedPassShare,
		PatternID: &s.pattern.ID,
		Note: fmt.Sprintf(
			"Made from a planned line with %s: feet at %.1f, target %.1f at the arrows, launch %.2f degrees, breakpoint %.1f at %.0f ft. "+
				"From outside board %.1f the ball no longer comes back, by the model.",
			s.told.Ball.Name,
			one.FeetBoard,
			one.TargetBoard,
			one.LaunchAngleDeg,
			one.Path.BreakpointBoard,
			one.Path.BreakpointFt,
			corridor.LimitBoard,
		),
	}
}

// LineAssignment asks to store a line's drill and to assign it. ID is the drill's, so that sending
// it again stores it once; empty values stand for the suggested drill's, and for today.
type LineAssignment struct {
	ID         *uuid.UUID
	Aim        line.Aim
	Name       string
	Reps       int32
	PassShare  float64
	AssignedOn *Day
	DueOn      *Day
}

// AssignLine works a line out, stores the drill that keeps its athlete on it, and assigns it to
// that athlete, both or neither. created is false when both were stored before.
func (s *Service) AssignLine(
	ctx context.Context,
	user, squad uuid.UUID,
	query LineQuery,
	asked LineAssignment,
) (d *DrillRecord, a *AssignmentRecord, created bool, err error) {
	var found *subject
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		if err := w.mustCoach(); err != nil {
			return err
		}
		found, err = w.subject(ctx, query)
		return err
	})
	if err != nil {
		return nil, nil, false, err
	}
	var study *LineStudy
	err = s.slots.run(ctx, func(ctx context.Context) error {
		study, err = found.study(ctx, asked.Aim)
		return err
	})
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
	d, a = study.records(query.Athlete, asked, Day{s.clock()})
	if wrong := append(d.Faults(), a.Faults()...); len(wrong) > 0 {
		return nil, nil, false, InvalidError(wrong)
	}
	return s.storeBoth(ctx, user, squad, d, a)
}

// records makes the drill and its assignment.
func (l *LineStudy) records(athlete uuid.UUID, asked LineAssignment, today Day) (*DrillRecord, *AssignmentRecord) {
	id := newID()
	if asked.ID != nil {
		id = *asked.ID
	}
	d := &DrillRecord{
		Head: Head{
			ID: id,
		},
		Name:      l.Drill.Name,
		Rules:     l.Drill.Rules,
		Reps:      l.Drill.Reps,
		PassShare: l.Drill.PassShare,
		PatternID: l.Drill.PatternID,
		Note:      l.Drill.Note,
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
	a := &AssignmentRecord{
		Head:      Head{ID: uuid.NewSHA1(id, athlete[:])},
		DrillID:   id,
		AthleteID: athlete,
		DueOn:     asked.DueOn,
	}
	if a.AssignedOn, _ = ParseDay(today.String()); asked.AssignedOn != nil {
		a.AssignedOn = *asked.AssignedOn
	}
	return d, a
}

// storeBoth writes a drill and its assignment, both or neither.
func (s *Service) storeBoth(
	ctx context.Context,
	user, squad uuid.UUID,
	d *DrillRecord,
	a *AssignmentRecord,
) (*DrillRecord, *AssignmentRecord, bool, error) {
	created := false
	err := s.inSquad(ctx, user, squad, func(w *work) error {
		d.stamp(d.ID, 0) // the transaction may be run again
		a.stamp(a.ID, 0)
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
		d, a = outcomes[0].Record.(*DrillRecord), outcomes[1].Record.(*AssignmentRecord)
		created = outcomes[0].Status == StatusStored || outcomes[1].Status == StatusStored
		return w.decorate(ctx, d)
	})
	return d, a, created, err
}
