package client

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net/http"

	"github.com/google/uuid"

	"laneward/openapi"
)

// Format is the format of a practice log, by its media type.
type Format string

// The formats of a log.
const (
	CSV    Format = "text/csv"
	NDJSON Format = "application/x-ndjson"
	JSON   Format = "application/json"
)

// Log is a practice log to be stored in a session. Athlete and Drill are for rows that do not say;
// nil for none.
type Log struct {
	Session uuid.UUID
	Athlete *uuid.UUID
	Drill   *uuid.UUID
	Format  Format
	Text    []byte
}

// Upload sends a log and returns an outcome for each row, and the answer's JSON. Whatever happens
// on the way it is safe to send the same log again: rows that are stored already are answered
// "same". progress, when not nil, is called with how many of the packed bytes have been sent.
func (c *Client) Upload(
	ctx context.Context,
	squad uuid.UUID,
	log Log,
	progress func(sent, total int),
) (Answer[openapi.UploadResult], error) {
	packed, err := pack(log.Text)
	if err != nil {
		return Answer[openapi.UploadResult]{}, err
	}
	params := &openapi.UploadShotsParams{AthleteID: log.Athlete, DrillID: log.Drill}
	editor := func(_ context.Context, request *http.Request) error {
		request.Header.Set("Content-Encoding", "gzip")
		if progress != nil {
			request.GetBody = func() (io.ReadCloser, error) {
				return &countingReader{unsent: bytes.NewReader(packed), total: len(packed), progress: progress}, nil
			}
		}
		return nil
	}
	answer, err := c.api.UploadShotsWithBodyWithResponse(
		resend(ctx),
		squad,
		log.Session,
		params,
		string(log.Format),
		bytes.NewReader(packed),
		editor,
	)
	if err != nil {
		return Answer[openapi.UploadResult]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

func pack(text []byte) ([]byte, error) {
	var packed bytes.Buffer
	writer := gzip.NewWriter(&packed)
	if _, err := writer.Write(text); err != nil {
		return nil, fmt.Errorf("compress the body: %w", err)
	}
	if err := writer.Close(); err != nil {
		return nil, fmt.Errorf("compress the body: %w", err)
	}
	return packed.Bytes(), nil
}

// countingReader reports how far a body has been sent.
type countingReader struct {
	unsent   *bytes.Reader // not embedded: its WriteTo would go past Read
	total    int
	progress func(sent, total int)
}

func (r *countingReader) Read(p []byte) (int, error) {
	n, err := r.unsent.Read(p)
	r.progress(r.total-r.unsent.Len(), r.total)
	return n, err
}

func (r *countingReader) Close() error { return nil }
