package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

// recordReply answers with one record, whose JSON is the contract's, or with 304 when record is
// nil.
type recordReply struct {
	status   int
	rev      int64
	location string
	record   any
}

func (r recordReply) write(w http.ResponseWriter) error {
	if r.rev > 0 {
		w.Header().Set("ETag", etag(r.rev))
	}
	if r.location != "" {
		w.Header().Set("Location", r.location)
	}
	if r.record == nil {
		w.WriteHeader(r.status)
		return nil
	}
	return writeJSON(w, r.status, r.record)
}

// pageReply answers with one page of a list.
type pageReply struct {
	Items any     `json:"items"`
	Next  *string `json:"next,omitempty"`
}

func (p pageReply) write(w http.ResponseWriter) error { return writeJSON(w, http.StatusOK, p) }

func writeJSON(w http.ResponseWriter, status int, value any) error {
	var body bytes.Buffer
	if err := json.NewEncoder(&body).Encode(value); err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, err := w.Write(body.Bytes())
	return err
}

func etag(rev int64) string { return `"` + strconv.FormatInt(rev, 10) + `"` }

// entityTags are the tags of an If-Match or If-None-Match header (RFC 9110, section 8.8.3).
type entityTags struct {
	any    bool
	strong []int64
	weak   []int64
}

// parseTags reads a list of entity tags. One that is not ours cannot match and is skipped.
func parseTags(header string) entityTags {
	var tags entityTags
	for part := range strings.SplitSeq(header, ",") {
		part = strings.TrimSpace(part)
		if part == "*" {
			tags.any = true
			continue
		}
		opaque, weak := strings.CutPrefix(part, "W/")
		rev, err := strconv.ParseInt(strings.Trim(opaque, `"`), 10, 64)
		if err != nil || opaque != etag(rev) {
			continue // tags are compared character by character: another spelling of the number is another tag
		}
		if weak {
			tags.weak = append(tags.weak, rev)
		} else {
			tags.strong = append(tags.strong, rev)
		}
	}
	return tags
}

// notModified compares weakly, as If-None-Match does.
func notModified(header *string, rev int64) bool {
	if header == nil {
		return false
	}
	tags := parseTags(*header)
	for _, tag := range append(tags.strong, tags.weak...) {
		if tag == rev {
			return true
		}
	}
	return tags.any
}

// baseOf returns the revision a change is based on, from If-Match, which compares strongly: a weak
// tag never matches.
func (h *handlers) baseOf(
	ctx context.Context,
	squad uuid.UUID,
	kind record.Kind,
	id uuid.UUID,
	header *string,
) (int64, error) {
	if header == nil || strings.TrimSpace(*header) == "" {
		return 0, &service.Error{
			Code:   service.NeedsRevision,
			Detail: "send the record's ETag as If-Match, so that no change is lost: read the record, then change it",
		}
	}
	tags := parseTags(*header)
	if !tags.any && len(tags.strong) == 1 {
		return tags.strong[0], nil
	}
	record, err := h.service.Get(ctx, userOf(ctx), squad, kind, id)
	if err != nil {
		return 0, err
	}
	for _, rev := range tags.strong {
		if rev == record.Revision() {
			return rev, nil
		}
	}
	if tags.any {
		return record.Revision(), nil
	}
	return 0, &service.Error{
		Code:   service.Stale,
		Detail: "the If-Match header names no version that stands: read the record again",
	}
}
