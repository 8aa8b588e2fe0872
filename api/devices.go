package api

import (
	"context"

	"laneward/openapi"
)

// ListDevices lists when each device of the squad last synced.
func (h *handlers) ListDevices(
	ctx context.Context,
	r openapi.ListDevicesRequestObject,
) (openapi.ListDevicesResponseObject, error) {
	list, rev, err := h.service.DeviceSyncs(ctx, userOf(ctx), r.SquadID, r.Params.AthleteID)
	if err != nil {
		return nil, err
	}
	answer := openapi.ListDevices200JSONResponse{Rev: rev, Items: make([]openapi.SyncedDevice, len(list))}
	for i, one := range list {
		answer.Items[i] = openapi.SyncedDevice{
			UserID:    one.User,
			Name:      one.Name,
			AthleteID: one.Athlete,
			Device:    one.Device,
			Rev:       one.Rev,
			SyncedAt:  one.SyncedAt,
		}
	}
	return answer, nil
}
