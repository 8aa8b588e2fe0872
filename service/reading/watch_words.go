package reading

import (
	"fmt"
	"math"
)

// Sentence says where the watch stands: what has changed, or what cannot be told yet.
func (w *Watch) Sentence() string {
	shots := len(w.scores)
	if w.now.Alarm {
		size := math.Abs(w.now.SizeBoards)
		direction := "farther inside: the lane hooks more"
		if w.now.SizeBoards < 0 {
			direction = "farther outside: the lane hooks less"
		}
		if w.now.Change == Drift {
			return fmt.Sprintf(
				"The lane has been drifting: about %.1f boards in %s, as the tracks on it let one expect. Balls arrive %s.",
				size, counted(shots, "shot", "shots"), direction,
			)
		}
		return fmt.Sprintf(
			"The lane has changed since shot %d: balls arrive about %.1f boards %s.", w.now.SinceOrder, size, direction,
		)
	}
	if known := len(w.read.Throws) + shots; known < fewestWatched {
		return fmt.Sprintf(
			"Too few shots to see a change: %s on this lane, and it takes %d.",
			counted(known, "has been seen", "have been seen"), fewestWatched,
		)
	}
	if shots == 0 {
		return "Nothing has been seen of a ball since the read: watch the shots after it."
	}
	told := fmt.Sprintf("No change is seen in %s since the read.", counted(shots, "shot", "shots"))
	means := "by eye"
	if bySensors(w.source) {
		means = "by sensor"
	}
	least := w.tellable()
	boards := "boards"
	if least == 1 {
		boards = "board"
	}
	return fmt.Sprintf("%s Less than %.0f %s cannot be told %s yet.", told, least, boards, means)
}

// tellable is the smallest jump in whole boards that some twelve shots tell from scatter: that of one
// shot's deviation. Tried on simulated lanes.
func (w *Watch) tellable() float64 { return max(1, math.Round(median(w.errors))) }
