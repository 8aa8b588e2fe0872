package advice

import (
	"fmt"

	"laneward/service/drill"
	"laneward/service/picture"
	"laneward/service/record"
)

// SessionLane is what one athlete threw in a session: the lane with the breakpoint of each shot
// that has one, over the session's pattern when it is known. It has neither title nor caption, and no width.
type SessionLane struct {
	Athlete           *record.Athlete
	Shots, Strikes    int
	StrikesKnown      int // of the shots, those whose standing pins were recorded
	WithoutBreakpoint int // of the shots, those without a measured breakpoint, which are not drawn
	Lane              picture.Lane
}

// DrawSession draws what one athlete threw in a session.
func DrawSession(athlete *record.Athlete, shots []*record.Shot, film *picture.Film) SessionLane {
	one := SessionLane{Athlete: athlete, Shots: len(shots), Lane: picture.Lane{Side: athlete.Side, Film: film}}
	for _, s := range shots {
		if s.Standing != nil {
			one.StrikesKnown++
			if s.Standing.Strike() {
				one.Strikes++
			}
		}
		if s.BreakpointBoard == nil {
			one.WithoutBreakpoint++
			continue
		}
		mark := picture.Mark{Board: *s.BreakpointBoard, Ft: placeFt(drill.Rule{At: drill.Breakpoint}, &s.Shot)}
		mark.Label = fmt.Sprintf("shot %d: breakpoint on board %.4g", s.Order, mark.Board)
		one.Lane.Shots = append(one.Lane.Shots, mark)
	}
	return one
}
