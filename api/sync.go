package api

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/service"
)

const (
	defaultPage = 1000
	mediaNDJSON = "application/x-ndjson"
	mediaEvents = "text/event-stream"
)

func schemaOf(schema *int) int {
	if schema == nil {
		return service.Schema
	}
	return *schema
}

func pageSize(limit *int) int {
	if limit == nil {
		return defaultPage
	}
	return *limit
}

func text(word *string) string {
	if word == nil {
		return ""
	}
	return *word
}

// withSnapshot tells a reader whose cursor is gone where to begin again.
func withSnapshot(err error, squad uuid.UUID) error {
	var known *service.Error
	if errors.As(err, &known) && known.Code == service.Gone {
		return &goneError{cause: known, snapshot: "/v1/squads/" + squad.String() + "/snapshot"}
	}
	return err
}

// goneError is a cursor that cannot be gone on from, with the address of the snapshot.
type goneError struct {
	cause    *service.Error
	snapshot string
}

func (e *goneError) Error() string { return e.cause.Error() }

func (e *goneError) Unwrap() error { return e.cause }

type digestReply struct {
	Count int64  `json:"count"`
	Sum   string `json:"sum"` // as text: JSON numbers are exact to 2^53 only
}

func digestOf(d service.Digest) digestReply {
	return digestReply{d.Count, strconv.FormatUint(d.Sum, 10)}
}

// feedReply is the contract's FeedPage.
type feedReply struct {
	Items  []service.Item `json:"items"`
	Cursor string         `json:"cursor"`
	More   bool           `json:"more"`
	Rev    int64          `json:"rev"`
	Digest digestReply    `json:"digest"`
}

func (r feedReply) VisitGetFeedResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func feedOf(page service.FeedPage) feedReply {
	reply := feedReply{Items: page.Items, Cursor: page.Cursor, More: page.More, Rev: page.Rev, Digest: digestOf(page.Digest)}
	if reply.Items == nil {
		reply.Items = []service.Item{}
	}
	return reply
}

func (h *handlers) GetFeed(ctx context.Context, r openapi.GetFeedRequestObject) (openapi.GetFeedResponseObject, error) {
	query := service.FeedQuery{After: text(r.Params.After), Limit: pageSize(r.Params.Limit), Schema: schemaOf(r.Params.Schema)}
	if r.Params.WaitFor != nil {
		query.WaitFor = *r.Params.WaitFor
	}
	page, err := h.service.Feed(ctx, userOf(ctx), r.SquadID, query)
	if err != nil {
		return nil, withSnapshot(err, r.SquadID)
	}
	lines, tables := wantsLines(ctx)
	if !lines {
		return feedOf(page), nil
	}
	query.WaitFor = 0
	return linesReply(func(write lineWriter) error {
		for {
			end := feedOf(page)
			if err := write.items(page.Items, tables, feedEnd{end.Cursor, end.More, end.Rev, end.Digest}); err != nil || !page.More {
				return err
			}
			query.After = page.Cursor
			if page, err = h.service.Feed(ctx, userOf(ctx), r.SquadID, query); err != nil {
				return err
			}
		}
	}), nil
}

// feedEnd is the line after a page of the feed.
type feedEnd struct {
	Cursor string      `json:"cursor"`
	More   bool        `json:"more"`
	Rev    int64       `json:"rev"`
	Digest digestReply `json:"digest"`
}

// snapshotReply is the contract's SnapshotPage.
type snapshotReply struct {
	Items []service.Item `json:"items"`
	snapshotEnd
}

// snapshotEnd is the line after a page of a snapshot.
type snapshotEnd struct {
	Page   string      `json:"page,omitempty"`
	Cursor string      `json:"cursor,omitempty"`
	Rev    int64       `json:"rev"`
	Digest digestReply `json:"digest"`
}

func (r snapshotReply) VisitGetSnapshotResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func (h *handlers) GetSnapshot(ctx context.Context, r openapi.GetSnapshotRequestObject) (openapi.GetSnapshotResponseObject, error) {
	query := service.SnapshotQuery{Page: text(r.Params.Page), Limit: pageSize(r.Params.Limit), Schema: schemaOf(r.Params.Schema)}
	page, err := h.service.Snapshot(ctx, userOf(ctx), r.SquadID, query)
	if err != nil {
		return nil, withSnapshot(err, r.SquadID)
	}
	endOf := func(page service.SnapshotPage) snapshotEnd {
		return snapshotEnd{Page: page.Page, Cursor: page.Cursor, Rev: page.Rev, Digest: digestOf(page.Digest)}
	}
	lines, tables := wantsLines(ctx)
	if !lines {
		reply := snapshotReply{Items: page.Items, snapshotEnd: endOf(page)}
		if reply.Items == nil {
			reply.Items = []service.Item{}
		}
		return reply, nil
	}
	return linesReply(func(write lineWriter) error {
		for {
			if err := write.items(page.Items, tables, endOf(page)); err != nil || page.Page == "" {
				return err
			}
			query.Page = page.Page
			if page, err = h.service.Snapshot(ctx, userOf(ctx), r.SquadID, query); err != nil {
				return err
			}
		}
	}), nil
}

