package client

import (
	"context"
	"io"
	"net/http"

	"github.com/google/uuid"

	"laneward/openapi"
)

// Kind is a kind of record that a squad keeps.
type Kind string

// The kinds of record.
const (
	Athlete    = Kind(openapi.KindAthlete)
	Ball       = Kind(openapi.KindBall)
	Pattern    = Kind(openapi.KindPattern)
	Session    = Kind(openapi.KindSession)
	Drill      = Kind(openapi.KindDrill)
	Assignment = Kind(openapi.KindAssignment)
	Shot       = Kind(openapi.KindShot) // of a session: listed by [Client.Shots], stored by [Client.Upload]
)

// Kinds are the kinds a squad lists and adds to one by one, those that others refer to first.
var Kinds = []Kind{Athlete, Ball, Pattern, Session, Drill, Assignment}

// Plural is the kind's name for many.
func (k Kind) Plural() string { return string(k) + "s" }

const jsonBody = "application/json"

// operations are the contract's operations on one kind.
type operations struct {
	list    func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, limit *int, cursor *string) (*http.Response, error)
	create  func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, body io.Reader) (*http.Response, error)
	get     func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID) (*http.Response, error)
	replace func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string, body io.Reader) (*http.Response, error)
	remove  func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string) (*http.Response, error)
}

// contract has one entry a kind, alike on purpose: the generated client has a method of its own for
// each.
var contract = map[Kind]operations{
	Athlete: {
		list: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, limit *int, cursor *string) (*http.Response, error) {
			return api.ListAthletes(ctx, squad, &openapi.ListAthletesParams{Limit: limit, Cursor: cursor})
		},
		create: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, body io.Reader) (*http.Response, error) {
			return api.CreateAthleteWithBody(ctx, squad, jsonBody, body)
		},
		get: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID) (*http.Response, error) {
			return api.GetAthlete(ctx, squad, id, &openapi.GetAthleteParams{})
		},
		replace: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string, body io.Reader) (*http.Response, error) {
			return api.ReplaceAthleteWithBody(
				ctx,
				squad,
				id,
				&openapi.ReplaceAthleteParams{IfMatch: &base},
				jsonBody,
				body,
			)
		},
		remove: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string) (*http.Response, error) {
			return api.DeleteAthlete(ctx, squad, id, &openapi.DeleteAthleteParams{IfMatch: &base})
		},
	},
	Ball: {
		list: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, limit *int, cursor *string) (*http.Response, error) {
			return api.ListBalls(ctx, squad, &openapi.ListBallsParams{Limit: limit, Cursor: cursor})
		},
		create: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, body io.Reader) (*http.Response, error) {
			return api.CreateBallWithBody(ctx, squad, jsonBody, body)
		},
		get: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID) (*http.Response, error) {
			return api.GetBall(ctx, squad, id, &openapi.GetBallParams{})
		},
		replace: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string, body io.Reader) (*http.Response, error) {
			return api.ReplaceBallWithBody(ctx, squad, id, &openapi.ReplaceBallParams{IfMatch: &base}, jsonBody, body)
		},
		remove: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string) (*http.Response, error) {
			return api.DeleteBall(ctx, squad, id, &openapi.DeleteBallParams{IfMatch: &base})
		},
	},
	Pattern: {
		list: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, limit *int, cursor *string) (*http.Response, error) {
			return api.ListPatterns(ctx, squad, &openapi.ListPatternsParams{Limit: limit, Cursor: cursor})
		},
		create: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, body io.Reader) (*http.Response, error) {
			return api.CreatePatternWithBody(ctx, squad, jsonBody, body)
		},
		get: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID) (*http.Response, error) {
			return api.GetPattern(ctx, squad, id, &openapi.GetPatternParams{})
		},
		replace: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string, body io.Reader) (*http.Response, error) {
			return api.ReplacePatternWithBody(
				ctx,
				squad,
				id,
				&openapi.ReplacePatternParams{IfMatch: &base},
				jsonBody,
				body,
			)
		},
		remove: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string) (*http.Response, error) {
			return api.DeletePattern(ctx, squad, id, &openapi.DeletePatternParams{IfMatch: &base})
		},
	},
	Session: {
		list: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, limit *int, cursor *string) (*http.Response, error) {
			return api.ListSessions(ctx, squad, &openapi.ListSessionsParams{Limit: limit, Cursor: cursor})
		},
		create: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, body io.Reader) (*http.Response, error) {
			return api.CreateSessionWithBody(ctx, squad, jsonBody, body)
		},
		get: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID) (*http.Response, error) {
			return api.GetSession(ctx, squad, id, &openapi.GetSessionParams{})
		},
		replace: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string, body io.Reader) (*http.Response, error) {
			return api.ReplaceSessionWithBody(
				ctx,
				squad,
				id,
				&openapi.ReplaceSessionParams{IfMatch: &base},
				jsonBody,
				body,
			)
		},
		remove: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string) (*http.Response, error) {
			return api.DeleteSession(ctx, squad, id, &openapi.DeleteSessionParams{IfMatch: &base})
		},
	},
	Drill: {
		list: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, limit *int, cursor *string) (*http.Response, error) {
			return api.ListDrills(ctx, squad, &openapi.ListDrillsParams{Limit: limit, Cursor: cursor})
		},
		create: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, body io.Reader) (*http.Response, error) {
			return api.CreateDrillWithBody(ctx, squad, jsonBody, body)
		},
		get: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID) (*http.Response, error) {
			return api.GetDrill(ctx, squad, id, &openapi.GetDrillParams{})
		},
		replace: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string, body io.Reader) (*http.Response, error) {
			return api.ReplaceDrillWithBody(ctx, squad, id, &openapi.ReplaceDrillParams{IfMatch: &base}, jsonBody, body)
		},
		remove: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string) (*http.Response, error) {
			return api.DeleteDrill(ctx, squad, id, &openapi.DeleteDrillParams{IfMatch: &base})
		},
	},
	Assignment: {
		list: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, limit *int, cursor *string) (*http.Response, error) {
			return api.ListAssignments(ctx, squad, &openapi.ListAssignmentsParams{Limit: limit, Cursor: cursor})
		},
		create: func(ctx context.Context, api openapi.ClientInterface, squad uuid.UUID, body io.Reader) (*http.Response, error) {
			return api.CreateAssignmentWithBody(ctx, squad, jsonBody, body)
		},
		get: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID) (*http.Response, error) {
			return api.GetAssignment(ctx, squad, id, &openapi.GetAssignmentParams{})
		},
		replace: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string, body io.Reader) (*http.Response, error) {
			return api.ReplaceAssignmentWithBody(
				ctx,
				squad,
				id,
				&openapi.ReplaceAssignmentParams{IfMatch: &base},
				jsonBody,
				body,
			)
		},
		remove: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string) (*http.Response, error) {
			return api.DeleteAssignment(ctx, squad, id, &openapi.DeleteAssignmentParams{IfMatch: &base})
		},
	},
	Shot: {
		get: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID) (*http.Response, error) {
			return api.GetShot(ctx, squad, id, &openapi.GetShotParams{})
		},
		replace: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string, body io.Reader) (*http.Response, error) {
			return api.ReplaceShotWithBody(ctx, squad, id, &openapi.ReplaceShotParams{IfMatch: &base}, jsonBody, body)
		},
		remove: func(ctx context.Context, api openapi.ClientInterface, squad, id uuid.UUID, base string) (*http.Response, error) {
			return api.DeleteShot(ctx, squad, id, &openapi.DeleteShotParams{IfMatch: &base})
		},
	},
}
