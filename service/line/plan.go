package line

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"laneward/service/lane"
	"laneward/service/motion"
)

// Line is one way to play the pattern.
type Line struct {
	Rank int `json:"rank"`
	Aim
	// FeetBoard is where the sliding foot ends. The ball crosses the arrows' own rows at
	// TargetBoard, TargetFt from the foul line; ArrowsBoard is the board at 15 ft, which logs give.
	FeetBoard   float64 `json:"feet_board"`
	TargetBoard float64 `json:"target_board"`
	TargetFt    float64 `json:"target_ft"`
	ArrowsBoard float64 `json:"arrows_board"`
	// Breakpoint is where the typical delivery is outermost; nil for one that only moves inside,
	// which is outermost where it is laid down.
	Breakpoint *Breakpoint `json:"breakpoint,omitempty"`
	// Path is the typical delivery: breakpoint, pins, and a station every foot.
	Path motion.Path `json:"path"`
	Value
	// BehindPins is how many pins a frame it is worth less than the line worth most, BehindError
	// the standard error of that difference. Equal: the two cannot be distinguished, nor can
	// another line of the plan.
	BehindPins  float64 `json:"behind_pins"`
	BehindError float64 `json:"behind_error"`
	Equal       bool    `json:"equal"`
	// PocketShareAsGiven is the pocket share on the lane as the request has it: what is left of the
	// misses once the lane is known, while PocketShare counts what is not known of it too.
	PocketShareAsGiven float64 `json:"pocket_share_as_given"`
	// Misses are misses of 1 to 5 whole boards at the arrows from the same feet, the outside ones
	// first. Room is how far such a miss may go, by quarter boards, with every smaller one still in
	// the pocket; at most 10.
	Misses            []Miss   `json:"misses"`
	RoomOutsideBoards float64  `json:"room_outside_boards"`
	RoomInsideBoards  float64  `json:"room_inside_boards"`
	Corridor          Corridor `json:"corridor"`
	// Reason says in a few sentences what the line is worth and what it forgives.
	Reason string `json:"reason"`
}

// leastTurnBoards is how far a path must first move outside to have a breakpoint.
const leastTurnBoards = 0.1

// Breakpoint is where a path is outermost.
type Breakpoint struct {
	Board float64 `json:"board"`
	Ft    float64 `json:"ft"`
}

// BreakpointText says where the breakpoint is, or that there is none.
func (l Line) BreakpointText() string {
	if l.Breakpoint == nil {
		return "no breakpoint: it moves inside all the way"
	}
	return fmt.Sprintf("breakpoint %.1f at %.0f ft", l.Breakpoint.Board, l.Breakpoint.Ft)
}

// Plan is the ranked lines for one request.
type Plan struct {
	Pocket Pocket `json:"pocket"`
	// Lines are the equal ones first, of those the closest to how the athlete plays, what they are
	// worth considered, then the others by value; never nil.
	Lines []Line `json:"lines"`
	// OutOfBoundsBoard is the outermost board beyond 30 ft from which the typical delivery still
	// comes back to the pocket's boards or farther, on any aim searched; 0 when none does.
	OutOfBoundsBoard float64 `json:"out_of_bounds_board"`
	// Ties says which lines are equal, and why the first one is ranked first; empty when none is.
	Ties string `json:"ties,omitempty"`
	// Note says why there is no line, or why all of them are flat; else it is empty.
	Note string `json:"note,omitempty"`
}

// Find plans a request, from coarse to fine: it looks for aims that can be played and whose typical
// delivery comes into the pocket (or, where none enters steeply enough, reaches its boards flat),
// values each over the athlete's scatter and the lanes, refines around the best, and values those
// again with many more shots. progress may be nil; it is called
// from one goroutine at a time, carries lines from the first scoring on, and should return soon.
// The error says what is wrong with the request, or is the context's.
func Find(ctx context.Context, request Request, progress func(Progress)) (*Plan, error) {
	if err := request.prepare(); err != nil {
		return nil, err
	}
	if progress == nil {
		progress = func(Progress) {}
	}
	scorer, err := newScorer(request)
	if err != nil {
		return nil, err
	}
	search := &search{scorer: scorer, request: request, progress: progress}
	return search.plan(ctx)
}

// flatShare is how much of the pocket's least angle a line still has where none has all of it: under
// half of it a ball is thrown straight, and does not hook. Our choice.
const flatShare = 0.5

func (s *search) plan(ctx context.Context) (*Plan, error) {
	laydowns := steps(firstLaydown, coarseLaydown, int(lastLaydown-firstLaydown)+1)
	aims, err := s.aims(ctx, laydowns, coarseParts)
	if err == nil && len(aims) == 0 && s.pocket.AngleLowDeg > 0 {
		s.reach.AngleLowDeg, s.reached, s.back = flatShare*s.pocket.AngleLowDeg, 0, nil
		aims, err = s.aims(ctx, laydowns, coarseParts)
	}
	if err != nil {
		return nil, err
	}
	coarse, err := s.candidates(ctx, "score", append(aims, s.stay()...), s.request.Draws)
	if err != nil {
		return nil, err
	}
	plan := &Plan{Pocket: s.pocket, Lines: []Line{}}
	if len(coarse) == 0 {
		plan.Note = s.note()
		return plan, nil
	}
	first, err := s.lines(s.rank(coarse, s.request.Lines))
	if err != nil {
		return nil, err
	}
	s.progress(Progress{Stage: "first lines", Done: len(first), Total: len(first), Lines: first})
	finalists, err := s.refine(ctx, coarse)
	if err != nil {
		return nil, err
	}
	final, err := s.candidates(ctx, "final", finalists, finalDraws)
	if err != nil {
		return nil, err
	}
	if plan.Lines, err = s.lines(s.rank(final, s.request.Lines)); err != nil {
		return nil, err
	}
	plan.Ties, plan.Note = s.ties(plan.Lines), s.flat(plan.Lines)
	plan.OutOfBoundsBoard, err = s.outOfBounds(plan.Lines)
	return plan, err
}

