package service

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// parents is what is known of the records that some changes refer to.
type parents struct {
	owners map[record.Ref]*uuid.UUID // of those there are; nil for the squad's
	given  map[gift]bool             // the drills that are assigned, where that is to be known
	erased map[uuid.UUID]bool        // of those there are not, what was erased
}

// gift is a drill that is assigned to an athlete.
type gift struct{ drill, athlete uuid.UUID }

// checkParents refuses what refers to a record that does not exist, or that this member may not
// see, and shots whose session, ball or drill is not their athlete's. A parent written in the same
// round counts, if there is room for it. What a record referred to before is not looked at again: a drill may have been
// taken back since.
func (w *work) checkParents(ctx context.Context, plans []*plan) error {
	known := &parents{owners: make(map[record.Ref]*uuid.UUID), given: make(map[gift]bool)}
	for _, p := range plans {
		if p.write != nil {
			known.owners[record.Ref{Kind: p.write.Kind(), ID: p.write.Key()}] = p.write.Owner()
			p.refs = p.newParents()
		}
	}
	missing := make(map[record.Kind][]uuid.UUID)
	asked := make(map[record.Ref]bool)
	for _, p := range plans {
		for _, ref := range p.refs {
			key := record.Ref{Kind: ref.Kind, ID: ref.ID}
			if _, found := known.owners[key]; !found && !asked[key] {
				asked[key] = true
				missing[ref.Kind] = append(missing[ref.Kind], ref.ID)
			}
		}
	}
	for kind, ids := range missing {
		found, err := stores[kind].byIDs(ctx, w.Tx, w.squad, ids, w.athlete)
		if err != nil {
			return err
		}
		for _, rec := range found {
			key := record.Ref{Kind: kind, ID: rec.Key()}
			known.owners[key] = rec.Owner()
			delete(asked, key)
		}
	}
	gone := make(map[uuid.UUID]bool, len(asked))
	for ref := range asked {
		gone[ref.ID] = true
	}
	var err error
	if known.erased, err = w.erasedAmong(ctx, gone); err != nil {
		return err
	}
	if err := w.findGiven(ctx, plans, known.given); err != nil {
		return err
	}
	known.dropOrphans(plans)
	known.refuseForeign(plans)
	if w.keepQuota(plans, known) {
		known.dropOrphans(plans)
	}
	return nil
}

// newParents are the records that a change to be written refers to, and the record did not before.
func (p *plan) newParents() []record.Ref {
	refs := p.write.Parents()
	if p.existing == nil || p.existing.Revision() == 0 { // a squad that is being founded
		return refs
	}
	before := p.existing.Parents()
	return slices.DeleteFunc(refs, func(ref record.Ref) bool { return slices.Contains(before, ref) })
}

// findGiven looks up which of the drills that shots name are assigned to their athletes. An athlete
// sees no others, so that theirs need no look-up.
func (w *work) findGiven(ctx context.Context, plans []*plan, given map[gift]bool) error {
	drills, athletes := make(map[uuid.UUID]bool), make(map[uuid.UUID]bool)
	for _, p := range plans {
		switch rec := p.write.(type) {
		case *record.Assignment:
			given[gift{rec.DrillID, rec.AthleteID}] = true
		case *record.Shot:
			for _, ref := range p.refs {
				switch {
				case ref.Kind != record.KindDrill:
				case w.athlete != nil:
					given[gift{ref.ID, rec.AthleteID}] = true
				default:
					drills[ref.ID], athletes[rec.AthleteID] = true, true
				}
			}
		}
	}
	if len(drills) == 0 {
		return nil
	}
	found, err := w.DrillsGiven(
		ctx,
		db.DrillsGivenParams{SquadID: w.squad, DrillIDs: idsIn(drills), AthleteIDs: idsIn(athletes)},
	)
	for _, row := range found {
		given[gift{row.DrillID, row.AthleteID}] = true
	}
	return err
}

// dropOrphans lets records whose parent is missing wait, then the records below those, and so on
// down. It refuses what would be below something erased.
func (known *parents) dropOrphans(plans []*plan) {
	for dropped := true; dropped; {
		dropped = false
		for _, p := range plans {
			if p.write == nil {
				continue
			}
			outcome := known.judge(p)
			if outcome == nil {
				continue
			}
			key := record.Ref{Kind: p.write.Kind(), ID: p.write.Key()}
			if p.existing == nil {
				delete(known.owners, key)
			}
			if outcome.Code == Erased {
				known.erased[key.ID] = true
			}
			*p.outcome, p.write, dropped = *outcome, nil, true
		}
	}
}

// refuseForeign refuses the shots with another athlete's session, ball or drill.
func (known *parents) refuseForeign(plans []*plan) {
	for _, p := range plans {
		if s, ok := p.write.(*record.Shot); ok {
			if faults := known.foreign(s.AthleteID, p.refs); len(faults) > 0 {
				*p.outcome, p.write = *refused(Invalid, faults...), nil
			}
		}
	}
}

// judge returns what becomes of a change that refers to what was erased, or to nothing; nil for any
// other.
func (known *parents) judge(p *plan) *Outcome {
	if ref, is := known.erasedRef(p.refs); is {
		return refused(Erased, record.Fault{Pointer: ref.Pointer, Code: string(Erased), Detail: erasedParent(ref.Kind)})
	}
	for _, ref := range p.refs {
		if _, found := known.owners[record.Ref{Kind: ref.Kind, ID: ref.ID}]; !found {
			detail := fmt.Sprintf("there is no %s %s in the squad, or you may not see it", ref.Kind, ref.ID)
			return &Outcome{
				Status: StatusWaiting,
				Code:   NotFound,
				Faults: []record.Fault{{Pointer: ref.Pointer, Code: string(NotFound), Detail: detail}},
			}
		}
	}
	return nil
}

// erasedRef is what was erased of what a change refers to: the athlete, if that is one of them.
func (known *parents) erasedRef(refs []record.Ref) (found record.Ref, is bool) {
	for _, ref := range refs {
		if known.erased[ref.ID] && (!is || ref.Kind == record.KindAthlete) {
			found, is = ref, true
		}
	}
	return found, is
}

func refused(code Code, faults ...record.Fault) *Outcome {
	return &Outcome{Status: StatusRefused, Code: code, Faults: faults}
}

func erasedParent(kind record.Kind) string {
	if kind == record.KindAthlete {
		return erasedAthlete
	}
	return fmt.Sprintf(erasedRef, kind)
}

// foreign lists what an athlete's shot refers to that is not theirs: another athlete's session or
// ball, and a drill that is not assigned to them. Their devices never get those.
func (known *parents) foreign(athlete uuid.UUID, refs []record.Ref) (faults record.Faults) {
	for _, ref := range refs {
		owner := known.owners[record.Ref{Kind: ref.Kind, ID: ref.ID}]
		theirs := owner != nil && *owner != athlete
		switch ref.Kind {
		case record.KindSession:
			faults.Add(theirs, ref.Pointer, foreignCode,
				"is another athlete's: name one of the athlete's own sessions, or one that the squad shares")
		case record.KindBall:
			faults.Add(theirs, ref.Pointer, foreignCode,
				"is another athlete's: name one of the athlete's own balls, or leave ball_id out")
		case record.KindDrill:
			faults.Add(!known.given[gift{ref.ID, athlete}], ref.Pointer, foreignCode,
				"is not assigned to the athlete: assign it first, or leave drill_id out")
		}
	}
	return faults
}

// foreignCode is the code of a fault at something that is another athlete's.
const foreignCode = "not-theirs"
