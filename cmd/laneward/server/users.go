package server

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"laneward/cmd/laneward/terminal"
	"laneward/service"
)

type usersCommand struct {
	Reset usersResetCommand `cmd:"" help:"Make a code with which a user sets a new password."`
}

type usersResetCommand struct {
	databaseFlags
	Email string `arg:"" help:"The user's address."`
	Demo  bool   `help:"Of the example that laneward demo serves."`
}

func (usersResetCommand) Help() string {
	return `Run it on the server, as the account that runs it and with its database. The server may go on running. The code works once, within seven days; it also removes the user's passkeys and recovery codes, and ends their sign-ins.

Examples:

    laneward users reset cora@example.org
    laneward users reset cora@example.org --database-url-file /etc/laneward/database-url`
}

// Run prints a code for a user who cannot sign in.
func (c *usersResetCommand) Run(ctx context.Context, env terminal.Environment) error {
	flags := c.databaseFlags
	if c.Demo {
		flags.StateDir = filepath.Join(flags.StateDir, "demo")
	}
	var made service.ResetCode
	err := flags.asOperator(ctx, env, service.Config{}, func(svc *service.Service) (err error) {
		made, err = svc.MakeOperatorsResetCode(ctx, c.Email)
		return err
	})
	var known *service.Error
	if errors.As(err, &known) && known.Code == service.NotFound {
		return terminal.NotFound("%s", known.Detail)
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(
		env.Stderr,
		"Good once, until %s. With it they set a new password: laneward reset-password %s CODE, or “Forgot your password?” on the sign-in page.\n",
		env.Local(made.ExpiresAt).Format("2006-01-02 15:04"),
		c.Email,
	)
	_, err = fmt.Fprintln(env.Stdout, made.Code)
	return err
}
