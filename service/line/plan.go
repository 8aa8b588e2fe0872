package line

import (
	"cmp"
	"context"
	"math"
	"slices"

	"laneward/service/lane"
	"laneward/service/motion"
)

// Line is one way to play the pattern.
type Line struct {
	Rank int `json:"rank"`
	Aim
	// FeetBoard is where the sliding foot ends, TargetBoard where the ball crosses the arrows (15
	// ft).
	FeetBoard   float64 `json:"feet_board"`
	TargetBoard float64 `json:"target_board"`
	// Path is the usual delivery: breakpoint, pins, and a station every foot.
	Path motion.Path `json:"path"`
	// PocketShare and GutterShare are the shares of the athlete's scattered shots, of ScoredShots.
	PocketShare float64 `json:"pocket_share"`
	GutterShare float64 `json:"gutter_share"`
	ScoredShots int     `json:"scored_shots"`
	// Misses are misses of 1 to 5 whole boards at the arrows from the same feet, the outside ones
	// first. Room is how far such a miss may go, by quarter boards, with every smaller one still in
	// the pocket; at most 10.
	Misses            []Miss   `json:"misses"`
	RoomOutsideBoards float64  `json:"room_outside_boards"`
	RoomInsideBoards  float64  `json:"room_inside_boards"`
	Corridor          Corridor `json:"corridor"`
	// Reason says in one sentence why the line ranks where it does.
	Reason string `json:"reason"`
}

// Plan is the ranked lines for one request.
type Plan struct {
	Pocket Pocket `json:"pocket"`
	Lines  []Line `json:"lines"` // never nil; the best first
	// OutOfBoundsBoard is the outermost board that the usual delivery can visit beyond 30 ft, on
	// any searched aim, and still come back to the pocket's boards or farther; 0 when none does.
	OutOfBoundsBoard float64 `json:"out_of_bounds_board"`
	// Note says why there is no line, or is empty.
	Note string `json:"note,omitempty"`
}

const (
	refineDraws = 256
	finalDraws  = 1024
	// centrePreference is the pocket share given up for a usual delivery that comes a half width of
	// the pocket nearer to its middle: so much two aims differ by the luck of the draws, and then
	// the one that aims at the middle is the better advice.
	centrePreference = 0.02
	// gutterCost is the pocket share that a share of gutter balls takes away: one for one, our
	// choice. Without it a line along a dry edge ranks by its hits alone, and no coach would play
	// it.
	gutterCost = 1.0
	// Two lines are different when they lie this far apart in laydown or in angle.
	apartBoards = 2.5
	apartDeg    = 0.75
)

// Find plans a request, from coarse to fine: it looks for aims whose usual delivery reaches the
// pocket's boards, scores each by the athlete's scatter, refines around the best, and scores those
// again with many more shots. progress may be nil; it is called from one goroutine at a time,
// carries lines from the first scoring on, and should return soon. The error says what is wrong
// with the request, or is the context's.
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
	aims, err := search.aims(ctx)
	if err != nil {
		return nil, err
	}
	scored, err := search.score(ctx, "score", aims, request.Draws)
	if err != nil {
		return nil, err
	}
	plan := &Plan{Pocket: request.Pocket, Lines: []Line{}, OutOfBoundsBoard: search.outOfBounds}
	best := apart(scored, request.Lines+2)
	if len(best) == 0 {
		plan.Note = search.note()
		return plan, nil
	}
	first, err := search.lines(best[:min(len(best), request.Lines)], request.Draws)
	if err != nil {
		return nil, err
	}
	progress(Progress{Stage: "first lines", Done: len(first), Total: len(first), Lines: first})
	refined, err := search.score(ctx, "refine", search.around(best), refineDraws)
	if err != nil {
		return nil, err
	}
	final, err := search.score(ctx, "final", aimsOf(apart(refined, request.Lines)), finalDraws)
	if err != nil {
		return nil, err
	}
	if plan.Lines, err = search.lines(final, finalDraws); err != nil {
		return nil, err
	}
	return plan, nil
}

