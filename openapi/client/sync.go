package client

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"

	"github.com/google/uuid"

	"laneward/openapi"
)

// The kinds that come with a feed and are changed at addresses of their own.
const (
	Squad  Kind = "squad"
	Member Kind = "member"
)

// SyncedKinds are all kinds of record that a feed has, parents before children.
var SyncedKinds = []Kind{Squad, Athlete, Member, Pattern, Ball, Session, Drill, Assignment, Shot}

// Schema is the version of the records that this client understands.
const Schema = 3

// TooOld is the failure of a client that the server no longer understands.
const TooOld Code = "client-too-old"

// MaxPush is how many changes one push sends, which the server stores in one go.
const MaxPush = 1000

// Item is one entry of a feed or a snapshot: the latest state of a record, or that it is gone.
type Item struct {
	Kind    Kind            `json:"kind"`
	ID      uuid.UUID       `json:"id"`
	Rev     int64           `json:"rev"`
	Record  json.RawMessage `json:"record,omitempty"`
	Deleted bool            `json:"deleted,omitempty"`
	Scope   string          `json:"scope,omitempty"`
	// Table has many shots instead; reading a page yields them one by one.
	Table json.RawMessage `json:"table,omitempty"`
}

// Gone reports whether a device is to drop the record, because it was deleted or is out of the
// user's sight.
func (i Item) Gone() bool { return i.Deleted || i.Scope == "removed" }

// Restored is the reason of a [Gone] that comes of another history: the server may have lost some of
// what the device holds.
const Restored = "restored"

// FeedPage is a page of the feed. Cursor is where to go on, Rev what the squad had reached, and Head
// what its history had come to then.
type FeedPage struct {
	Items  []Item `json:"items"`
	Cursor string `json:"cursor"`
	More   bool   `json:"more"`
	Rev    int64  `json:"rev"`
	Head   string `json:"head"`
	Digest Digest `json:"digest"`
}

// SnapshotPage is a page of a first copy as of revision Rev. Page is where to go on; the last has a
// Cursor into the feed instead.
type SnapshotPage struct {
	Items  []Item `json:"items"`
	Page   string `json:"page"`
	Cursor string `json:"cursor"`
	Rev    int64  `json:"rev"`
	Head   string `json:"head"`
	Digest Digest `json:"digest"`
	// Since is the first day of the copy's sessions, "" when it has all, and Athlete whose they are.
	Since   string     `json:"since"`
	Athlete *uuid.UUID `json:"athlete_id"`
}

// SnapshotQuery asks for a page of a first copy, at the Page that the page before gave, "" being the
// first. That says what the copy is to hold: sessions since a day or for a number of days such as
// 90d, of one athlete, and with Extends what the copy of that cursor lacks of them.
type SnapshotQuery struct {
	Page    string
	Since   string
	Athlete *uuid.UUID
	Extends string
}

// Feed reads what changed after a cursor, "" being the beginning. seen is the newest head that the
// device was ever given, "" for none. It fails with [Gone] when the cursor cannot be resumed from, or
// when what was seen is not of the squad's history: read a snapshot then.
func (c *Client) Feed(ctx context.Context, squad uuid.UUID, after, seen string) (FeedPage, error) {
	limit, schema := pageSize, Schema
	params := &openapi.GetFeedParams{Limit: &limit, Schema: &schema}
	if after != "" {
		params.After = &after
	}
	if seen != "" {
		params.Seen = &seen
	}
	var page FeedPage
	err := read(&page)(c.api.GetFeed(ctx, squad, params, asTables))
	if err == nil {
		page.Items, err = unfold(page.Items)
	}
	if err != nil {
		return FeedPage{}, err
	}
	return page, page.Digest.check(page.Items)
}

// Stands reports whether a head that the server once gave is of the squad's history still.
func (c *Client) Stands(ctx context.Context, squad uuid.UUID, head string) (bool, error) {
	limit, schema := 1, Schema
	params := &openapi.GetFeedParams{Limit: &limit, Schema: &schema, Seen: &head}
	var page FeedPage
	err := read(&page)(c.api.GetFeed(ctx, squad, params, asTables))
	if code := CodeOf(err); code == Gone || code == Invalid {
		return false, nil
	}
	return err == nil, err
}

// Snapshot reads a page of a first copy. It fails with [Gone] when the copy has to start again.
func (c *Client) Snapshot(ctx context.Context, squad uuid.UUID, query SnapshotQuery) (SnapshotPage, error) {
	limit, schema := pageSize, Schema
	params := &openapi.GetSnapshotParams{Limit: &limit, Schema: &schema}
	if query.Page != "" {
		params.Page = &query.Page
	} else {
		params.AthleteID = query.Athlete
		if query.Since != "" {
			params.Since = &query.Since
		}
		if query.Extends != "" {
			params.Extends = &query.Extends
		}
	}
	var page SnapshotPage
	err := read(&page)(c.api.GetSnapshot(ctx, squad, params, asTables))
	if err == nil {
		page.Items, err = unfold(page.Items)
	}
	if err != nil {
		return SnapshotPage{}, err
	}
	if (page.Page == "") == (page.Cursor == "") {
		return SnapshotPage{}, fail(
			NotOurs,
			"a page of the snapshot leads nowhere: the server may be of another version",
		)
	}
	return page, page.Digest.check(page.Items)
}

// Digests asks what the user may see at the squad's present revision, as a digest for each kind: what
// the copy of a cursor is to hold of it.
func (c *Client) Digests(
	ctx context.Context,
	squad uuid.UUID,
	cursor string,
) (kinds map[Kind]Digest, rev int64, err error) {
	var answer struct {
		Rev   int64           `json:"rev"`
		Kinds map[Kind]Digest `json:"kinds"`
	}
	params := &openapi.GetDigestParams{}
	if cursor != "" {
		params.Of = &cursor
	}
	err = read(&answer)(c.api.GetDigest(ctx, squad, params))
	return answer.Kinds, answer.Rev, err
}

