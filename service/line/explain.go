package line

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"laneward/service/lane"
)

// hitWords say what a shot does, as the end of a sentence and as a word of its own.
var hitWords = map[Hit]struct{ does, word string }{
	HitPocket:    {"still reaches the pocket", "still in the pocket"},
	HitFlat:      {"comes in flat", "flat"},
	HitSteep:     {"comes in steep", "steep"},
	HitLight:     {"comes in light", "light"},
	HitHigh:      {"goes high", "high"},
	HitCrossover: {"crosses over", "crosses over"},
	HitOutside:   {"does not come back", "does not come back"},
	HitInside:    {"goes past the head pin", "past the head pin"},
	HitGutter:    {"ends in the gutter", "gutter"},
	HitShort:     {"stops on the lane", "stops on the lane"},
}

// Words says what a shot did in a few words: "comes in light".
func (h Hit) Words() string { return hitWords[h].does }

// shownMiss is the miss that a reason mentions.
const shownMiss = 3

// reason says what a line is worth and what it forgives.
func (l Line) reason() string {
	var text strings.Builder
	fmt.Fprintf(
		&text,
		"%.1f pins a frame: %.0f %% of the shots reach the pocket%s, %.0f %% leave the head pin standing, "+
			"%.0f %% leave a split, %.0f %% go in the gutter.",
		l.Pins,
		100*l.PocketShare,
		l.onceKnown(),
		100*l.HeadPinShare,
		100*l.SplitShare,
		100*l.GutterShare,
	)
	outer, inner := l.toward(outside), l.toward(inside)
	switch out, in := l.RoomOutsideBoards, l.RoomInsideBoards; {
	case out == in && out > 0:
		fmt.Fprintf(&text, " Room to miss at the arrows: %s each way.", roomText(out))
	case out == in:
		text.WriteString(" No room to miss at the arrows.")
	default:
		fmt.Fprintf(&text, " Room to miss at the arrows: %s %s, %s %s.", roomText(out), outer, roomText(in), inner)
	}
	for _, miss := range l.Misses {
		if miss.Boards == shownMiss {
			fmt.Fprintf(&text, " %d boards %s: %s.", shownMiss, miss.Toward, hitWords[miss.Hit].word)
		}
	}
	return text.String()
}

// onceKnown says how many shots reach the pocket on the lane as it was given, where that is not what
// was said of the lanes that it may be.
func (l Line) onceKnown() string {
	if math.Round(100*l.PocketShareAsGiven) == math.Round(100*l.PocketShare) {
		return ""
	}
	return fmt.Sprintf(" (%.0f %% if the lane is just as given)", 100*l.PocketShareAsGiven)
}

// toward says a side of the athlete's as right or left.
func (l Line) toward(side string) string {
	for _, miss := range l.Misses {
		if miss.Side == side {
			return miss.Toward
		}
	}
	return side
}

// roomText writes quarter boards as they are said: "none", "1/4 board", "1 1/2 boards".
func roomText(boards float64) string {
	whole, quarters := math.Modf(boards)
	parts := []string{}
	if whole > 0 {
		parts = append(parts, strconv.Itoa(int(whole)))
	}
	if text := map[float64]string{0.25: "1/4", 0.5: "1/2", 0.75: "3/4"}[quarters]; text != "" {
		parts = append(parts, text)
	}
	switch {
	case boards == 0:
		return "none"
	case boards > 1:
		return strings.Join(parts, " ") + " boards"
	}
	return strings.Join(parts, " ") + " board"
}

// ties says which lines are equal, and why the first is ranked first.
func (s *search) ties(lines []Line) string {
	how := fmt.Sprintf("launch angles of about %.1f degrees", s.athlete.launchAngleDeg(s.ball))
	if like := s.athlete.Habit.Like; like != nil {
		how = fmt.Sprintf(
			"about %.1f degrees over board %.0f on patterns of this length",
			like.LaunchAngleDeg.Median,
			like.ArrowsBoard.Median,
		)
	}
	closeTo, weighed := "to how the athlete plays ("+how+")", ", what it is worth considered,"
	if s.request.Stay != nil {
		closeTo, weighed = "to where the athlete already plays", ""
	}
	equal := 0
	for _, line := range lines {
		if line.Equal {
			equal++
		}
	}
	switch {
	case equal > 0:
		which := "1 and 2"
		if equal > 2 {
			which = fmt.Sprintf("1 to %d", equal)
		}
		return fmt.Sprintf(
			"Lines %s are equal: the model cannot tell them apart. The closest %s%s comes first.", which, closeTo, weighed,
		)
	case len(lines) > 0 && lines[0].BehindPins > 0:
		return fmt.Sprintf(
			"Line 1 is worth %.2f pins a frame less than the best one found, which is too little for the model to tell them "+
				"apart: line 1 is closer %s.",
			lines[0].BehindPins,
			closeTo,
		)
	}
	return ""
}

// flat says that no line enters steeply enough, and what would change that; "" when they do.
func (s *search) flat(lines []Line) string {
	if s.reach == s.pocket || len(lines) == 0 {
		return ""
	}
	steepest := 0.0
	for _, line := range lines {
		steepest = max(steepest, line.Path.EntryAngleDeg)
	}
	return fmt.Sprintf(
		"With this release and ball nothing that can be played enters the pocket at %g degrees or more on this film: these lines "+
			"come in flat, at %.1f degrees at most. More revolutions or rotation, or less speed, gives angle.",
		s.pocket.AngleLowDeg,
		steepest,
	)
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
	case len(s.back) == 0:
		return fmt.Sprintf(
			"No searched aim comes back to board %g: the ball does not hook enough on this film.",
			s.pocket.BoardLow,
		)
	}
	return fmt.Sprintf(
		"No line that can be played (feet on board %g or less, target from board %g to %g) reaches the pocket's boards at an angle "+
			"inside its window: widen the pocket, or change the ball or the release.",
		min(lastFeetBoard, lane.Boards),
		firstTarget,
		lastTarget,
	)
}

func boardsText(boards float64) string {
	if boards == 1 {
		return "1 board"
	}
	return strconv.FormatFloat(boards, 'g', 3, 64) + " boards"
}
