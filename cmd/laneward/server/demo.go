package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"path/filepath"

	"laneward/cmd/laneward/terminal"
	"laneward/service"
)

type demoCommand struct {
	serverFlags
	Exit bool `help:"Load the example and exit instead of serving it."`
}

// Run serves the invented squad, which is loaded when it does not exist yet. It keeps a state
// directory of its own, apart from real data.
func (c *demoCommand) Run(ctx context.Context, env terminal.Environment) error {
	flags := c.serverFlags
	if flags.DatabaseURL == "" && flags.DatabaseURLFile == "" {
		flags.StateDir = filepath.Join(flags.StateDir, "demo")
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	fmt.Fprintln(env.Stderr, "Starting Laneward with an invented squad; Ctrl-C ends it.")
	return flags.serve(ctx, env, func(up running) error {
		squad, err := loadDemo(ctx, up.service, env.Now())
		if err != nil {
			return fmt.Errorf("load the example: %w", err)
		}
		if c.Exit {
			defer cancel()
		}
		address := "http://" + byName(up.address)
		if flags.PublicURL != nil {
			address = flags.origin()
		}
		return welcome(env.Stdout, address, squad)
	})
}

// byName is an address with localhost in place of this machine's own number: passkeys need a name.
func byName(address string) string {
	host, port, err := net.SplitHostPort(address)
	if at := net.ParseIP(host); err != nil || at == nil || !at.IsLoopback() && !at.IsUnspecified() {
		return address
	}
	return net.JoinHostPort("localhost", port)
}

// welcome prints where the demo is, who may sign in and what to try.
func welcome(w io.Writer, address string, squad demoSquad) error {
	_, err := fmt.Fprintf(w, `
Laneward runs at %[1]s with an invented squad: every name, ball, pattern and shot in it is made up.

Sign in there as
  %-24[2]s  the coach
  %-24[3]s  an athlete
  %-24[4]s  an analyst
each with the password: %[5]s

Three commands to try, in another terminal:
  printf '%%s' '%[5]s' | bin/laneward sign-in %[2]s --server %[1]s
  bin/laneward score 'Play inside'
  bin/laneward import testdata/demo/invented-log.csv --session %[6]s --drill 'Play inside'
`, address, demoCoach, demoAthlete, demoAnalyst, demoPassword, squad.session)
	return err
}

// demoSquad names what the welcome mentions.
type demoSquad struct {
	session string
}

// The people of the example. The addresses are of a domain that is reserved for examples (RFC
// 2606).
const (
	demoCoach    = "coach@laneward.example"
	demoAthlete  = "ansa@laneward.example"
	demoAnalyst  = "analyst@laneward.example"
	demoPassword = "an invented lane far away"
)

// demoSignIn signs a person of the example up, or in when they are known already.
func demoSignIn(ctx context.Context, svc *service.Service, email, name string) (service.Tokens, error) {
	tokens, err := svc.SignUp(ctx, service.NewUser{Email: email, Name: name, Password: demoPassword, Device: "demo"})
	var known *service.Error
	if errors.As(err, &known) && known.Code == service.Conflict {
		return svc.SignIn(ctx, service.Attempt{Email: email, Password: demoPassword, Device: "demo", From: loopback})
	}
	return tokens, err
}
