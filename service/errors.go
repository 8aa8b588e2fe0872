// Package service holds the use cases: what a coach, an athlete or an analyst can do, each in one
// transaction. It knows neither HTTP nor SQL.
package service

import (
	"errors"
	"fmt"
	"time"

	"laneward/db"
	"laneward/service/advice"
	"laneward/service/record"
)

// Code is the kind of a failure. There are few, and the edge maps each to one answer.
type Code string

// The kinds of failure.
const (
	Invalid         Code = "invalid"
	Unauthenticated Code = "unauthenticated"
	Forbidden       Code = "forbidden"
	NotFound        Code = "not-found"
	Conflict        Code = "conflict"
	OverQuota       Code = "over-quota"
	Stale           Code = "stale"
	NeedsRevision   Code = "needs-revision"
	Gone            Code = "gone"
	Erased          Code = "erased"
	TooLarge        Code = "too-large"
	TooMany         Code = "too-many"
	TooOld          Code = "client-too-old"
	Unavailable     Code = "unavailable"
	Internal        Code = "internal"
)

// Error is what every use case fails with. Detail is for the person and says how to fix it; the
// wrapped cause is for the log. More counts the faults there are beside Faults.
type Error struct {
	Code       Code
	Detail     string
	Faults     []record.Fault
	More       int
	RetryAfter time.Duration
	Reason     string // with Gone, why a reader has to begin again
	cause      error
}

func (e *Error) Error() string {
	if e.cause != nil {
		return fmt.Sprintf("%s: %s: %v", e.Code, e.Detail, e.cause)
	}
	return fmt.Sprintf("%s: %s", e.Code, e.Detail)
}

func (e *Error) Unwrap() error { return e.cause }

func fail(code Code, format string, values ...any) *Error {
	return &Error{Code: code, Detail: fmt.Sprintf(format, values...)}
}

// InvalidError says everything that is wrong with what was sent; faults must not be empty.
func InvalidError(faults []record.Fault) *Error {
	return &Error{Code: Invalid, Detail: record.Faults(faults).Error(), Faults: faults}
}

// AsError returns err as one of this package's. An unexpected failure is Internal; its cause is for
// the log only.
func AsError(err error) *Error {
	var known *Error
	var constraint *db.ConstraintError
	var wrong record.Faults
	var refused *advice.Error
	switch {
	case errors.As(err, &wrong):
		return InvalidError(wrong)
	case errors.As(err, &refused) && refused.Conflict:
		return &Error{Code: Conflict, Detail: refused.Detail, cause: err}
	case errors.As(err, &refused):
		return &Error{Code: Invalid, Detail: refused.Detail, cause: err}
	case errors.As(err, &known):
		return known
	case errors.Is(err, db.ErrNotFound):
		return &Error{Code: NotFound, Detail: "there is no such record, or you may not see it", cause: err}
	case errors.Is(err, db.ErrBusy):
		return &Error{
			Code:       Unavailable,
			Detail:     "the server has more to do than it can at the moment: try again shortly",
			RetryAfter: 2 * time.Second,
			cause:      err,
		}
	case errors.Is(err, db.ErrUnavailable), db.IsRetry(err):
		return &Error{
			Code:       Unavailable,
			Detail:     "the database does not answer at the moment: try again shortly",
			RetryAfter: 2 * time.Second,
			cause:      err,
		}
	case errors.Is(err, db.ErrCharacter):
		return &Error{
			Code:   Invalid,
			Detail: "a text holds the character U+0000, which cannot be stored: take it out",
			cause:  err,
		}
	case errors.As(err, &constraint) && constraint.InUse:
		return &Error{
			Code:   Conflict,
			Detail: fmt.Sprintf("%s still refer to it: delete those first", constraint.Table),
			cause:  err,
		}
	}
	return &Error{
		Code:   Internal,
		Detail: "something went wrong on our side; the request id finds it in the log",
		cause:  err,
	}
}
