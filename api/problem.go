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

	"laneward/api/problem"
	"laneward/openapi"
	"laneward/service"
	"laneward/service/record"
)

func errTooLarge(limit int64) error {
	return &service.Error{
		Code:   service.TooLarge,
		Detail: fmt.Sprintf("the body is larger than %d bytes: send it in parts", limit),
	}
}

// writeError answers every failure as a problem (RFC 9457). An unexpected failure is logged here,
// once, and answered with a fixed sentence.
func writeError(log *slog.Logger, err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	known, kind := describe(err)
	id := c.Response().Header().Get(echo.HeaderXRequestID)
	gone := c.Request().Context().Err() != nil // the client no longer waits
	if (known.Code == service.Internal || known.Code == service.Unavailable) && !gone && !errors.Is(err, errPanic) {
		log.ErrorContext(c.Request().Context(), "request failed", "request_id", id, "route", c.Path(), "err", err)
	}
	answer := problemOf(err, id)
	header := c.Response().Header()
	header.Set(echo.HeaderContentType, "application/problem+json")
	header.Set(echo.HeaderCacheControl, "no-store")
	if known.RetryAfter > 0 {
		header.Set(echo.HeaderRetryAfter, strconv.Itoa(int(math.Ceil(known.RetryAfter.Seconds()))))
	}
	if kind.Status == http.StatusUnauthorized {
		header.Set(echo.HeaderWWWAuthenticate, `Bearer realm="laneward"`)
	}
	c.Response().WriteHeader(kind.Status)
	if err := json.NewEncoder(c.Response()).Encode(answer); err != nil {
		log.WarnContext(c.Request().Context(), "answer not sent", "request_id", id, "err", err)
	}
}

// problemOf writes a failure as a problem.
func problemOf(err error, requestID string) openapi.Problem {
	known, kind := describe(err)
	answer := openapi.Problem{
		Type:      kind.Type(),
		Title:     kind.Title,
		Status:    kind.Status,
		Detail:    known.Detail,
		RequestID: requestID,
	}
	if len(known.Faults) > 0 {
		answer.Errors = &[]openapi.Fault{}
		listed := known.Faults[:min(len(known.Faults), record.MaxFaults)]
		for _, fault := range listed {
			*answer.Errors = append(*answer.Errors, faultOf(fault))
		}
		if more := len(known.Faults) - len(listed) + known.More; more > 0 {
			answer.MoreErrors = &more
		}
	}
	var gone *goneError
	if errors.As(err, &gone) {
		answer.Snapshot = &gone.snapshot
	}
	if known.Reason != "" {
		reason := openapi.ProblemReason(known.Reason)
		answer.Reason = &reason
	}
	return answer
}

// describe finds the failure and its kind.
func describe(err error) (*service.Error, problem.Kind) {
	var http4 *echo.HTTPError
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		err = errTooLarge(tooLarge.Limit)
	}
	if errors.As(err, &http4) {
		return describeHTTP(http4)
	}
	known := service.AsError(err)
	return known, problem.Of(known.Code)
}

// describeHTTP describes echo's own failures: no such address, wrong method, a body or parameter it
// could not bind.
func describeHTTP(err *echo.HTTPError) (*service.Error, problem.Kind) {
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
		code, detail = problem.Method, "this address has no such method: see the Allow header"
	case http.StatusUnsupportedMediaType:
		code = problem.Media
	case http.StatusRequestEntityTooLarge:
		code = service.TooLarge
	}
	if err.Code >= 500 {
		code = service.Internal
		detail = service.AsError(errors.New("")).Detail
	}
	return &service.Error{Code: code, Detail: detail}, problem.Of(code)
}

func faultOf(fault record.Fault) openapi.Fault {
	converted := openapi.Fault{Pointer: fault.Pointer, Detail: fault.Detail}
	if fault.Code != "" {
		converted.Code = &fault.Code
	}
	return converted
}
