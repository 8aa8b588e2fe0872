package advice

import (
	"context"

	"laneward/service/line"
)

// Plan is the ranked lines of one athlete with one ball on one film.
type Plan struct {
	Subject Subject       `json:"subject"`
	Lines   []PlannedLine `json:"lines"` // never nil; ranked as [line.Plan] has them
	// OutOfBoundsBoard is the outermost board beyond 30 ft from which the typical delivery still
	// comes back; 0 when none does.
	OutOfBoundsBoard float64 `json:"out_of_bounds_board"`
	Ties             string  `json:"ties,omitempty"` // which lines are equal
	Note             string  `json:"note,omitempty"` // why there is no line

	request line.Request // what it was computed from, to draw it
}

// PlannedLine is a line and the drill that keeps an athlete on it; no drill when the line
// itself misses.
type PlannedLine struct {
	line.Line
	Drill *SuggestedDrill `json:"drill,omitempty"`
}

// Progress is called with how far a computation is, with the lines found so far once there are any.
// It should return soon.
type Progress func(line.Progress)

// Plan ranks the lines. It ends early when ctx does; progress may be nil.
func (p *Planner) Plan(ctx context.Context, progress Progress) (*Plan, error) {
	if err := p.wearByOwn(ctx); err != nil {
		return nil, err
	}
	found, err := line.Find(ctx, p.request, progress)
	if err != nil {
		return nil, faultsOf("", err)
	}
	return p.planOf(*found), nil
}

func (p *Planner) planOf(found line.Plan) *Plan {
	return &Plan{
		Subject:          p.Subject,
		Lines:            p.planned(found.Lines),
		OutOfBoundsBoard: found.OutOfBoundsBoard,
		Ties:             found.Ties,
		Note:             found.Note,
		request:          p.request,
	}
}

func (p *Planner) planned(lines []line.Line) []PlannedLine {
	planned := make([]PlannedLine, len(lines))
	for i, one := range lines {
		planned[i] = PlannedLine{Line: one, Drill: p.suggest(one)}
	}
	return planned
}

// Study is one line computed: the typical delivery, and what misses of 1 to 5 boards do.
type Study struct {
	Subject Subject `json:"subject"`
	*line.Study
	Drill *SuggestedDrill `json:"drill,omitempty"`

	request line.Request
}

// Study computes one line, whether or not it is a good one.
func (p *Planner) Study(ctx context.Context, aim line.Aim) (*Study, error) {
	if err := p.wearByOwn(ctx); err != nil {
		return nil, err
	}
	found, err := line.At(p.request, aim)
	if err != nil {
		return nil, faultsOf("", err)
	}
	return &Study{Subject: p.Subject, Study: found, Drill: p.suggest(found.Line), request: p.request}, nil
}
