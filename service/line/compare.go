package line

import (
	"context"
	"fmt"
	"math"
)

// Comparison sets two requests side by side: one athlete on two patterns, two athletes or two balls
// on one.
type Comparison struct {
	A Plan `json:"a"`
	B Plan `json:"b"`
	// AOnB and BOnA carry each one's first line over to the other request unchanged; nil where
	// there is no line to carry.
	AOnB *Carried `json:"a_on_b,omitempty"`
	BOnA *Carried `json:"b_on_a,omitempty"`
	// Move is how to get from A's first line to B's; nil unless both have one.
	Move *Move `json:"move,omitempty"`
	// Summary says it in one or two sentences.
	Summary string `json:"summary"`
}

// Carried is what becomes of a line under the other request.
type Carried struct {
	Hit           Hit     `json:"hit"`
	PinBoard      float64 `json:"pin_board"` // 0 when the typical delivery does not reach the pins
	EntryAngleDeg float64 `json:"entry_angle_deg"`
	Value
}

// Move is the difference from A's first line to B's, in boards inside (negative outside), and of
// the launch angle and the value.
type Move struct {
	FeetBoards     float64 `json:"feet_boards"`
	TargetBoards   float64 `json:"target_boards"`
	LaunchAngleDeg float64 `json:"launch_angle_deg"`
	Pins           float64 `json:"pins"`
}

// Compare plans both requests and carries the first line of each over to the other. Where a carried
// line turns out to be worth more than the one ranked first there, it is ranked first: no one is
// advised to move for less. progress may be nil; its stages begin with "a: " and "b: ".
func Compare(ctx context.Context, a, b Request, progress func(Progress)) (*Comparison, error) {
	within := func(name string) func(Progress) {
		return func(p Progress) {
			if progress != nil {
				p.Stage = name + ": " + p.Stage
				progress(p)
			}
		}
	}
	planA, err := Find(ctx, a, within("a"))
	if err != nil {
		return nil, fmt.Errorf("a: %w", err)
	}
	planB, err := Find(ctx, b, within("b"))
	if err != nil {
		return nil, fmt.Errorf("b: %w", err)
	}
	c := &Comparison{}
	if c.AOnB, planB, err = carry(ctx, planA, b, planB); err != nil {
		return nil, fmt.Errorf("b: %w", err)
	}
	carriedOver := firstAim(planA)
	if c.BOnA, planA, err = carry(ctx, planB, a, planA); err != nil {
		return nil, fmt.Errorf("a: %w", err)
	}
	if firstAim(planA) != carriedOver { // what was carried to B is no longer A's first line
		if c.AOnB, planB, err = carry(ctx, planA, b, planB); err != nil {
			return nil, fmt.Errorf("b: %w", err)
		}
	}
	c.A, c.B = *planA, *planB
	if len(c.A.Lines) > 0 && len(c.B.Lines) > 0 {
		from, to := c.A.Lines[0], c.B.Lines[0]
		c.Move = &Move{
			FeetBoards: to.FeetBoard - from.FeetBoard, TargetBoards: to.TargetBoard - from.TargetBoard,
			LaunchAngleDeg: to.LaunchAngleDeg - from.LaunchAngleDeg, Pins: to.Pins - from.Pins,
		}
	}
	c.Summary = c.summary()
	return c, nil
}

// firstAim is the aim of a plan's first line, zero without one.
func firstAim(plan *Plan) Aim {
	if len(plan.Lines) == 0 {
		return Aim{}
	}
	return plan.Lines[0].Aim
}

// carry values the first line of a plan under another request, and returns that request's plan,
// with the carried line first where it is worth more than the plan's own.
func carry(ctx context.Context, from *Plan, to Request, own *Plan) (*Carried, *Plan, error) {
	if len(from.Lines) == 0 {
		return nil, own, nil
	}
	aim := from.Lines[0].Aim
	if err := to.prepare(); err != nil {
		return nil, nil, err
	}
	scorer, err := newScorer(to)
	if err != nil {
		return nil, nil, err
	}
	typical := scorer.typical(aim)
	carried := &Carried{Hit: to.Pocket.hit(typical), PinBoard: typical.PinBoard, EntryAngleDeg: typical.EntryAngleDeg}
	carried.Value = scorer.score(aim, to.Athlete.Scatter.draws(to.evenDraws(finalDraws))).Value
	if len(own.Lines) > 0 && carried.Pins > own.Lines[0].Pins {
		to.Stay = &aim
		own, err = Find(ctx, to, nil)
	}
	return carried, own, err
}

func (c *Comparison) summary() string {
	switch {
	case c.Move != nil:
		return fmt.Sprintf(
			"From A's line to B's: feet %s, target %s. On A, A's line is worth %.1f pins a frame; on B it is worth %.1f, and B's own %.1f.%s",
			moveText(c.Move.FeetBoards),
			moveText(c.Move.TargetBoards),
			c.A.Lines[0].Pins,
			c.AOnB.Pins,
			c.B.Lines[0].Pins,
			c.notAdvised(),
		)
	case c.AOnB != nil:
		return fmt.Sprintf("Only A has a line (%.1f pins a frame).", c.A.Lines[0].Pins)
	case c.BOnA != nil:
		return fmt.Sprintf("Only B has a line (%.1f pins a frame).", c.B.Lines[0].Pins)
	}
	return "Neither has a line."
}

// notAdvised says why A's line is not B's, although it is worth more there; "" where it is not.
func (c *Comparison) notAdvised() string {
	switch {
	case c.AOnB.Pins <= c.B.Lines[0].Pins:
		return ""
	case c.AOnB.Hit == HitPocket:
		return " A's line is not advised on B: its feet or its target are out of reach there."
	}
	return fmt.Sprintf(" A's line is not advised on B: its typical delivery %s there.", c.AOnB.Hit.Words())
}

// moveText says a move in half boards: "2.5 boards inside", "the same".
func moveText(boards float64) string {
	halves := math.Round(2*boards) / 2
	switch {
	case halves == 0:
		return "the same"
	case halves < 0:
		return boardsText(-halves) + " " + outside
	}
	return boardsText(halves) + " " + inside
}
