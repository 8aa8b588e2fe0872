package line

import (
	"fmt"
	"strconv"
)

var hitWords = map[Hit]string{
	HitPocket:    "still reaches the pocket",
	HitFlat:      "comes in flat",
	HitSteep:     "comes in steep",
	HitLight:     "comes in light",
	HitHigh:      "goes high",
	HitCrossover: "crosses over",
	HitOutside:   "does not come back",
	HitInside:    "goes past the head pin",
	HitGutter:    "ends in the gutter",
	HitShort:     "stops on the lane",
}

// shownMiss is the miss of which a reason tells.
const shownMiss = 3

// reason says in one sentence why a line ranks where it does.
func (l Line) reason() string {
	did := map[string]string{}
	for _, miss := range l.Misses {
		if miss.Boards == shownMiss {
			did[miss.Side] = hitWords[miss.Hit]
		}
	}
	return fmt.Sprintf(
		"%.0f %% of the shots reach the pocket: at the arrows it forgives %s outside and %s inside, while a miss of %d boards "+
			"outside %s and one of %d inside %s.",
		100*l.PocketShare,
		boardsText(l.RoomOutsideBoards),
		boardsText(l.RoomInsideBoards),
		shownMiss,
		did[outside],
		shownMiss,
		did[inside],
	)
}

func boardsText(boards float64) string {
	if boards == 1 {
		return "1 board"
	}
	return strconv.FormatFloat(boards, 'g', 3, 64) + " boards"
}

// note says why no line was found.
func (s *search) note() string {
	switch {
	case s.reached == 0:
		return "No searched aim reaches the pins: check speed and friction."
	case s.steepest < s.pocket.AngleLowDeg:
		return fmt.Sprintf(
			"With this release and ball no shot enters at %g degrees (the steepest is %.1f): more revolutions or rotation, less "+
				"speed, or a pocket with a smaller angle.",
			s.pocket.AngleLowDeg,
			s.steepest,
		)
	case s.outOfBounds == 0:
		return fmt.Sprintf(
			"No searched aim comes back to board %g: the ball does not hook enough on this film.",
			s.pocket.BoardLow,
		)
	}
	return "No searched aim reaches the pocket's boards at an angle inside its window: widen the pocket, or change the ball or the release."
}
