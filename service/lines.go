package service

import (
	"context"
	"fmt"
	"math"

	"github.com/google/uuid"

	"laneward/service/line"
)

// LinePlan is the ranked lines of one athlete with one ball on one film.
type LinePlan struct {
	Subject LineSubject   `json:"subject"`
	Lines   []PlannedLine `json:"lines"` // never nil; the best first
	// OutOfBoundsBoard is the outermost board that the usual delivery can visit beyond 30 ft and
	// still come back; 0 when none does.
	OutOfBoundsBoard float64 `json:"out_of_bounds_board"`
	Note             string  `json:"note,omitempty"` // why there is no line

	request line.Request // what it was computed from, to draw it
}

// PlannedLine is a line and the drill that keeps an athlete on it; no drill when there is nothing
// to keep inside of.
type PlannedLine struct {
	line.Line
	Drill *SuggestedDrill `json:"drill,omitempty"`
}

// LineProgress hears how far a computation is, with the lines found so far once there are any. It
// should return soon.
type LineProgress func(line.Progress)

// PlanLines ranks the lines of one athlete with one ball on one pattern. It ends early when ctx
// does; progress may be nil.
func (s *Service) PlanLines(
	ctx context.Context,
	user, squad uuid.UUID,
	query LineQuery,
	progress LineProgress,
) (*LinePlan, error) {
	subject, err := s.lineSubject(ctx, user, squad, query)
	if err != nil {
		return nil, err
	}
	var plan *LinePlan
	err = s.slots.run(ctx, func(ctx context.Context) error {
		plan, err = subject.plan(ctx, progress)
		return err
	})
	return plan, err
}

// lineSubject reads a query's subject. Nothing is held of the database while lines are computed.
func (s *Service) lineSubject(ctx context.Context, user, squad uuid.UUID, query LineQuery) (found *subject, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		found, err = w.subject(ctx, query)
		return err
	})
	return found, err
}

func (s *subject) plan(ctx context.Context, progress LineProgress) (*LinePlan, error) {
	if err := s.wearByOwn(ctx); err != nil {
		return nil, err
	}
	found, err := line.Find(ctx, s.request, progress)
	if err != nil {
		return nil, err
	}
	return s.planOf(*found), nil
}

func (s *subject) planOf(found line.Plan) *LinePlan {
	return &LinePlan{
		Subject:          s.told,
		Lines:            s.planned(found.Lines),
		OutOfBoundsBoard: found.OutOfBoundsBoard,
		Note:             found.Note,
		request:          s.request,
	}
}

func (s *subject) planned(lines []line.Line) []PlannedLine {
	planned := make([]PlannedLine, len(lines))
	for i, one := range lines {
		planned[i] = PlannedLine{Line: one, Drill: s.suggest(one)}
	}
	return planned
}

// LineAgainst says in what the second side of a comparison differs from the first; nil is the same.
type LineAgainst struct {
	Athlete *uuid.UUID
	Ball    *uuid.UUID
	Pattern *uuid.UUID
	Worn    *WornBy
	Fresh   bool // the fresh film, where the first side has a worn one
}

// LineComparison is two plans side by side, and what each one's best line does on the other side.
type LineComparison struct {
	A       *LinePlan     `json:"a"`
	B       *LinePlan     `json:"b"`
	AOnB    *line.Carried `json:"a_on_b,omitempty"`
	BOnA    *line.Carried `json:"b_on_a,omitempty"`
	Move    *line.Move    `json:"move,omitempty"`
	Differs []string      `json:"differs"` // athlete, ball, pattern, wear
	Summary string        `json:"summary"`
}

// CompareLines plans a query and the same query but for what differs: one athlete on two patterns,
// two athletes or two balls on one, a fresh film and a worn one.
func (s *Service) CompareLines(
	ctx context.Context,
	user, squad uuid.UUID,
	query LineQuery,
	against LineAgainst,
	progress LineProgress,
) (*LineComparison, error) {
	other, differs := against.apply(query)
	if len(differs) == 0 {
		return nil, InvalidError(
			[]Fault{
				{
					Pointer: "/against",
					Code:    "required",
					Detail:  "name what differs: another athlete, ball or pattern, or another wear of the film",
				},
			},
		)
	}
	var a, b *subject
	err := s.readSquad(ctx, user, squad, func(w *work) (err error) {
		if a, err = w.subject(ctx, query); err != nil {
			return err
		}
		b, err = w.subject(ctx, other)
		return err
	})
	if err != nil {
		return nil, err
	}
	comparison := &LineComparison{Differs: differs}
	err = s.slots.run(ctx, func(ctx context.Context) error {
		for _, side := range []*subject{a, b} {
			if err := side.wearByOwn(ctx); err != nil {
				return err
			}
		}
		found, err := line.Compare(ctx, a.request, b.request, progress)
		if err != nil {
			return err
		}
		comparison.A, comparison.B = a.planOf(found.A), b.planOf(found.B)
		comparison.AOnB, comparison.BOnA, comparison.Move, comparison.Summary = found.AOnB, found.BOnA, found.Move, found.Summary
		return nil
	})
	if err != nil {
		return nil, err
	}
	return comparison, nil
}

