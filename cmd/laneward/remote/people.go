package remote

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client"
)

// passwordFlags say where a password comes from when the user is not asked. It is never a flag
// itself: others can read a command line.
type passwordFlags struct {
	PasswordFile string `env:"LANEWARD_PASSWORD_FILE" type:"existingfile" placeholder:"FILE" help:"File that holds the password. Without it you are asked, or stdin's first line is taken."`
}

// password gets the password: from the file, from a person at the terminal, or from stdin.
func (f passwordFlags) password(ctx context.Context, env terminal.Environment, twice bool) (string, error) {
	if f.PasswordFile != "" {
		text, err := os.ReadFile(f.PasswordFile)
		if err != nil {
			return "", fmt.Errorf("read the password: %w", err)
		}
		line, _, _ := strings.Cut(string(text), "\n")
		return strings.TrimSuffix(line, "\r"), nil
	}
	keyboard := terminal.File(env.Stdin)
	if keyboard == nil {
		return firstLine(env.Stdin)
	}
	password, err := ask(ctx, env, keyboard, "Password: ")
	if err != nil || !twice {
		return password, err
	}
	again, err := ask(ctx, env, keyboard, "Once more: ")
	if err == nil && again != password {
		err = errors.New("the two passwords differ: nothing was done")
	}
	return password, err
}

func firstLine(r io.Reader) (string, error) {
	line, err := bufio.NewReader(r).ReadString('\n') // a reader of the same kind is read on, not anew
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("read the password: %w", err)
	}
	line = strings.TrimRight(line, "\r\n")
	if line == "" {
		return "", terminal.Usage("no password: type it when asked, pipe it to stdin, or name a file in LANEWARD_PASSWORD_FILE")
	}
	return line, nil
}

// ask reads a line from the terminal without showing it. When ctx ends first the terminal is left
// as it was.
func ask(ctx context.Context, env terminal.Environment, keyboard *os.File, prompt string) (string, error) {
	before, err := term.GetState(int(keyboard.Fd()))
	if err != nil {
		return "", fmt.Errorf("ask for the password: %w", err)
	}
	fmt.Fprint(env.Stderr, prompt)
	type answer struct {
		text []byte
		err  error
	}
	answered := make(chan answer, 1)
	go func() { // it ends with the program when the user does not answer
		text, err := term.ReadPassword(int(keyboard.Fd()))
		answered <- answer{text, err}
	}()
	select {
	case got := <-answered:
		fmt.Fprintln(env.Stderr)
		if got.err != nil {
			return "", fmt.Errorf("ask for the password: %w", got.err)
		}
		return string(got.text), nil
	case <-ctx.Done():
		fmt.Fprintln(env.Stderr)
		return "", errors.Join(ctx.Err(), term.Restore(int(keyboard.Fd()), before))
	}
}

func (c Connection) warnWhenReadable() {
	if !c.Private() {
		c.Warn(
			"%s is not encrypted: anyone on the way can read your password and what you send. Use https:// outside your own network.",
			c.Server(),
		)
	}
}

type signUpCommand struct {
	Flags
	passwordFlags
	Email string `arg:"" help:"Your address."`
	Name  string `required:"" placeholder:"NAME" help:"Your name, as the others in a squad see it."`
}

func (signUpCommand) Help() string {
	return `The password is asked for, 12 characters or more; several unrelated words are best. You stay signed in on this computer.

Examples:

    laneward sign-up cora@example.org --name Cora --server https://lanes.example.org
    laneward sign-up cora@example.org --name Cora < password.txt`
}

// Run signs up.
func (c *signUpCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	conn.warnWhenReadable()
	password, err := c.password(ctx, env, true)
	if err != nil {
		return err
	}
	ended, err := conn.SignUp(ctx, c.Email, c.Name, password)
	if err != nil {
		return err
	}
	conn.sayEnded(ended, c.Email)
	conn.Say(
		"Signed up, and signed in to %s as %s. Next: laneward squad create NAME, or laneward join CODE.",
		conn.Server(),
		c.Email,
	)
	return conn.printMe(ctx)
}

type signInCommand struct {
	Flags
	passwordFlags
	Email string `arg:"" help:"Your address."`
}

func (signInCommand) Help() string {
	return `The password is asked for, or taken from LANEWARD_PASSWORD_FILE or stdin. You stay signed in on this computer until laneward sign-out.

Examples:

    laneward sign-in cora@example.org
    laneward sign-in cora@example.org --server https://lanes.example.org < password.txt`
}

// Run signs in.
func (c *signInCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	conn.warnWhenReadable()
	password, err := c.password(ctx, env, false)
	if err != nil {
		return err
	}
	ended, err := conn.SignIn(ctx, c.Email, password)
	if err != nil {
		return err
	}
	conn.sayEnded(ended, c.Email)
	conn.Say("Signed in to %s as %s.", conn.Server(), c.Email)
	return conn.printMe(ctx)
}

// sayEnded says whose sign-in on this computer was replaced by another's.
func (c Connection) sayEnded(ended client.SignIn, email string) {
	if ended.RefreshToken != "" && !strings.EqualFold(ended.Email, email) {
		c.Say("%s is signed out on this computer.", ended.Email)
	}
}

// printMe prints who has signed in where JSON is asked for.
func (c Connection) printMe(ctx context.Context) error {
	if !c.JSON {
		return nil
	}
	me, err := c.Me(ctx)
	if err != nil {
		return err
	}
	return c.PrintJSON(me.JSON)
}

type whoamiCommand struct {
	Flags
}

func (whoamiCommand) Help() string {
	return `Who is signed in, where, and with which role in each squad.

Examples:

    laneward whoami
    laneward whoami --json`
}

// Run prints who is signed in.
func (c *whoamiCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.Connect(env)
	if err != nil {
		return err
	}
	me, err := conn.Me(ctx)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(me.JSON)
	}
	if err := conn.Print(fmt.Sprintf("%s <%s> on %s\n", me.Value.Name, me.Value.Email, conn.Server())); err != nil {
		return err
	}
	return conn.printSquads(me.Value.Squads, false)
}
