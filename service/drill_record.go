package service

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/drill"
)

// DrillRecord is what a coach asks for: rules, how many shots, and the share of them that should
// keep the rules.
type DrillRecord struct {
	Head
	Name      string       `json:"name"`
	Rules     []drill.Rule `json:"rules"`
	Reps      int32        `json:"reps"`
	PassShare float64      `json:"pass_share"`
	PatternID *uuid.UUID   `json:"pattern_id,omitempty"`
	Note      string       `json:"note,omitempty"`
	// Sentences are the rules in words, one each: written for whoever reads the drill, never
	// stored, ignored when sent.
	Sentences []string `json:"sentences,omitempty"`
}

// Kind is [KindDrill].
func (*DrillRecord) Kind() Kind { return KindDrill }

// Owner is nobody: it is the squad's.
func (*DrillRecord) Owner() *uuid.UUID { return nil }

// Parents is the pattern, if named.
func (d *DrillRecord) Parents() []Ref { return optionalRef(KindPattern, d.PatternID, "/pattern_id") }

// Drill is the record as the scoring takes it.
func (d *DrillRecord) Drill() drill.Drill {
	return drill.Drill{Rules: d.Rules, Reps: int(d.Reps), PassShare: d.PassShare}
}

// Faults lists what is wrong with the record, each rule's faults among them.
func (d *DrillRecord) Faults() []Fault {
	var f faults
	f.name(d.Name)
	f.note(d.Note)
	return append(f, ruleFaults(d.Drill().Validate())...)
}

var drillStore = store{
	fresh: func() Record { return &DrillRecord{} },
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

func drillOf(row db.Drill) (Record, []byte, error) {
	rules, err := column[[]drill.Rule](row.Rules, "rules")
	if err != nil {
		return nil, nil, err
	}
	return &DrillRecord{
		Head: Head{
			row.ID,
			row.Rev,
		},
		Name:      row.Name,
		Rules:     rules,
		Reps:      row.Reps,
		PassShare: row.PassShare,
		PatternID: row.PatternID,
		Note:      row.Note,
	}, row.Hash, nil
}

func drillParams(squad uuid.UUID, d *DrillRecord, hash []byte) db.PutDrillParams {
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
	}
}

// ruleFaults are the faults of a drill or a rule, in this package's words.
func ruleFaults(err error) []Fault {
	var found drill.Faults
	if !errors.As(err, &found) {
		return nil
	}
	list := make([]Fault, len(found))
	for i, fault := range found {
		list[i] = Fault{Pointer: fault.Pointer, Code: "rule", Detail: fault.Detail}
	}
	return list
}

// addSentences writes the drills' rules in words, with the names of the balls they speak of.
func (w *work) addSentences(ctx context.Context, drills []*DrillRecord) error {
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

// AssignmentRecord gives a drill to an athlete.
type AssignmentRecord struct {
	Head
	DrillID    uuid.UUID `json:"drill_id"`
	AthleteID  uuid.UUID `json:"athlete_id"`
	AssignedOn Day       `json:"assigned_on"`
	DueOn      *Day      `json:"due_on,omitempty"`
	Note       string    `json:"note,omitempty"`
}

// Kind is [KindAssignment].
func (*AssignmentRecord) Kind() Kind { return KindAssignment }

// Owner is the athlete.
func (a *AssignmentRecord) Owner() *uuid.UUID { return &a.AthleteID }

// Parents are the drill and the athlete.
func (a *AssignmentRecord) Parents() []Ref {
	return []Ref{{KindDrill, a.DrillID, "/drill_id"}, {KindAthlete, a.AthleteID, "/athlete_id"}}
}

// Faults lists what is wrong with the record.
func (a *AssignmentRecord) Faults() []Fault {
	var f faults
	f.note(a.Note)
	f.add(
		a.AssignedOn.Year() < 1900,
		"/assigned_on",
		"required",
		"give the day from which shots count, such as 2026-03-14",
	)
	f.add(a.DueOn != nil && a.DueOn.Before(a.AssignedOn.Time), "/due_on", "range", "lies before the day of assignment")
	return f
}

var assignmentStore = store{
	fresh: func() Record { return &AssignmentRecord{} },
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

func assignmentOf(row db.Assignment) (Record, []byte, error) {
	return &AssignmentRecord{
		Head: Head{row.ID, row.Rev}, DrillID: row.DrillID, AthleteID: row.AthleteID, AssignedOn: Day{row.AssignedOn},
		DueOn: dayPointer(row.DueOn), Note: row.Note,
	}, row.Hash, nil
}

func assignmentParams(squad uuid.UUID, a *AssignmentRecord, hash []byte) db.PutAssignmentParams {
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
