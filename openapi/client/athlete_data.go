package client

import (
	"context"

	"github.com/google/uuid"

	"laneward/openapi"
)

const zipped = "application/zip"

// Export asks for everything the squad holds of an athlete, as a zip of JSON and CSV.
func (c *Client) Export(ctx context.Context, squad, athlete uuid.UUID) ([]byte, error) {
	answer, err := c.api.ExportAthleteWithResponse(ctx, squad, athlete)
	if err != nil {
		return nil, err
	}
	return answer.Body, nil
}

// Erase removes an athlete and everything of theirs for good, and returns how many records that
// were. confirm is the athlete's name. It is never retried: after a lost answer the athlete is
// [NotFound].
func (c *Client) Erase(ctx context.Context, squad, athlete uuid.UUID, confirm string) (Answer[openapi.Erased], error) {
	answer, err := c.api.EraseAthleteWithResponse(ctx, squad, athlete, openapi.Confirmation{Confirm: confirm})
	if err != nil {
		return Answer[openapi.Erased]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}