// refine returns the aims that are valued a last time: all about the best, and about every line
// that may be in the plan.
func (s *search) refine(ctx context.Context, coarse []candidate) ([]Aim, error) {
	fine, err := s.aims(ctx, laydownsOf(notFarBehind(coarse, refineWithin)), fineParts)
	if err != nil {
		return nil, err
	}
	for _, one := range s.rank(coarse, s.request.Lines) {
		fine = append(fine, one.aim)
	}
	refined, err := s.candidates(ctx, "refine", append(fine, s.stay()...), refineDraws)
	if err != nil {
		return nil, err
	}
	refined = s.settle(refined)
	var aims []Aim
	for _, c := range refined {
		if c.equal(refined[0].tally) || c.Pins > refined[0].Pins-finalWithin {
			aims = append(aims, c.aim)
		}
	}
	for _, one := range s.rank(refined, s.request.Lines) {
		if !slices.Contains(aims, one.aim) {
			aims = append(aims, one.aim)
		}
	}
	return aims, nil
}

// stay is where the athlete plays already, if it can be played here.
func (s *search) stay() []Aim {
	if s.request.Stay == nil || !s.playable(*s.request.Stay) {
		return nil
	}
	return []Aim{*s.request.Stay}
}

// outOfBounds traces the aims whose typical delivery comes back, the outermost first, as long as
// one may still lie outside of those before it.
func (s *search) outOfBounds(lines []Line) (float64, error) {
	const beyondFt = 30.0
	outermost := 0.0
	visit := func(path motion.Path) {
		for _, station := range path.Stations {
			board := station.Board
			if path.BreakpointFt > beyondFt {
				board = min(board, path.BreakpointBoard)
			}
			if station.Ft >= beyondFt && (outermost == 0 || board < outermost) {
				outermost = board
			}
		}
	}
	for _, line := range lines {
		visit(line.Path)
	}
	slices.SortStableFunc(s.back, func(a, b cameBack) int { return cmp.Compare(a.breakpoint, b.breakpoint) })
	for _, one := range s.back {
		if outermost != 0 && one.breakpoint >= outermost {
			break
		}
		path, err := motion.Trace(s.surface, s.ball, s.athlete.release(one.aim), []float64{beyondFt})
		if err != nil {
			return 0, err
		}
		visit(path)
	}
	return outermost, nil
}

// lines works the ranked aims out.
func (s *search) lines(of []ranked) ([]Line, error) {
	lines := make([]Line, 0, len(of))
	misses := s.athlete.Scatter.draws(finalDraws)
	for i, r := range of {
		line, err := s.line(r.aim)
		if err != nil {
			return nil, err
		}
		line.Rank, line.Value = i+1, r.Value
		line.BehindPins, line.BehindError, line.Equal = r.behind, r.behindError, r.equal
		line.PocketShareAsGiven = s.asGiven(r.aim, misses)
		line.Reason = line.reason()
		lines = append(lines, line)
	}
	return lines, nil
}

// line works one aim out, all but its place and value.
func (s *scorer) line(aim Aim) (Line, error) {
	path, err := motion.Trace(s.surface, s.ball, s.athlete.release(aim), motion.EveryFoot())
	if err != nil {
		return Line{}, err
	}
	line := Line{Aim: aim, FeetBoard: aim.LaydownBoard + s.athlete.SlideOffsetBoards, Path: path}
	if aim.LaydownBoard-path.BreakpointBoard >= leastTurnBoards {
		line.Breakpoint = &Breakpoint{path.BreakpointBoard, path.BreakpointFt}
	}
	line.ArrowsBoard, line.TargetBoard, line.TargetFt = aim.LaydownBoard, aim.LaydownBoard, 0
	before := motion.Station{Board: aim.LaydownBoard}
	for _, station := range path.Stations {
		if station.Ft == lane.ArrowsFt {
			line.ArrowsBoard = station.Board
		}
		ahead := func(at motion.Station) float64 { return s.arrows.Ft(at.Board) - at.Ft }
		if left, past := ahead(before), ahead(station); left > 0 && past <= 0 {
			share := left / (left - past)
			line.TargetBoard = before.Board + share*(station.Board-before.Board)
			line.TargetFt = before.Ft + share*(station.Ft-before.Ft)
		}
		before = station
	}
	line.Misses = s.misses(aim)
	line.RoomOutsideBoards, line.RoomInsideBoards = s.room(aim, -1), s.room(aim, 1)
	line.Corridor = s.corridor(line)
	return line, nil
}
