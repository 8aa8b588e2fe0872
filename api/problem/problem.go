// Package problem is the one table of the kinds of failure: what HTTP answers, the title, and the
// help that the page of problems gives. The API's problems (RFC 9457) and the pages both read it.
package problem

import (
	"net/http"
	"slices"

	"laneward/service"
)

// The failures of HTTP itself, which the service does not know.
const (
	Method service.Code = "method-not-allowed"
	Media  service.Code = "media-type"
)

// Kind is one kind of failure. Its page explains it at [Kind.Type].
type Kind struct {
	Code    service.Code
	Status  int
	Title   string
	Meaning string
	Fix     []string // for the user of the pages, the logger or the command line
	API     []string // for programs that call the API; nil when Fix says it all
}

// Type is the address that names the kind, relative to the server.
func (k Kind) Type() string { return "/problems#" + string(k.Code) }

// Of returns the kind that a code names; a code that is not listed is an internal error.
func Of(code service.Code) Kind {
	var internal Kind
	for _, kind := range kinds {
		switch kind.Code {
		case code:
			return kind
		case service.Internal:
			internal = kind
		}
	}
	return internal
}

// Kinds lists every kind of failure, in the order of their status.
func Kinds() []Kind { return slices.Clone(kinds) }

var kinds = []Kind{
	{
		Code: service.Invalid, Status: http.StatusBadRequest, Title: "Invalid request",
		Meaning: "Something that was sent can’t be used: a value out of range, a field that is missing or unknown, " +
			"a sentence that isn’t a rule. Nothing was stored.",
		Fix: []string{"Fix each value that the message names, then send it again."},
		API: []string{"Each item of errors has a pointer to the value, such as /speed_mph, and a detail " +
			"that says what to write there."},
	},
	{
		Code: service.Unauthenticated, Status: http.StatusUnauthorized, Title: "Sign-in required",
		Meaning: "You are not signed in, or your sign-in ended.",
		Fix:     []string{"Sign in again. Changes that a device has not sent stay on it and can be sent afterwards."},
		API: []string{
			"Send Authorization: Bearer with an access token. When it has expired, refresh it with POST " +
				"/v1/tokens/refresh, or sign in again.",
		},
	},
	{
		Code: service.Forbidden, Status: http.StatusForbidden, Title: "Forbidden",
		Meaning: "You are in the squad, but your role doesn’t allow this. Athletes edit only their own records, " +
			"analysts only read, coaches run the squad.",
		Fix: []string{"Ask a coach of the squad to do it, or to change your role."},
	},
	{
		Code: service.NotFound, Status: http.StatusNotFound, Title: "Not found",
		Meaning: "There is nothing at this address, or you can’t see it: other squads’ records don’t exist for you.",
		Fix: []string{
			"Check the address. If you have just joined a squad, sign in with the email address you joined with.",
		},
		API: []string{"Check the ids; the lists show which records there are."},
	},
	{
		Code: Method, Status: http.StatusMethodNotAllowed, Title: "Method not allowed",
		Meaning: "The address exists but doesn’t support this method.",
		Fix:     []string{"Go back and use the buttons on the page."},
		API:     []string{"The Allow header lists the methods that it supports."},
	},
	{
		Code: service.Conflict, Status: http.StatusConflict, Title: "Conflict",
		Meaning: "What was sent contradicts what is stored: another record has the same id, the email address " +
			"has already " +
			"signed up, or other records still refer to this one.",
		Fix: []string{"The message says what is in the way. Change or remove that first."},
		API: []string{"To change a record that exists, read it, then send the change with its current revision."},
	},
	{
		Code: service.OverQuota, Status: http.StatusConflict, Title: "Squad is full",
		Meaning: "The squad has as many records as this server lets it have, so no new ones are stored. Nothing is lost: " +
			"what a device could not send stays on it, and goes when there is room. Changing, deleting and reading still work.",
		Fix: []string{
			"Delete sessions that nobody needs any more: their shots go with them, and make room.",
			"Or ask whoever runs this server for more room. On the server, laneward quota shows and sets it.",
		},
		API: []string{
			"GET /v1/squads/{squad_id}/usage says how many records there are and may be, and warns from 80 % on. In a push " +
				"such items are waiting: keep them, and send them again later.",
		},
	},
	{
		Code: service.Gone, Status: http.StatusGone, Title: "Gone",
		Meaning: "What was asked for existed once and doesn’t any more, such as a cursor too old to resume from.",
		Fix:     []string{"Start again from the beginning; the message says where."},
	},
	{
		Code: service.Erased, Status: http.StatusGone, Title: "Erased",
		Meaning: "The athlete that this belongs to was erased for good, with their shots, sessions, balls and drill " +
			"assignments. Nothing of theirs can be stored again, whatever device still holds it.",
		Fix: []string{
			"Discard it. A shot of another athlete that names an erased session or ball can be saved with another one.",
		},
		API: []string{"Drop the record and what refers to it; do not send it again. The ids are refused for good."},
	},
	{
		Code: service.Stale, Status: http.StatusPreconditionFailed, Title: "Precondition failed",
		Meaning: "Someone else changed the record after you read it. Nothing was overwritten.",
		Fix:     []string{"Look at what has changed, make your change on top of that, and save again."},
		API:     []string{"Read the record again, and send the change with the new ETag in If-Match."},
	},
	{
		Code: service.TooLarge, Status: http.StatusRequestEntityTooLarge, Title: "Content too large",
		Meaning: "What was sent is larger than this address accepts, as sent or when unpacked.",
		Fix: []string{
			"Send it in parts. A practice log can be split between any two rows; rows sent twice are stored once.",
		},
	},
	{
		Code: Media, Status: http.StatusUnsupportedMediaType, Title: "Unsupported media type",
		Meaning: "The file is in a format that can’t be read.",
		Fix:     []string{"Save a practice log as CSV, NDJSON or JSON; it may be compressed with gzip."},
		API: []string{
			"Send JSON as application/json. Practice logs may be text/csv, application/x-ndjson or " +
				"application/json; " +
				"the only Content-Encoding is gzip.",
		},
	},
	{
		Code: service.TooOld, Status: http.StatusUpgradeRequired, Title: "Client too old",
		Meaning: "Your version of the program is too old for this server. Unsent changes stay on the device.",
		Fix:     []string{"Update the program, or reload the page, then sync again."},
	},
	{
		Code: service.NeedsRevision, Status: http.StatusPreconditionRequired, Title: "Precondition required",
		Meaning: "A change must name the version of the record that it is based on, so that nobody’s work " +
			"is overwritten unseen.",
		Fix: []string{"Open the record again and make the change there."},
		API: []string{"Read the record, and send its ETag in the If-Match header with the change."},
	},
	{
		Code: service.TooMany, Status: http.StatusTooManyRequests, Title: "Too many requests",
		Meaning: "There were too many tries in a short time, usually wrong passwords.",
		Fix:     []string{"Wait for the time that the message gives, then try again."},
		API:     []string{"Wait for the number of seconds in the Retry-After header."},
	},
	{
		Code: service.Internal, Status: http.StatusInternalServerError, Title: "Internal error",
		Meaning: "Something unexpected went wrong on the server. It isn’t caused by what you sent.",
		Fix: []string{
			"Try again. If it happens again, give the request id to whoever runs this server; the log has " +
				"the details.",
		},
	},
	{
		Code: service.Unavailable, Status: http.StatusServiceUnavailable, Title: "Temporarily unavailable",
		Meaning: "The database is not answering at the moment. Nothing was half stored.",
		Fix:     []string{"Wait a moment and try again."},
		API: []string{"Wait for the number of seconds in the Retry-After header, then send the same " +
			"again: it is stored once."},
	},
}