func (h *handlers) GetDigest(ctx context.Context, r openapi.GetDigestRequestObject) (openapi.GetDigestResponseObject, error) {
	kinds, rev, err := h.service.DigestAll(ctx, userOf(ctx), r.SquadID)
	if err != nil {
		return nil, err
	}
	answer := openapi.GetDigest200JSONResponse{Rev: rev, Kinds: make(map[string]openapi.Digest, len(kinds))}
	for kind, d := range kinds {
		answer.Kinds[string(kind)] = openapi.Digest{Count: d.Count, Sum: strconv.FormatUint(d.Sum, 10)}
	}
	return answer, nil
}

// linesReply answers with NDJSON, written by the function as it goes. A failure before the first line is answered as any other; one on the
// way cuts the answer: the reader sees that the last line, with the cursor, is missing, and goes on from the one before.
type linesReply func(write lineWriter) error

type lineWriter struct {
	w      http.ResponseWriter
	buffer *bufio.Writer
	json   *json.Encoder
}

func (r linesReply) write(w http.ResponseWriter) error {
	late := &lateStatus{w: w}
	buffer := bufio.NewWriterSize(late, 64<<10)
	err := r(lineWriter{w, buffer, json.NewEncoder(buffer)})
	switch {
	case err != nil && late.out:
		panic(http.ErrAbortHandler) // only breaking off tells the reader
	case err != nil:
		return err
	}
	return buffer.Flush()
}

// lateStatus sends the status with the first bytes and not before: until then another may turn out to be right.
type lateStatus struct {
	w   http.ResponseWriter
	out bool
}

func (l *lateStatus) Write(data []byte) (int, error) {
	if !l.out {
		l.out = true
		l.w.Header().Set("Content-Type", mediaNDJSON)
		l.w.WriteHeader(http.StatusOK)
	}
	return l.w.Write(data)
}

// items writes a line an item and a line for the page's end, and sends them on their way.
func (l lineWriter) items(items []service.Item, tables bool, end any) error {
	lines, err := service.AppendLines(nil, items, tables)
	if err != nil {
		return err
	}
	if _, err := l.buffer.Write(lines); err != nil {
		return err
	}
	return l.end(end)
}

// wantsLines tells whether NDJSON was asked for, and whether with shots as tables.
func wantsLines(ctx context.Context) (lines, tables bool) {
	media, parameters, err := mime.ParseMediaType(clientOf(ctx).accept)
	return err == nil && media == mediaNDJSON, parameters["shots"] == "table"
}

func (l lineWriter) end(end any) error {
	if err := l.json.Encode(end); err != nil {
		return err
	}
	if err := l.buffer.Flush(); err != nil {
		return err
	}
	return flush(l.w)
}

// flush sends what has been written, and gives the next write its time: an answer that goes on may take longer than one that does not.
func flush(w http.ResponseWriter) error {
	control := http.NewResponseController(w)
	if err := control.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	if err := control.Flush(); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	return nil
}

func (r linesReply) VisitGetFeedResponse(w http.ResponseWriter) error     { return r.write(w) }
func (r linesReply) VisitGetSnapshotResponse(w http.ResponseWriter) error { return r.write(w) }
func (r linesReply) VisitPushResponse(w http.ResponseWriter) error        { return r.write(w) }

// pushOutcome is the contract's PushOutcome.
type pushOutcome struct {
	Index   int             `json:"index"`
	Kind    service.Kind    `json:"kind,omitempty"`
	ID      *uuid.UUID      `json:"id,omitempty"`
	Outcome service.Status  `json:"outcome"`
	Rev     int64           `json:"rev,omitempty"`
	Record  service.Record  `json:"record,omitempty"`
	Deleted bool            `json:"deleted,omitempty"`
	Errors  []service.Fault `json:"errors,omitempty"`
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
	p := &pusher{h: h, ctx: ctx, squad: r.SquadID, atomic: r.Params.Atomic != nil && *r.Params.Atomic}
	format, err := logFormat(r.ContentType)
	switch {
	case err != nil || format == service.LogCSV:
		return nil, &service.Error{Code: codeMedia, Detail: "set Content-Type to application/json or application/x-ndjson: a push comes in one of these"}
	case format == service.LogJSON:
		return p.whole(r.Body)
	case p.atomic:
		return nil, &service.Error{Code: service.Invalid, Detail: "an atomic push is sent as JSON: NDJSON is stored piece by piece"}
	}
	return linesReply(func(write lineWriter) error {
		// Without it the server would drop what is left of the body with the first line it answers.
		if err := http.NewResponseController(write.w).EnableFullDuplex(); err != nil && !errors.Is(err, http.ErrNotSupported) {
			return err
		}
		return p.lines(r.Body, write)
	}), nil
}

