package api

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"net/http"
	"time"

	"github.com/google/uuid"

	"laneward/api/problem"
	"laneward/openapi"
	"laneward/service"
	"laneward/service/record"
	"laneward/service/shot"
)

// pushOutcome is the contract's PushOutcome.
type pushOutcome struct {
	Index   int            `json:"index"`
	Kind    record.Kind    `json:"kind,omitempty"`
	ID      *uuid.UUID     `json:"id,omitempty"`
	Outcome service.Status `json:"outcome"`
	Rev     int64          `json:"rev,omitempty"`
	Record  record.Record  `json:"record,omitempty"`
	Deleted bool           `json:"deleted,omitempty"`
	Errors  []record.Fault `json:"errors,omitempty"`
}

// pushReply is the contract's PushResult.
type pushReply struct {
	Outcomes []pushOutcome `json:"outcomes"`
	pushEnd
}

// pushEnd is what a push has beside its outcomes, and the line after them.
type pushEnd struct {
	Rev     int64          `json:"rev"`
	Head    string         `json:"head,omitempty"`
	Refused int            `json:"refused,omitempty"`
	Usage   *openapi.Usage `json:"usage,omitempty"` // when the squad is near its quota
}

// refusals bounds how much of an answer says why something was refused.
type refusals struct{ count int }

// maxRefusals is how many refusals say why; the later ones are counted.
const maxRefusals = 1_000

// faults are those that an outcome is answered with.
func (r *refusals) faults(status service.Status, found []record.Fault) []record.Fault {
	if status != service.StatusRefused {
		return found
	}
	if r.count++; r.count > maxRefusals {
		return nil
	}
	return found[:min(len(found), record.MaxFaults)]
}

func (r pushReply) VisitPushResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func (h *handlers) Push(ctx context.Context, r openapi.PushRequestObject) (openapi.PushResponseObject, error) {
	if schema := schemaOf(r.Params.Schema); schema < service.OldestSchema || schema > service.Schema {
		return nil, service.SchemaError(schema)
	}
	p := &pusher{
		h:     h,
		ctx:   ctx,
		squad: r.SquadID,
		query: service.PushQuery{
			Schema: schemaOf(r.Params.Schema),
			Seen:   text(r.Params.Seen),
			Atomic: r.Params.Atomic != nil && *r.Params.Atomic,
		},
	}
	media, err := mediaOf(r.ContentType)
	switch {
	case err != nil:
		return nil, err
	case media == mediaJSON, media == mediaTables:
		return p.whole(r.Body, media == mediaTables)
	case media != mediaNDJSON:
		return nil, &service.Error{
			Code: problem.Media,
			Detail: "set Content-Type to " + mediaJSON + ", " + mediaNDJSON + " or " + mediaTables +
				": a push comes in one of these",
		}
	case p.query.Atomic:
		return nil, &service.Error{
			Code:   service.Invalid,
			Detail: "an atomic push is sent as JSON: NDJSON is stored piece by piece",
		}
	}
	return linesReply(func(write lineWriter) error {
		// Without it the server would drop what is left of the body with the first line it answers.
		if err := http.NewResponseController(write.w).
			EnableFullDuplex(); err != nil &&
			!errors.Is(err, http.ErrNotSupported) {
			return err
		}
		err := p.lines(r.Body, write)
		if err != nil {
			// The rest of the body is not read, so the connection cannot be used again.
			write.w.Header().Set("Connection", "close")
		}
		return err
	}), nil
}

// pusher stores the items of one push batch by batch.
type pusher struct {
	h     *handlers
	ctx   context.Context //nolint:containedctx // lives as long as its request
	squad uuid.UUID
	query service.PushQuery
	next  int // index of the next item
	rev   int64
	head  string // at rev
	usage *openapi.Usage
	refusals
}

// end is what the push has come to.
func (p *pusher) end() pushEnd { return pushEnd{p.rev, p.head, p.refusals.count, p.usage} }

// pieceTime bounds the storing of one piece, its wait for other writers included.
const pieceTime = time.Minute