// apply returns the query of the second side, and in what it differs.
func (a LineAgainst) apply(query LineQuery) (other LineQuery, differs []string) {
	other = query
	differ := func(name string, different bool) {
		if different {
			differs = append(differs, name)
		}
	}
	if a.Athlete != nil {
		differ("athlete", *a.Athlete != query.Athlete)
		other.Athlete = *a.Athlete
	}
	if a.Ball != nil {
		differ("ball", !sameID(a.Ball, query.Ball))
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

// GridQuery is the aims of a miss map; a nil bound is the usual one.
type GridQuery struct {
	LaydownFrom, LaydownTo, LaydownStep *float64 // boards
	AngleFrom, AngleTo, AngleStep       *float64 // degrees
}

// maxMapAims bounds a miss map: a picture of more has cells finer than a screen's.
const maxMapAims = 30_000

// mapDraws is how many scattered shots score an aim of a miss map unless told otherwise: with
// fewer, a contour of the map shows the draws.
const mapDraws = 128

// LineMissMap is what becomes of every aim of a grid, and the best lines among them.
type LineMissMap struct {
	Subject LineSubject `json:"subject"`
	*line.MissMap
	Lines []PlannedLine `json:"lines"`
}

// MapMisses computes what becomes of every aim of a grid, usual delivery and scattered ones, and
// the best lines to mark on it.
func (s *Service) MapMisses(
	ctx context.Context,
	user, squad uuid.UUID,
	query LineQuery,
	over GridQuery,
	progress LineProgress,
) (*LineMissMap, error) {
	grid, err := over.grid()
	if err != nil {
		return nil, err
	}
	if query.Draws == 0 {
		query.Draws = mapDraws
	}
	subject, err := s.lineSubject(ctx, user, squad, query)
	if err != nil {
		return nil, err
	}
	result := &LineMissMap{}
	err = s.slots.run(ctx, func(ctx context.Context) error {
		if err := subject.wearByOwn(ctx); err != nil {
			return err
		}
		if result.MissMap, err = line.Map(ctx, subject.request, grid, progress); err != nil {
			return err
		}
		found, err := line.Find(ctx, subject.request, nil)
		if err != nil {
			return err
		}
		result.Subject, result.Lines = subject.told, subject.planned(found.Lines)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return result, nil
}

func (q GridQuery) grid() (line.Grid, error) {
	usual := line.DefaultGrid()
	laydowns, laydownFault := axis(usual.LaydownBoards, 1, q.LaydownFrom, q.LaydownTo, q.LaydownStep)
	angles, angleFault := axis(usual.LaunchAnglesDeg, 0.1, q.AngleFrom, q.AngleTo, q.AngleStep)
	var f faults
	f.add(laydownFault != "", "/grid/laydown_from_board", "range", "%s", laydownFault)
	f.add(angleFault != "", "/grid/angle_from_deg", "range", "%s", angleFault)
	f.add(
		len(laydowns)*len(angles) > maxMapAims,
		"/grid",
		"range",
		"has %d aims: take larger steps, for at most %d",
		len(laydowns)*len(angles),
		maxMapAims,
	)
	if len(f) > 0 {
		return line.Grid{}, InvalidError(f)
	}
	return line.Grid{LaydownBoards: laydowns, LaunchAnglesDeg: angles}, nil
}

// maxAxis is the most values of one axis, the most that a picture shows.
const maxAxis = 300

// axis are the values from one bound to the other; fault says what is wrong with them.
func axis(usual []float64, usualStep float64, from, to, step *float64) (values []float64, fault string) {
	or := func(value *float64, otherwise float64) float64 {
		if value != nil {
			return *value
		}
		return otherwise
	}
	first, last, by := or(from, usual[0]), or(to, usual[len(usual)-1]), or(step, usualStep)
	if !(by > 0) || !(last > first) {
		return nil, fmt.Sprintf("from %g to %g by %g is no range: it rises by a step of more than 0", first, last, by)
	}
	n := math.Floor((last-first)/by+1e-9) + 1
	if n < 2 || n > maxAxis {
		return nil, fmt.Sprintf("from %g to %g by %g are %g values: ask for 2 to %d", first, last, by, n, maxAxis)
	}
	for i := range int(n) {
		values = append(values, math.Round((first+by*float64(i))*1e6)/1e6)
	}
	return values, ""
}

// LineStudy is one line worked out: the usual delivery, and what misses of 1 to 5 boards do.
type LineStudy struct {
	Subject LineSubject `json:"subject"`
	*line.Study
	Drill *SuggestedDrill `json:"drill,omitempty"`

	request line.Request
}

// StudyLine works one line out, whether or not it is a good one.
func (s *Service) StudyLine(
	ctx context.Context,
	user, squad uuid.UUID,
	query LineQuery,
	aim line.Aim,
) (*LineStudy, error) {
	subject, err := s.lineSubject(ctx, user, squad, query)
	if err != nil {
		return nil, err
	}
	var study *LineStudy
	err = s.slots.run(ctx, func(ctx context.Context) error {
		study, err = subject.study(ctx, aim)
		return err
	})
	return study, err
}

func (s *subject) study(ctx context.Context, aim line.Aim) (*LineStudy, error) {
	if err := s.wearByOwn(ctx); err != nil {
		return nil, err
	}
	found, err := line.At(s.request, aim)
	if err != nil {
		return nil, err
	}
	return &LineStudy{Subject: s.told, Study: found, Drill: s.suggest(found.Line), request: s.request}, nil
}
