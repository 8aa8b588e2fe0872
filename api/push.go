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
	"time"

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
	format, err := logFormat(r.ContentType)
	switch {
	case err != nil || format == service.LogCSV:
		return nil, &service.Error{
			Code:   problem.Media,
			Detail: "set Content-Type to application/json or application/x-ndjson: a push comes in one of these",
		}
	case format == service.LogJSON:
		return p.whole(r.Body)
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

// whole stores a push that came as one JSON document.
func (p *pusher) whole(body io.Reader) (openapi.PushResponseObject, error) {
	limit := service.MaxPushItems
	if p.query.Atomic {
		limit = service.PushPiece
	}
	items, err := readItems(json.NewDecoder(body), limit)
	if err != nil {
		return nil, bodyError(err)
	}
	reply := pushReply{Outcomes: make([]pushOutcome, 0, len(items))}
	for len(items) > 0 && p.ctx.Err() == nil {
		n := min(service.PushPiece, len(items))
		outcomes, err := p.piece(items[:n])
		if err != nil {
			return nil, err
		}
		reply.Outcomes = append(reply.Outcomes, outcomes...)
		items = items[n:]
	}
	reply.pushEnd = p.end()
	return reply, p.ctx.Err()
}

// errNotItems: a push is one object with one array.
var errNotItems = errors.New(`it is not an object with an array items, for example {"items":[]}`)

// readItems reads the items of a push, and no more than limit of them.
func readItems(decoder *json.Decoder, limit int) (items []json.RawMessage, err error) {
	for _, want := range []json.Token{json.Delim('{'), "items", json.Delim('[')} {
		got, err := decoder.Token()
		if err != nil {
			return nil, err
		}
		if got != want {
			return nil, errNotItems
		}
	}
	for decoder.More() {
		var item json.RawMessage
		if err := decoder.Decode(&item); err != nil {
			return nil, err
		}
		if items = append(items, item); len(items) > limit {
			return nil, tooManyItems(limit)
		}
	}
	for _, want := range []json.Token{json.Delim(']'), json.Delim('}')} {
		got, err := decoder.Token()
		if err != nil {
			return nil, err
		}
		if got != want {
			return nil, errNotItems
		}
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("more follows after the push: send one JSON object, or NDJSON")
	}
	return items, nil
}

func tooManyItems(limit int) error {
	return &service.Error{
		Code:   service.TooLarge,
		Detail: fmt.Sprintf("a push has at most %d items: send it in parts", limit),
	}
}

// bodyError says why a body cannot be read. One that is too large has an error of its own.
func bodyError(err error) error {
	var known *service.Error
	var tooLarge *http.MaxBytesError
	var network net.Error
	switch {
	case errors.As(err, &known), errors.As(err, &tooLarge):
		return err
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.As(err, &network):
		return &service.Error{
			Code:   service.Invalid,
			Detail: "the push ends in the middle: nothing was stored; send it again",
		}
	}
	return &service.Error{Code: service.Invalid, Detail: "the push cannot be read: " + err.Error()}
}

// maxLine is the longest line of NDJSON: a film map fits.
const maxLine = 256 << 10

// lines stores a push as its lines come, and answers each piece when it has been committed. Of a
// body that was cut off the whole lines are stored, and then it fails: the last line of an answer
// means that all was read.
func (p *pusher) lines(body io.Reader, write lineWriter) error {
	reader := bufio.NewReaderSize(body, 64<<10)
	piece := make([]json.RawMessage, 0, service.PushPiece)
	read := 0
	for {
		line, tooLong, err := nextLine(reader)
		ended := errors.Is(err, io.EOF)
		cut := err != nil && !ended
		if (tooLong || len(line) > 0) && !cut { // the line at the cut may be half a line
			if read++; read > service.MaxPushItems {
				return tooManyItems(service.MaxPushItems)
			}
			piece = append(piece, line)
		}
		if len(piece) == service.PushPiece || err != nil && len(piece) > 0 {
			outcomes, failed := p.piece(piece)
			if failed == nil && !cut { // else the failure is the answer
				failed = write.outcomes(outcomes)
			}
			if failed != nil {
				return failed
			}
			piece = piece[:0]
		}
		switch {
		case cut:
			return cutError(err, read)
		case ended:
			return write.end(p.end())
		}
	}
}

// cutError says that a push of lines was cut off after so many whole ones.
func cutError(err error, stored int) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return err
	}
	return &service.Error{
		Code: service.Invalid,
		Detail: fmt.Sprintf(
			"the push is cut off or damaged after %d whole lines, which are stored as far as they are valid: send it again, "+
				"nothing is stored twice",
			stored,
		),
	}
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

// pieceTime bounds the storing of one piece, its wait for other writers included.
const pieceTime = time.Minute

// piece stores some items in one transaction, to its end also when the client has gone meanwhile.
// An item that cannot be read is refused alone; nil is one that was too long to be read.
func (p *pusher) piece(raw []json.RawMessage) ([]pushOutcome, error) {
	items := make([]service.PushItem, len(raw))
	unread := make(map[int][]record.Fault)
	for i, data := range raw {
		var faults []record.Fault
		if data == nil {
			faults = []record.Fault{{
				Code: "length",
				Detail: fmt.Sprintf(
					"the line is longer than %d bytes: send one item a line, with a shorter note or track",
					maxLine,
				),
			}}
		} else {
			items[i], faults = service.ReadPushItem(data)
		}
		if len(faults) > 0 {
			unread[i] = faults
		}
	}
	if len(unread) == service.PushPiece {
		return nil, &service.Error{
			Code: service.Invalid,
			Detail: fmt.Sprintf(
				"none of %d items in a row can be read, so the rest is not; the first of them %s",
				len(unread), unread[0][0].Detail,
			),
		}
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(p.ctx), pieceTime)
	defer cancel()
	stored, err := p.h.service.Push(ctx, userOf(ctx), p.squad, p.query, items)
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
		if found, ok := unread[i]; ok {
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
