package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime/debug"
	"time"

	"github.com/alecthomas/kong"
)

// environment is what a run of the program gets from outside, so that a test can run it.
type environment struct {
	args   []string
	getenv func(string) string
	now    func() time.Time // in the zone of the person's own calendar
	stdin  io.Reader
	stdout io.Writer
	stderr io.Writer
}

// Exit codes tell the kinds of failure apart, for scripts.
const (
	exitOK       = 0
	exitFailure  = 1
	exitUsage    = 2
	exitAuth     = 3
	exitNotFound = 4
	exitConflict = 5
	exitPartial  = 6 // some rows of a log were refused or conflict; the others are stored
)

// commands is every command of the program.
type commands struct {
	Serve   serveCommand   `cmd:"" help:"Run the server, with a Postgres of its own when none is named."`
	Demo    demoCommand    `cmd:"" help:"Serve an invented squad to look at and try."`
	Migrate migrateCommand `cmd:"" help:"Bring a database to this program's schema."`

	clientCommands
	planCommands

	Version kong.VersionFlag `help:"Print the version and exit."`
}

// run runs one command line and returns the exit code.
func run(ctx context.Context, env environment) int {
	var cli commands
	exited := -1
	parser, err := kong.New(
		&cli,
		kong.Name("laneward"),
		kong.Description(
			"Coach-athlete sync for tenpin bowling on demanding oil patterns.\n\nExit codes: 0 done, 1 failed, 2 wrong usage, 3 not signed in or not allowed, 4 not found, 5 conflict, 6 some rows not stored.",
		),
		kong.Writers(env.stdout, env.stderr),
		kong.Exit(func(code int) { exited = code }),
		kong.Vars{"version": version(), "state_dir": stateDir(env), "default_server": defaultServer},
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, NoExpandSubcommands: true, WrapUpperBound: helpWidth}),
		kong.ExplicitGroups(commandGroups),
		settings(env),
		days(env.now),
		kong.Bind(env),
		kong.BindTo(ctx, (*context.Context)(nil)),
	)
	if err != nil {
		fmt.Fprintln(env.stderr, "laneward:", err)
		return exitFailure
	}
	args := env.args
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		fmt.Fprintf(env.stderr, "laneward: %v\nTry laneward --help.\n", err)
		return exitUsage
	}
	return report(env.stderr, parsed.Run())
}

// exitError ends the program with a code; a nil err has been told already.
type exitError struct {
	code int
	err  error
}

func (e *exitError) Error() string { return fmt.Sprint(e.err) }

func (e *exitError) Unwrap() error { return e.err }

func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "unreleased"
	}
	return info.Main.Version
}

// stateDir is where the program keeps what it must not lose, unless told otherwise: the XDG state
// directory, for root /var/lib.
func stateDir(env environment) string {
	if dir := env.getenv("XDG_STATE_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "laneward")
	}
	if os.Geteuid() == 0 {
		return "/var/lib/laneward"
	}
	return filepath.Join(env.getenv("HOME"), ".local", "state", "laneward")
}

func newLog(w io.Writer, format string) *slog.Logger {
	if format == "text" {
		return slog.New(slog.NewTextHandler(w, nil))
	}
	return slog.New(slog.NewJSONHandler(w, nil))
}
