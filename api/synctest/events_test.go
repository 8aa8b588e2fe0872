package synctest

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// event is one server-sent event.
type event struct {
	id, name, data string
}

// item reads the item that an event of that name carries.
func (e event) item() (it item, err error) {
	if e.name != "item" {
		return it, fmt.Errorf("an event %q has no item", e.name)
	}
	return it, json.Unmarshal([]byte(e.data), &it)
}

// eventReader reads a stream of events as the HTML Living Standard says (section 9.2.6,
// interpreting an event stream), for a server that ends lines by LF.
type eventReader struct {
	lines    *bufio.Reader
	lastID   string // of the last event that came whole
	retry    time.Duration
	comments int
}

// next returns the next event that has data. An event that the stream's end cuts is discarded.
func (r *eventReader) next() (e event, err error) {
	var data []string
	id := r.lastID
	for {
		line, err := r.lines.ReadString('\n')
		if err != nil {
			return e, err
		}
		line = strings.TrimSuffix(line, "\n")
		if line == "" {
			r.lastID = id
			if data == nil {
				e = event{}
				continue
			}
			e.id, e.data = id, strings.Join(data, "\n")
			return e, nil
		}
		name, value, _ := strings.Cut(line, ":")
		value = strings.TrimPrefix(value, " ")
		switch name {
		case "":
			r.comments++
		case "event":
			e.name = value
		case "data":
			data = append(data, value)
		case "id":
			if !strings.Contains(value, "\x00") {
				id = value
			}
		case "retry":
			if ms, err := strconv.Atoi(value); err == nil {
				r.retry = time.Duration(ms) * time.Millisecond
			}
		}
	}
}

// live opens the tail of a squad's feed after a cursor. The caller closes the body, or ends ctx.
func (c *client) live(ctx context.Context, squad, after string) (*eventReader, io.Closer, error) {
	header := []string{"Accept", "text/event-stream"}
	if after != "" {
		header = append(header, "Last-Event-ID", after)
	}
	response, err := c.send(ctx, http.MethodGet, "/v1/squads/"+squad+"/live", nil, header...)
	if err != nil {
		return nil, nil, err
	}
	return &eventReader{lines: bufio.NewReader(response.Body)}, response.Body, nil
}

// followLive hands on every item of the tail after a cursor until ctx ends, coming back with the
// last id whenever the tail ends, as a browser does. It returns how often it came back.
func (c *client) followLive(ctx context.Context, squad, after string, each func(item)) (returns int, err error) {
	for {
		events, body, err := c.live(ctx, squad, after)
		if ctx.Err() != nil {
			return returns, nil
		}
		if status := statusOf(
			err,
		); status != 0 && status != http.StatusServiceUnavailable &&
			status != http.StatusInternalServerError {
			return returns, err
		}
		if err == nil {
			after, err = drainEvents(events, after, each)
			_ = body.Close() // the stream has ended
			if err != nil {
				return returns, err
			}
		}
		returns++
		select {
		case <-ctx.Done():
			return returns, nil
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// drainEvents reads a tail to its end, whatever ends it, and returns the last id.
func drainEvents(events *eventReader, after string, each func(item)) (last string, err error) {
	events.lastID = after
	for {
		e, err := events.next()
		if err != nil {
			return events.lastID, nil
		}
		if e.name != "item" {
			continue
		}
		it, err := e.item()
		if err != nil {
			return events.lastID, err
		}
		each(it)
	}
}
