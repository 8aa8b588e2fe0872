package client

import (
	"context"

	"github.com/google/uuid"

	"laneward/openapi"
)

// ReadSentence asks the server to read a rule from an English sentence.
func (c *Client) ReadSentence(ctx context.Context, squad uuid.UUID, sentence string) (Answer[openapi.ReadRule], error) {
	answer, err := c.api.ReadSentenceWithResponse(resend(ctx), squad, openapi.Sentence{Sentence: sentence})
	if err != nil {
		return Answer[openapi.ReadRule]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// Assign gives a drill to athletes, to all of them or to none; an athlete who holds it already
// keeps it, so it can be sent again.
func (c *Client) Assign(
	ctx context.Context,
	squad, drill uuid.UUID,
	request openapi.AssignRequest,
) (Answer[openapi.AssignedDrill], error) {
	answer, err := c.api.AssignDrillWithResponse(resend(ctx), squad, drill, request)
	if err != nil {
		return Answer[openapi.AssignedDrill]{}, err
	}
	stored := answer.JSON201
	if stored == nil {
		stored = answer.JSON200
	}
	return answerOf(stored, answer.Body, answer.HTTPResponse)
}

// Adherence asks for the scores of a drill: of one athlete unless nil, and of one session unless
// nil.
func (c *Client) Adherence(
	ctx context.Context,
	squad, drill uuid.UUID,
	athlete, session *uuid.UUID,
) (Answer[openapi.DrillAdherence], error) {
	answer, err := c.api.GetAdherenceWithResponse(
		ctx,
		squad,
		drill,
		&openapi.GetAdherenceParams{AthleteID: athlete, SessionID: session},
	)
	if err != nil {
		return Answer[openapi.DrillAdherence]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// Leaves counts what first balls left.
func (c *Client) Leaves(
	ctx context.Context,
	squad uuid.UUID,
	query openapi.GetLeavesParams,
) (Answer[openapi.Leaves], error) {
	answer, err := c.api.GetLeavesWithResponse(ctx, squad, &query)
	if err != nil {
		return Answer[openapi.Leaves]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// Judgements asks for the judgement of each shot of an athlete that counts for a drill; of one
// session unless nil.
func (c *Client) Judgements(
	ctx context.Context,
	squad, drill, athlete uuid.UUID,
	session *uuid.UUID,
) (Answer[openapi.Judgements], error) {
	answer, err := c.api.GetJudgementsWithResponse(
		ctx,
		squad,
		drill,
		athlete,
		&openapi.GetJudgementsParams{SessionID: session},
	)
	if err != nil {
		return Answer[openapi.Judgements]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// Picture asks for the lane with the corridor and an athlete's shots over it, as SVG; of one
// session unless nil.
func (c *Client) Picture(ctx context.Context, squad, drill, athlete uuid.UUID, session *uuid.UUID) ([]byte, error) {
	answer, err := c.api.GetDrillPictureWithResponse(
		ctx,
		squad,
		drill,
		athlete,
		&openapi.GetDrillPictureParams{SessionID: session},
	)
	if err != nil {
		return nil, err
	}
	return answer.Body, nil
}
