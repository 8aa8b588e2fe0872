package main

import (
	"context"
	"fmt"

	"github.com/alecthomas/kong"

	"laneward/cmd/laneward/desk"
	"laneward/cmd/laneward/lines"
	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/server"
	"laneward/cmd/laneward/terminal"
)

// commands is every command of the program.
type commands struct {
	Server   server.Commands  `embed:""`
	Accounts remote.Accounts  `embed:""`
	Desk     desk.Commands    `embed:""`
	Remote   remote.Commands  `embed:""`
	Offline  offline.Commands `embed:""`

	Completion terminal.CompletionCommand `cmd:"" group:"shell" help:"Print a script that completes commands in a shell."`
	Complete   terminal.CompleteCommand   `cmd:""               help:"Print what may complete a command line."            hidden:""`

	Version kong.VersionFlag `help:"Print the version and exit."`
}

// groups are the groups of the help, in their order.
var groups = []kong.Group{
	{Key: "people", Title: "Signing in:"},
	{Key: "squads", Title: "Squads:"},
	{Key: "records", Title: "Records:"},
	{Key: "practice", Title: "Practice:"},
	{Key: "lines", Title: "Oil and lines:"},
	{Key: "shell", Title: "Shell:"},
}

// helpWidth is the widest that help is laid out, in columns.
const helpWidth = 120

const description = `Coach-athlete sync for tenpin bowling on demanding oil patterns.

Exit codes: 0 done, 1 failed, 2 wrong usage, 3 not signed in or not allowed, 4 not found, 5 conflict, 6 some rows not stored.`

// run runs one command line and returns the exit code.
func run(ctx context.Context, env terminal.Environment) int {
	var cli commands
	exited := -1
	parser, err := kong.New(
		&cli,
		kong.Name("laneward"),
		kong.Description(description),
		kong.Writers(env.Stdout, env.Stderr),
		kong.Exit(func(code int) { exited = code }),
		kong.Vars{"version": terminal.Version(), "state_dir": server.StateDir(env)},
		offline.Defaults(),
		lines.Defaults(),
		remote.Defaults(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, NoExpandSubcommands: true, WrapUpperBound: helpWidth}),
		kong.ExplicitGroups(groups),
		terminal.Settings(env),
		terminal.Days(env.Now),
		kong.Bind(env, terminal.Predictions{"kinds": remote.KindNames, "lists": remote.ListNames}),
		kong.BindTo(ctx, (*context.Context)(nil)),
	)
	if err != nil {
		fmt.Fprintln(env.Stderr, "laneward:", err)
		return terminal.ExitFailure
	}
	args := env.Args
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		fmt.Fprintf(env.Stderr, "laneward: %v\nTry laneward --help.\n", err)
		return terminal.ExitUsage
	}
	return terminal.Report(env.Stderr, parsed.Run())
}
