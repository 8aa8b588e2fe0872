package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

// recordReply answers with one record, whose JSON is the contract's, or with 304 when record is
// nil. version is the record's; of a deletion there is none.
type recordReply struct {
	status   int
	version  service.Version
	location string
	record   any
}

func (r recordReply) write(w http.ResponseWriter) error {
	if r.version.Rev > 0 {
		w.Header().Set("ETag", etag(r.version))
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
	Head  string  `json:"head,omitempty"`
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

func etag(v service.Version) string { return `"` + v.String() + `"` }

// entityTags are the tags of an If-Match or If-None-Match header (RFC 9110, section 8.8.3).
type entityTags struct {
	any    bool
	strong []service.Version
	weak   []service.Version
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
		version, ok := service.ParseVersion(strings.Trim(opaque, `"`))
		if !ok || opaque != etag(version) {
			continue // tags are compared character by character: another spelling of the number is another tag
		}
		if weak {
			tags.weak = append(tags.weak, version)
		} else {
			tags.strong = append(tags.strong, version)
		}
	}
	return tags
}

// notModified compares weakly, as If-None-Match does.
func notModified(header *string, now service.Version) bool {
	if header == nil {
		return false
	}
	tags := parseTags(*header)
	for _, tag := range append(tags.strong, tags.weak...) {
		if tag == now {
			return true
		}
	}
	return tags.any
}

// baseOf returns the version a change is based on, from If-Match, which compares strongly: a weak
// tag never matches. The service compares the version with what is stored then.
func (h *handlers) baseOf(
	ctx context.Context,
	squad uuid.UUID,
	kind record.Kind,
	id uuid.UUID,
	header *string,
) (base service.Version, err error) {
	if header == nil || strings.TrimSpace(*header) == "" {
		return base, &service.Error{
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
		return base, err
	}
	now := service.VersionOf(record)
	if tags.any || slices.Contains(tags.strong, now) {
		return now, nil
	}
	for _, tag := range tags.strong {
		if tag.Rev == now.Rev {
			return tag, nil
		}
	}
	return base, &service.Error{
		Code:   service.Stale,
		Detail: "the If-Match header names no version that stands: read the record again",
	}
}
