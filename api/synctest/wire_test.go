package synctest

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"
)

// fields is a record as JSON, without its id and its revision.
type fields = map[string]any

// item is one entry of a feed, a snapshot or a push.
type item struct {
	Kind    string `json:"kind"`
	ID      string `json:"id,omitempty"`
	Rev     int64  `json:"rev,omitempty"`
	Version string `json:"version,omitempty"` // in a push, what the change is based on; by the newest head when it is not said
	Record  fields `json:"record,omitempty"`
	Deleted bool   `json:"deleted,omitempty"`
	Scope   string `json:"scope,omitempty"`
	by      proof  // of the revision it is based on, in histories
	lost    bool   // it is based on a history that has ended
}

func (i item) key() key { return key{i.Kind, i.ID} }

// key names a record.
type key struct{ kind, id string }

// content is the record without its id and revision, which the item says anyway.
func (i item) content() fields {
	if i.Record == nil {
		return nil
	}
	content := make(fields, len(i.Record))
	for name, value := range i.Record {
		if name != "id" && name != "rev" {
			content[name] = value
		}
	}
	return content
}

// outcome is what a push says of one item.
type outcome struct {
	Index   int    `json:"index"`
	Kind    string `json:"kind"`
	ID      string `json:"id"`
	Outcome string `json:"outcome"`
	Rev     int64  `json:"rev"`
	Record  fields `json:"record"`
	Deleted bool   `json:"deleted"`
	Errors  []struct {
		Pointer, Code, Detail string
	} `json:"errors"`
}

func (o outcome) item() item {
	return item{Kind: o.Kind, ID: o.ID, Rev: o.Rev, Record: o.Record, Deleted: o.Deleted}
}

type digest struct {
	Count int64  `json:"count"`
	Sum   string `json:"sum"`
}

// page is a page of the feed (Cursor and More) or of a snapshot (Page until the last, then Cursor).
type page struct {
	Items  []item `json:"items"`
	Cursor string `json:"cursor"`
	More   bool   `json:"more"`
	Page   string `json:"page"`
	Rev    int64  `json:"rev"`
	Head   string `json:"head"`
	Digest digest `json:"digest"`
}

type pushResult struct {
	Rev      int64     `json:"rev"`
	Head     string    `json:"head"`
	Outcomes []outcome `json:"outcomes"`
}

// client is one person's way to the server. It knows the contract and nothing else.
type client struct {
	http  *http.Client
	base  string
	token string
}

func directClient(handler http.Handler) *client {
	return &client{http: &http.Client{Transport: direct{handler}}, base: "http://laneward.invalid"}
}

// problem is a failure the server told (RFC 9457).
type problem struct {
	Type     string `json:"type"`
	Status   int    `json:"status"`
	Detail   string `json:"detail"`
	Snapshot string `json:"snapshot"`
	Reason   string `json:"reason"`
}

func (p *problem) Error() string { return fmt.Sprintf("%d %s: %s", p.Status, p.Type, p.Detail) }

// statusOf is the status of a failure the server told, 0 for any other error.
func statusOf(err error) int {
	var told *problem
	if errors.As(err, &told) {
		return told.Status
	}
	return 0
}

// send sends a request and returns the answer when it is a success; the caller closes its body.
// header is pairs of name and value.
func (c *client) send(
	ctx context.Context,
	method, path string,
	body io.Reader,
	header ...string,
) (*http.Response, error) {
	request, err := http.NewRequestWithContext(ctx, method, c.base+path, body)
	if err != nil {
		return nil, err
	}
	if c.token != "" {
		request.Header.Set("Authorization", "Bearer "+c.token)
	}
	for i := 0; i+1 < len(header); i += 2 {
		request.Header.Set(header[i], header[i+1])
	}
	response, err := c.http.Do(request)
	if err != nil {
		return nil, err
	}
	if response.StatusCode < 400 {
		return response, nil
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		return nil, err
	}
	told := &problem{}
	if err := json.Unmarshal(text, told); err != nil || told.Status != response.StatusCode {
		return nil, fmt.Errorf(
			"%s %s: status %d with a body that is no problem: %.200s",
			method,
			path,
			response.StatusCode,
			text,
		)
	}
	return nil, told
}

// call sends JSON and reads JSON; body and into may be nil.
func (c *client) call(ctx context.Context, method, path string, body, into any, header ...string) error {
	var reader io.Reader
	if body != nil {
		data, err := json.Marshal(body)
		if err != nil {
			return err
		}
		reader = bytes.NewReader(data)
		header = append([]string{"Content-Type", "application/json"}, header...)
	}
	response, err := c.send(ctx, method, path, reader, header...)
	if err != nil {
		return err
	}
	defer response.Body.Close()
	data, err := io.ReadAll(response.Body)
	if err != nil || into == nil {
		return err
	}
	if err := json.Unmarshal(data, into); err != nil {
		return fmt.Errorf("%s %s: %w: %.200s", method, path, err, data)
	}
	return nil
}

func (c *client) push(ctx context.Context, squad string, items []item) (pushResult, error) {
	proven, err := c.proven(ctx, squad, items)
	if err != nil {
		return pushResult{}, err
	}
	return c.pushSeen(ctx, squad, "", proven)
}

// pushSeen pushes items as they are, and shows a head.
func (c *client) pushSeen(ctx context.Context, squad, seen string, items []item) (result pushResult, err error) {
	path := "/v1/squads/" + squad + "/push?seen=" + url.QueryEscape(seen)
	if seen == "" {
		path, _, _ = strings.Cut(path, "?")
	}
	err = c.call(ctx, http.MethodPost, path, map[string]any{"items": items}, &result)
	return result, err
}

