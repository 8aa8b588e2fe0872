package db

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// The kinds of failure a caller can distinguish; test with errors.Is.
var (
	ErrNotFound    = errors.New("not found")
	ErrUnavailable = errors.New("the database does not answer")
	// ErrBusy is an ErrUnavailable: the database would answer, and all connections to it are in use.
	ErrBusy      = fmt.Errorf("%w: all connections are in use", ErrUnavailable)
	ErrCharacter = errors.New("a text holds a character that cannot be stored")
	errRetry     = errors.New("the database asks to run the transaction again")
)

// ConstraintError is a violated constraint, by name. InUse is set when other rows refer to the one
// that was to be removed.
type ConstraintError struct {
	Constraint string
	Table      string
	InUse      bool
	cause      error
}

func (e *ConstraintError) Error() string {
	return fmt.Sprintf("constraint %s of %s: %v", e.Constraint, e.Table, e.cause)
}

func (e *ConstraintError) Unwrap() error { return e.cause }

// Translate turns a driver error into one of this package's; any other error is returned unchanged.
// It is the one place that knows SQLSTATE.
func Translate(err error) error {
	var pg *pgconn.PgError
	var connect *pgconn.ConnectError
	var network net.Error
	switch {
	case err == nil, errors.Is(err, ErrNotFound), errors.Is(err, ErrUnavailable), errors.Is(err, errRetry):
		return err
	case errors.Is(err, pgx.ErrNoRows):
		return fmt.Errorf("%w: %w", ErrNotFound, err)
	case errors.As(err, &pg):
		return translateCode(pg, err)
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return err
	case errors.As(err, &connect),
		errors.As(err, &network),
		errors.Is(err, io.ErrUnexpectedEOF),
		pgconn.SafeToRetry(err):
		// An unexpected end is a connection that broke in the middle of an answer.
		return fmt.Errorf("%w: %w", ErrUnavailable, withoutURL(err))
	}
	return err
}

func translateCode(pg *pgconn.PgError, err error) error {
	switch pg.Code {
	case "40001", "40P01":
		return fmt.Errorf("%w: %w", errRetry, err)
	case "23505", "23514", "23502":
		return &ConstraintError{Constraint: pg.ConstraintName, Table: pg.TableName, cause: err}
	case "23503":
		// Postgres names the referring table in both directions; only a removal says "still
		// referenced".
		return &ConstraintError{Constraint: pg.ConstraintName, Table: pg.TableName, InUse: isRemoval(pg), cause: err}
	case "22021", "22P05":
		return fmt.Errorf("%w: %w", ErrCharacter, err)
	case "57P01",
		"57P02",
		"57P03",
		"53300",
		"57014",
		"25P03": // the last two: a statement or a transaction took too long
		return fmt.Errorf("%w: %w", ErrUnavailable, err)
	}
	return err
}

func isRemoval(pg *pgconn.PgError) bool {
	return len(pg.Message) >= 16 && pg.Message[:16] == "update or delete"
}

// IsRetry reports whether the transaction may succeed when it is run again.
func IsRetry(err error) bool { return errors.Is(err, errRetry) }

// withoutURL keeps what went wrong and drops the address from a connection error: it may contain a
// password.
func withoutURL(err error) error {
	var connect *pgconn.ConnectError
	if errors.As(err, &connect) {
		return errors.New("no connection to the database server")
	}
	return err
}
