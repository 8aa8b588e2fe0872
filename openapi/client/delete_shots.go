package client

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"laneward/openapi"
)

// push sends deletions and returns an outcome for each. It is safe to send the same again.
func (c *Client) push(ctx context.Context, squad uuid.UUID, items []openapi.PushItem) (Answer[openapi.PushResult], error) {
	body, err := json.Marshal(openapi.PushItems{Items: items})
	if err != nil {
		return Answer[openapi.PushResult]{}, fmt.Errorf("write the changes: %w", err)
	}
	answer, err := c.api.PushWithBodyWithResponse(resend(ctx), squad, &openapi.PushParams{}, jsonBody, bytes.NewReader(body))
	if err != nil {
		return Answer[openapi.PushResult]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// deletionsAtOnce is how many records one push deletes: the server commits so many together.
const deletionsAtOnce = 1000

// DeleteShots deletes shots, those that come with their ids and revisions from [Client.Shots]. It ends with the first that cannot be deleted;
// those before it are gone.
func (c *Client) DeleteShots(ctx context.Context, squad uuid.UUID, shots []openapi.Shot) error {
	deleted := true
	for len(shots) > 0 {
		batch := shots[:min(len(shots), deletionsAtOnce)]
		shots = shots[len(batch):]
		items := make([]openapi.PushItem, len(batch))
		for i, shot := range batch {
			items[i] = openapi.PushItem{Kind: openapi.KindShot, ID: shot.ID, Rev: shot.Rev, Deleted: &deleted}
		}
		result, err := c.push(ctx, squad, items)
		if err != nil {
			return err
		}
		for _, outcome := range result.Value.Outcomes {
			if failure := failureOf(outcome, batch); failure != nil {
				return failure
			}
		}
	}
	return nil
}

// failureOf tells why a shot was not deleted, nil when it was.
func failureOf(outcome openapi.PushOutcome, batch []openapi.Shot) error {
	if outcome.Outcome == openapi.PushOutcomeOutcomeStored || outcome.Outcome == openapi.PushOutcomeOutcomeSame {
		return nil
	}
	failure := &Error{Code: Invalid}
	if outcome.Outcome == openapi.PushOutcomeOutcomeConflict {
		failure.Code = Conflict
	}
	order := 0
	if outcome.Index < len(batch) {
		order = batch[outcome.Index].Order
	}
	failure.Detail = fmt.Sprintf("shot %d was not deleted (%s)", order, outcome.Outcome)
	if outcome.Errors != nil {
		failure.Faults = *outcome.Errors
	}
	return failure
}
