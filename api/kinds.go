package api

import (
	"context"
	"net/http"

	"laneward/openapi"
	"laneward/service/record"
)

// One set of operations a kind of record, alike on purpose: what they do is in records.go.

func (h *handlers) ListAthletes(
	ctx context.Context,
	r openapi.ListAthletesRequestObject,
) (openapi.ListAthletesResponseObject, error) {
	return h.list(ctx, r.SquadID, record.KindAthlete, r.Params.Limit, r.Params.Cursor)
}

func (h *handlers) CreateAthlete(
	ctx context.Context,
	r openapi.CreateAthleteRequestObject,
) (openapi.CreateAthleteResponseObject, error) {
	return h.create(ctx, r.SquadID, record.KindAthlete, "athletes", r.Body)
}

func (h *handlers) GetAthlete(
	ctx context.Context,
	r openapi.GetAthleteRequestObject,
) (openapi.GetAthleteResponseObject, error) {
	return h.get(ctx, r.SquadID, record.KindAthlete, r.AthleteID, r.Params.IfNoneMatch)
}

func (h *handlers) ReplaceAthlete(
	ctx context.Context,
	r openapi.ReplaceAthleteRequestObject,
) (openapi.ReplaceAthleteResponseObject, error) {
	return h.replace(ctx, r.SquadID, record.KindAthlete, r.AthleteID, r.Params.IfMatch, r.Params.Schema, r.Body)
}

func (h *handlers) DeleteAthlete(
	ctx context.Context,
	r openapi.DeleteAthleteRequestObject,
) (openapi.DeleteAthleteResponseObject, error) {
	return h.remove(ctx, r.SquadID, record.KindAthlete, r.AthleteID, r.Params.IfMatch)
}

func (p pageReply) VisitListAthletesResponse(w http.ResponseWriter) error     { return p.write(w) }
func (r recordReply) VisitCreateAthleteResponse(w http.ResponseWriter) error  { return r.write(w) }
func (r recordReply) VisitGetAthleteResponse(w http.ResponseWriter) error     { return r.write(w) }
func (r recordReply) VisitReplaceAthleteResponse(w http.ResponseWriter) error { return r.write(w) }
func (r recordReply) VisitDeleteAthleteResponse(w http.ResponseWriter) error  { return r.write(w) }

func (h *handlers) ListBalls(
	ctx context.Context,
	r openapi.ListBallsRequestObject,
) (openapi.ListBallsResponseObject, error) {
	return h.list(ctx, r.SquadID, record.KindBall, r.Params.Limit, r.Params.Cursor)
}

func (h *handlers) CreateBall(
	ctx context.Context,
	r openapi.CreateBallRequestObject,
) (openapi.CreateBallResponseObject, error) {
	return h.create(ctx, r.SquadID, record.KindBall, "balls", r.Body)
}

func (h *handlers) GetBall(ctx context.Context, r openapi.GetBallRequestObject) (openapi.GetBallResponseObject, error) {
	return h.get(ctx, r.SquadID, record.KindBall, r.BallID, r.Params.IfNoneMatch)
}

func (h *handlers) ReplaceBall(
	ctx context.Context,
	r openapi.ReplaceBallRequestObject,
) (openapi.ReplaceBallResponseObject, error) {
	return h.replace(ctx, r.SquadID, record.KindBall, r.BallID, r.Params.IfMatch, r.Params.Schema, r.Body)
}

func (h *handlers) DeleteBall(
	ctx context.Context,
	r openapi.DeleteBallRequestObject,
) (openapi.DeleteBallResponseObject, error) {
	return h.remove(ctx, r.SquadID, record.KindBall, r.BallID, r.Params.IfMatch)
}

func (p pageReply) VisitListBallsResponse(w http.ResponseWriter) error     { return p.write(w) }
func (r recordReply) VisitCreateBallResponse(w http.ResponseWriter) error  { return r.write(w) }
func (r recordReply) VisitGetBallResponse(w http.ResponseWriter) error     { return r.write(w) }
func (r recordReply) VisitReplaceBallResponse(w http.ResponseWriter) error { return r.write(w) }
func (r recordReply) VisitDeleteBallResponse(w http.ResponseWriter) error  { return r.write(w) }

