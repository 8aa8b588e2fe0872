package client

import (
	"encoding/json"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"time"

	"laneward/openapi"
)

// Code is the kind of a failure: the fragment of a problem's type, or one of the client's own.
type Code string

// The kinds of failure a server reports.
const (
	Invalid          Code = "invalid"
	Unauthenticated  Code = "unauthenticated"
	Forbidden        Code = "forbidden"
	NotFound         Code = "not-found"
	MethodNotAllowed Code = "method-not-allowed"
	Conflict         Code = "conflict"
	OverQuota        Code = "over-quota"
	Gone             Code = "gone"
	Erased           Code = "erased" // it belonged to an athlete who was erased for good
	Stale            Code = "stale"
	TooLarge         Code = "too-large"
	MediaType        Code = "media-type"
	NeedsRevision    Code = "needs-revision"
	TooMany          Code = "too-many"
	Internal         Code = "internal"
	Unavailable      Code = "unavailable"
)

// The kinds of failure that arise in the client.
const (
	Unreachable Code = "unreachable" // no answer came
	NotOurs     Code = "not-ours"    // an answer came, but not from a Laneward server
	SignedOut   Code = "signed-out"  // no user is signed in on this device
	Ambiguous   Code = "ambiguous"   // several records have that name
)

// codes is the one table between the kinds of failure and HTTP's statuses. A problem names its kind
// itself; the status names it when something between, such as a proxy, answered instead.
var codes = map[int]Code{
	http.StatusBadRequest:            Invalid,
	http.StatusUnauthorized:          Unauthenticated,
	http.StatusForbidden:             Forbidden,
	http.StatusNotFound:              NotFound,
	http.StatusMethodNotAllowed:      MethodNotAllowed,
	http.StatusConflict:              Conflict,
	http.StatusGone:                  Gone,
	http.StatusPreconditionFailed:    Stale,
	http.StatusRequestEntityTooLarge: TooLarge,
	http.StatusUnsupportedMediaType:  MediaType,
	http.StatusPreconditionRequired:  NeedsRevision,
	http.StatusTooManyRequests:       TooMany,
	http.StatusInternalServerError:   Internal,
	http.StatusServiceUnavailable:    Unavailable,
	http.StatusBadGateway:            Unavailable,
	http.StatusGatewayTimeout:        Unavailable,
}

// Error is what every call fails with, unless its context ended. Detail is for the person and says
// how to fix it.
type Error struct {
	Code       Code
	Status     int // of HTTP; 0 when no answer came
	Title      string
	Detail     string
	Faults     []openapi.Fault // what is wrong with the body, each with its place
	More       int             // how many more faults there are
	Reason     string          // with Gone, why the feed has to be begun again
	RequestID  string          // finds the request in the server's log
	RetryAfter time.Duration   // how long the server asks to wait; 0 when it does not
	cause      error
}

func (e *Error) Error() string { return e.Detail }

func (e *Error) Unwrap() error { return e.cause }

// Is makes errors.Is(err, &Error{Code: c}) compare the kind.
func (e *Error) Is(target error) bool {
	other, ok := target.(*Error)
	return ok && other.Code == e.Code && other.Detail == ""
}

// CodeOf returns the kind of a failure, "" when it is not one of this package's.
func CodeOf(err error) Code {
	var known *Error
	if errors.As(err, &known) {
		return known.Code
	}
	return ""
}

func fail(code Code, format string, values ...any) *Error {
	return &Error{Code: code, Detail: fmt.Sprintf(format, values...)}
}

// problemOf reads a failure from its answer; body is the answer's whole body.
func problemOf(response *http.Response, body []byte) *Error {
	failure := &Error{
		Status:     response.StatusCode,
		RequestID:  response.Header.Get("X-Request-Id"),
		RetryAfter: retryAfter(response.Header),
	}
	var problem openapi.Problem
	media, _, _ := mime.ParseMediaType(response.Header.Get("Content-Type"))
	if media == "application/problem+json" && json.Unmarshal(body, &problem) == nil && problem.Detail != "" {
		_, fragment, _ := strings.Cut(problem.Type, "#")
		failure.Code, failure.Title, failure.Detail = Code(fragment), problem.Title, problem.Detail
		if problem.Errors != nil {
			failure.Faults = *problem.Errors
		}
		if problem.MoreErrors != nil {
			failure.More = *problem.MoreErrors
		}
		if problem.Reason != nil {
			failure.Reason = string(*problem.Reason)
		}
	} else {
		failure.Detail = fmt.Sprintf("the server answered %s and did not say why", response.Status)
	}
	if failure.Code == "" {
		failure.Code = codes[response.StatusCode]
	}
	if failure.Code == "" {
		failure.Code = Internal
	}
	return failure
}

// retryAfter reads the header of that name as seconds; a date or nonsense counts as absent.
func retryAfter(header http.Header) time.Duration {
	seconds, err := strconv.Atoi(header.Get("Retry-After"))
	if err != nil || seconds < 0 {
		return 0
	}
	return time.Duration(seconds) * time.Second
}
