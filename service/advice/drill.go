package advice

import (
	"fmt"

	"github.com/google/uuid"

	"laneward/service/drill"
	"laneward/service/line"
)

// SuggestedDrill is a drill that keeps an athlete on a line, ready to be stored and assigned.
type SuggestedDrill struct {
	Name      string       `json:"name"`
	Rules     []drill.Rule `json:"rules"`
	Sentences []string     `json:"sentences"`
	Reps      int32        `json:"reps"`
	PassShare float64      `json:"pass_share"`
	// KeptShare is what aiming perfectly would keep, by the athlete's own scatter.
	KeptShare float64    `json:"kept_share"`
	PatternID *uuid.UUID `json:"pattern_id,omitempty"`
	Note      string     `json:"note"`
}

// suggestedReps is what a suggested drill asks for by default (common practice, no source).
const suggestedReps = 30

// suggest makes the drill of a line's corridor; nil when the line itself misses.
func (p *Planner) suggest(one line.Line) *SuggestedDrill {
	corridor := one.Corridor
	if !corridor.Found {
		return nil
	}
	outer, inner := float64(corridor.OuterBoard), float64(corridor.InnerBoard)
	rule := drill.Rule{Measure: drill.Board, At: drill.Place(corridor.At), Min: &outer, Max: &inner}
	return &SuggestedDrill{
		Name:      fmt.Sprintf("%s: %s at the %s", p.pattern.Name, boardsOf(corridor), corridor.At),
		Rules:     []drill.Rule{rule},
		Sentences: []string{rule.Sentence(nil)},
		Reps:      suggestedReps,
		PassShare: corridor.PassShare,
		KeptShare: corridor.KeptShare,
		PatternID: &p.pattern.ID,
		Note: fmt.Sprintf(
			"Made from a planned line with %s: feet at %.1f, target %.1f at the arrows, launch %.2f degrees, %s. "+
				"Aiming perfectly %s would keep %.0f %%, by the model.",
			p.Subject.Ball.Name,
			one.FeetBoard,
			one.TargetBoard,
			one.LaunchAngleDeg,
			one.BreakpointText(),
			p.Subject.Athlete.Name,
			100*corridor.KeptShare,
		),
	}
}

func boardsOf(c line.Corridor) string {
	if c.OuterBoard == c.InnerBoard {
		return fmt.Sprintf("board %d", c.OuterBoard)
	}
	return fmt.Sprintf("boards %d to %d", c.OuterBoard, c.InnerBoard)
}