// whole stores a push that came as one JSON document.
func (p *pusher) whole(body io.Reader, tables bool) (openapi.PushResponseObject, error) {
	limit := service.MaxPushItems
	if p.query.Atomic {
		limit = service.PushPiece
	}
	items, err := readItems(shot.NewDecoder(body), tables, limit)
	if err != nil {
		return nil, bodyError(err)
	}
	reply := pushReply{Outcomes: make([]pushOutcome, 0, items.count)}
	for one, err := range p.ahead(items.next) {
		if err == nil {
			err = p.ctx.Err()
		}
		if err != nil {
			return nil, err
		}
		if len(one.items) == 0 {
			break
		}
		outcomes, err := p.store(one)
		if err != nil {
			return nil, err
		}
		reply.Outcomes = append(reply.Outcomes, outcomes...)
	}
	reply.pushEnd = p.end()
	return reply, nil
}

// lines stores a push as its lines come, and answers each piece when it has been committed. Of a
// body that was cut off the whole lines are stored, and then it fails: the last line of an answer
// means that all was read.
func (p *pusher) lines(body io.Reader, write lineWriter) error {
	source := &lineSource{reader: bufio.NewReaderSize(body, 64<<10)}
	for one, err := range p.ahead(source.next) {
		if err == nil {
			err = one.err
		}
		if len(one.items) > 0 {
			outcomes, failed := p.store(one)
			if failed == nil && err == nil { // else the failure is the answer
				failed = write.outcomes(outcomes)
			}
			if failed != nil {
				err = failed
			}
		}
		if err != nil {
			if failed := abandon(write.w); failed != nil { // the client need not send the rest first
				return errors.Join(err, failed)
			}
			return err
		}
	}
	return write.end(p.end())
}

// abandon ends a reading of the body that is under way, and all that would follow.
func abandon(w http.ResponseWriter) error {
	err := http.NewResponseController(w).SetReadDeadline(time.Unix(1, 0))
	if errors.Is(err, http.ErrNotSupported) { // the body is in memory
		return nil
	}
	return err
}

// ahead yields a push's pieces to the last. While one is being stored, the next is read.
func (p *pusher) ahead(next func() *piece) iter.Seq2[*piece, error] {
	return readAhead(
		p.ctx,
		next(),
		func(one *piece) bool { return !one.last },
		func(context.Context, *piece) (*piece, error) { return next(), nil },
	)
}

// store stores a piece in one transaction, to its end also when the client has gone meanwhile.
func (p *pusher) store(one *piece) ([]pushOutcome, error) {
	if len(one.unread) == service.PushPiece {
		return nil, &service.Error{
			Code: service.Invalid,
			Detail: fmt.Sprintf(
				"none of %d items in a row can be read, so the rest is not; the first of them %s",
				len(one.unread), one.unread[0][0].Detail,
			),
		}
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(p.ctx), pieceTime)
	defer cancel()
	stored, err := p.h.service.Push(ctx, userOf(ctx), p.squad, p.query, one.items)
	if err != nil {
		return nil, withSnapshot(err, p.squad)
	}
	if stored.Rev > 0 {
		p.rev, p.head = stored.Rev, stored.Head
		p.query.Seen = stored.Head // a backup may be restored between two pieces
	}
	if p.usage = nil; stored.Usage != nil {
		usage := usageOf(*stored.Usage)
		p.usage = &usage
	}
	outcomes := make([]pushOutcome, len(stored.Outcomes))
	for i, result := range stored.Outcomes {
		faults := result.Faults
		if found, ok := one.unread[i]; ok {
			faults = found
		}
		outcomes[i] = pushOutcome{
			Index:   p.next,
			Kind:    result.Kind,
			Outcome: result.Status,
			Rev:     result.Rev,
			Record:  result.Record,
			Deleted: result.Deleted,
			Errors:  p.faults(result.Status, faults),
		}
		if result.ID != uuid.Nil {
			outcomes[i].ID = &stored.Outcomes[i].ID
		}
		p.next++
	}
	return outcomes, nil
}
