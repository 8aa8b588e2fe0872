package desk

import (
	"context"
	"errors"
	"os"

	"github.com/google/uuid"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client/local"
)

type signOutCommand struct {
	remote.Flags
	Forget bool `help:"Forget the sign-in on this computer even when the server does not answer."`
}

func (signOutCommand) Help() string {
	return `The sign-in ends on the server, and its tokens are removed from this computer.

Example:

    laneward sign-out`
}

// Run signs out.
func (c *signOutCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	ended, err := conn.SignOut(ctx, c.Forget)
	if err != nil {
		return err
	}
	if ended.Email == "" {
		conn.Say("Nobody was signed in to %s.", conn.Server())
		return nil
	}
	conn.Say("%s is signed out of %s.", ended.Email, conn.Server())
	return tellUnsent(ctx, conn, ended.UserID)
}

// tellUnsent says what a user who has signed out leaves unsent on this computer.
func tellUnsent(ctx context.Context, c remote.Connection, user uuid.UUID) error {
	dir, err := dataDir(c.Env)
	if err != nil {
		return nil //nolint:nilerr // without a place for a copy there is none
	}
	if _, err := os.Stat(local.Path(dir, c.Server(), user)); err != nil {
		return nil //nolint:nilerr // there is none
	}
	store, err := local.Open(ctx, dir, c.Server(), user, c.Env.Now)
	if err != nil {
		return err
	}
	all, err := store.Status(ctx)
	n := 0
	for _, status := range all {
		n += status.Unsent()
	}
	if n > 0 {
		c.Say(
			"%s unsent on this computer, for you alone: sign in again and run laneward sync.",
			terminal.Counted(n, "change stays", "changes stay"),
		)
	}
	return errors.Join(err, store.Close())
}
