package desk

import (
	"bufio"
	"context"
	"errors"
	"io"
	"slices"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

type logCommand struct {
	Server  string `env:"LANEWARD_SERVER" placeholder:"URL" help:"Server the shots are for; without it the one signed in to last. It is not asked."`
	Squad   string `env:"LANEWARD_SQUAD" placeholder:"NAME" help:"Squad, by name or id; without it the only one you are in."`
	Athlete string `placeholder:"NAME" help:"Who bowls; an athlete's own by default."`
	Session string `placeholder:"NAME" help:"The session, by name, day or id. Without it you are asked."`
	New     string `placeholder:"NAME" help:"Begin a new session of this name instead, today's."`
	Pattern string `placeholder:"NAME" help:"The oil pattern of a new session."`
	Drill   string `placeholder:"NAME" help:"The drill the shots are thrown for, or none. Without it you are asked."`
	Ball    string `placeholder:"NAME" help:"The ball, until you type another."`
}

func (logCommand) Help() string {
	return `Type one line per shot; you see at once whether it kept the drill and how the drill stands. Each shot is saved on this computer before the answer appears. No network is needed once laneward sync has run; laneward sync sends the shots later.

A shot is laydown, arrows, breakpoint@ft, entry and the pins left, with - for what was not seen, and anything else by its name:

    15.5 11 9@42 17 10
    - - 9@42 - x
    bp=9@42 leave=4-9 speed=17.2 note=late

Examples:

    laneward log
    laneward log --new Practice --drill "Play inside" --ball "Blue solid"
    laneward log --session 2026-11-20 --drill none`
}

// Run logs shots until the person has had enough.
func (c *logCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Session != "" && c.New != "" {
		return terminal.Usage("--session is one there is and --new one there is not: give one of them")
	}
	if c.Pattern != "" && c.New == "" {
		return terminal.Usage("--pattern is of a new session: name that with --new")
	}
	return withCopy(ctx, env, remote.Flags{Server: c.Server}, func(conn *copyConnection) error {
		squad, err := conn.localSquad(ctx, c.Squad)
		if err != nil {
			return err
		}
		d := &logDesk{
			copyConnection: conn,
			squad:          squad,
			lines:          readLines(env.Stdin),
			prompts:        terminal.File(env.Stdin) != nil,
		}
		err = d.choose(ctx, c)
		if err == nil {
			err = d.work(ctx)
		}
		d.goodbye()
		switch {
		case errors.Is(err, context.Canceled):
			return nil
		case errors.Is(err, errEnough):
			return d.outcome()
		}
		return err
	})
}

// logDesk is where shots are logged: for one athlete, in one session, for one drill or none.
type logDesk struct {
	*copyConnection
	squad   local.Squad
	lines   <-chan typedLine
	prompts bool // a person is asked; else lines come from a file

	athlete openapi.Athlete
	session sessionOf
	drill   *drillOf // nil for none
	ball    *uuid.UUID
	arsenal []client.Record // the athlete's balls
	practice
	saved int         // shots of this run
	done  int         // lines obeyed
	wrong int         // lines that were not, because of a mistake in them
	mine  []uuid.UUID // those, for undo
}

// sessionOf is a session with whether it is stored yet: a new one is with its first shot.
type sessionOf struct {
	openapi.Session
	id  uuid.UUID
	new bool
}

// errEnough means that the person has quit.
var errEnough = errors.New("enough")

// typedLine is a line that was typed, or why there are no more.
type typedLine struct {
	text string
	err  error
}

// readLines reads lines beside the program, so that Ctrl-C need not wait for one.
func readLines(from io.Reader) <-chan typedLine {
	lines := make(chan typedLine)
	go func() {
		scanner := bufio.NewScanner(from)
		for scanner.Scan() {
			lines <- typedLine{text: scanner.Text()}
		}
		err := scanner.Err()
		if err == nil {
			err = errEnough
		}
		lines <- typedLine{err: err}
	}()
	return lines
}

// ask returns the next line. It fails with errEnough at the end of the input and when the person
// quits.
func (d *logDesk) ask(ctx context.Context, prompt string) (string, error) {
	if d.prompts {
		if err := d.Print(prompt); err != nil {
			return "", err
		}
	}
	select {
	case line := <-d.lines:
		text := strings.TrimSpace(line.text)
		if line.err == nil && slices.Contains([]string{"q", "quit", "exit"}, strings.ToLower(text)) {
			return "", errEnough
		}
		return text, line.err
	case <-ctx.Done():
		return "", ctx.Err()
	}
}

// outcome is how a run ends: a person has seen each mistake and typed on, a file of lines has not.
func (d *logDesk) outcome() error {
	switch {
	case d.prompts || d.done > 0 && d.wrong == 0:
		return nil
	case d.done > 0:
		return terminal.ErrPartial
	}
	return errors.New("nothing was stored: type a line a shot, such as 15.5 11 9@42 17 10")
}

// goodbye says how the drill stands in all, which the lines did not where other sessions count, and
// where the shots are.
func (d *logDesk) goodbye() {
	if d.prompts {
		d.Say("")
	}
	if d.saved > 0 && d.others.shots > 0 {
		d.Say("%s.", d.standingWords(d.whole()))
	}
	if d.saved > 0 {
		d.Say("%s on this computer: laneward sync sends them.", terminal.Counted(d.saved, "shot is", "shots are"))
	}
}

// all returns the records of a kind as the person sees them.
func (d *logDesk) all(ctx context.Context, kind client.Kind) ([]client.Record, error) {
	found, err := d.Records(ctx, d.squad.ID, kind)
	records := make([]client.Record, len(found))
	for i, record := range found {
		records[i] = record.Record
	}
	return records, err
}

// find returns the record of a kind that the person means.
func (d *logDesk) find(ctx context.Context, kind client.Kind, text string) (client.Record, error) {
	all, err := d.all(ctx, kind)
	if err != nil {
		return client.Record{}, err
	}
	if kind == client.Session {
		text = d.Env.Day(text)
	}
	return client.Pick(all, kind, text)
}
