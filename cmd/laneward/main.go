// Command laneward is the whole program: the server, its database when it has none, and the client
// commands.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(
		run(
			ctx,
			environment{
				args:   os.Args[1:],
				getenv: os.Getenv,
				now:    time.Now,
				stdin:  os.Stdin,
				stdout: os.Stdout,
				stderr: os.Stderr,
			},
		),
	)
}
