package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

// handlers implements the generated strict interface: decode, one call of the service, convert.
type handlers struct {
	service  *service.Service
	contract *contract
	version  string
	leaving  chan struct{} // closed when no more requests should come
	draining chan struct{} // closed when streams are to end
}

// errDraining is why a stream ends when the server is about to stop.
var errDraining = errors.New("the server is about to stop")

// untilDrained ends a stream's context, by [errDraining], when the server is about to stop.
func (h *handlers) untilDrained(ctx context.Context) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancelCause(ctx)
	go func() {
		select {
		case <-h.draining:
			cancel(errDraining)
		case <-ctx.Done():
		}
	}()
	return ctx, func() { cancel(nil) }
}

// decode turns the part of a body at a pointer into a record of the service: the contract's JSON is
// the record's.
func decode(kind record.Kind, pointer string, body *json.RawMessage) (record.Record, error) {
	made, faults := record.Decode(kind, *body)
	if len(faults) > 0 {
		for i := range faults {
			faults[i].Pointer = pointer + faults[i].Pointer
		}
		return nil, service.InvalidError(faults)
	}
	return made, nil
}

func (h *handlers) get(
	ctx context.Context,
	squad uuid.UUID,
	kind record.Kind,
	id uuid.UUID,
	ifNoneMatch *string,
) (recordReply, error) {
	record, err := h.service.Get(ctx, userOf(ctx), squad, kind, id)
	if err != nil {
		return recordReply{}, err
	}
	now := service.VersionOf(record)
	if notModified(ifNoneMatch, now) {
		return recordReply{status: http.StatusNotModified, version: now}, nil
	}
	return recordReply{status: http.StatusOK, version: now, record: record}, nil
}

func (h *handlers) list(
	ctx context.Context,
	squad uuid.UUID,
	kind record.Kind,
	limit *int,
	word *string,
) (pageReply, error) {
	after, err := readCursor[int64](word)
	if err != nil {
		return pageReply{}, err
	}
	page, err := h.service.List(ctx, userOf(ctx), squad, kind, after, limitOf(limit))
	if err != nil {
		return pageReply{}, err
	}
	reply := pageReply{Items: page.Records, Head: page.Head}
	if page.Records == nil {
		reply.Items = []record.Record{}
	}
	if page.Next > 0 {
		reply.Next, err = cursor(page.Next)
	}
	return reply, err
}

func (h *handlers) create(
	ctx context.Context,
	squad uuid.UUID,
	kind record.Kind,
	many string,
	body *json.RawMessage,
) (recordReply, error) {
	record, err := decode(kind, "", body)
	if err != nil {
		return recordReply{}, err
	}
	record, created, err := h.service.Create(ctx, userOf(ctx), squad, record)
	if err != nil {
		return recordReply{}, err
	}
	reply := recordReply{status: http.StatusOK, version: service.VersionOf(record), record: record}
	if created {
		reply.status = http.StatusCreated
		reply.location = fmt.Sprintf("/v1/squads/%s/%s/%s", squad, many, record.Key())
	}
	return reply, nil
}

func (h *handlers) replace(
	ctx context.Context,
	squad uuid.UUID,
	kind record.Kind,
	id uuid.UUID,
	ifMatch *string,
	schema *int,
	body *json.RawMessage,
) (recordReply, error) {
	if err := service.SchemaError(schemaOf(schema)); err != nil {
		return recordReply{}, err
	}
	base, err := h.baseOf(ctx, squad, kind, id, ifMatch)
	if err != nil {
		return recordReply{}, h.service.OrErased(ctx, userOf(ctx), squad, id, err)
	}
	record, err := decode(kind, "", body)
	if err != nil {
		return recordReply{}, err
	}
	record, err = h.service.Replace(ctx, userOf(ctx), squad, id, base, schemaOf(schema), record)
	if err != nil {
		return recordReply{}, err
	}
	return recordReply{status: http.StatusOK, version: service.VersionOf(record), record: record}, nil
}

func (h *handlers) remove(
	ctx context.Context,
	squad uuid.UUID,
	kind record.Kind,
	id uuid.UUID,
	ifMatch *string,
) (recordReply, error) {
	base, err := h.baseOf(ctx, squad, kind, id, ifMatch)
	if err != nil {
		return recordReply{}, err
	}
	return recordReply{status: http.StatusNoContent}, h.service.Delete(ctx, userOf(ctx), squad, kind, id, base)
}
