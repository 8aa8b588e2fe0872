package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/service"
	"laneward/service/record"
)

const (
	defaultPage = 1000
	streamPage  = 5000
	mediaNDJSON = "application/x-ndjson"
	mediaEvents = "text/event-stream"
)

func schemaOf(schema *int) int {
	if schema == nil {
		return service.OldestSchema
	}
	return *schema
}

func pageSize(limit *int, stream bool) int {
	switch {
	case limit != nil:
		return *limit
	case stream:
		return streamPage
	}
	return defaultPage
}

// withSnapshot adds where to begin again, for a reader whose cursor is gone.
func withSnapshot(err error, squad uuid.UUID) error {
	var known *service.Error
	if errors.As(err, &known) && known.Code == service.Gone {
		return &goneError{cause: known, snapshot: "/v1/squads/" + squad.String() + "/snapshot"}
	}
	return err
}

// goneError means that a cursor cannot be resumed from, with the address of the snapshot.
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
	Items json.RawMessage `json:"items"`
	feedEnd
}

// feedEnd is what a page of the feed has beside its items, and the line after them.
type feedEnd struct {
	Cursor string      `json:"cursor"`
	More   bool        `json:"more"`
	Rev    int64       `json:"rev"`
	Head   string      `json:"head"`
	Digest digestReply `json:"digest"`
}

func (r feedReply) VisitGetFeedResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func feedEndOf(page service.FeedPage) feedEnd {
	return feedEnd{page.Cursor, page.More, page.Rev, page.Head, digestOf(page.Digest)}
}

// itemList is the JSON array of items.
func itemList(items []service.Item, tables bool) (json.RawMessage, error) {
	list, err := service.AppendItems([]byte{'['}, items, tables, ',')
	return append(bytes.TrimSuffix(list, []byte{','}), ']'), err
}

func (h *handlers) GetFeed(ctx context.Context, r openapi.GetFeedRequestObject) (openapi.GetFeedResponseObject, error) {
	lines, tables := wantsLines(ctx)
	query := service.FeedQuery{
		After:  text(r.Params.After),
		Seen:   text(r.Params.Seen),
		Limit:  pageSize(r.Params.Limit, lines),
		Schema: schemaOf(r.Params.Schema),
	}
	if r.Params.WaitFor != nil {
		query.WaitFor = *r.Params.WaitFor
	}
	page, err := h.service.Feed(ctx, userOf(ctx), r.SquadID, query)
	if err != nil {
		return nil, withSnapshot(err, r.SquadID)
	}
	synced := func(page service.FeedPage) {
		if query.After != "" && !page.More {
			h.service.Synced(clientOf(ctx).Identity, r.SquadID, page.Rev)
		}
	}
	if !lines {
		synced(page)
		items, err := itemList(page.Items, tables)
		return feedReply{items, feedEndOf(page)}, err
	}
	query.WaitFor = 0
	return linesReply(func(write lineWriter) error {
		done, err := h.service.Download(userOf(ctx))
		if err != nil {
			return err
		}
		defer done()
		next := func(ctx context.Context, page service.FeedPage) (service.FeedPage, error) {
			query.After, query.Seen = page.Cursor, page.Head
			return h.service.Feed(ctx, userOf(ctx), r.SquadID, query)
		}
		for page, err := range readAhead(ctx, page, func(page service.FeedPage) bool { return page.More }, next) {
			if err == nil {
				err = write.items(page.Items, tables, feedEndOf(page))
			}
			if err != nil {
				return err
			}
			synced(page)
		}
		return nil
	}), nil
}

// snapshotReply is the contract's SnapshotPage.
type snapshotReply struct {
	Items json.RawMessage `json:"items"`
	snapshotEnd
}

// snapshotEnd is the line after a page of a snapshot.
type snapshotEnd struct {
	Page    string      `json:"page,omitempty"`
	Cursor  string      `json:"cursor,omitempty"`
	Rev     int64       `json:"rev"`
	Head    string      `json:"head"`
	Digest  digestReply `json:"digest"`
	Since   *record.Day `json:"since,omitempty"`
	Athlete *uuid.UUID  `json:"athlete_id,omitempty"`
}

func (r snapshotReply) VisitGetSnapshotResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func (h *handlers) GetSnapshot(
	ctx context.Context,
	r openapi.GetSnapshotRequestObject,
) (openapi.GetSnapshotResponseObject, error) {
	lines, tables := wantsLines(ctx)
	query := service.SnapshotQuery{
		Page:    text(r.Params.Page),
		Limit:   pageSize(r.Params.Limit, lines),
		Schema:  schemaOf(r.Params.Schema),
		Since:   text(r.Params.Since),
		Athlete: r.Params.AthleteID,
		Extends: text(r.Params.Extends),
	}
	page, err := h.service.Snapshot(ctx, userOf(ctx), r.SquadID, query)
	if err != nil {
		return nil, withSnapshot(err, r.SquadID)
	}
	endOf := func(page service.SnapshotPage) snapshotEnd {
		return snapshotEnd{
			Page:    page.Page,
			Cursor:  page.Cursor,
			Rev:     page.Rev,
			Head:    page.Head,
			Digest:  digestOf(page.Digest),
			Since:   page.Since,
			Athlete: page.Athlete,
		}
	}
	if !lines {
		items, err := itemList(page.Items, tables)
		return snapshotReply{items, endOf(page)}, err
	}
	return linesReply(func(write lineWriter) error {
		done, err := h.service.Download(userOf(ctx))
		if err != nil {
			return err
		}
		defer done()
		next := func(ctx context.Context, page service.SnapshotPage) (service.SnapshotPage, error) {
			query.Page = page.Page
			return h.service.Snapshot(ctx, userOf(ctx), r.SquadID, query)
		}
		more := func(page service.SnapshotPage) bool { return page.Page != "" }
		for page, err := range readAhead(ctx, page, more, next) {
			if err == nil {
				err = write.items(page.Items, tables, endOf(page))
			}
			if err != nil {
				return err
			}
		}
		return nil
	}), nil
}

func (h *handlers) GetDigest(
	ctx context.Context,
	r openapi.GetDigestRequestObject,
) (openapi.GetDigestResponseObject, error) {
	kinds, rev, err := h.service.DigestAll(ctx, userOf(ctx), r.SquadID, text(r.Params.Of))
	if err != nil {
		return nil, err
	}
	answer := openapi.GetDigest200JSONResponse{Rev: rev, Kinds: make(map[string]openapi.Digest, len(kinds))}
	for kind, d := range kinds {
		answer.Kinds[string(kind)] = openapi.Digest{Count: d.Count, Sum: strconv.FormatUint(d.Sum, 10)}
	}
	return answer, nil
}
