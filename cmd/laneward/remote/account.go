package remote

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
)

// accountCommand is what a person does to their own account.
type accountCommand struct {
	Password      accountPasswordCommand `cmd:"" help:"Change your password; you are signed out everywhere else."`
	Devices       accountDevicesCommand  `cmd:"" help:"List where you are signed in, or sign one out."`
	SignOut       accountSignOutCommand  `cmd:"" help:"Sign out everywhere."                                      name:"sign-out-everywhere"`
	RecoveryCodes recoveryCodesCommand   `cmd:"" help:"Make ten recovery codes, or count those left."`
	Passkeys      accountPasskeysCommand `cmd:"" help:"List your passkeys, or remove one."`
	Delete        accountDeleteCommand   `cmd:"" help:"Delete your account."`
}

// newPasswordFlags say where a new password comes from when the user is not asked.
type newPasswordFlags struct {
	NewPasswordFile string `env:"LANEWARD_NEW_PASSWORD_FILE" type:"existingfile" placeholder:"FILE" help:"File that holds the new password. Without it you are asked, or stdin's next line is taken."`
}

// newPassword gets the new password: from the file, from a person at the terminal, or from stdin.
func (f newPasswordFlags) newPassword(ctx context.Context, env terminal.Environment) (string, error) {
	if f.NewPasswordFile != "" {
		return passwordFlags{PasswordFile: f.NewPasswordFile}.password(ctx, env, false)
	}
	keyboard := terminal.File(env.Stdin)
	if keyboard == nil {
		return firstLine(env.Stdin)
	}
	password, err := ask(ctx, env, keyboard, "New password: ")
	if err != nil {
		return "", err
	}
	again, err := ask(ctx, env, keyboard, "Once more: ")
	if err == nil && again != password {
		err = errors.New("the two passwords differ: nothing was done")
	}
	return password, err
}

type accountPasswordCommand struct {
	Flags
	passwordFlags
	newPasswordFlags
}

func (accountPasswordCommand) Help() string {
	return `The current password is asked for, then the new one; from stdin they are its first two lines. All your other sign-ins end.

Examples:

    laneward account password
    laneward account password < current-and-new.txt`
}

// Run changes the password.
func (c *accountPasswordCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	conn.warnWhenReadable()
	if terminal.File(env.Stdin) == nil {
		env.Stdin = bufio.NewReader(env.Stdin) // both passwords are read from it, line by line
	}
	current, err := c.password(ctx, env, false)
	if err != nil {
		return err
	}
	wanted, err := c.newPassword(ctx, env)
	if err != nil {
		return err
	}
	if err := conn.ChangePassword(ctx, current, wanted); err != nil {
		return err
	}
	conn.Say("Your password is changed, and you are signed out everywhere else.")
	return nil
}

type accountDevicesCommand struct {
	Flags
	End string `placeholder:"ID" help:"Sign this one out."`
}

func (accountDevicesCommand) Help() string {
	return `What a device has not sent yet stays on it, and is sent after the next sign-in there.

Examples:

    laneward account devices
    laneward account devices --end 0192b3c4-5d6e-7f80-9102-a3b4c5d6e7f8`
}

// Run lists the sign-ins, or ends one.
func (c *accountDevicesCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	if c.End != "" {
		id, err := uuid.Parse(c.End)
		if err != nil {
			return terminal.Usage("%q is not the id of a sign-in: laneward account devices lists them", c.End)
		}
		if err := conn.EndSignIn(ctx, id); err != nil {
			return err
		}
		conn.Say("Signed out.")
		return nil
	}
	list, err := conn.SignIns(ctx)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(list.JSON)
	}
	table := terminal.NewTable("device", "since", "last used", "", "id")
	for _, one := range list.Value.Items {
		current := ""
		if one.Current {
			current = "this one"
		}
		table.Add(one.Device, env.ClockTime(one.SignedInAt), env.ClockTime(one.LastUsedAt), current, one.ID.String())
	}
	return conn.PrintTable(table)
}

type accountSignOutCommand struct {
	Flags
}

// Help says what ends, and shows an example.
func (accountSignOutCommand) Help() string {
	return `Ends every sign-in of your account, this one too. What a device has not sent yet stays on it.

Example:

    laneward account sign-out-everywhere`
}

// Run signs the user out everywhere.
func (c *accountSignOutCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	if err := conn.EndSignIns(ctx); err != nil {
		return err
	}
	conn.Say("You are signed out of %s everywhere.", conn.Server())
	return nil
}

type recoveryCodesCommand struct {
	Flags
	passwordFlags
	Left bool `help:"Only say how many are left."`
}

