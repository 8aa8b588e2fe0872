package client

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
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/openapi"
)

// A server sends something every 15 seconds, if only a keep-alive. One that is silent for longer is
// gone.
const (
	longestSilence = 45 * time.Second
	maxEvent       = 4 << 20 // bytes of one line
)

// Event is one event of a live tail. Cursor is where to go on once it has been taken in; Item is
// nil when the event only moves the cursor.
type Event struct {
	Cursor string
	Item   *Item
}

// Tail is a feed's live tail. It is for one goroutine, but for Close.
type Tail struct {
	ctx    context.Context //nolint:containedctx // lives as long as the tail
	cancel func(cause error)
	body   io.Closer
	lines  *bufio.Scanner
	cursor string
	retry  time.Duration
}

// Live follows the feed after a cursor until ctx ends; seen is as for [Client.Feed]. It fails as
// [Client.Feed] does. It does not reconnect: the caller pulls first, with the last cursor, and then
// follows again.
func (c *Client) Live(ctx context.Context, squad uuid.UUID, after, seen string) (*Tail, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	schema := Schema
	params := &openapi.GetLiveParams{Schema: &schema, LastEventID: &after}
	if seen != "" {
		params.Seen = &seen
	}
	silence := time.AfterFunc(longestSilence, func() { cancel(errSilent) })
	response, err := c.streams.GetLive(ctx, squad, params)
	if err != nil {
		silence.Stop()
		cancel(nil)
		return nil, err
	}
	heard := &listener{from: response.Body, silence: silence}
	t := &Tail{ctx: ctx, body: response.Body, lines: bufio.NewScanner(heard), cursor: after, cancel: func(cause error) {
		silence.Stop()
		cancel(cause)
	}}
	t.lines.Buffer(nil, maxEvent)
	t.lines.Split(eventLines)
	return t, nil
}

// listener resets the silence timer with everything that comes.
type listener struct {
	from    io.Reader
	silence *time.Timer
}

func (l *listener) Read(p []byte) (int, error) {
	n, err := l.from.Read(p)
	if n > 0 {
		l.silence.Reset(longestSilence)
	}
	return n, err
}

var errSilent = fail(Unreachable, "the live tail has been silent for %s", longestSilence)

// Close ends the tail. It may be called while Next waits.
func (t *Tail) Close() error {
	t.cancel(nil)
	return t.body.Close()
}

// Retry is how long the server asks to wait before coming back; 0 when it does not.
func (t *Tail) Retry() time.Duration { return t.retry }

// Next waits for the next event. It returns io.EOF when the server has ended the tail, which it
// does from time to time, and [Unreachable] when the connection was cut.
func (t *Tail) Next() (Event, error) {
	name := ""
	var data []string
	for t.lines.Scan() {
		line := t.lines.Text()
		if line == "" {
			if data == nil {
				name = "" // an event without data does not count
				continue
			}
			return t.event(name, strings.Join(data, "\n"))
		}
		field, value, _ := strings.Cut(line, ":")
		value = strings.TrimPrefix(value, " ")
		switch field {
		case "id":
			t.cursor = value
		case "event":
			name = value
		case "data":
			data = append(data, value)
		case "retry":
			if milliseconds, err := strconv.Atoi(value); err == nil && milliseconds >= 0 {
				t.retry = time.Duration(milliseconds) * time.Millisecond
			}
		}
	}
	switch err := t.lines.Err(); {
	case err == nil:
		return Event{}, io.EOF
	case context.Cause(t.ctx) == errSilent: //nolint:errorlint // the value itself is the signal
		return Event{}, errSilent
	case t.ctx.Err() != nil:
		return Event{}, t.ctx.Err()
	case errors.Is(err, bufio.ErrTooLong):
		return Event{}, fail(NotOurs, "an event of the live tail is larger than %d MB", maxEvent>>20)
	default:
		return Event{}, &Error{Code: Unreachable, Detail: "the live tail was cut: " + plainly(err), cause: err}
	}
}

// event reads the events that this client knows and skips others.
func (t *Tail) event(name, data string) (Event, error) {
	event := Event{Cursor: t.cursor}
	if name != "item" {
		return event, nil
	}
	event.Item = &Item{}
	if err := json.Unmarshal([]byte(data), event.Item); err != nil {
		return Event{}, fmt.Errorf("read an event of the live tail: %w", err)
	}
	return event, nil
}

// eventLines splits a stream into lines, which end with CR, LF or both (HTML Living Standard,
// section 9.2.6).
func eventLines(data []byte, atEnd bool) (advance int, line []byte, err error) {
	end := bytes.IndexAny(data, "\r\n")
	switch {
	case end < 0 && atEnd:
		return len(data), nil, nil // half a line at the end of the stream means nothing
	case end < 0:
		return 0, nil, nil
	case data[end] == '\n':
		return end + 1, data[:end], nil
	case end+1 < len(data) && data[end+1] == '\n':
		return end + 2, data[:end], nil
	case end+1 == len(data) && !atEnd:
		return 0, nil, nil // an LF may follow
	}
	return end + 1, data[:end], nil
}

// streamTransport sends requests whose answer is an endless stream. Its reader reconnects itself,
// so nothing is sent again here.
type streamTransport struct{ *transport }

// Do sends a request and returns the answer with its body still to come.
func (s streamTransport) Do(request *http.Request) (*http.Response, error) {
	token, err := s.signIn.token(request.Context())
	if err != nil {
		return nil, err
	}
	response, err := s.open(request, token)
	if CodeOf(err) != Unauthenticated {
		return response, err
	}
	if token, err = s.signIn.renew(request.Context(), token); err != nil {
		return nil, err
	}
	return s.open(request, token)
}

func (s streamTransport) open(request *http.Request, token string) (*http.Response, error) {
	sent := request.Clone(request.Context())
	sent.Header.Set("User-Agent", s.agent)
	sent.Header.Set("Authorization", "Bearer "+token)
	sent.Header.Set("Accept", "text/event-stream")
	response, err := s.http.Do(sent)
	if err != nil {
		return nil, s.unreachable(err)
	}
	if response.StatusCode >= http.StatusBadRequest {
		defer response.Body.Close() //nolint:errcheck // read to its end, or failed before
		body, err := io.ReadAll(io.LimitReader(response.Body, maxAnswer))
		if err != nil {
			return nil, s.unreachable(err)
		}
		return nil, problemOf(response, body)
	}
	if media, _, _ := mime.ParseMediaType(response.Header.Get("Content-Type")); media != "text/event-stream" {
		return nil, errors.Join(
			fail(NotOurs, "%s does not send a live tail (%s, %q)", s.server, response.Status, media),
			response.Body.Close(),
		)
	}
	return response, nil
}