func (h *handlers) ListPatterns(
	ctx context.Context,
	r openapi.ListPatternsRequestObject,
) (openapi.ListPatternsResponseObject, error) {
	return h.list(ctx, r.SquadID, record.KindPattern, r.Params.Limit, r.Params.Cursor)
}

func (h *handlers) CreatePattern(
	ctx context.Context,
	r openapi.CreatePatternRequestObject,
) (openapi.CreatePatternResponseObject, error) {
	return h.create(ctx, r.SquadID, record.KindPattern, "patterns", r.Body)
}

func (h *handlers) GetPattern(
	ctx context.Context,
	r openapi.GetPatternRequestObject,
) (openapi.GetPatternResponseObject, error) {
	return h.get(ctx, r.SquadID, record.KindPattern, r.PatternID, r.Params.IfNoneMatch)
}

func (h *handlers) ReplacePattern(
	ctx context.Context,
	r openapi.ReplacePatternRequestObject,
) (openapi.ReplacePatternResponseObject, error) {
	return h.replace(ctx, r.SquadID, record.KindPattern, r.PatternID, r.Params.IfMatch, r.Params.Schema, r.Body)
}

func (h *handlers) DeletePattern(
	ctx context.Context,
	r openapi.DeletePatternRequestObject,
) (openapi.DeletePatternResponseObject, error) {
	return h.remove(ctx, r.SquadID, record.KindPattern, r.PatternID, r.Params.IfMatch)
}

func (p pageReply) VisitListPatternsResponse(w http.ResponseWriter) error     { return p.write(w) }
func (r recordReply) VisitCreatePatternResponse(w http.ResponseWriter) error  { return r.write(w) }
func (r recordReply) VisitGetPatternResponse(w http.ResponseWriter) error     { return r.write(w) }
func (r recordReply) VisitReplacePatternResponse(w http.ResponseWriter) error { return r.write(w) }
func (r recordReply) VisitDeletePatternResponse(w http.ResponseWriter) error  { return r.write(w) }

func (h *handlers) ListSessions(
	ctx context.Context,
	r openapi.ListSessionsRequestObject,
) (openapi.ListSessionsResponseObject, error) {
	return h.list(ctx, r.SquadID, record.KindSession, r.Params.Limit, r.Params.Cursor)
}

func (h *handlers) CreateSession(
	ctx context.Context,
	r openapi.CreateSessionRequestObject,
) (openapi.CreateSessionResponseObject, error) {
	return h.create(ctx, r.SquadID, record.KindSession, "sessions", r.Body)
}

func (h *handlers) GetSession(
	ctx context.Context,
	r openapi.GetSessionRequestObject,
) (openapi.GetSessionResponseObject, error) {
	return h.get(ctx, r.SquadID, record.KindSession, r.SessionID, r.Params.IfNoneMatch)
}

func (h *handlers) ReplaceSession(
	ctx context.Context,
	r openapi.ReplaceSessionRequestObject,
) (openapi.ReplaceSessionResponseObject, error) {
	return h.replace(ctx, r.SquadID, record.KindSession, r.SessionID, r.Params.IfMatch, r.Params.Schema, r.Body)
}

