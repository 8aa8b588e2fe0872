package client

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"laneward/openapi"
)

// DeleteShots deletes shots, those that come with their ids and revisions from [Client.Shots]. It
// ends with the first that cannot be deleted; those before it are gone.
func (c *Client) DeleteShots(ctx context.Context, squad uuid.UUID, shots []openapi.Shot) error {
	for len(shots) > 0 {
		batch := shots[:min(len(shots), MaxPush)]
		shots = shots[len(batch):]
		changes := make([]Change, len(batch))
		for i, shot := range batch {
			changes[i] = Change{Kind: Shot, ID: *shot.ID, Rev: *shot.Rev, Deleted: true}
		}
		outcomes, err := c.Send(ctx, squad, changes)
		if err != nil {
			return err
		}
		for i, outcome := range outcomes {
			if failure := failureOf(outcome, batch[i].Order); failure != nil {
				return failure
			}
		}
	}
	return nil
}

// failureOf tells why a shot was not deleted, nil when it was.
func failureOf(outcome Outcome, order int) error {
	failure := &Error{
		Code:   Invalid,
		Detail: fmt.Sprintf("shot %d was not deleted (%s)", order, outcome.Outcome),
		Faults: outcome.Errors,
	}
	switch outcome.Outcome {
	case Stored, Same:
		return nil
	case Conflicting:
		failure.Code = Conflict
	}
	return failure
}
