package client

import (
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"net/http"

	"github.com/google/uuid"

	"laneward/openapi"
)

// CreateSquad creates a squad with the user as its coach. Its id is chosen here, so that sending it
// again after a lost answer creates it once.
func (c *Client) CreateSquad(ctx context.Context, name string) (Answer[openapi.Squad], error) {
	id, err := uuid.NewV7()
	if err != nil {
		return Answer[openapi.Squad]{}, fmt.Errorf("make an id: %w", err)
	}
	squad, err := json.Marshal(openapi.Squad{ID: &id, Name: name})
	if err != nil {
		return Answer[openapi.Squad]{}, fmt.Errorf("write the squad: %w", err)
	}
	answer, err := c.api.CreateSquadWithResponse(resend(ctx), squad)
	if err != nil {
		return Answer[openapi.Squad]{}, err
	}
	if answer.JSON200 != nil { // an earlier attempt, whose answer was lost, had created it
		return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
	}
	return answerOf(answer.JSON201, answer.Body, answer.HTTPResponse)
}

// Invite creates an invitation; only its answer contains the code. athlete is whom an invited
// athlete will be, nil for other roles.
func (c *Client) Invite(
	ctx context.Context,
	squad uuid.UUID,
	role openapi.Role,
	athlete *uuid.UUID,
) (Answer[openapi.Invitation], error) {
	answer, err := c.api.CreateInvitationWithResponse(ctx, squad, openapi.Invite{Role: role, AthleteID: athlete})
	if err != nil {
		return Answer[openapi.Invitation]{}, err
	}
	return answerOf(answer.JSON201, answer.Body, answer.HTTPResponse)
}

// Join spends an invitation's code.
func (c *Client) Join(ctx context.Context, code string) (Answer[openapi.Member], error) {
	answer, err := c.api.AcceptInvitationWithResponse(ctx, openapi.InvitationCode{Code: code})
	if err != nil {
		return Answer[openapi.Member]{}, err
	}
	return answerOf(answer.JSON201, answer.Body, answer.HTTPResponse)
}

// Devices lists when each device of the squad last synced, or those of an athlete.
func (c *Client) Devices(
	ctx context.Context,
	squad uuid.UUID,
	athlete *uuid.UUID,
) (Answer[openapi.SyncedDeviceList], error) {
	answer, err := c.api.ListDevicesWithResponse(ctx, squad, &openapi.ListDevicesParams{AthleteID: athlete})
	if err != nil {
		return Answer[openapi.SyncedDeviceList]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// Usage reports how much of its quota the squad has used.
func (c *Client) Usage(ctx context.Context, squad uuid.UUID) (Answer[openapi.Usage], error) {
	answer, err := c.api.GetUsageWithResponse(ctx, squad)
	if err != nil {
		return Answer[openapi.Usage]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// Members lists the squad's members that the user may see.
func (c *Client) Members(ctx context.Context, squad uuid.UUID) iter.Seq2[Answer[openapi.Member], error] {
	return items[openapi.Member](func(limit *int, cursor *string) (*http.Response, error) {
		return c.api.ListMembers(ctx, squad, &openapi.ListMembersParams{Limit: limit, Cursor: cursor})
	})
}

// Invitations lists the squad's invitations.
func (c *Client) Invitations(ctx context.Context, squad uuid.UUID) iter.Seq2[Answer[openapi.Invitation], error] {
	return items[openapi.Invitation](func(limit *int, cursor *string) (*http.Response, error) {
		return c.api.ListInvitations(ctx, squad, &openapi.ListInvitationsParams{Limit: limit, Cursor: cursor})
	})
}

// Shots lists a session's shots, by athlete and order.
func (c *Client) Shots(ctx context.Context, squad, session uuid.UUID) iter.Seq2[Answer[openapi.Shot], error] {
	return items[openapi.Shot](func(limit *int, cursor *string) (*http.Response, error) {
		return c.api.ListShots(ctx, squad, session, &openapi.ListShotsParams{Limit: limit, Cursor: cursor})
	})
}

// pageSize is how many items one request lists, the most the contract allows.
const pageSize = 1000

// listed is an item of a list, and the head of its page.
type listed struct {
	text json.RawMessage
	head string
}

// pages goes through a list page by page. It ends with the first error.
func pages(list func(limit *int, cursor *string) (*http.Response, error)) iter.Seq2[listed, error] {
	return func(yield func(listed, error) bool) {
		limit := pageSize
		var cursor *string
		for {
			var page struct {
				Items []json.RawMessage `json:"items"`
				Head  string            `json:"head"`
				Next  *string           `json:"next"`
			}
			if err := read(&page)(list(&limit, cursor)); err != nil {
				yield(listed{}, err)
				return
			}
			for _, item := range page.Items {
				if !yield(listed{item, page.Head}, nil) {
					return
				}
			}
			if page.Next == nil {
				return
			}
			cursor = page.Next
		}
	}
}

// items is pages with each item decoded.
func items[T any](list func(limit *int, cursor *string) (*http.Response, error)) iter.Seq2[Answer[T], error] {
	return func(yield func(Answer[T], error) bool) {
		for one, err := range pages(list) {
			item := Answer[T]{JSON: one.text}
			if err == nil {
				err = json.Unmarshal(one.text, &item.Value)
			}
			if !yield(item, err) || err != nil {
				return
			}
		}
	}
}
