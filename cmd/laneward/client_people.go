package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"laneward/openapi/client"
)

// passwordFlags say where a password comes from when nobody is asked. It is never a flag itself:
// others can read a command line.
type passwordFlags struct {
	PasswordFile string `env:"LANEWARD_PASSWORD_FILE" type:"existingfile" placeholder:"FILE" help:"File that holds the password. Without it you are asked, or stdin's first line is taken."`
}

// password gets the password: from the file, from a person at the terminal, or from stdin.
func (f passwordFlags) password(ctx context.Context, env environment, twice bool) (string, error) {
	if f.PasswordFile != "" {
		text, err := os.ReadFile(f.PasswordFile)
		if err != nil {
			return "", fmt.Errorf("read the password: %w", err)
		}
		line, _, _ := strings.Cut(string(text), "\n")
		return strings.TrimSuffix(line, "\r"), nil
	}
	keyboard := terminal(env.stdin)
	if keyboard == nil {
		return firstLine(env.stdin)
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
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("read the password: %w", err)
	}
	line = strings.TrimRight(line, "\r\n")
	if line == "" {
		return "", usage("no password: type it when asked, pipe it to stdin, or name a file in LANEWARD_PASSWORD_FILE")
	}
	return line, nil
}

// ask reads a line from the terminal without showing it. When ctx ends first the terminal is left
// as it was.
func ask(ctx context.Context, env environment, keyboard *os.File, prompt string) (string, error) {
	before, err := term.GetState(int(keyboard.Fd()))
	if err != nil {
		return "", fmt.Errorf("ask for the password: %w", err)
	}
	fmt.Fprint(env.stderr, prompt)
	type answer struct {
		text []byte
		err  error
	}
	answered := make(chan answer, 1)
	go func() { // it ends with the program when nobody answers
		text, err := term.ReadPassword(int(keyboard.Fd()))
		answered <- answer{text, err}
	}()
	select {
	case got := <-answered:
		fmt.Fprintln(env.stderr)
		if got.err != nil {
			return "", fmt.Errorf("ask for the password: %w", got.err)
		}
		return string(got.text), nil
	case <-ctx.Done():
		fmt.Fprintln(env.stderr)
		return "", errors.Join(ctx.Err(), term.Restore(int(keyboard.Fd()), before))
	}
}

func (c connection) warnWhenReadable() {
	if !c.Private() {
		c.warn(
			"%s is not encrypted: anybody on the way can read your password and what you send. Use https:// outside your own network.",
			c.Server(),
		)
	}
}

type signUpCommand struct {
	clientFlags
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
func (c *signUpCommand) Run(ctx context.Context, env environment) error {
	conn, err := c.connect(env)
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
	conn.say(
		"Signed up, and signed in to %s as %s. Next: laneward squad create NAME, or laneward join CODE.",
		conn.Server(),
		c.Email,
	)
	return conn.printMe(ctx)
}

type signInCommand struct {
	clientFlags
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
func (c *signInCommand) Run(ctx context.Context, env environment) error {
	conn, err := c.connect(env)
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
	conn.say("Signed in to %s as %s.", conn.Server(), c.Email)
	return conn.printMe(ctx)
}

// sayEnded tells whose sign-in on this computer has made place for another's.
func (c connection) sayEnded(ended client.SignIn, email string) {
	if ended.RefreshToken != "" && !strings.EqualFold(ended.Email, email) {
		c.say("%s is signed out on this computer.", ended.Email)
	}
}

// printMe prints who has signed in where JSON is asked for.
func (c connection) printMe(ctx context.Context) error {
	if !c.json {
		return nil
	}
	me, err := c.Me(ctx)
	if err != nil {
		return err
	}
	return c.printJSON(me.JSON)
}

type signOutCommand struct {
	clientFlags
	Forget bool `help:"Forget the sign-in on this computer even when the server cannot be told."`
}

func (signOutCommand) Help() string {
	return `The sign-in ends on the server, and its tokens are removed from this computer.

Example:

    laneward sign-out`
}

// Run signs out.
func (c *signOutCommand) Run(ctx context.Context, env environment) error {
	conn, err := c.connect(env)
	if err != nil {
		return err
	}
	ended, err := conn.SignOut(ctx, c.Forget)
	if err != nil {
		return err
	}
	if ended.Email == "" {
		conn.say("Nobody was signed in to %s.", conn.Server())
		return nil
	}
	conn.say("%s is signed out of %s.", ended.Email, conn.Server())
	return conn.tellUnsent(ctx, ended.UserID)
}

type whoamiCommand struct {
	clientFlags
}

func (whoamiCommand) Help() string {
	return `Who is signed in, where, and with which role in each squad.

Examples:

    laneward whoami
    laneward whoami --json`
}

// Run tells who is signed in.
func (c *whoamiCommand) Run(ctx context.Context, env environment) error {
	conn, err := c.connect(env)
	if err != nil {
		return err
	}
	me, err := conn.Me(ctx)
	if err != nil {
		return err
	}
	if conn.json {
		return conn.printJSON(me.JSON)
	}
	if err := conn.print(fmt.Sprintf("%s <%s> on %s\n", me.Value.Name, me.Value.Email, conn.Server())); err != nil {
		return err
	}
	return conn.printSquads(me.Value.Squads, false)
}
