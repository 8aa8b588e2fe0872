package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"laneward/openapi/client"
)

// exitCodes are the exit codes of what a server or the client library fails with; any other failure
// is exitFailure.
var exitCodes = map[client.Code]int{
	client.Unauthenticated: exitAuth,
	client.SignedOut:       exitAuth,
	client.Forbidden:       exitAuth,
	client.NotFound:        exitNotFound,
	client.Gone:            exitNotFound,
	client.Conflict:        exitConflict,
	client.Stale:           exitConflict,
	client.Ambiguous:       exitUsage,
}

// hints say what to do next, where the failure itself does not.
var hints = map[client.Code]string{
	client.SignedOut:   "Sign in with: laneward sign-in EMAIL",
	client.Unreachable: "Is the server running, and the address right? Name another with --server. Nothing is lost: try again when it answers.",
	client.NotOurs:     "Name another server with --server.",
	client.Forbidden:   "laneward whoami tells your role in each squad.",
}

// report tells a failure to the person and returns the exit code of its kind.
func report(w io.Writer, err error) int {
	var coded *exitError
	var failure *client.Error
	switch {
	case err == nil:
		return exitOK
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
		return exitFailure
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(w, "laneward: stopped. It is safe to run the same command again.")
		return exitFailure
	}
	fmt.Fprintln(w, "laneward:", err)
	return exitFailure
}

// tellFaults lists what is wrong with what was sent, when it is more than the failure's own
// sentence.
func tellFaults(w io.Writer, failure *client.Error) {
	if len(failure.Faults) == 1 && strings.Contains(failure.Detail, failure.Faults[0].Detail) {
		return
	}
	for _, fault := range failure.Faults {
		place := placeOf(fault.Pointer)
		if place != "" {
			place += ": "
		}
		fmt.Fprintf(w, "  %s%s\n", place, fault.Detail)
	}
}

// placeOf writes a JSON Pointer as a person would: "rules 1, min" for /rules/0/min.
func placeOf(pointer string) string {
	return strings.ReplaceAll(strings.TrimPrefix(pointer, "/"), "/", ".")
}

func usage(format string, values ...any) error {
	return &exitError{exitUsage, fmt.Errorf(format, values...)}
}
