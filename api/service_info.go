package api

import (
	"context"
	"encoding/json"
	"fmt"

	"laneward/openapi"
	"laneward/service"
)

func (h *handlers) GetHealth(context.Context, openapi.GetHealthRequestObject) (openapi.GetHealthResponseObject, error) {
	return openapi.GetHealth200JSONResponse{Status: openapi.Ok, Version: &h.version}, nil
}

func (h *handlers) GetReady(
	ctx context.Context,
	_ openapi.GetReadyRequestObject,
) (openapi.GetReadyResponseObject, error) {
	select {
	case <-h.leaving:
		return nil, &service.Error{Code: service.Unavailable, Detail: "this server is about to stop: send requests to another"}
	default:
	}
	if err := h.service.Ready(ctx); err != nil {
		return nil, err
	}
	return openapi.GetReady200JSONResponse{Status: openapi.Ok, Version: &h.version}, nil
}

func (h *handlers) GetContract(
	context.Context,
	openapi.GetContractRequestObject,
) (openapi.GetContractResponseObject, error) {
	var document map[string]any
	if err := json.Unmarshal(h.contract.asJSON, &document); err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	return openapi.GetContract200JSONResponse(document), nil
}

func (h *handlers) GetKeys(context.Context, openapi.GetKeysRequestObject) (openapi.GetKeysResponseObject, error) {
	public := h.service.PublicKeys()
	answer := openapi.GetKeys200JSONResponse{Keys: make([]openapi.Key, len(public))}
	for i, key := range public {
		answer.Keys[i] = openapi.Key{
			Kty: key.KeyType,
			Crv: key.Curve,
			X:   key.X,
			Kid: key.ID,
			Alg: key.Alg,
			Use: key.Use,
		}
	}
	return answer, nil
}
