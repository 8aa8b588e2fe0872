package line

import (
	"fmt"
	"math"

	"laneward/service/lane"
	"laneward/service/motion"
)

// Miss is what a miss of whole boards at the arrows does, from the same feet: the launch angle
// turns, the laydown holds.
type Miss struct {
	Boards int `json:"boards"`
	// Side is outside or inside, Toward the same as right or left.
	Side     string  `json:"side"`
	Toward   string  `json:"toward"`
	Hit      Hit     `json:"hit"`
	PinBoard float64 `json:"pin_board"` // 0 when it does not reach the pins
	// BreakpointBoard is the outermost board it visits.
	EntryAngleDeg   float64 `json:"entry_angle_deg"`
	BreakpointBoard float64 `json:"breakpoint_board"`
}

const (
	outside       = "outside"
	inside        = "inside"
	missesShown   = 5
	roomStep      = 0.25
	maxRoomBoards = 10.0
)

func (s *scorer) misses(aim Aim) []Miss {
	towardOutside, towardInside := string(lane.Right), string(lane.Left)
	if s.athlete.Side == lane.Left {
		towardOutside, towardInside = towardInside, towardOutside
	}
	misses := make([]Miss, 0, 2*missesShown)
	add := func(boards, sign int, side, toward string) {
		o := s.run(aim.missed(float64(sign * boards)))
		misses = append(misses, Miss{
			Boards: boards, Side: side, Toward: toward, Hit: s.pocket.hit(o),
			PinBoard: o.PinBoard, EntryAngleDeg: o.EntryAngleDeg, BreakpointBoard: o.BreakpointBoard,
		})
	}
	for boards := 1; boards <= missesShown; boards++ {
		add(boards, -1, outside, towardOutside)
	}
	for boards := 1; boards <= missesShown; boards++ {
		add(boards, 1, inside, towardInside)
	}
	return misses
}

// room is how far a miss toward sign (-1 outside, 1 inside) may go with every smaller one in the
// pocket.
func (s *scorer) room(aim Aim, sign float64) float64 {
	room := 0.0
	for boards := 0.0; boards <= maxRoomBoards; boards += roomStep {
		if !s.pocket.holds(s.run(aim.missed(sign * boards))) {
			break
		}
		room = boards
	}
	return room
}

// Corridor is the drill that keeps an athlete on a line: keep the ball at a board or inside, from
// where its misses stop coming back. Board N is the strip from N - 0.5 to N + 0.5, so "at board N
// or inside" is a position of at least N - 0.5. N is the outermost whole board that keeps inside of
// the limit; where the line itself would break that, it is the innermost one that the line keeps.
type Corridor struct {
	// Found: the line itself comes back to the pocket's boards. Without it the other fields are 0.
	Found bool `json:"found"`
	// EdgeOnly: every miss outside that stays on the lane comes back, so there is nothing to keep
	// inside of.
	EdgeOnly bool `json:"edge_only"`
	// At is where the drill is judged and Board is N there: the breakpoint, or the arrows for a
	// line that is outermost before them.
	At    string `json:"at"`
	Board int    `json:"board"`
	// BreakpointBoard and ArrowsBoard are N at either place.
	BreakpointBoard int `json:"breakpoint_board"`
	ArrowsBoard     int `json:"arrows_board"`
	// LimitBoard is the outermost breakpoint from which a miss still comes back, MissBoards that
	// miss at the arrows.
	LimitBoard float64 `json:"limit_board"`
	MissBoards float64 `json:"miss_boards"`
	// Drill says it in words.
	Drill string `json:"drill"`
}

// Where a corridor is judged, in the words of a drill's rule.
const (
	AtBreakpoint = "breakpoint"
	AtArrows     = "arrows"
)

// corridor follows misses outside, quarter board by quarter board, to the first that does not reach
// the pocket's outer board, and halves that last quarter until the limit is sharp.
func (s *scorer) corridor(aim Aim, targetBoard float64) Corridor {
	var c Corridor
	back := func(boards float64) (motion.Outcome, bool) {
		o := s.run(aim.missed(-boards))
		return o, o.Reaches() && o.PinBoard >= s.pocket.BoardLow
	}
	keep := func(boards float64, o motion.Outcome) {
		c.Found, c.LimitBoard, c.MissBoards = true, o.BreakpointBoard, boards
	}
	lost := math.Inf(1)
	lose := func(boards float64, o motion.Outcome) {
		lost, c.EdgeOnly = boards, o.Gutter && o.BreakpointBoard < lane.CentreBoard
	}
	for boards := 0.0; boards <= maxRoomBoards && boards < lost; boards += roomStep {
		if o, ok := back(boards); ok {
			keep(boards, o)
		} else {
			lose(boards, o)
		}
	}
	if !c.Found {
		return Corridor{}
	}
	for halvings := 0; halvings < 6 && lost <= maxRoomBoards; halvings++ {
		boards := (c.MissBoards + lost) / 2
		if o, ok := back(boards); ok {
			keep(boards, o)
		} else {
			lose(boards, o)
		}
	}
	usual := s.run(aim)
	c.BreakpointBoard = atOrInside(c.LimitBoard, usual.BreakpointBoard)
	c.ArrowsBoard = atOrInside(targetBoard-c.MissBoards, targetBoard)
	c.At, c.Board = AtBreakpoint, c.BreakpointBoard
	if usual.BreakpointFt < lane.ArrowsFt {
		c.At, c.Board = AtArrows, c.ArrowsBoard
	}
	c.Drill = fmt.Sprintf("keep the ball at board %d or inside at the %s", c.Board, c.At)
	if c.EdgeOnly {
		c.Drill = "no corridor: every miss outside that stays on the lane comes back"
	}
	return c
}

// atOrInside is the outermost board whose strip lies inside of the limit, or the innermost whose
// strip the line itself keeps.
func atOrInside(limit, own float64) int {
	const rounding = 1e-9
	n := math.Min(math.Ceil(limit+0.5-rounding), math.Floor(own+0.5+rounding))
	return max(int(n), 1)
}
