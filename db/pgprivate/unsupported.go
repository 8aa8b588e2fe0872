//go:build !unix

// Package pgprivate runs a Postgres server of the program's own; this system can only use one that
// runs elsewhere.
package pgprivate

import (
	"context"
	"errors"
	"log/slog"
)

// MinMajor is the oldest supported major version of Postgres.
const MinMajor = 15

// Superuser is the role that [Server.URL] signs in as.
const Superuser = "postgres"

// Errors that a caller may want to distinguish.
var (
	ErrNoBinaries = errors.New(
		"a private PostgreSQL runs on Linux and other unix systems only: give the URL of a server instead",
	)
	ErrInUse = errors.New("data directory is in use")
)

// Config is that of the unix systems.
type Config struct {
	DataDir, BinDir, User string
	Settings              map[string]string
	Logger                *slog.Logger
}

// Server is not supported here.
type Server struct{}

// Start returns [ErrNoBinaries].
func Start(context.Context, Config) (*Server, error) { return nil, ErrNoBinaries }

// RunningURL returns [ErrNoBinaries].
func RunningURL(string, string, string) (string, error) { return "", ErrNoBinaries }

// URL, Done, Err and Stop belong to a server, and none can be started here.
func (*Server) URL(string) string { return "" }

// Done is closed.
func (*Server) Done() <-chan struct{} {
	done := make(chan struct{})
	close(done)
	return done
}

// Err returns [ErrNoBinaries].
func (*Server) Err() error { return ErrNoBinaries }

// Stop returns [ErrNoBinaries].
func (*Server) Stop(context.Context) error { return ErrNoBinaries }

// InstalledMajor returns [ErrNoBinaries].
func InstalledMajor(context.Context, string) (int, error) { return 0, ErrNoBinaries }
