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
	// AOnB and BOnA carry each one's best line over to the other request unchanged; nil where there
	// is no line to carry.
	AOnB *Carried `json:"a_on_b,omitempty"`
	BOnA *Carried `json:"b_on_a,omitempty"`
	// Move is how to get from A's best line to B's; nil unless both have one.
	Move *Move `json:"move,omitempty"`
	// Summary says it in one sentence.
	Summary string `json:"summary"`
}

// Carried is what becomes of a line under the other request.
type Carried struct {
	Hit           Hit     `json:"hit"`
	PinBoard      float64 `json:"pin_board"` // 0 when the usual delivery does not reach the pins
	EntryAngleDeg float64 `json:"entry_angle_deg"`
	PocketShare   float64 `json:"pocket_share"`
	GutterShare   float64 `json:"gutter_share"`
}

// Move is the difference from A's best line to B's, in boards inside (negative outside), and of the
// launch angle and the share.
type Move struct {
	FeetBoards     float64 `json:"feet_boards"`
	TargetBoards   float64 `json:"target_boards"`
	LaunchAngleDeg float64 `json:"launch_angle_deg"`
	PocketShare    float64 `json:"pocket_share"`
}

// Compare plans both requests and carries the best line of each over to the other. progress may be
// nil; its stages begin with "a: " and "b: ".
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
	c := &Comparison{A: *planA, B: *planB}
	if len(planA.Lines) > 0 {
		if c.AOnB, err = carry(planA.Lines[0].Aim, b); err != nil {
			return nil, err
		}
	}
	if len(planB.Lines) > 0 {
		if c.BOnA, err = carry(planB.Lines[0].Aim, a); err != nil {
			return nil, err
		}
	}
	if len(planA.Lines) > 0 && len(planB.Lines) > 0 {
		from, to := planA.Lines[0], planB.Lines[0]
		c.Move = &Move{
			FeetBoards: to.FeetBoard - from.FeetBoard, TargetBoards: to.TargetBoard - from.TargetBoard,
			LaunchAngleDeg: to.LaunchAngleDeg - from.LaunchAngleDeg, PocketShare: to.PocketShare - from.PocketShare,
		}
	}
	c.Summary = c.summary()
	return c, nil
}

func carry(aim Aim, to Request) (*Carried, error) {
	if err := to.prepare(); err != nil {
		return nil, err
	}
	scorer, err := newScorer(to)
	if err != nil {
		return nil, err
	}
	usual := scorer.run(aim)
	carried := &Carried{Hit: to.Pocket.hit(usual), PinBoard: usual.PinBoard, EntryAngleDeg: usual.EntryAngleDeg}
	carried.PocketShare, carried.GutterShare = scorer.shares(aim, to.Athlete.Scatter.draws(finalDraws))
	return carried, nil
}

func (c *Comparison) summary() string {
	switch {
	case c.Move != nil:
		return fmt.Sprintf(
			"From A's best line to B's the feet move %s and the target %s; A's line keeps %.0f %% of the shots in the pocket on A, "+
				"%.0f %% on B, where B's own line keeps %.0f %%.",
			moveText(c.Move.FeetBoards),
			moveText(c.Move.TargetBoards),
			100*c.A.Lines[0].PocketShare,
			100*c.AOnB.PocketShare,
			100*c.B.Lines[0].PocketShare,
		)
	case c.AOnB != nil:
		return fmt.Sprintf("Only A has a line (%.0f %% of the shots in the pocket).", 100*c.A.Lines[0].PocketShare)
	case c.BOnA != nil:
		return fmt.Sprintf("Only B has a line (%.0f %% of the shots in the pocket).", 100*c.B.Lines[0].PocketShare)
	}
	return "Neither has a line."
}

func moveText(boards float64) string {
	side := inside
	if boards < 0 {
		side = outside
	}
	return fmt.Sprintf("%.1f boards %s", math.Abs(boards), side)
}
