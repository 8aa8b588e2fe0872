package api

import (
	"context"
	"fmt"
	"net/http"
	"net/netip"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/service"
	"laneward/service/record"
)

func (h *handlers) SignUp(ctx context.Context, r openapi.SignUpRequestObject) (openapi.SignUpResponseObject, error) {
	from, err := netip.ParseAddr(clientOf(ctx).ip)
	if err != nil {
		return nil, fmt.Errorf("read the client's address: %w", err)
	}
	tokens, err := h.service.SignUp(ctx, service.NewUser{
		Email: r.Body.Email, Name: r.Body.Name, Password: r.Body.Password, Device: r.Body.Device, From: from,
	})
	return openapi.SignUp201JSONResponse(tokensOf(tokens)), err
}

func (h *handlers) SignIn(ctx context.Context, r openapi.SignInRequestObject) (openapi.SignInResponseObject, error) {
	from, err := netip.ParseAddr(clientOf(ctx).ip)
	if err != nil {
		return nil, fmt.Errorf("read the client's address: %w", err)
	}
	tokens, err := h.service.SignIn(ctx, service.Attempt{
		Email: r.Body.Email, Password: r.Body.Password, Device: r.Body.Device,
		Mark: text(r.Body.DeviceToken), From: from,
	})
	return openapi.SignIn201JSONResponse(tokensOf(tokens)), err
}

func (h *handlers) RefreshTokens(
	ctx context.Context,
	r openapi.RefreshTokensRequestObject,
) (openapi.RefreshTokensResponseObject, error) {
	tokens, err := h.service.Refresh(ctx, r.Body.RefreshToken, r.Body.Device)
	return openapi.RefreshTokens201JSONResponse(tokensOf(tokens)), err
}

func (h *handlers) SignOut(ctx context.Context, r openapi.SignOutRequestObject) (openapi.SignOutResponseObject, error) {
	return openapi.SignOut204Response{}, h.service.SignOut(ctx, r.Body.RefreshToken)
}

func tokensOf(t service.Tokens) openapi.Tokens {
	return openapi.Tokens{
		AccessToken:  t.Access,
		RefreshToken: t.Refresh,
		TokenType:    "Bearer",
		ExpiresIn:    int(service.AccessTTL.Seconds()),
		UserID:       t.User,
		DeviceToken:  &t.Mark,
	}
}

func (h *handlers) GetMe(ctx context.Context, _ openapi.GetMeRequestObject) (openapi.GetMeResponseObject, error) {
	me, err := h.service.Me(ctx, userOf(ctx))
	if err != nil {
		return nil, err
	}
	answer := openapi.GetMe200JSONResponse{
		UserID: me.ID,
		Email:  me.Email,
		Name:   me.Name,
		Squads: make([]openapi.MySquad, len(me.Squads)),
	}
	for i, squad := range me.Squads {
		answer.Squads[i] = openapi.MySquad{
			SquadID:   squad.ID,
			Name:      squad.Name,
			Role:      openapi.Role(squad.Role),
			AthleteID: squad.Athlete,
		}
	}
	return answer, nil
}

func (h *handlers) CreateSquad(
	ctx context.Context,
	r openapi.CreateSquadRequestObject,
) (openapi.CreateSquadResponseObject, error) {
	rec, err := decode(record.KindSquad, "", r.Body)
	if err != nil {
		return nil, err
	}
	squad, created, err := h.service.CreateSquad(ctx, userOf(ctx), rec.(*record.Squad))
	if err != nil {
		return nil, err
	}
	reply := recordReply{status: http.StatusOK, version: service.VersionOf(squad), record: squad}
	if created {
		reply.status, reply.location = http.StatusCreated, "/v1/squads/"+squad.ID.String()
	}
	return reply, nil
}

func (h *handlers) GetSquad(
	ctx context.Context,
	r openapi.GetSquadRequestObject,
) (openapi.GetSquadResponseObject, error) {
	return h.get(ctx, r.SquadID, record.KindSquad, r.SquadID, r.Params.IfNoneMatch)
}

func (h *handlers) ReplaceSquad(
	ctx context.Context,
	r openapi.ReplaceSquadRequestObject,
) (openapi.ReplaceSquadResponseObject, error) {
	return h.replace(ctx, r.SquadID, record.KindSquad, r.SquadID, r.Params.IfMatch, r.Params.Schema, r.Body)
}