func (h *handlers) DeleteSession(
	ctx context.Context,
	r openapi.DeleteSessionRequestObject,
) (openapi.DeleteSessionResponseObject, error) {
	base, err := h.baseOf(ctx, r.SquadID, record.KindSession, r.SessionID, r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	withShots := r.Params.WithShots != nil && *r.Params.WithShots
	err = h.service.DeleteSession(ctx, userOf(ctx), r.SquadID, r.SessionID, base, withShots)
	return recordReply{status: http.StatusNoContent}, err
}

func (p pageReply) VisitListSessionsResponse(w http.ResponseWriter) error     { return p.write(w) }
func (r recordReply) VisitCreateSessionResponse(w http.ResponseWriter) error  { return r.write(w) }
func (r recordReply) VisitGetSessionResponse(w http.ResponseWriter) error     { return r.write(w) }
func (r recordReply) VisitReplaceSessionResponse(w http.ResponseWriter) error { return r.write(w) }
func (r recordReply) VisitDeleteSessionResponse(w http.ResponseWriter) error  { return r.write(w) }

func (h *handlers) ListDrills(
	ctx context.Context,
	r openapi.ListDrillsRequestObject,
) (openapi.ListDrillsResponseObject, error) {
	return h.list(ctx, r.SquadID, record.KindDrill, r.Params.Limit, r.Params.Cursor)
}

func (h *handlers) CreateDrill(
	ctx context.Context,
	r openapi.CreateDrillRequestObject,
) (openapi.CreateDrillResponseObject, error) {
	return h.create(ctx, r.SquadID, record.KindDrill, "drills", r.Body)
}

func (h *handlers) GetDrill(
	ctx context.Context,
	r openapi.GetDrillRequestObject,
) (openapi.GetDrillResponseObject, error) {
	return h.get(ctx, r.SquadID, record.KindDrill, r.DrillID, r.Params.IfNoneMatch)
}

func (h *handlers) ReplaceDrill(
	ctx context.Context,
	r openapi.ReplaceDrillRequestObject,
) (openapi.ReplaceDrillResponseObject, error) {
	return h.replace(ctx, r.SquadID, record.KindDrill, r.DrillID, r.Params.IfMatch, r.Params.Schema, r.Body)
}

func (h *handlers) DeleteDrill(
	ctx context.Context,
	r openapi.DeleteDrillRequestObject,
) (openapi.DeleteDrillResponseObject, error) {
	return h.remove(ctx, r.SquadID, record.KindDrill, r.DrillID, r.Params.IfMatch)
}

func (p pageReply) VisitListDrillsResponse(w http.ResponseWriter) error     { return p.write(w) }
func (r recordReply) VisitCreateDrillResponse(w http.ResponseWriter) error  { return r.write(w) }
func (r recordReply) VisitGetDrillResponse(w http.ResponseWriter) error     { return r.write(w) }
func (r recordReply) VisitReplaceDrillResponse(w http.ResponseWriter) error { return r.write(w) }
func (r recordReply) VisitDeleteDrillResponse(w http.ResponseWriter) error  { return r.write(w) }

func (h *handlers) ListAssignments(
	ctx context.Context,
	r openapi.ListAssignmentsRequestObject,
) (openapi.ListAssignmentsResponseObject, error) {
	return h.list(ctx, r.SquadID, record.KindAssignment, r.Params.Limit, r.Params.Cursor)
}

func (h *handlers) CreateAssignment(
	ctx context.Context,
	r openapi.CreateAssignmentRequestObject,
) (openapi.CreateAssignmentResponseObject, error) {
	return h.create(ctx, r.SquadID, record.KindAssignment, "assignments", r.Body)
}

func (h *handlers) GetAssignment(
	ctx context.Context,
	r openapi.GetAssignmentRequestObject,
) (openapi.GetAssignmentResponseObject, error) {
	return h.get(ctx, r.SquadID, record.KindAssignment, r.AssignmentID, r.Params.IfNoneMatch)
}

func (h *handlers) ReplaceAssignment(
	ctx context.Context,
	r openapi.ReplaceAssignmentRequestObject,
) (openapi.ReplaceAssignmentResponseObject, error) {
	return h.replace(ctx, r.SquadID, record.KindAssignment, r.AssignmentID, r.Params.IfMatch, r.Params.Schema, r.Body)
}

func (h *handlers) DeleteAssignment(
	ctx context.Context,
	r openapi.DeleteAssignmentRequestObject,
) (openapi.DeleteAssignmentResponseObject, error) {
	return h.remove(ctx, r.SquadID, record.KindAssignment, r.AssignmentID, r.Params.IfMatch)
}

func (p pageReply) VisitListAssignmentsResponse(w http.ResponseWriter) error { return p.write(w) }

func (r recordReply) VisitCreateAssignmentResponse(w http.ResponseWriter) error { return r.write(w) }

func (r recordReply) VisitGetAssignmentResponse(w http.ResponseWriter) error { return r.write(w) }

func (r recordReply) VisitReplaceAssignmentResponse(w http.ResponseWriter) error { return r.write(w) }

func (r recordReply) VisitDeleteAssignmentResponse(w http.ResponseWriter) error { return r.write(w) }
