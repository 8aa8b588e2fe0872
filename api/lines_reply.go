package api

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"mime"
	"net/http"
	"time"

	"laneward/service"
)

// linesReply answers with NDJSON, written by the function as it goes. A failure before the first
// line is answered as any other; one on the way cuts the answer: the reader sees that the last
// line, with the cursor, is missing, and goes on from the one before.
type linesReply func(write lineWriter) error

type lineWriter struct {
	w      http.ResponseWriter
	buffer *bufio.Writer
	json   *json.Encoder
	page   *[]byte // of the page before, to write the next in
}

func (r linesReply) write(w http.ResponseWriter) error {
	late := &lateStatus{w: w}
	buffer := bufio.NewWriterSize(late, 64<<10)
	err := r(lineWriter{w, buffer, json.NewEncoder(buffer), new([]byte)})
	switch {
	case err != nil && late.out:
		panic(http.ErrAbortHandler) // only breaking off can signal the failure
	case err != nil:
		return err
	}
	return buffer.Flush()
}

// lateStatus sends the status with the first bytes and not before: until then an error may still
// change it.
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
	var err error
	if *l.page, err = service.AppendItems((*l.page)[:0], items, tables, '\n'); err != nil {
		return err
	}
	if _, err := l.buffer.Write(*l.page); err != nil {
		return err
	}
	return l.end(end)
}

// outcomes writes a line an outcome, and sends them on their way.
func (l lineWriter) outcomes(outcomes []pushOutcome) error {
	for i := range outcomes {
		if err := l.json.Encode(&outcomes[i]); err != nil {
			return err
		}
	}
	if err := l.buffer.Flush(); err != nil {
		return err
	}
	return flush(l.w)
}

// wantsLines reports whether NDJSON was asked for, and whether either that or JSON with shots as
// tables.
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

// flush sends what has been written, and resets the write deadline: a streamed answer may take
// longer than an ordinary one.
func flush(w http.ResponseWriter) error {
	control := http.NewResponseController(w)
	if err := control.SetWriteDeadline(
		time.Now().Add(writeTimeout),
	); err != nil &&
		!errors.Is(err, http.ErrNotSupported) {
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