type search struct {
	*scorer
	request     Request
	progress    func(Progress)
	outOfBounds float64
	// What the coarse search saw, for the note of a plan without lines.
	reached  int
	steepest float64
}

type scored struct {
	aim                   Aim
	pocket, gutter, merit float64
}

// aims returns the aims on a coarse grid whose usual delivery is in the pocket, and between its
// angles those that reach the middle of it.
func (s *search) aims(ctx context.Context) ([]Aim, error) {
	laydowns, angles := steps(3, 1, 35), steps(-2, 0.25, 41)
	found, outcomes := make([][]Aim, len(laydowns)), make([][]motion.Outcome, len(laydowns))
	err := spread(ctx, len(laydowns), func(i int) {
		found[i], outcomes[i] = s.aimsFrom(laydowns[i], angles)
	}, nil)
	if err != nil {
		return nil, err
	}
	for _, row := range outcomes {
		for _, o := range row {
			if !o.Reaches() {
				continue
			}
			s.reached++
			s.steepest = max(s.steepest, o.EntryAngleDeg)
			if o.PinBoard >= s.pocket.BoardLow && o.BreakpointFt > 30 &&
				(s.outOfBounds == 0 || o.BreakpointBoard < s.outOfBounds) {
				s.outOfBounds = o.BreakpointBoard
			}
		}
	}
	return slices.Concat(found...), nil
}

func (s *search) aimsFrom(laydown float64, angles []float64) ([]Aim, []motion.Outcome) {
	var aims []Aim
	outcomes := make([]motion.Outcome, len(angles))
	for i, angleDeg := range angles {
		outcomes[i] = s.run(Aim{laydown, angleDeg})
		if s.pocket.holds(outcomes[i]) {
			aims = append(aims, Aim{laydown, angleDeg})
		}
		if i > 0 {
			if aim, ok := s.middle(laydown, angles[i-1], angleDeg, outcomes[i-1], outcomes[i]); ok {
				aims = append(aims, aim)
			}
		}
	}
	return aims, outcomes
}

// middle finds the angle between two at which the usual delivery reaches the middle of the pocket's
// boards.
func (s *search) middle(laydown, lowDeg, highDeg float64, low, high motion.Outcome) (Aim, bool) {
	target := s.pocket.middleBoard()
	if !low.Reaches() || !high.Reaches() || (low.PinBoard < target) == (high.PinBoard < target) {
		return Aim{}, false
	}
	for range 8 {
		middleDeg := (lowDeg + highDeg) / 2
		o := s.run(Aim{laydown, middleDeg})
		if (o.PinBoard < target) == (low.PinBoard < target) {
			lowDeg = middleDeg
		} else {
			highDeg = middleDeg
		}
	}
	return Aim{laydown, (lowDeg + highDeg) / 2}, true
}

// around returns aims near the best ones: half boards on either side, each with the angle that
// reaches the middle from there and some angles on either side of it.
func (s *search) around(best []scored) []Aim {
	var aims []Aim
	for _, b := range best {
		aims = append(aims, b.aim)
		for _, move := range []float64{-1, -0.5, 0, 0.5, 1} {
			laydown := b.aim.LaydownBoard + move
			if !lane.OnLane(laydown) {
				continue
			}
			middle := s.nearest(Aim{laydown, b.aim.LaunchAngleDeg})
			for _, turnDeg := range []float64{-0.2, -0.1, 0, 0.1, 0.2} {
				aims = append(aims, Aim{laydown, middle.LaunchAngleDeg + turnDeg})
			}
		}
	}
	return aims
}

// nearest turns an aim to the nearest angle within 1 degree that reaches the middle of the pocket's
// boards, or leaves it.
func (s *search) nearest(aim Aim) Aim {
	best, found := aim, false
	angles := steps(aim.LaunchAngleDeg-1, 0.2, 11)
	var before motion.Outcome
	for i, angleDeg := range angles {
		o := s.run(Aim{aim.LaydownBoard, angleDeg})
		if i > 0 {
			at, ok := s.middle(aim.LaydownBoard, angles[i-1], angleDeg, before, o)
			nearer := math.Abs(at.LaunchAngleDeg-aim.LaunchAngleDeg) < math.Abs(best.LaunchAngleDeg-aim.LaunchAngleDeg)
			if ok && (!found || nearer) {
				best, found = at, true
			}
		}
		before = o
	}
	return best
}

