package line

import (
	"fmt"
	"math"

	"laneward/service/lane"
	"laneward/service/motion"
)

// Corridor is the drill that keeps an athlete on a line: keep the ball between two boards, where
// its misses still arrive on the pocket's boards. Board N is the strip from N - 0.5 to N + 0.5. The
// corridor holds the line itself, and is widened until aiming perfectly keeps half of the shots:
// a drill that fails an athlete who does as asked teaches nothing.
type Corridor struct {
	// Found: the line itself arrives on the pocket's boards. Without it the other fields are 0.
	Found bool `json:"found"`
	// At is where the drill is judged: the breakpoint, or the arrows for a line that is outermost
	// before them.
	At         string `json:"at"`
	OuterBoard int    `json:"outer_board"`
	InnerBoard int    `json:"inner_board"`
	// OuterLimitBoard and InnerLimitBoard are where the line's misses leave the pocket's boards, at
	// the same place.
	OuterLimitBoard float64 `json:"outer_limit_board"`
	InnerLimitBoard float64 `json:"inner_limit_board"`
	// KeptShare is the share of the athlete's own scattered shots that stay in it, aimed perfectly;
	// PassShare what a drill should ask, that share rounded down to a twentieth.
	KeptShare float64 `json:"kept_share"`
	PassShare float64 `json:"pass_share"`
	// Drill says it in words.
	Drill string `json:"drill"`
}

// Where a corridor is judged, in the words of a drill's rule.
const (
	AtBreakpoint = "breakpoint"
	AtArrows     = "arrows"
)

const (
	leastKeptShare = 0.5
	mostPassShare  = 0.95
	corridorDraws  = 512
)

func (s *scorer) corridor(l Line) Corridor {
	c := Corridor{At: AtBreakpoint}
	own := l.Path.BreakpointBoard
	if l.Path.BreakpointFt < lane.ArrowsFt {
		c.At, own = AtArrows, l.ArrowsBoard
	}
	if o := s.typical(l.Aim); !s.onPocketBoards(o) {
		return Corridor{}
	}
	c.Found = true
	c.OuterLimitBoard, c.InnerLimitBoard = s.limit(l, c.At, -1), s.limit(l, c.At, 1)
	c.OuterBoard = max(1, min(int(math.Ceil(c.OuterLimitBoard+0.5)), int(math.Floor(own+0.5))))
	c.InnerBoard = min(lane.Boards, max(int(math.Floor(c.InnerLimitBoard-0.5)), int(math.Floor(own+0.5)), c.OuterBoard))
	c.widen(s.boardsAt(l, c.At))
	c.PassShare = min(math.Floor(c.KeptShare*20+1e-9)/20, mostPassShare)
	c.Drill = fmt.Sprintf("keep the ball between boards %d and %d at the %s", c.OuterBoard, c.InnerBoard, c.At)
	if c.OuterBoard == c.InnerBoard {
		c.Drill = fmt.Sprintf("keep the ball on board %d at the %s", c.OuterBoard, c.At)
	}
	return c
}

func (s *scorer) onPocketBoards(o motion.Outcome) bool {
	return o.Reaches() && o.PinBoard >= s.pocket.BoardLow && o.PinBoard <= s.pocket.BoardHigh
}

// limit follows misses toward sign, quarter board by quarter board, to the first that leaves the
// pocket's boards, halves that last quarter until it is sharp, and returns the board where the last
// good one is judged.
func (s *scorer) limit(l Line, at string, sign float64) float64 {
	good, lost := 0.0, 0.0
	arrives := func(boards float64) bool { return s.onPocketBoards(s.typical(l.Aim.missed(sign * boards))) }
	for lost = roomStep; lost <= maxRoomBoards && arrives(lost); lost += roomStep {
		good = lost
	}
	for range 6 {
		middle := (good + lost) / 2
		if arrives(middle) {
			good = middle
		} else {
			lost = middle
		}
	}
	if at == AtArrows {
		return l.ArrowsBoard + sign*good
	}
	return s.typical(l.Aim.missed(sign * good)).BreakpointBoard
}

// boardsAt are the boards of the athlete's scattered shots where the drill is judged; not a number
// for a ball in the gutter, which keeps nothing.
func (s *scorer) boardsAt(l Line, at string) []float64 {
	misses := s.athlete.Scatter.draws(corridorDraws)
	grown := s.athlete.Habit.growth(l.LaunchAngleDeg)
	release := s.athlete.release(l.Aim)
	boards := make([]float64, len(misses))
	for i, one := range misses {
		one = one.scaled(grown)
		o := s.table.Run(s.ball, one.apply(release))
		switch {
		case o.Gutter:
			boards[i] = math.NaN()
		case at == AtArrows:
			boards[i] = l.ArrowsBoard + one.arrowsBoards
		default:
			boards[i] = o.BreakpointBoard
		}
	}
	return boards
}

// widen moves the edges out, one board at a time on the side where it keeps more shots, until the
// corridor keeps enough of them.
func (c *Corridor) widen(boards []float64) {
	kept := func(outer, inner int) float64 {
		n := 0
		for _, board := range boards {
			if board >= float64(outer)-0.5 && board <= float64(inner)+0.5 {
				n++
			}
		}
		return float64(n) / float64(len(boards))
	}
	c.KeptShare = kept(c.OuterBoard, c.InnerBoard)
	for c.KeptShare < leastKeptShare && (c.OuterBoard > 1 || c.InnerBoard < lane.Boards) {
		outer, inner := max(c.OuterBoard-1, 1), min(c.InnerBoard+1, lane.Boards)
		if kept(outer, c.InnerBoard) > kept(c.OuterBoard, inner) {
			c.OuterBoard = outer
		} else {
			c.InnerBoard = inner
		}
		c.KeptShare = kept(c.OuterBoard, c.InnerBoard)
	}
}