func (recoveryCodesCommand) Help() string {
	return `Each code sets a new password once, with laneward reset-password. New codes replace the earlier ones, and are printed this once: keep them away from your devices. A coach has nobody else to ask, so should have some.

Examples:

    laneward account recovery-codes
    laneward account recovery-codes --left`
}

// Run makes recovery codes, or counts them.
func (c *recoveryCodesCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	if c.Left {
		left, err := conn.RecoveryCodesLeft(ctx)
		if err != nil {
			return err
		}
		if conn.JSON {
			return conn.PrintJSON(left.JSON)
		}
		return conn.Print(fmt.Sprintln(left.Value.Left, "left"))
	}
	conn.warnWhenReadable()
	password, err := c.password(ctx, env, false)
	if err != nil {
		return err
	}
	made, err := conn.MakeRecoveryCodes(ctx, password)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(made.JSON)
	}
	conn.Say("Each works once. They are not shown again.")
	return conn.Print(strings.Join(made.Value.Codes, "\n") + "\n")
}

type accountPasskeysCommand struct {
	Flags
	Remove string `placeholder:"ID" help:"Remove this one; it signs nobody in any more."`
}

func (accountPasskeysCommand) Help() string {
	return `A passkey is added in a browser, on the page of your account.

Examples:

    laneward account passkeys
    laneward account passkeys --remove 0192b3c4-5d6e-7f80-9102-a3b4c5d6e7f8`
}

// Run lists the passkeys, or removes one.
func (c *accountPasskeysCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	if c.Remove != "" {
		id, err := uuid.Parse(c.Remove)
		if err != nil {
			return terminal.Usage("%q is not the id of a passkey: laneward account passkeys lists them", c.Remove)
		}
		if err := conn.RemovePasskey(ctx, id); err != nil {
			return err
		}
		conn.Say("Removed.")
		return nil
	}
	list, err := conn.Passkeys(ctx)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(list.JSON)
	}
	if len(list.Value.Items) == 0 {
		conn.Say("None yet: add one in a browser, at %s/account.", conn.Server())
	}
	table := terminal.NewTable("passkey", "added", "last used", "id")
	for _, one := range list.Value.Items {
		used := "never"
		if one.LastUsedAt != nil {
			used = env.ClockTime(*one.LastUsedAt)
		}
		table.Add(one.Name, env.ClockTime(one.CreatedAt), used, one.ID.String())
	}
	return conn.PrintTable(table)
}

type accountDeleteCommand struct {
	Flags
	passwordFlags
	Confirm string `required:"" placeholder:"EMAIL" help:"Your address, to be sure that it is meant."`
}

func (accountDeleteCommand) Help() string {
	return `Deletes your address, name, password and sign-ins, and takes you out of your squads. What you wrote there stays, without your name. An athlete's shots and sessions belong to the squad: ask a coach to erase those too.

Example:

    laneward account delete --confirm cora@example.org`
}

// Run deletes the account.
func (c *accountDeleteCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	me, err := conn.Me(ctx)
	if err != nil {
		return err
	}
	if !strings.EqualFold(strings.TrimSpace(c.Confirm), me.Value.Email) {
		return terminal.Usage("you are signed in as %s: confirm with that address", me.Value.Email)
	}
	conn.warnWhenReadable()
	password, err := c.password(ctx, env, false)
	if err != nil {
		return err
	}
	if err := conn.DeleteAccount(ctx, password); err != nil {
		return err
	}
	conn.Say("The account of %s on %s is deleted.", me.Value.Email, conn.Server())
	return nil
}

type resetPasswordCommand struct {
	Flags
	newPasswordFlags
	Email string `arg:"" help:"Your address."`
	Code  string `arg:"" help:"A code from your coach or from whoever runs the server, or a recovery code."`
}

func (resetPasswordCommand) Help() string {
	return `The new password is asked for, or taken from stdin. You are signed out everywhere else, and stay signed in on this computer. A coach makes a code with laneward reset-code, whoever runs the server with laneward users reset.

Examples:

    laneward reset-password cora@example.org K7QF-2MBD-...
    laneward reset-password cora@example.org K7QF-2MBD-... < password.txt`
}

// Run sets a new password and signs in.
func (c *resetPasswordCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	conn.warnWhenReadable()
	password, err := c.newPassword(ctx, env)
	if err != nil {
		return err
	}
	ended, err := conn.ResetPassword(ctx, c.Email, c.Code, password)
	if err != nil {
		return err
	}
	conn.sayEnded(ended, c.Email)
	conn.Say("Your password is set. Signed in to %s as %s.", conn.Server(), c.Email)
	return conn.printMe(ctx)
}
