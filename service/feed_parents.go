package service

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"laneward/db"
	"laneward/service/record"

	"github.com/google/uuid"
)

// completeItems adds what has to be sent along, so that parents precede children, and for an
// athlete the drills that an assignment takes out of sight.
func (w *work) completeItems(ctx context.Context, items []Item, upto int64) ([]Item, error) {
	missing, err := w.missingParents(ctx, items, upto)
	if err != nil {
		return nil, err
	}
	ordered := parentsFirst(items, missing)
	if w.athlete == nil {
		return ordered, nil
	}
	complete := make([]Item, 0, len(ordered))
	for _, item := range ordered {
		complete = append(complete, item)
		if item.Kind == record.KindAssignment {
			dropped, err := w.droppedDrills(ctx, item)
			if err != nil {
				return nil, err
			}
			complete = append(complete, dropped...)
		}
	}
	return complete, nil
}

// missingParents are the parents of the records, and theirs, that a reader at revision upto may not
// have: those that have changed after it, and for an athlete the drills, which come into sight by
// an assignment, maybe after upto.
func (w *work) missingParents(ctx context.Context, items []Item, upto int64) (missing []Item, err error) {
	known := make(map[record.Ref]bool)
	for _, item := range items {
		if item.Kind != record.KindShot { // a shot is never a parent, and there are many
			known[record.Ref{Kind: item.Kind, ID: item.ID}] = true
		}
	}
	for next := items; len(next) > 0; {
		wanted := make(map[record.Kind][]uuid.UUID)
		for _, item := range next {
			if item.Record == nil {
				continue
			}
			for _, ref := range item.Record.Parents() {
				if key := (record.Ref{Kind: ref.Kind, ID: ref.ID}); !known[key] {
					known[key] = true
					wanted[ref.Kind] = append(wanted[ref.Kind], ref.ID)
				}
			}
		}
		next = nil
		for kind, ids := range wanted {
			found, err := stores[kind].byIDs(ctx, w.Tx, w.squad, ids, w.athlete)
			if err != nil {
				return nil, err
			}
			for _, one := range found {
				item := Item{Kind: kind, ID: one.Key(), Rev: one.Revision(), Record: one.Record}
				switch {
				case kind == record.KindDrill && w.athlete != nil:
					item.Scope = ScopeAdded
				case one.Revision() <= upto:
					continue
				}
				next = append(next, item)
			}
		}
		missing = append(missing, next...)
	}
	return missing, nil
}

// parentsFirst orders items as they are, but each after its parents among them and the missing
// ones: a parent that was changed after its child has the later revision.
func parentsFirst(items, missing []Item) []Item {
	all := slices.Concat(items, missing)
	at := make(map[record.Ref]int)
	for i, item := range all {
		if item.Kind != record.KindShot { // as above
			at[record.Ref{Kind: item.Kind, ID: item.ID}] = i
		}
	}
	ordered, placed := make([]Item, 0, len(all)), make([]bool, len(all))
	var place func(i int)
	place = func(i int) {
		if placed[i] {
			return
		}
		placed[i] = true
		if all[i].Record != nil {
			for _, ref := range all[i].Record.Parents() {
				if parent, ok := at[record.Ref{Kind: ref.Kind, ID: ref.ID}]; ok {
					place(parent)
				}
			}
		}
		ordered = append(ordered, all[i])
	}
	for i := range items {
		place(i)
	}
	return ordered
}

// maxMembers is more than a squad has.
const maxMembers = 10_000

// droppedMembers returns the members that an athlete's device is to drop: those that were this
// athlete before, as a parent may have been, and no longer are.
func (w *work) droppedMembers(ctx context.Context, in window) (dropped []Item, err error) {
	members, err := stores[record.KindMember].after(ctx, w.Tx, w.squad, in, maxMembers, nil)
	if err != nil {
		return nil, err
	}
	for _, one := range members {
		if record.SameID(one.Owner(), w.athlete) {
			continue
		}
		history, err := w.HistoryOf(
			ctx,
			db.HistoryOfParams{SquadID: w.squad, Kind: string(record.KindMember), ID: one.Key()},
		)
		if err != nil {
			return nil, db.Translate(err)
		}
		for _, version := range history {
			var was record.Member
			if err := json.Unmarshal(version.Body, &was); err != nil {
				return nil, fmt.Errorf("read the history of member %s: %w", one.Key(), err)
			}
			if record.SameID(was.AthleteID, w.athlete) {
				dropped = append(
					dropped,
					Item{Kind: record.KindMember, ID: one.Key(), Rev: one.Revision(), Scope: ScopeRemoved},
				)
				break
			}
		}
	}
	return dropped, nil
}

// droppedDrills returns the drills that an athlete's device is to drop: those that an assignment
// was once for, and that no assignment is for now.
func (w *work) droppedDrills(ctx context.Context, assignment Item) (dropped []Item, err error) {
	history, err := w.HistoryOf(
		ctx,
		db.HistoryOfParams{SquadID: w.squad, Kind: string(record.KindAssignment), ID: assignment.ID},
	)
	if err != nil {
		return nil, db.Translate(err)
	}
	seen := make(map[uuid.UUID]bool)
	for _, version := range history {
		var was record.Assignment
		if err := json.Unmarshal(version.Body, &was); err != nil {
			return nil, fmt.Errorf("read the history of assignment %s: %w", assignment.ID, err)
		}
		if seen[was.DrillID] {
			continue
		}
		seen[was.DrillID] = true
		visible, err := stores[record.KindDrill].byIDs(ctx, w.Tx, w.squad, []uuid.UUID{was.DrillID}, w.athlete)
		if err != nil {
			return nil, err
		}
		if len(visible) == 0 {
			dropped = append(
				dropped,
				Item{Kind: record.KindDrill, ID: was.DrillID, Rev: assignment.Rev, Scope: ScopeRemoved},
			)
		}
	}
	return dropped, nil
}
