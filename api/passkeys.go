package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/netip"

	"laneward/openapi"
	"laneward/service"
)

func (h *handlers) ListPasskeys(
	ctx context.Context,
	_ openapi.ListPasskeysRequestObject,
) (openapi.ListPasskeysResponseObject, error) {
	list, err := h.service.Passkeys(ctx, userOf(ctx))
	if err != nil {
		return nil, err
	}
	answer := openapi.ListPasskeys200JSONResponse{Items: make([]openapi.Passkey, len(list))}
	for i, one := range list {
		answer.Items[i] = passkeyOf(one)
	}
	return answer, nil
}

func passkeyOf(p service.Passkey) openapi.Passkey {
	return openapi.Passkey{ID: p.ID, Name: p.Name, CreatedAt: p.Made, LastUsedAt: p.LastUsed}
}

// ceremonyOf writes the options as they are: the browser knows their shape.
func ceremonyOf(c service.Ceremony) (answer openapi.PasskeyCeremony, err error) {
	answer.Ceremony = c.ID
	if err := json.Unmarshal(c.Options, &answer.Options); err != nil {
		return answer, fmt.Errorf("write the options of a passkey: %w", err)
	}
	return answer, nil
}

func (h *handlers) BeginPasskey(
	ctx context.Context,
	r openapi.BeginPasskeyRequestObject,
) (openapi.BeginPasskeyResponseObject, error) {
	begun, err := h.service.BeginPasskey(ctx, userOf(ctx), r.Body.Password, clientOf(ctx).origin)
	if err != nil {
		return nil, err
	}
	answer, err := ceremonyOf(begun)
	return openapi.BeginPasskey200JSONResponse(answer), err
}

func (h *handlers) AddPasskey(
	ctx context.Context,
	r openapi.AddPasskeyRequestObject,
) (openapi.AddPasskeyResponseObject, error) {
	made := service.NewPasskey{Ceremony: r.Body.Ceremony, Name: r.Body.Name, Credential: []byte(r.Body.Credential)}
	added, err := h.service.AddPasskey(ctx, userOf(ctx), made, clientOf(ctx).origin)
	return openapi.AddPasskey201JSONResponse(passkeyOf(added)), err
}

func (h *handlers) RemovePasskey(
	ctx context.Context,
	r openapi.RemovePasskeyRequestObject,
) (openapi.RemovePasskeyResponseObject, error) {
	return openapi.RemovePasskey204Response{}, h.service.RemovePasskey(ctx, userOf(ctx), r.PasskeyID)
}

func (h *handlers) BeginPasskeySignIn(
	ctx context.Context,
	_ openapi.BeginPasskeySignInRequestObject,
) (openapi.BeginPasskeySignInResponseObject, error) {
	from, err := netip.ParseAddr(clientOf(ctx).ip)
	if err != nil {
		return nil, fmt.Errorf("read the client's address: %w", err)
	}
	begun, err := h.service.BeginPasskeySignIn(ctx, clientOf(ctx).origin, from)
	if err != nil {
		return nil, err
	}
	answer, err := ceremonyOf(begun)
	return openapi.BeginPasskeySignIn200JSONResponse(answer), err
}

func (h *handlers) SignInWithPasskey(
	ctx context.Context,
	r openapi.SignInWithPasskeyRequestObject,
) (openapi.SignInWithPasskeyResponseObject, error) {
	credential, origin := []byte(r.Body.Credential), clientOf(ctx).origin
	tokens, err := h.service.SignInWithPasskey(ctx, r.Body.Ceremony, credential, r.Body.Device, origin)
	return openapi.SignInWithPasskey201JSONResponse(tokensOf(tokens)), err
}
