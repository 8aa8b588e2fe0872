package line

import (
	"laneward/service/lane"
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
		o := s.typical(aim.missed(float64(sign * boards)))
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

// room is how far a miss toward sign (-1 outside, 1 inside) may go with every smaller one where the
// line itself comes in: in the pocket, or flat on its boards.
func (s *scorer) room(aim Aim, sign float64) float64 {
	room := 0.0
	for boards := 0.0; boards <= maxRoomBoards; boards += roomStep {
		if !s.reach.holds(s.typical(aim.missed(sign * boards))) {
			break
		}
		room = boards
	}
	return room
}