// pusher stores the items of one push piece by piece.
type pusher struct {
	h      *handlers
	ctx    context.Context //nolint:containedctx // lives as long as its request
	squad  uuid.UUID
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
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return nil, err
		}
		return nil, &service.Error{Code: service.Invalid, Detail: "the push cannot be read: send an object with an array items: " + err.Error()}
	}
	limit := service.MaxPushItems
	if p.atomic {
		limit = service.PushPiece
	}
	if len(document.Items) > limit {
		return nil, &service.Error{Code: service.TooLarge, Detail: fmt.Sprintf("a push has at most %d items: send it in parts", limit)}
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

// maxLine is the longest line of NDJSON: a film map fits.
const maxLine = 256 << 10

// lines stores a push as its lines come, and answers each piece when it has been committed.
func (p *pusher) lines(body io.Reader, write lineWriter) error {
	scanner := bufio.NewScanner(body)
	scanner.Buffer(make([]byte, 64<<10), maxLine)
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
	for scanner.Scan() {
		line := bytes.TrimSpace(scanner.Bytes())
		if len(line) == 0 {
			continue
		}
		if piece = append(piece, bytes.Clone(line)); len(piece) < service.PushPiece {
			continue
		}
		if err := store(); err != nil {
			return err
		}
	}
	// A body that was cut has no whole last line to trust: what was read whole is stored, the rest is sent again.
	if err := scanner.Err(); err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return err
	}
	if len(piece) > 0 {
		if err := store(); err != nil {
			return err
		}
	}
	return write.end(map[string]int64{"rev": p.rev})
}

// piece stores some items in one transaction. An item that cannot be read is refused alone.
func (p *pusher) piece(raw []json.RawMessage) ([]pushOutcome, error) {
	items := make([]service.PushItem, len(raw))
	unread := make(map[int][]service.Fault)
	for i, data := range raw {
		decoder := json.NewDecoder(bytes.NewReader(data))
		decoder.DisallowUnknownFields()
		if err := decoder.Decode(&items[i]); err != nil {
			unread[i] = []service.Fault{{Code: "format", Detail: "cannot be read as an item with kind, id, rev, record or deleted: " + err.Error()}}
			items[i] = service.PushItem{}
		}
	}
	results, rev, err := p.h.service.Push(p.ctx, userOf(p.ctx), p.squad, items, p.atomic)
	if err != nil {
		return nil, err
	}
	p.rev = max(p.rev, rev)
	outcomes := make([]pushOutcome, len(results))
	for i, result := range results {
		outcomes[i] = pushOutcome{
			Index: p.next, Kind: result.Kind, Outcome: result.Status, Rev: result.Rev, Record: result.Record, Deleted: result.Deleted, Errors: result.Faults,
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

// heartbeat is how often a silent tail says that it is alive.
const heartbeat = 15 * time.Second

func (h *handlers) GetLive(ctx context.Context, r openapi.GetLiveRequestObject) (openapi.GetLiveResponseObject, error) {
	query := service.FeedQuery{After: text(r.Params.After), Schema: schemaOf(r.Params.Schema)}
	if r.Params.LastEventID != nil && *r.Params.LastEventID != "" {
		query.After = *r.Params.LastEventID
	}
	if err := h.service.CheckCursor(ctx, userOf(ctx), r.SquadID, query); err != nil {
		return nil, withSnapshot(err, r.SquadID)
	}
	ctx, cancel := h.untilDrained(ctx)
	return liveReply(func(w http.ResponseWriter) error {
		defer cancel()
		events := &eventWriter{w: w}
		if err := events.start(); err != nil {
			return nil //nolint:nilerr // the reader has gone
		}
		err := h.service.Tail(ctx, userOf(ctx), r.SquadID, query, heartbeat, events.send, events.beat)
		if err != nil && ctx.Err() == nil {
			return fmt.Errorf("live tail: %w", err)
		}
		return nil
	}), nil
}

type liveReply func(w http.ResponseWriter) error

func (r liveReply) VisitGetLiveResponse(w http.ResponseWriter) error { return r(w) }

// eventWriter frames server-sent events (HTML Living Standard, section 9.2).
type eventWriter struct {
	w      http.ResponseWriter
	buffer bytes.Buffer
}

// start sends the head and how soon to come back.
func (e *eventWriter) start() error {
	e.w.Header().Set("Content-Type", mediaEvents)
	e.w.Header().Set("Cache-Control", "no-store")
	e.w.WriteHeader(http.StatusOK)
	e.buffer.WriteString("retry: 2000\n\n")
	return e.sendOff()
}

func (e *eventWriter) send(events []service.TailEvent) error {
	for _, event := range events {
		e.buffer.WriteString("id: ")
		e.buffer.WriteString(event.Cursor)
		if event.Data == nil {
			fmt.Fprintf(&e.buffer, "\nevent: at\ndata: {\"rev\":%d}\n\n", event.Rev)
			continue
		}
		e.buffer.WriteString("\nevent: item\ndata: ")
		e.buffer.Write(event.Data)
		e.buffer.WriteString("\n\n")
	}
	return e.sendOff()
}

func (e *eventWriter) beat() error {
	e.buffer.WriteString(": alive\n\n")
	return e.sendOff()
}

func (e *eventWriter) sendOff() error {
	_, err := e.w.Write(e.buffer.Bytes())
	e.buffer.Reset()
	if err != nil {
		return err
	}
	return flush(e.w)
}
