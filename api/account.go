package api

import (
	"context"
	"fmt"
	"net/netip"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/service"
)

func (h *handlers) ChangePassword(
	ctx context.Context,
	r openapi.ChangePasswordRequestObject,
) (openapi.ChangePasswordResponseObject, error) {
	err := h.service.ChangePassword(ctx, clientOf(ctx).Identity, r.Body.CurrentPassword, r.Body.NewPassword)
	return openapi.ChangePassword204Response{}, err
}

func (h *handlers) ListSignIns(
	ctx context.Context,
	_ openapi.ListSignInsRequestObject,
) (openapi.ListSignInsResponseObject, error) {
	list, err := h.service.SignIns(ctx, userOf(ctx))
	if err != nil {
		return nil, err
	}
	answer := openapi.ListSignIns200JSONResponse{Items: make([]openapi.SignedInDevice, len(list))}
	for i, one := range list {
		answer.Items[i] = openapi.SignedInDevice{
			ID:         one.ID,
			Device:     one.Device,
			SignedInAt: one.Since,
			LastUsedAt: one.LastUsed,
			ExpiresAt:  one.Expires,
			Current:    one.ID == clientOf(ctx).SignIn,
		}
	}
	return answer, nil
}

func (h *handlers) EndSignIn(
	ctx context.Context,
	r openapi.EndSignInRequestObject,
) (openapi.EndSignInResponseObject, error) {
	return openapi.EndSignIn204Response{}, h.service.EndSignIn(ctx, userOf(ctx), r.SignInID)
}

func (h *handlers) EndSignIns(
	ctx context.Context,
	_ openapi.EndSignInsRequestObject,
) (openapi.EndSignInsResponseObject, error) {
	return openapi.EndSignIns204Response{}, h.service.EndAllSignIns(ctx, userOf(ctx))
}

func (h *handlers) GetRecoveryCodes(
	ctx context.Context,
	_ openapi.GetRecoveryCodesRequestObject,
) (openapi.GetRecoveryCodesResponseObject, error) {
	left, made, err := h.service.RecoveryCodesLeft(ctx, userOf(ctx))
	answer := openapi.GetRecoveryCodes200JSONResponse{Left: left}
	if made.Unix() > 0 {
		answer.CreatedAt = &made
	}
	return answer, err
}

func (h *handlers) CreateRecoveryCodes(
	ctx context.Context,
	r openapi.CreateRecoveryCodesRequestObject,
) (openapi.CreateRecoveryCodesResponseObject, error) {
	codes, err := h.service.MakeRecoveryCodes(ctx, userOf(ctx), r.Body.Password)
	return openapi.CreateRecoveryCodes201JSONResponse{Codes: codes}, err
}

func (h *handlers) DeleteAccount(
	ctx context.Context,
	r openapi.DeleteAccountRequestObject,
) (openapi.DeleteAccountResponseObject, error) {
	return openapi.DeleteAccount204Response{}, h.service.DeleteAccount(ctx, clientOf(ctx).Identity, r.Body.Password)
}

func (h *handlers) ResetPassword(
	ctx context.Context,
	r openapi.ResetPasswordRequestObject,
) (openapi.ResetPasswordResponseObject, error) {
	from, err := netip.ParseAddr(clientOf(ctx).ip)
	if err != nil {
		return nil, fmt.Errorf("read the client's address: %w", err)
	}
	tokens, err := h.service.ResetPassword(ctx, service.Reset{
		Email: r.Body.Email, Code: r.Body.Code, NewPassword: r.Body.NewPassword, Device: r.Body.Device, From: from,
	})
	return openapi.ResetPassword201JSONResponse(tokensOf(tokens)), err
}

func (h *handlers) CreateResetCode(
	ctx context.Context,
	r openapi.CreateResetCodeRequestObject,
) (openapi.CreateResetCodeResponseObject, error) {
	made, err := h.service.MakeResetCode(ctx, userOf(ctx), r.SquadID, r.MemberID)
	return openapi.CreateResetCode201JSONResponse{Code: made.Code, ExpiresAt: made.ExpiresAt}, err
}

func (h *handlers) ListAudit(
	ctx context.Context,
	r openapi.ListAuditRequestObject,
) (openapi.ListAuditResponseObject, error) {
	before, err := readCursor[uuid.UUID](r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	list, next, err := h.service.Audit(ctx, userOf(ctx), r.SquadID, before, limitOf(r.Params.Limit))
	if err != nil {
		return nil, err
	}
	answer := openapi.ListAudit200JSONResponse{Items: make([]openapi.AuditEntry, len(list))}
	for i, one := range list {
		entry := openapi.AuditEntry{ID: one.ID, At: one.At, Action: string(one.Action), SubjectID: one.Subject}
		if one.By != uuid.Nil {
			entry.ByID = &one.By
		}
		entry.ByName, entry.SubjectName, entry.Detail = said(one.ByName), said(one.SubjectName), said(one.Detail)
		answer.Items[i] = entry
	}
	if next != uuid.Nil {
		answer.Next, err = cursor(next)
	}
	return answer, err
}

// said is a text that is left out when it is empty.
func said(text string) *string {
	if text == "" {
		return nil
	}
	return &text
}
