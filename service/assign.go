package service

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// AssignQuery asks to give a drill to athletes, to all of them or to none.
type AssignQuery struct {
	DrillID uuid.UUID
	// Drill is stored first, under DrillID, in the same transaction; nil when it is stored already.
	Drill *record.Drill
	// Athletes are who gets it; none for every athlete of the squad.
	Athletes   []uuid.UUID
	AssignedOn record.Day
	DueOn      *record.Day
	Note       string
}

// Assigned is a drill and what each athlete holds of it, in the order they were named.
type Assigned struct {
	Drill       *record.Drill
	Assignments []*record.Assignment
	Created     []bool // by assignment: false where the athlete held the same one before
	New         bool   // the drill or any of the assignments was stored now
}

// Assign gives a drill to athletes in one transaction. An athlete who holds it from the same day,
// with the same end and note, keeps what they hold, so that asking again is safe; another end or
// note is a Conflict. An assignment that was taken back is made again.
func (s *Service) Assign(ctx context.Context, user, squad uuid.UUID, query AssignQuery) (result Assigned, err error) {
	if wrong := query.faults(); len(wrong) > 0 {
		return result, wrong
	}
	err = s.inSquad(ctx, user, squad, func(w *work) error {
		if err := w.mustCoach(); err != nil {
			return err
		}
		result, err = w.assign(ctx, query)
		return err
	})
	return result, err
}

func (q AssignQuery) faults() record.Faults {
	faults := record.Faults(q.assignment(uuid.Nil).Faults())
	if q.Drill != nil {
		for _, fault := range q.Drill.Faults() {
			fault.Pointer = "/drill" + fault.Pointer
			faults = append(faults, fault)
		}
		other := q.Drill.ID != uuid.Nil && q.Drill.ID != q.DrillID
		faults.Add(other, "/drill/id", "mismatch", "is not the id of the address: leave it out or correct it")
	}
	return faults
}

func (q AssignQuery) assignment(athlete uuid.UUID) *record.Assignment {
	return &record.Assignment{
		Head:       record.Head{ID: record.AssignmentID(q.DrillID, athlete, q.AssignedOn)},
		DrillID:    q.DrillID,
		AthleteID:  athlete,
		AssignedOn: q.AssignedOn,
		DueOn:      q.DueOn,
		Note:       q.Note,
	}
}

func (w *work) assign(ctx context.Context, query AssignQuery) (result Assigned, err error) {
	var changes []Change
	if query.Drill != nil {
		made := *query.Drill
		made.Stamp(query.DrillID, 0)
		changes = append(changes, Change{Record: &made, Exact: true})
	} else {
		found, err := w.get(ctx, record.KindDrill, query.DrillID)
		if err != nil {
			return result, err
		}
		result.Drill = found.(*record.Drill)
	}
	athletes, err := w.assignees(ctx, query.Athletes)
	if err != nil {
		return result, err
	}
	given, err := w.assignmentsTo(ctx, query, athletes)
	if err != nil {
		return result, err
	}
	first := len(changes)
	for _, one := range given {
		changes = append(changes, Change{Record: one, Exact: true})
	}
	outcomes, _, err := w.apply(ctx, changes)
	if err != nil {
		return result, err
	}
	for i, outcome := range outcomes {
		if err := outcome.err(0); err != nil {
			return result, err
		}
		if outcome.Record == nil { // stored once, and deleted since
			return result, fail(Conflict, "the drill was stored before and has been deleted")
		}
		created := outcome.Status == StatusStored
		result.New = result.New || created
		if i < first {
			result.Drill = outcome.Record.(*record.Drill)
			continue
		}
		result.Assignments = append(result.Assignments, outcome.Record.(*record.Assignment))
		result.Created = append(result.Created, created)
	}
	return result, w.decorate(ctx, result.Drill)
}

// assignees reads the athletes named, each once; all of the squad when none is named.
func (w *work) assignees(ctx context.Context, named []uuid.UUID) ([]*record.Athlete, error) {
	var athletes []*record.Athlete
	if len(named) == 0 {
		err := w.each(ctx, record.KindAthlete, nil, func(r record.Record) error {
			athletes = append(athletes, r.(*record.Athlete))
			return nil
		})
		if err == nil && len(athletes) == 0 {
			return nil, fail(Conflict, "the squad has no athletes yet: add one first")
		}
		return athletes, err
	}
	found, err := stores[record.KindAthlete].byIDs(ctx, w.Tx, w.squad, named, nil)
	if err != nil {
		return nil, err
	}
	byID := make(map[uuid.UUID]*record.Athlete, len(found))
	for _, one := range found {
		byID[one.Key()] = one.Record.(*record.Athlete)
	}
	var faults record.Faults
	seen := make(map[uuid.UUID]bool, len(named))
	for i, id := range named {
		athlete := byID[id]
		pointer := fmt.Sprintf("/athlete_ids/%d", i)
		faults.Add(athlete == nil, pointer, "not-found", "there is no athlete %s in the squad", id)
		if athlete != nil && !seen[id] {
			athletes, seen[id] = append(athletes, athlete), true
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return athletes, nil
}

// assignmentsTo returns an assignment for each athlete: the one they hold, else a new one, based on
// its deletion if it was taken back before.
func (w *work) assignmentsTo(
	ctx context.Context,
	query AssignQuery,
	athletes []*record.Athlete,
) ([]*record.Assignment, error) {
	held, err := w.heldFrom(ctx, query)
	if err != nil {
		return nil, err
	}
	given := make([]*record.Assignment, len(athletes))
	ids := make([]uuid.UUID, len(athletes))
	for i, athlete := range athletes {
		given[i] = query.assignment(athlete.ID)
		if one := held[athlete.ID]; one != nil {
			if !sameDay(one.DueOn, query.DueOn) || one.Note != query.Note {
				return nil, fail(Conflict, "%s holds this drill from %s already, with another end or note: "+
					"change that assignment", athlete.Name, query.AssignedOn)
			}
			given[i].Stamp(one.ID, 0)
		}
		ids[i] = given[i].ID
	}
	tombs, err := w.TombstonesByIDs(
		ctx,
		db.TombstonesByIDsParams{SquadID: w.squad, Kind: string(record.KindAssignment), IDs: ids},
	)
	if err != nil {
		return nil, err
	}
	for _, tomb := range tombs {
		for _, one := range given {
			if one.ID == tomb.ID {
				one.Stamp(one.ID, tomb.Rev)
			}
		}
	}
	return given, nil
}

// heldFrom is what each athlete holds of the drill from the day asked for.
func (w *work) heldFrom(ctx context.Context, query AssignQuery) (map[uuid.UUID]*record.Assignment, error) {
	rows, err := w.AssignmentsOfDrill(ctx, db.AssignmentsOfDrillParams{SquadID: w.squad, DrillID: query.DrillID})
	if err != nil {
		return nil, err
	}
	held := make(map[uuid.UUID]*record.Assignment)
	for _, row := range rows {
		found, _, err := assignmentOf(row)
		if err != nil {
			return nil, err
		}
		if one := found.(*record.Assignment); one.AssignedOn.Equal(query.AssignedOn.Time) {
			held[one.AthleteID] = one
		}
	}
	return held, nil
}

func sameDay(a, b *record.Day) bool {
	return a == nil && b == nil || a != nil && b != nil && a.Equal(b.Time)
}
