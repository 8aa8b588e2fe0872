package advice

import (
	"context"

	"github.com/google/uuid"

	"laneward/service/line"
	"laneward/service/record"
)

// Against says in what the second side of a comparison differs from the first; nil is the same.
type Against struct {
	Athlete *uuid.UUID
	Ball    *uuid.UUID
	Pattern *uuid.UUID
	Worn    *WornBy
	Fresh   bool // the fresh film, where the first side has a worn one
	// ScatterBoards and Spares are the second side's, as in [Query]. Those of the first are never
	// another athlete's.
	ScatterBoards *float64
	Spares        OwnSpares
}

// Comparison is two plans side by side, and what each one's best line does on the other side.
type Comparison struct {
	A       *Plan         `json:"a"`
	B       *Plan         `json:"b"`
	AOnB    *line.Carried `json:"a_on_b,omitempty"`
	BOnA    *line.Carried `json:"b_on_a,omitempty"`
	Move    *line.Move    `json:"move,omitempty"`
	Differs []string      `json:"differs"` // athlete, ball, pattern, wear
	Summary string        `json:"summary"`
}

// Apply returns the query of the second side, and in what it differs.
func (a Against) Apply(query Query) (other Query, differs []string) {
	other = query
	differ := func(name string, different bool) {
		if different {
			differs = append(differs, name)
		}
	}
	if a.Athlete != nil {
		other.Athlete = *a.Athlete
		if other.Athlete != query.Athlete {
			other.ScatterBoards, other.Spares = nil, nil
		}
	}
	if a.ScatterBoards != nil {
		other.ScatterBoards = a.ScatterBoards
	}
	if a.Spares != nil {
		other.Spares = a.Spares
	}
	differ("athlete", other.Athlete != query.Athlete || a.ScatterBoards != nil || a.Spares != nil)
	if a.Ball != nil {
		differ("ball", !record.SameID(a.Ball, query.Ball))
		other.Ball = a.Ball
	}
	if a.Pattern != nil {
		differ("pattern", *a.Pattern != query.Pattern)
		other.Pattern = *a.Pattern
	}
	if a.Worn != nil || a.Fresh && query.Worn != nil {
		differ("wear", true)
		other.Worn = a.Worn
	}
	return other, differs
}

// Compare plans both sides, and carries each one's best line over to the other.
func Compare(ctx context.Context, a, b *Planner, differs []string, progress Progress) (*Comparison, error) {
	for _, side := range []*Planner{a, b} {
		if err := side.wearByOwn(ctx); err != nil {
			return nil, err
		}
	}
	found, err := line.Compare(ctx, a.request, b.request, progress)
	if err != nil {
		return nil, faultsOf("", err)
	}
	return &Comparison{
		A:       a.planOf(found.A),
		B:       b.planOf(found.B),
		AOnB:    found.AOnB,
		BOnA:    found.BOnA,
		Move:    found.Move,
		Differs: differs,
		Summary: found.Summary,
	}, nil
}
