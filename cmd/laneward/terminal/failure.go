package terminal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"laneward/openapi/client"
)

// Exit codes distinguish the kinds of failure, for scripts.
const (
	ExitOK       = 0
	ExitFailure  = 1
	ExitUsage    = 2
	ExitAuth     = 3
	ExitNotFound = 4
	ExitConflict = 5
	ExitPartial  = 6 // some rows of a log were refused or conflict; the others are stored
)

// exitError ends the program with a code; a nil err has been reported already.
type exitError struct {
	code int
	err  error
}

func (e *exitError) Error() string { return fmt.Sprint(e.err) }

func (e *exitError) Unwrap() error { return e.err }

// exitCodes are the exit codes of what a server or the client library fails with; any other failure
// is ExitFailure.
var exitCodes = map[client.Code]int{
	client.Unauthenticated: ExitAuth,
	client.SignedOut:       ExitAuth,
	client.Forbidden:       ExitAuth,
	client.NotFound:        ExitNotFound,
	client.Gone:            ExitNotFound,
	client.Conflict:        ExitConflict,
	client.Stale:           ExitConflict,
	client.OverQuota:       ExitConflict,
	client.Ambiguous:       ExitUsage,
}

// hints say what to do next, where the failure itself does not.
var hints = map[client.Code]string{
	client.SignedOut:   "Sign in with: laneward sign-in EMAIL",
	client.Unreachable: "Is the server running, and is the address right? Use another with --server. Nothing is lost: try again when it answers.",
	client.NotOurs:     "Use another server with --server.",
	client.Forbidden:   "laneward whoami shows your role in each squad.",
}

// Report prints a failure and returns the exit code of its kind.
func Report(w io.Writer, err error) int {
	var coded *exitError
	var failure *client.Error
	switch {
	case err == nil:
		return ExitOK
	case errors.As(err, &coded):
		if coded.err != nil {
			fmt.Fprintln(w, "laneward:", coded.err)
		}
		return coded.code
	case errors.As(err, &failure):
		fmt.Fprintln(w, "laneward:", err)
		tellFaults(w, failure)
		if hint := hints[failure.Code]; hint != "" {
			fmt.Fprintln(w, hint)
		}
		if failure.Code == client.Internal && failure.RequestID != "" {
			fmt.Fprintln(w, "Request id:", failure.RequestID)
		}
		if failure.RetryAfter > 0 {
			fmt.Fprintf(w, "Try again in %s.\n", failure.RetryAfter)
		}
		if code, ok := exitCodes[failure.Code]; ok {
			return code
		}
		return ExitFailure
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(w, "laneward: stopped. It is safe to run the same command again.")
		return ExitFailure
	}
	fmt.Fprintln(w, "laneward:", err)
	return ExitFailure
}

// tellFaults lists what is wrong with what was sent, when it is more than the failure's own
// sentence.
func tellFaults(w io.Writer, failure *client.Error) {
	if len(failure.Faults) == 1 && strings.Contains(failure.Detail, failure.Faults[0].Detail) {
		return
	}
	for _, fault := range failure.Faults {
		place := PlaceOf(fault.Pointer)
		if place != "" {
			place += ": "
		}
		fmt.Fprintf(w, "  %s%s\n", place, fault.Detail)
	}
	if failure.More > 0 {
		fmt.Fprintf(w, "  and %d more\n", failure.More)
	}
}

// PlaceOf writes a JSON Pointer with dots: "rules.0.min" for /rules/0/min.
func PlaceOf(pointer string) string {
	return strings.ReplaceAll(strings.TrimPrefix(pointer, "/"), "/", ".")
}

// ErrPartial ends the program when some of what was sent was not taken, which has been said.
var ErrPartial error = &exitError{code: ExitPartial}

// NotFound returns the error of naming something that does not exist.
func NotFound(format string, values ...any) error {
	return &exitError{ExitNotFound, fmt.Errorf(format, values...)}
}

// Usage returns the error of an invalid command line.
func Usage(format string, values ...any) error {
	return &exitError{ExitUsage, fmt.Errorf(format, values...)}
}