func (r recordReply) VisitCreateSquadResponse(w http.ResponseWriter) error  { return r.write(w) }
func (r recordReply) VisitGetSquadResponse(w http.ResponseWriter) error     { return r.write(w) }
func (r recordReply) VisitReplaceSquadResponse(w http.ResponseWriter) error { return r.write(w) }

func (h *handlers) ListMembers(
	ctx context.Context,
	r openapi.ListMembersRequestObject,
) (openapi.ListMembersResponseObject, error) {
	return h.list(ctx, r.SquadID, record.KindMember, r.Params.Limit, r.Params.Cursor)
}

func (h *handlers) ReplaceMember(
	ctx context.Context,
	r openapi.ReplaceMemberRequestObject,
) (openapi.ReplaceMemberResponseObject, error) {
	base, err := h.baseOf(ctx, r.SquadID, record.KindMember, r.MemberID, r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	record, err := h.service.SetRole(
		ctx,
		userOf(ctx),
		r.SquadID,
		r.MemberID,
		base,
		record.Role(r.Body.Role),
		r.Body.AthleteID,
	)
	if err != nil {
		return nil, err
	}
	return recordReply{status: http.StatusOK, version: service.VersionOf(record), record: record}, nil
}

func (h *handlers) DeleteMember(
	ctx context.Context,
	r openapi.DeleteMemberRequestObject,
) (openapi.DeleteMemberResponseObject, error) {
	base, err := h.baseOf(ctx, r.SquadID, record.KindMember, r.MemberID, r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	return openapi.DeleteMember204Response{}, h.service.RemoveMember(ctx, userOf(ctx), r.SquadID, r.MemberID, base)
}

func (p pageReply) VisitListMembersResponse(w http.ResponseWriter) error     { return p.write(w) }
func (r recordReply) VisitReplaceMemberResponse(w http.ResponseWriter) error { return r.write(w) }

func (h *handlers) CreateInvitation(
	ctx context.Context,
	r openapi.CreateInvitationRequestObject,
) (openapi.CreateInvitationResponseObject, error) {
	made, err := h.service.Invite(ctx, userOf(ctx), r.SquadID, record.Role(r.Body.Role), r.Body.AthleteID)
	if err != nil {
		return nil, err
	}
	answer := openapi.CreateInvitation201JSONResponse(invitationOf(made))
	answer.Code = &made.Code
	return answer, nil
}

func invitationOf(i service.Invitation) openapi.Invitation {
	return openapi.Invitation{
		ID:        i.ID,
		Role:      openapi.Role(i.Role),
		AthleteID: i.AthleteID,
		ExpiresAt: i.ExpiresAt,
		UsedAt:    i.UsedAt,
	}
}

func (h *handlers) ListInvitations(
	ctx context.Context,
	r openapi.ListInvitationsRequestObject,
) (openapi.ListInvitationsResponseObject, error) {
	after, err := readCursor[uuid.UUID](r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	list, next, err := h.service.Invitations(ctx, userOf(ctx), r.SquadID, after, limitOf(r.Params.Limit))
	if err != nil {
		return nil, err
	}
	answer := openapi.ListInvitations200JSONResponse{Items: make([]openapi.Invitation, len(list))}
	for i, one := range list {
		answer.Items[i] = invitationOf(one)
	}
	if next != uuid.Nil {
		answer.Next, err = cursor(next)
	}
	return answer, err
}

func (h *handlers) DeleteInvitation(
	ctx context.Context,
	r openapi.DeleteInvitationRequestObject,
) (openapi.DeleteInvitationResponseObject, error) {
	return openapi.DeleteInvitation204Response{}, h.service.Withdraw(ctx, userOf(ctx), r.SquadID, r.InvitationID)
}

func (h *handlers) AcceptInvitation(
	ctx context.Context,
	r openapi.AcceptInvitationRequestObject,
) (openapi.AcceptInvitationResponseObject, error) {
	squad, joined, err := h.service.Join(ctx, userOf(ctx), r.Body.Code)
	if err != nil {
		return nil, err
	}
	return openapi.AcceptInvitation201JSONResponse{
		ID:        joined.ID,
		Rev:       &joined.Rev,
		UserID:    joined.UserID,
		Name:      joined.Name,
		Role:      openapi.Role(joined.Role),
		AthleteID: joined.AthleteID,
		SquadID:   &squad,
	}, nil
}
