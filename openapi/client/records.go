package client

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"net/http"
	"strconv"

	"github.com/google/uuid"
)

// Record is one record as the server holds it.
type Record struct {
	Kind Kind
	ID   uuid.UUID
	Rev  int64 // the squad's revision at its last change
	JSON json.RawMessage
}

// Decode reads a record as the contract's type of its kind, such as [laneward/openapi.Athlete].
func Decode[T any](r Record) (T, error) {
	var value T
	if err := json.Unmarshal(r.JSON, &value); err != nil {
		return value, fmt.Errorf("read %s %s: %w", r.Kind, r.ID, err)
	}
	return value, nil
}

// Name returns what the record is called, "" for a kind without names.
func (r Record) Name() (string, error) {
	known, err := Decode[struct{ Name string }](r)
	return known.Name, err
}

// head is what all records have.
type head struct {
	ID   uuid.UUID `json:"id"`
	Rev  int64     `json:"rev"`
	Name string    `json:"name"`
}

func recordOf(kind Kind, text json.RawMessage) (Record, error) {
	var known head
	if err := json.Unmarshal(text, &known); err != nil {
		return Record{}, fmt.Errorf("read the %s: %w", kind, err)
	}
	return Record{Kind: kind, ID: known.ID, Rev: known.Rev, JSON: text}, nil
}

// Records lists all records of a kind that the user may see, in the order of their last change. It
// ends with the first error.
func (c *Client) Records(ctx context.Context, squad uuid.UUID, kind Kind) iter.Seq2[Record, error] {
	list := func(limit *int, cursor *string) (*http.Response, error) {
		return contract[kind].list(ctx, c.api, squad, limit, cursor)
	}
	return func(yield func(Record, error) bool) {
		for text, err := range pages(list) {
			var record Record
			if err == nil {
				record, err = recordOf(kind, text)
			}
			if !yield(record, err) || err != nil {
				return
			}
		}
	}
}

// All is [Client.Records] in one slice.
func (c *Client) All(ctx context.Context, squad uuid.UUID, kind Kind) ([]Record, error) {
	var all []Record
	for record, err := range c.Records(ctx, squad, kind) {
		if err != nil {
			return nil, err
		}
		all = append(all, record)
	}
	return all, nil
}

// Get reads one record.
func (c *Client) Get(ctx context.Context, squad uuid.UUID, kind Kind, id uuid.UUID) (Record, error) {
	return oneRecord(kind)(contract[kind].get(ctx, c.api, squad, id))
}

// Create stores a new record. value is the contract's type of the kind; without an id it gets one
// here, so that sending it again after a lost answer stores it once.
func (c *Client) Create(ctx context.Context, squad uuid.UUID, kind Kind, value any) (Record, error) {
	body, err := withID(value)
	if err != nil {
		return Record{}, err
	}
	return oneRecord(kind)(contract[kind].create(resend(ctx), c.api, squad, bytes.NewReader(body)))
}

func withID(value any) ([]byte, error) {
	text, err := json.Marshal(value)
	if err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(text, &fields); err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	if _, given := fields["id"]; given {
		return text, nil
	}
	id, err := uuid.NewV7()
	if err != nil {
		return nil, fmt.Errorf("make an id: %w", err)
	}
	fields["id"] = json.RawMessage(strconv.Quote(id.String()))
	return json.Marshal(fields)
}

// Replace stores a changed record; old is the version the change is based on. It fails with [Stale]
// when somebody changed it since.
func (c *Client) Replace(ctx context.Context, squad uuid.UUID, old Record, value any) (Record, error) {
	body, err := json.Marshal(value)
	if err != nil {
		return Record{}, fmt.Errorf("write the record: %w", err)
	}
	return oneRecord(
		old.Kind,
	)(
		contract[old.Kind].replace(ctx, c.api, squad, old.ID, etag(old.Rev), bytes.NewReader(body)),
	)
}

// Delete deletes a record. It fails with [Stale] when somebody changed it since it was read, and
// with [Conflict] while others refer to it.
func (c *Client) Delete(ctx context.Context, squad uuid.UUID, record Record) error {
	response, err := contract[record.Kind].remove(ctx, c.api, squad, record.ID, etag(record.Rev))
	if err != nil {
		return err
	}
	return response.Body.Close()
}

func etag(rev int64) string { return `"` + strconv.FormatInt(rev, 10) + `"` }

func oneRecord(kind Kind) func(*http.Response, error) (Record, error) {
	return func(response *http.Response, err error) (Record, error) {
		var text json.RawMessage
		if err := read(&text)(response, err); err != nil {
			return Record{}, err
		}
		return recordOf(kind, text)
	}
}
