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
	PatternID *uuid.UUID   `json:"pattern_id,omitempty"`
	Note      string       `json:"note"`
}

// What a suggested drill asks for by default (common practice, no source).
const (
	suggestedReps      = 30
	suggestedPassShare = 0.8
)

// suggest makes the drill of a line's corridor; nil when there is nothing to keep inside of.
func (p *Planner) suggest(one line.Line) *SuggestedDrill {
	corridor := one.Corridor
	if !corridor.Found || corridor.EdgeOnly {
		return nil
	}
	board := float64(corridor.Board)
	rule := drill.Rule{Measure: drill.Board, At: drill.Place(corridor.At), Min: &board}
	return &SuggestedDrill{
		Name: fmt.Sprintf("%s: board %d or inside", p.pattern.Name, corridor.Board),
		Rules: []drill.Rule{
			rule,
		},
		Sentences: []string{rule.Sentence(nil)},
		Reps:      suggestedReps,
		PassShare: suggestedPassShare,
		PatternID: &p.pattern.ID,
		Note: fmt.Sprintf(
			"Made from a planned line with %s: feet at %.1f, target %.1f at the arrows, launch %.2f degrees, breakpoint %.1f at %.0f ft. "+
				"From outside board %.1f the ball no longer comes back, by the model.",
			p.Subject.Ball.Name,
			one.FeetBoard,
			one.TargetBoard,
			one.LaunchAngleDeg,
			one.Path.BreakpointBoard,
			one.Path.BreakpointFt,
			corridor.LimitBoard,
		),
	}
}
