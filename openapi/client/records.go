package client

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/google/uuid"
)

// Record is one record as the server holds it.
type Record struct {
	Kind Kind
	ID   uuid.UUID
	Rev  int64 // the squad's revision at its last change
	// Version names what a change of the record is based on, as the server does; "" when it is not
	// known.
	Version string
	JSON    json.RawMessage
}

// VersionOf is the version of a record's revision, proven by a head of an answer that held it, or of
// a later one.
func VersionOf(rev int64, head string) string { return strconv.FormatInt(rev, 10) + "." + head }

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

func recordOf(kind Kind, text json.RawMessage, proof string) (Record, error) {
	var known head
	if err := json.Unmarshal(text, &known); err != nil {
		return Record{}, fmt.Errorf("read the %s: %w", kind, err)
	}
	record := Record{Kind: kind, ID: known.ID, Rev: known.Rev, JSON: text}
	if proof != "" {
		record.Version = VersionOf(known.Rev, proof)
	}
	return record, nil
}

// Records lists all records of a kind that the user may see, in the order of their last change. It
// ends with the first error.
func (c *Client) Records(ctx context.Context, squad uuid.UUID, kind Kind) iter.Seq2[Record, error] {
	list := func(limit *int, cursor *string) (*http.Response, error) {
		asked := url.Values{}
		if limit != nil {
			asked.Set("limit", strconv.Itoa(*limit))
		}
		if cursor != nil {
			asked.Set("cursor", *cursor)
		}
		return c.send(ctx, http.MethodGet, address(squad, kind)+"?"+asked.Encode(), "", nil)
	}
	return func(yield func(Record, error) bool) {
		for one, err := range pages(list) {
			var record Record
			if err == nil {
				record, err = recordOf(kind, one.text, one.head)
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
	return oneRecord(kind)(c.send(ctx, http.MethodGet, address(squad, kind, id), "", nil))
}

// Create stores a new record. value is the contract's type of the kind; without an id it gets one
// here, so that sending it again after a lost answer stores it once.
func (c *Client) Create(ctx context.Context, squad uuid.UUID, kind Kind, value any) (Record, error) {
	body, err := withID(value)
	if err != nil {
		return Record{}, err
	}
	return oneRecord(kind)(c.send(resend(ctx), http.MethodPost, address(squad, kind), "", body))
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
// when another user has changed it since.
func (c *Client) Replace(ctx context.Context, squad uuid.UUID, old Record, value any) (Record, error) {
	body, err := json.Marshal(value)
	if err != nil {
		return Record{}, fmt.Errorf("write the record: %w", err)
	}
	path := address(squad, old.Kind, old.ID) + "?schema=" + strconv.Itoa(Schema)
	return oneRecord(old.Kind)(c.send(ctx, http.MethodPut, path, old.Version, body))
}

// Delete deletes a record. It fails with [Stale] when another user has changed it since it was
// read, and with [Conflict] while others refer to it.
func (c *Client) Delete(ctx context.Context, squad uuid.UUID, record Record) error {
	response, err := c.send(ctx, http.MethodDelete, address(squad, record.Kind, record.ID), record.Version, nil)
	if err != nil {
		return err
	}
	return response.Body.Close()
}

// DeleteSession deletes a session and its shots, all or nothing. It fails with [Stale] when another
// user has changed the session since it was read.
func (c *Client) DeleteSession(ctx context.Context, squad uuid.UUID, session Record) error {
	path := address(squad, Session, session.ID) + "?with_shots=true"
	response, err := c.send(ctx, http.MethodDelete, path, session.Version, nil)
	if err != nil {
		return err
	}
	return response.Body.Close()
}

// address returns where a kind's records are kept, or one of them: every kind has the same five
// operations there.
func address(squad uuid.UUID, kind Kind, id ...uuid.UUID) string {
	path := "/v1/squads/" + squad.String() + "/" + kind.Plural()
	for _, one := range id {
		path += "/" + one.String()
	}
	return path
}

// send sends a request, signed. With a base it is a change based on that version, and with a body a
// record in JSON.
func (c *Client) send(ctx context.Context, method, path, base string, body []byte) (*http.Response, error) {
	request, err := http.NewRequestWithContext(ctx, method, c.server+path, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("make the request: %w", err)
	}
	if body != nil {
		request.Header.Set("Content-Type", "application/json")
	}
	if base != "" {
		request.Header.Set("If-Match", strconv.Quote(base))
	}
	return c.signed.Do(request)
}

func oneRecord(kind Kind) func(*http.Response, error) (Record, error) {
	return func(response *http.Response, err error) (Record, error) {
		var text json.RawMessage
		if err := read(&text)(response, err); err != nil {
			return Record{}, err
		}
		record, err := recordOf(kind, text, "")
		record.Version = strings.Trim(response.Header.Get("ETag"), `"`)
		return record, err
	}
}
