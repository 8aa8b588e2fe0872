package api

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"

	"github.com/google/uuid"

	"laneward/api/problem"
	"laneward/openapi"
	"laneward/service"
	"laneward/service/record"
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
	Rev      int64         `json:"rev"`
	Outcomes []pushOutcome `json:"outcomes"`
}

func (r pushReply) VisitPushResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func (h *handlers) Push(ctx context.Context, r openapi.PushRequestObject) (openapi.PushResponseObject, error) {
	if schema := schemaOf(r.Params.Schema); schema < service.OldestSchema || schema > service.Schema {
		return nil, service.SchemaError(schema)
	}
	p := &pusher{
		h:      h,
		ctx:    ctx,
		squad:  r.SquadID,
		schema: schemaOf(r.Params.Schema),
		atomic: r.Params.Atomic != nil && *r.Params.Atomic,
	}
	format, err := logFormat(r.ContentType)
	switch {
	case err != nil || format == service.LogCSV:
		return nil, &service.Error{
			Code:   problem.Media,
			Detail: "set Content-Type to application/json or application/x-ndjson: a push comes in one of these",
		}
	case format == service.LogJSON:
		return p.whole(r.Body)
	case p.atomic:
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
	h      *handlers
	ctx    context.Context //nolint:containedctx // lives as long as its request
	squad  uuid.UUID
	schema int
	atomic bool
	next   int // index of the next item
	rev    int64
}

// whole stores a push that came as one JSON document.
func (p *pusher) whole(body io.Reader) (openapi.PushResponseObject, error) {
	var document struct {
		Items []json.RawMessage `json:"items"`
	}
	decoder := json.NewDecoder(body)
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&document); err != nil {
		return nil, bodyError(err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, &service.Error{
			Code:   service.Invalid,
			Detail: "more follows after the push: send one JSON object, or NDJSON",
		}
	}
	limit := service.MaxPushItems
	if p.atomic {
		limit = service.PushPiece
	}
	if len(document.Items) > limit {
		return nil, &service.Error{
			Code:   service.TooLarge,
			Detail: fmt.Sprintf("a push has at most %d items: send it in parts", limit),
		}
	}
	reply := pushReply{Outcomes: make([]pushOutcome, 0, len(document.Items))}
	for len(document.Items) > 0 {
		n := min(service.PushPiece, len(document.Items))
		outcomes, err := p.piece(document.Items[:n])
		if err != nil {
			return nil, err
		}
		reply.Outcomes = append(reply.Outcomes, outcomes...)
		document.Items = document.Items[n:]
	}
	reply.Rev = p.rev
	return reply, nil
}

// bodyError returns why a body cannot be read. One that is too large has an error of its own.
func bodyError(err error) error {
	var tooLarge *http.MaxBytesError
	var network net.Error
	switch {
	case errors.As(err, &tooLarge), errors.As(err, &network):
		return err
	}
	return &service.Error{
		Code:   service.Invalid,
		Detail: "the push cannot be read: send an object with an array items, or an item a line: " + err.Error(),
	}
}

// maxLine is the longest line of NDJSON: a film map fits.
const maxLine = 256 << 10

// lines stores a push as its lines come, and answers each piece when it has been committed.
func (p *pusher) lines(body io.Reader, write lineWriter) error {
	reader := bufio.NewReaderSize(body, 64<<10)
	piece := make([]json.RawMessage, 0, service.PushPiece)
	store := func() error {
		outcomes, err := p.piece(piece)
		if err != nil {
			return err
		}
		piece = piece[:0]
		for i := range outcomes {
			if err := write.json.Encode(&outcomes[i]); err != nil {
				return err
			}
		}
		if err := write.buffer.Flush(); err != nil {
			return err
		}
		return flush(write.w)
	}
	for more := true; more; {
		line, tooLong, err := nextLine(reader)
		// The last line of a body that was cut off may be incomplete: the lines before it are
		// stored, the rest is sent again.
		if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
			return bodyError(err)
		}
		if tooLong || len(line) > 0 {
			piece = append(piece, line)
		}
		more = err == nil
		if len(piece) == service.PushPiece || !more && len(piece) > 0 {
			if err := store(); err != nil {
				return err
			}
		}
	}
	return write.end(map[string]int64{"rev": p.rev})
}

// nextLine reads a line without its end and the white space around it. One that is longer than
// maxLine is skipped; nil takes its place.
func nextLine(reader *bufio.Reader) (line []byte, tooLong bool, err error) {
	for {
		part, err := reader.ReadSlice('\n')
		switch {
		case tooLong || len(line)+len(part) > maxLine:
			line, tooLong = nil, true
		default:
			line = append(line, part...)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return bytes.TrimSpace(line), tooLong, err
		}
	}
}

// piece stores some items in one transaction. An item that cannot be read is refused alone; nil is
// one that was too long to be read.
func (p *pusher) piece(raw []json.RawMessage) ([]pushOutcome, error) {
	items := make([]service.PushItem, len(raw))
	unread := make(map[int][]record.Fault)
	for i, data := range raw {
		if data == nil {
			unread[i] = []record.Fault{
				{
					Code: "length",
					Detail: fmt.Sprintf(
						"the line is longer than %d bytes: send one item a line, with a shorter note or track",
						maxLine,
					),
				},
			}
			continue
		}
		decoder := json.NewDecoder(bytes.NewReader(data))
		decoder.DisallowUnknownFields()
		if err := decoder.Decode(&items[i]); err != nil {
			unread[i] = []record.Fault{
				{
					Code:   "format",
					Detail: "cannot be read as an item with kind, id, rev, record or deleted: " + err.Error(),
				},
			}
			items[i] = service.PushItem{}
		}
	}
	results, rev, err := p.h.service.Push(p.ctx, userOf(p.ctx), p.squad, p.schema, items, p.atomic)
	if err != nil {
		return nil, err
	}
	p.rev = max(p.rev, rev)
	outcomes := make([]pushOutcome, len(results))
	for i, result := range results {
		outcomes[i] = pushOutcome{
			Index:   p.next,
			Kind:    result.Kind,
			Outcome: result.Status,
			Rev:     result.Rev,
			Record:  result.Record,
			Deleted: result.Deleted,
			Errors:  result.Faults,
		}
		if result.ID != uuid.Nil {
			outcomes[i].ID = &results[i].ID
		}
		if faults, ok := unread[i]; ok {
			outcomes[i].Errors = faults
		}
		p.next++
	}
	return outcomes, nil
}
