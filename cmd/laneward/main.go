// Command laneward is the whole program: the server, its database when it has none, and the client
// commands.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // squads name their time zone, and a small image has no table of them

	"laneward/cmd/laneward/terminal"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(
		run(
			ctx,
			terminal.Environment{
				Args:   os.Args[1:],
				Getenv: os.Getenv,
				Now:    time.Now,
				Stdin:  os.Stdin,
				Stdout: os.Stdout,
				Stderr: os.Stderr,
			},
		),
	)
}
