package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/service"
	"laneward/service/record"
)

func (h *handlers) UploadShots(
	ctx context.Context,
	r openapi.UploadShotsRequestObject,
) (openapi.UploadShotsResponseObject, error) {
	format, err := logFormat(r.ContentType)
	if err != nil {
		return nil, err
	}
	log := service.Log{Format: format, Body: r.Body, Session: r.SessionID}
	if r.Params.AthleteID != nil {
		log.Athlete = *r.Params.AthleteID
	}
	if r.Params.DrillID != nil {
		log.Drill = *r.Params.DrillID
	}
	result, err := h.service.Upload(ctx, userOf(ctx), r.SquadID, log)
	if err != nil {
		return nil, err
	}
	reply := uploadReply{Rev: result.Rev, Outcomes: make([]rowOutcome, len(result.Outcomes))}
	for i, row := range result.Outcomes {
		reply.add(i, row)
	}
	return reply, nil
}

// uploadReply is the contract's UploadResult, with the shots as the service has them.
type uploadReply struct {
	Rev      int64                 `json:"rev"`
	Counts   openapi.OutcomeCounts `json:"counts"`
	Outcomes []rowOutcome          `json:"outcomes"`
	refusals
}

type rowOutcome struct {
	Row     int            `json:"row"`
	ID      *uuid.UUID     `json:"id,omitempty"`
	Outcome service.Status `json:"outcome"`
	Errors  []record.Fault `json:"errors,omitempty"`
	Current *record.Shot   `json:"current,omitempty"`
}

func (r *uploadReply) add(i int, row service.RowOutcome) {
	r.Outcomes[i] = rowOutcome{
		Row:     row.Row,
		Outcome: row.Status,
		Errors:  r.faults(row.Status, row.Faults),
		Current: row.Current,
	}
	if row.ID != uuid.Nil {
		r.Outcomes[i].ID = &row.ID
	}
	switch row.Status {
	case service.StatusStored:
		r.Counts.Stored++
	case service.StatusSame:
		r.Counts.Same++
	case service.StatusConflict:
		r.Counts.Conflict++
	default:
		r.Counts.Refused++
	}
}

func (r uploadReply) VisitUploadShotsResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func (h *handlers) ListShots(
	ctx context.Context,
	r openapi.ListShotsRequestObject,
) (openapi.ListShotsResponseObject, error) {
	after, err := readCursor[service.ShotPlace](r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	shots, next, err := h.service.Shots(ctx, userOf(ctx), r.SquadID, r.SessionID, after, limitOf(r.Params.Limit))
	if err != nil {
		return nil, err
	}
	reply := pageReply{Items: shots}
	if shots == nil {
		reply.Items = []*record.Shot{}
	}
	if next != nil {
		reply.Next, err = cursor(next)
	}
	return reply, err
}

func (h *handlers) GetShot(ctx context.Context, r openapi.GetShotRequestObject) (openapi.GetShotResponseObject, error) {
	return h.get(ctx, r.SquadID, record.KindShot, r.ShotID, r.Params.IfNoneMatch)
}

func (h *handlers) ReplaceShot(
	ctx context.Context,
	r openapi.ReplaceShotRequestObject,
) (openapi.ReplaceShotResponseObject, error) {
	return h.replace(ctx, r.SquadID, record.KindShot, r.ShotID, r.Params.IfMatch, r.Params.Schema, r.Body)
}

func (h *handlers) DeleteShot(
	ctx context.Context,
	r openapi.DeleteShotRequestObject,
) (openapi.DeleteShotResponseObject, error) {
	return h.remove(ctx, r.SquadID, record.KindShot, r.ShotID, r.Params.IfMatch)
}

func (p pageReply) VisitListShotsResponse(w http.ResponseWriter) error     { return p.write(w) }
func (r recordReply) VisitGetShotResponse(w http.ResponseWriter) error     { return r.write(w) }
func (r recordReply) VisitReplaceShotResponse(w http.ResponseWriter) error { return r.write(w) }
func (r recordReply) VisitDeleteShotResponse(w http.ResponseWriter) error  { return r.write(w) }
