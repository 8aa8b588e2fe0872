package api

import (
	"context"

	"laneward/openapi"
	"laneward/service"
)

// GetUsage says how much of its quota a squad has used.
func (h *handlers) GetUsage(
	ctx context.Context,
	r openapi.GetUsageRequestObject,
) (openapi.GetUsageResponseObject, error) {
	usage, err := h.service.Usage(ctx, userOf(ctx), r.SquadID)
	if err != nil {
		return nil, err
	}
	return openapi.GetUsage200JSONResponse(usageOf(usage)), nil
}

func usageOf(u service.Usage) openapi.Usage {
	answer := openapi.Usage{Records: u.Records, Near: u.Near(), Full: u.Full()}
	if u.Quota > 0 {
		answer.Quota = &u.Quota
	}
	return answer
}