// score scores the aims by n draws of the scatter, best first: by pocket share, less [gutterCost]
// for the gutter share and [centrePreference] for the usual delivery's distance from the middle of
// the pocket.
func (s *search) score(ctx context.Context, stage string, aims []Aim, n int) ([]scored, error) {
	draws := s.athlete.Scatter.draws(n)
	results := make([]scored, len(aims))
	err := spread(ctx, len(aims), func(i int) {
		results[i].aim = aims[i]
		results[i].pocket, results[i].gutter = s.shares(aims[i], draws)
		results[i].merit = results[i].pocket - gutterCost*results[i].gutter - centrePreference*s.offCentre(aims[i])
	}, func(finished int) {
		if finished%16 == 0 || finished == len(aims) {
			s.progress(Progress{Stage: stage, Done: finished, Total: len(aims)})
		}
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(results, func(a, b scored) int {
		return cmp.Or(
			cmp.Compare(b.merit, a.merit),
			cmp.Compare(a.gutter, b.gutter),
			cmp.Compare(a.aim.LaydownBoard, b.aim.LaydownBoard),
			cmp.Compare(a.aim.LaunchAngleDeg, b.aim.LaunchAngleDeg),
		)
	})
	return results, nil
}

// offCentre is how far the usual delivery comes from the middle of the pocket's boards, in half
// widths, at most 2.
func (s *search) offCentre(aim Aim) float64 {
	o := s.run(aim)
	if !o.Reaches() {
		return 2
	}
	return min(math.Abs(o.PinBoard-s.pocket.middleBoard())/((s.pocket.BoardHigh-s.pocket.BoardLow)/2), 2)
}

// apart picks, from the best down, up to n aims that reach the pocket at all and are different
// lines.
func apart(ranked []scored, n int) []scored {
	var picked []scored
	for _, candidate := range ranked {
		if len(picked) == n {
			break
		}
		if candidate.pocket == 0 {
			continue
		}
		near := slices.ContainsFunc(picked, func(p scored) bool {
			return math.Abs(p.aim.LaydownBoard-candidate.aim.LaydownBoard) < apartBoards &&
				math.Abs(p.aim.LaunchAngleDeg-candidate.aim.LaunchAngleDeg) < apartDeg
		})
		if !near {
			picked = append(picked, candidate)
		}
	}
	return picked
}

func aimsOf(ranked []scored) []Aim {
	aims := make([]Aim, len(ranked))
	for i, r := range ranked {
		aims[i] = r.aim
	}
	return aims
}

// lines works the ranked aims out.
func (s *search) lines(ranked []scored, draws int) ([]Line, error) {
	lines := make([]Line, 0, len(ranked))
	for i, r := range ranked {
		line, err := s.line(r.aim)
		if err != nil {
			return nil, err
		}
		line.Rank, line.PocketShare, line.GutterShare, line.ScoredShots = i+1, r.pocket, r.gutter, draws
		line.Reason = line.reason()
		lines = append(lines, line)
	}
	return lines, nil
}

// line works one aim out, all but its rank and shares.
func (s *scorer) line(aim Aim) (Line, error) {
	path, err := motion.Trace(s.surface, s.ball, s.athlete.release(aim), motion.EveryFoot())
	if err != nil {
		return Line{}, err
	}
	line := Line{
		Aim:         aim,
		FeetBoard:   aim.LaydownBoard + s.athlete.SlideOffsetBoards,
		Path:        path,
		TargetBoard: aim.LaydownBoard,
	}
	for _, station := range path.Stations {
		if station.Ft == lane.ArrowsFt {
			line.TargetBoard = station.Board
		}
	}
	line.Misses = s.misses(aim)
	line.RoomOutsideBoards, line.RoomInsideBoards = s.room(aim, -1), s.room(aim, 1)
	line.Corridor = s.corridor(aim, line.TargetBoard)
	return line, nil
}