// Change is one change to be pushed: a record with the version it is based on, "" for a new one, or
// a deletion.
type Change struct {
	Kind    Kind            `json:"kind"`
	ID      uuid.UUID       `json:"id"`
	Version string          `json:"version,omitempty"`
	Schema  int             `json:"schema,omitempty"` // it was made by, when older than [Schema]
	Record  json.RawMessage `json:"record,omitempty"`
	Deleted bool            `json:"deleted,omitempty"`
}

// What becomes of a change.
const (
	Stored      = "stored"
	Same        = "same"     // it was stored before
	Conflicting = "conflict" // another user changed the record, or it is in use: Record is what is stored
	Refused     = "refused"  // for the reasons in Errors
	Waiting     = "waiting"  // until a record it refers to has been stored, or the squad has room: [OverQuota]
)

// Outcome is what became of one change. Record is set where something other than what was sent is
// stored.
type Outcome struct {
	Index   int             `json:"index"`
	Outcome string          `json:"outcome"`
	Rev     int64           `json:"rev"`
	Record  json.RawMessage `json:"record"`
	Deleted bool            `json:"deleted"`
	Errors  []openapi.Fault `json:"errors"`
}

// Sent is what became of a push: an outcome for each change in their order, and what the squad's
// history has come to, at which revision. Usage is the squad's when it is near its quota, else nil.
type Sent struct {
	Outcomes []Outcome
	Rev      int64
	Head     string
	Usage    *openapi.Usage
}

// Send pushes up to [MaxPush] changes. seen is as for [Client.Feed]; it fails with [Gone], and stores
// nothing, as that does. After any failure it is safe to send the same again.
func (c *Client) Send(ctx context.Context, squad uuid.UUID, seen string, changes []Change) (Sent, error) {
	if !c.rows.Load() {
		sent, err := c.sendTables(ctx, squad, seen, changes)
		if CodeOf(err) != MediaType {
			return sent, err
		}
		c.rows.Store(true) // a server from before there were tables
	}
	return c.sendLines(ctx, squad, seen, changes)
}

// sendTables sends shots as tables, which are half the size.
func (c *Client) sendTables(ctx context.Context, squad uuid.UUID, seen string, changes []Change) (Sent, error) {
	body, err := writeTables(changes)
	if err != nil {
		return Sent{}, err
	}
	response, err := c.push(ctx, squad, seen, mediaTables, body)
	if err != nil {
		return Sent{}, err
	}
	var sent Sent
	if err := read(&sent)(response, nil); err != nil {
		return Sent{}, err
	}
	return sent, sent.check(len(changes))
}

// sendLines sends a change a line.
func (c *Client) sendLines(ctx context.Context, squad uuid.UUID, seen string, changes []Change) (Sent, error) {
	var lines bytes.Buffer
	encoder := json.NewEncoder(&lines)
	for _, change := range changes {
		if err := encoder.Encode(change); err != nil {
			return Sent{}, fmt.Errorf("write %s %s: %w", change.Kind, change.ID, err)
		}
	}
	response, err := c.push(ctx, squad, seen, string(NDJSON), lines.Bytes())
	if err != nil {
		return Sent{}, err
	}
	defer response.Body.Close() //nolint:errcheck // it is in memory
	return readOutcomes(response.Body, len(changes))
}

func (c *Client) push(ctx context.Context, squad uuid.UUID, seen, media string, body []byte) (*http.Response, error) {
	packed, err := pack(body)
	if err != nil {
		return nil, err
	}
	schema := Schema
	params := &openapi.PushParams{Schema: &schema}
	if seen != "" {
		params.Seen = &seen
	}
	headers := func(_ context.Context, request *http.Request) error {
		request.Header.Set("Content-Encoding", "gzip")
		return nil
	}
	return c.api.PushWithBody(resend(ctx), squad, params, media, bytes.NewReader(packed), headers)
}

// readOutcomes reads an outcome a line, and the last line, which has none and shows that the answer
// is complete.
func readOutcomes(body io.Reader, sent int) (Sent, error) {
	var end struct {
		Rev   int64
		Head  string
		Usage *openapi.Usage
	}
	outcomes := make([]Outcome, 0, sent)
	lines := bufio.NewScanner(body)
	lines.Buffer(nil, maxAnswer)
	whole := false
	for lines.Scan() {
		var outcome Outcome
		if err := json.Unmarshal(lines.Bytes(), &outcome); err != nil {
			return Sent{}, fmt.Errorf("read the answer: %w", err)
		}
		if whole = outcome.Outcome == ""; whole {
			if err := json.Unmarshal(lines.Bytes(), &end); err != nil {
				return Sent{}, fmt.Errorf("read the answer: %w", err)
			}
			continue
		}
		outcomes = append(outcomes, outcome)
	}
	if err := lines.Err(); err != nil {
		return Sent{}, fmt.Errorf("read the answer: %w", err)
	}
	if !whole {
		outcomes = nil
	}
	all := Sent{outcomes, end.Rev, end.Head, end.Usage}
	return all, all.check(sent)
}

// check fails unless there is an outcome for each change that was sent, in their order.
func (s Sent) check(sent int) error {
	for i := range s.Outcomes {
		if s.Outcomes[i].Index != i {
			return fail(NotOurs, "the server answered the changes out of order: it may be of another version")
		}
	}
	if len(s.Outcomes) != sent {
		return fail(NotOurs, "the server answered %d of %d changes: send them again", len(s.Outcomes), sent)
	}
	return nil
}
