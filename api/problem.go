package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"laneward/openapi"
	"laneward/service"
	"laneward/service/record"
)

// answers is the one table from kinds of failure to answers.
var answers = map[service.Code]struct {
	status int
	title  string
}{
	service.Invalid:         {http.StatusBadRequest, "The request needs mending"},
	service.Unauthenticated: {http.StatusUnauthorized, "Sign in first"},
	service.Forbidden:       {http.StatusForbidden, "Not for your role"},
	service.NotFound:        {http.StatusNotFound, "Not found"},
	service.Conflict:        {http.StatusConflict, "It does not fit what is stored"},
	service.Stale:           {http.StatusPreconditionFailed, "Changed since you read it"},
	service.NeedsRevision:   {http.StatusPreconditionRequired, "Say which version you change"},
	service.Gone:            {http.StatusGone, "No longer there"},
	service.TooLarge:        {http.StatusRequestEntityTooLarge, "Too large"},
	service.TooMany:         {http.StatusTooManyRequests, "Too many tries"},
	service.TooOld:          {http.StatusUpgradeRequired, "Your client is too old"},
	service.Unavailable:     {http.StatusServiceUnavailable, "Not just now"},
	service.Internal:        {http.StatusInternalServerError, "Our fault"},
	codeMethod:              {http.StatusMethodNotAllowed, "No such method here"},
	codeMedia:               {http.StatusUnsupportedMediaType, "A format we do not read"},
}

// The failures of HTTP itself have codes of their own.
const (
	codeMethod service.Code = "method-not-allowed"
	codeMedia  service.Code = "media-type"
)

func errTooLarge(limit int64) error {
	return &service.Error{
		Code:   service.TooLarge,
		Detail: fmt.Sprintf("the body is larger than %d bytes: send it in parts", limit),
	}
}

// writeError answers every failure as a problem (RFC 9457). What nobody foresaw is logged here,
// once, and told as a fixed sentence.
func writeError(log *slog.Logger, err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	known, status, _ := describe(err)
	id := c.Response().Header().Get(echo.HeaderXRequestID)
	gone := c.Request().Context().Err() != nil // whoever asked no longer waits
	if (known.Code == service.Internal || known.Code == service.Unavailable) && !gone && !errors.Is(err, errPanic) {
		log.ErrorContext(c.Request().Context(), "request failed", "request_id", id, "route", c.Path(), "err", err)
	}
	problem := problemOf(err, id)
	header := c.Response().Header()
	header.Set(echo.HeaderContentType, "application/problem+json")
	header.Set(echo.HeaderCacheControl, "no-store")
	if known.RetryAfter > 0 {
		header.Set(echo.HeaderRetryAfter, strconv.Itoa(int(math.Ceil(known.RetryAfter.Seconds()))))
	}
	if status == http.StatusUnauthorized {
		header.Set(echo.HeaderWWWAuthenticate, `Bearer realm="laneward"`)
	}
	c.Response().WriteHeader(status)
	if err := json.NewEncoder(c.Response()).Encode(problem); err != nil {
		log.WarnContext(c.Request().Context(), "answer not sent", "request_id", id, "err", err)
	}
}

// problemOf writes a failure as a problem.
func problemOf(err error, requestID string) openapi.Problem {
	known, status, title := describe(err)
	problem := openapi.Problem{
		Type:      "/problems#" + string(known.Code),
		Title:     title,
		Status:    status,
		Detail:    known.Detail,
		RequestID: requestID,
	}
	if len(known.Faults) > 0 {
		problem.Errors = &[]openapi.Fault{}
		for _, fault := range known.Faults {
			*problem.Errors = append(*problem.Errors, faultOf(fault))
		}
	}
	var gone *goneError
	if errors.As(err, &gone) {
		problem.Snapshot = &gone.snapshot
	}
	return problem
}

// describe finds the failure's code, status and title.
func describe(err error) (known *service.Error, status int, title string) {
	var http4 *echo.HTTPError
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		err = errTooLarge(tooLarge.Limit)
	}
	if errors.As(err, &http4) {
		return describeHTTP(http4)
	}
	known = service.AsError(err)
	answer := answers[known.Code]
	return known, answer.status, answer.title
}

// describeHTTP tells echo's own failures: no such address, wrong method, a body or parameter it
// could not bind.
func describeHTTP(err *echo.HTTPError) (known *service.Error, status int, title string) {
	code, detail := service.Invalid, strings.TrimSpace(fmt.Sprint(err.Message))
	var name string
	if _, scanned := fmt.Sscanf(detail, "Invalid format for parameter %s", &name); scanned == nil {
		detail = strings.TrimSuffix(
			name,
			":",
		) + " " + wordsForID // ids are the only parameters that are bound and not checked before
	}
	switch err.Code {
	case http.StatusNotFound:
		code, detail = service.NotFound, "there is nothing at this address; /openapi.json lists what there is"
	case http.StatusMethodNotAllowed:
		code, detail = codeMethod, "this address has no such method: see the Allow header"
	case http.StatusUnsupportedMediaType:
		code = codeMedia
	case http.StatusRequestEntityTooLarge:
		code = service.TooLarge
	}
	if err.Code >= 500 {
		code = service.Internal
		detail = service.AsError(errors.New("")).Detail
	}
	answer := answers[code]
	return &service.Error{Code: code, Detail: detail}, answer.status, answer.title
}

func faultOf(fault record.Fault) openapi.Fault {
	converted := openapi.Fault{Pointer: fault.Pointer, Detail: fault.Detail}
	if fault.Code != "" {
		converted.Code = &fault.Code
	}
	return converted
}
