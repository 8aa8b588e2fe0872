package api

import (
	"context"
	"net/http"

	"laneward/openapi"
	"laneward/service"
	"laneward/service/tenpin"
)

func (h *handlers) GetLeaves(
	ctx context.Context,
	r openapi.GetLeavesRequestObject,
) (openapi.GetLeavesResponseObject, error) {
	query := service.LeavesQuery{Athlete: r.Params.AthleteID, Session: r.Params.SessionID, Drill: r.Params.DrillID}
	if r.Params.Lane != nil {
		number := int16(*r.Params.Lane) //nolint:gosec // the contract has it below 1,000
		query.Lane = &number
	}
	report, err := h.service.Leaves(ctx, userOf(ctx), r.SquadID, query)
	if err != nil {
		return nil, err
	}
	return leavesReply(report), nil
}

type leavesReply tenpin.LeaveReport

func (r leavesReply) VisitGetLeavesResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}