// proven gives the items that say a revision, their own or their record's, the version of it, with
// the head that the squad has now.
func (c *client) proven(ctx context.Context, squad string, items []item) ([]item, error) {
	proven, head := slices.Clone(items), ""
	for i, it := range proven {
		rev := it.Rev
		if of, err := strconv.ParseInt(fmt.Sprint(it.Record["rev"]), 10, 64); err == nil {
			rev = of
		}
		if rev == 0 || it.Version != "" {
			continue
		}
		if head == "" {
			now, err := c.feed(ctx, squad, "", 1)
			if err != nil {
				return nil, err
			}
			head = now.Head
		}
		proven[i].Rev, proven[i].Version = 0, fmt.Sprintf("%d.%s", rev, head)
	}
	return proven, nil
}

// etag is the ETag of a revision of a record, with the head that the squad has now.
func (c *client) etag(ctx context.Context, squad string, rev int64) (string, error) {
	proven, err := c.proven(ctx, squad, []item{{Rev: rev}})
	if err != nil {
		return "", err
	}
	return strconv.Quote(proven[0].Version), nil
}

// pushLines pushes NDJSON and hands on each outcome as it comes. It returns the revision of the
// last line; an answer that was cut before it is an error.
func (c *client) pushLines(
	ctx context.Context,
	squad string,
	body io.Reader,
	each func(outcome),
	header ...string,
) (rev int64, err error) {
	header = append([]string{"Content-Type", "application/x-ndjson", "Accept", "application/x-ndjson"}, header...)
	response, err := c.send(ctx, http.MethodPost, "/v1/squads/"+squad+"/push", body, header...)
	if err != nil {
		return 0, err
	}
	defer response.Body.Close()
	whole := false
	err = eachLine(response.Body, func(line []byte) error {
		var one outcome
		if err := json.Unmarshal(line, &one); err != nil {
			return err
		}
		if one.Outcome == "" {
			whole, rev = true, one.Rev
			return nil
		}
		each(one)
		return nil
	})
	if err == nil && !whole {
		err = io.ErrUnexpectedEOF
	}
	return rev, err
}

func eachLine(from io.Reader, do func([]byte) error) error {
	lines := bufio.NewScanner(from)
	lines.Buffer(make([]byte, 64<<10), 1<<20)
	for lines.Scan() {
		if err := do(lines.Bytes()); err != nil {
			return err
		}
	}
	return lines.Err()
}

// feed reads one page.
func (c *client) feed(ctx context.Context, squad, after string, limit int) (got page, err error) {
	query := url.Values{"limit": {strconv.Itoa(limit)}}
	if after != "" {
		query.Set("after", after)
	}
	err = c.call(ctx, http.MethodGet, "/v1/squads/"+squad+"/feed?"+query.Encode(), nil, &got)
	return got, err
}

// snapshot reads one page.
func (c *client) snapshot(ctx context.Context, squad, from string, limit int) (got page, err error) {
	query := url.Values{"limit": {strconv.Itoa(limit)}}
	if from != "" {
		query.Set("page", from)
	}
	err = c.call(ctx, http.MethodGet, "/v1/squads/"+squad+"/snapshot?"+query.Encode(), nil, &got)
	return got, err
}

// stream reads a feed or a snapshot as NDJSON and hands on each page.
func (c *client) stream(ctx context.Context, path string, each func(page) error) error {
	response, err := c.send(ctx, http.MethodGet, path, nil, "Accept", "application/x-ndjson")
	if err != nil {
		return err
	}
	defer response.Body.Close()
	var got page
	done := false
	err = eachLine(response.Body, func(line []byte) error {
		var one item
		if err := json.Unmarshal(line, &one); err != nil {
			return fmt.Errorf("%w: %.200s", err, line)
		}
		if one.Kind != "" {
			got.Items = append(got.Items, one)
			return nil
		}
		var end page
		if err := json.Unmarshal(line, &end); err != nil {
			return fmt.Errorf("%w: %.200s", err, line)
		}
		end.Items, got.Items = got.Items, nil
		done = !end.More && end.Page == ""
		return each(end)
	})
	if err == nil && !done {
		err = io.ErrUnexpectedEOF
	}
	return err
}

// digests asks for the server's own count of what the person may see.
func (c *client) digests(ctx context.Context, squad string) (kinds map[string]digest, rev int64, err error) {
	var got struct {
		Rev   int64             `json:"rev"`
		Kinds map[string]digest `json:"kinds"`
	}
	err = c.call(ctx, http.MethodGet, "/v1/squads/"+squad+"/digest", nil, &got)
	return got.Kinds, got.Rev, err
}

// sum is a device's own digest. A record's part is its id's two halves and its revision, each mixed
// into the one before by SplitMix64's finaliser (Steele, Lea, Flood, "Fast splittable pseudorandom
// number generators", 2014); the constants are from memory.
type sum struct {
	count int64
	total uint64
}

func (s *sum) add(id string, rev int64) {
	raw := uuid.MustParse(id)
	part := splitMix(binary.BigEndian.Uint64(raw[:8]))
	part = splitMix(part ^ binary.BigEndian.Uint64(raw[8:]))
	s.count++
	s.total += splitMix(part ^ uint64(rev))
}

func (s sum) digest() digest { return digest{s.count, strconv.FormatUint(s.total, 10)} }

func splitMix(x uint64) uint64 {
	x += 0x9E3779B97F4A7C15
	x ^= x >> 30
	x *= 0xBF58476D1CE4E5B9
	x ^= x >> 27
	x *= 0x94D049BB133111EB
	return x ^ x>>31
}

// sumOf digests the records among some items.
func sumOf(items []item) (s sum) {
	for _, one := range items {
		if one.Record != nil {
			s.add(one.ID, one.Rev)
		}
	}
	return s
}
