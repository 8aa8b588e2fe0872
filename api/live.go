package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"laneward/openapi"
	"laneward/service"
)

// heartbeat is how often a silent tail sends a keep-alive.
const heartbeat = 15 * time.Second

func (h *handlers) GetLive(ctx context.Context, r openapi.GetLiveRequestObject) (openapi.GetLiveResponseObject, error) {
	query := service.FeedQuery{
		After:  text(r.Params.After),
		Seen:   text(r.Params.Seen),
		Schema: schemaOf(r.Params.Schema),
	}
	if r.Params.LastEventID != nil && *r.Params.LastEventID != "" {
		query.After = *r.Params.LastEventID
	}
	if err := h.service.CheckCursor(ctx, userOf(ctx), r.SquadID, query); err != nil {
		return nil, withSnapshot(err, r.SquadID)
	}
	ended, err := h.service.Stream(userOf(ctx))
	if err != nil {
		return nil, err
	}
	ctx, signedOut := h.service.WhileSignedIn(ctx, clientOf(ctx).SignIn)
	ctx, undrained := h.untilDrained(ctx)
	cancel := func() { undrained(); signedOut(); ended() }
	return liveReply(func(w http.ResponseWriter) error {
		defer cancel()
		events := &eventWriter{
			w:      w,
			synced: func(rev int64) { h.service.Synced(clientOf(ctx).Identity, r.SquadID, rev) },
		}
		if err := events.start(); err != nil {
			return nil
		}
		err := h.service.Tail(ctx, userOf(ctx), r.SquadID, query, heartbeat, events.send, events.beat)
		if errors.Is(err, service.ErrTailAge) || errors.Is(context.Cause(ctx), errDraining) {
			_ = events.reconnect() // whoever does not hear it comes back by itself
			return nil
		}
		if service.AsError(err).Code == service.Gone {
			return events.end(problemOf(withSnapshot(err, r.SquadID), w.Header().Get(echo.HeaderXRequestID)))
		}
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
	rev    int64           // that the reader has reached
	synced func(rev int64) // is called now and then with it
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
		e.rev = max(e.rev, event.Rev)
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

// end is the last event of a history that has ended: the problem that the next request is answered
// with.
func (e *eventWriter) end(why openapi.Problem) error {
	data, err := json.Marshal(why)
	if err != nil {
		return err
	}
	fmt.Fprintf(&e.buffer, "event: end\ndata: %s\n\n", data)
	return e.sendOff()
}

func (e *eventWriter) beat() error {
	e.buffer.WriteString(": alive\n\n")
	err := e.sendOff()
	if err == nil && e.rev > 0 {
		e.synced(e.rev)
	}
	return err
}

// reconnect says that the stream ends here and goes on elsewhere: with the last id, at once.
func (e *eventWriter) reconnect() error {
	e.buffer.WriteString("retry: 100\nevent: reconnect\ndata: {}\n\n")
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
