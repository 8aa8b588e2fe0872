// Package remote holds the commands that ask a server.
package remote

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

// defaultServer is where a server on the same computer listens unless set otherwise.
const defaultServer = "http://127.0.0.1:8080"

// Flags are what every client command has.
type Flags struct {
	Server string `env:"LANEWARD_SERVER" placeholder:"URL" help:"Server to talk to; without it the one signed in to last, else ${default_server}."`
	JSON   bool   `name:"json" help:"Print the server's JSON."`
	Quiet  bool   `short:"q" help:"Print no messages, and of a new record its id alone."`
}

// squadFlags are what a command inside a squad has.
type squadFlags struct {
	Flags
	Squad string `env:"LANEWARD_SQUAD" placeholder:"NAME" help:"Squad, by name or id; without it the only one you are in."`
}

func (f Flags) console(env terminal.Environment) terminal.Console {
	return terminal.Console{Env: env, JSON: f.JSON, Quiet: f.Quiet}
}

// Connection is a client command's connection to a server.
type Connection struct {
	terminal.Console
	*client.Client
}

// Connect prepares the connection; it sends nothing yet.
func (f Flags) Connect(env terminal.Environment) (Connection, error) {
	out := f.console(env)
	store := client.OpenStore(terminal.ConfigDir(env))
	server := f.Server
	if server == "" {
		held, err := store.Load()
		if err != nil {
			return Connection{}, err
		}
		server = held.Server
	}
	if server == "" {
		server = defaultServer
	}
	made, err := client.New(
		client.Config{
			Server: server,
			Store:  store,
			Agent:  "laneward/" + terminal.Version(),
			Now:    env.Now,
			Notify: func(err error, wait time.Duration) {
				if wait >= time.Second {
					out.Say("%v; trying again in %s", err, wait.Round(time.Second))
				}
			},
		},
	)
	if err != nil {
		return Connection{}, terminal.Usage("%w", err)
	}
	return Connection{out, made}, nil
}

// squadConnection is a client command's connection to a squad.
type squadConnection struct {
	Connection
	squad   uuid.UUID
	athlete *uuid.UUID // whom the user is in the squad, if one of its athletes
	book    *book
}

func (f squadFlags) enter(ctx context.Context, env terminal.Environment) (*squadConnection, error) {
	opened, err := f.Connect(env)
	if err != nil {
		return nil, err
	}
	me, err := opened.Me(ctx)
	if err != nil {
		return nil, err
	}
	squad, err := ChooseSquad(me.Value.Squads, f.Squad)
	if err != nil {
		return nil, err
	}
	inside := &squadConnection{Connection: opened, squad: squad.SquadID, athlete: squad.AthleteID}
	inside.book = &book{connection: inside, names: make(map[client.Kind]map[uuid.UUID]string)}
	return inside, nil
}

// ChooseSquad finds the squad a person means.
func ChooseSquad(squads []openapi.MySquad, text string) (openapi.MySquad, error) {
	if text == "" {
		switch len(squads) {
		case 0:
			return openapi.MySquad{}, terminal.NotFound("you are not in a squad yet: create one with laneward squad create NAME, or join one with laneward join CODE")
		case 1:
			return squads[0], nil
		}
		return openapi.MySquad{}, terminal.Usage(
			"you are in %d squads: say which with --squad (%s)",
			len(squads),
			squadNames(squads),
		)
	}
	for _, same := range []func(a, b string) bool{func(a, b string) bool { return a == b }, strings.EqualFold} {
		var found []openapi.MySquad
		for _, squad := range squads {
			if same(squad.Name, text) || same(squad.SquadID.String(), text) {
				found = append(found, squad)
			}
		}
		switch {
		case len(found) == 1:
			return found[0], nil
		case len(found) > 1:
			ids := make([]string, len(found))
			for i, squad := range found {
				ids[i] = squad.SquadID.String()
			}
			return openapi.MySquad{}, terminal.Usage(
				"%d of your squads are called %q: name one by its id, %s",
				len(found),
				text,
				strings.Join(ids, " or "),
			)
		}
	}
	if len(squads) == 0 {
		return openapi.MySquad{}, terminal.NotFound("you are not in a squad %q, nor in any other yet", text)
	}
	return openapi.MySquad{}, terminal.NotFound("you are not in a squad %q: yours are %s", text, squadNames(squads))
}

func squadNames(squads []openapi.MySquad) string {
	names := make([]string, len(squads))
	for i, squad := range squads {
		names[i] = squad.Name
	}
	return strings.Join(names, ", ")
}

// find returns the record a person means by an id or a name.
func (c *squadConnection) find(ctx context.Context, kind client.Kind, text string) (client.Record, error) {
	if kind == client.Session {
		text = c.Env.Day(text)
	}
	return c.Find(ctx, c.squad, kind, text)
}

// findID is find for what may be left out: nil for "".
func (c *squadConnection) findID(ctx context.Context, kind client.Kind, text string) (*uuid.UUID, error) {
	if text == "" {
		return nil, nil //nolint:nilnil // nothing was named, and nothing is meant
	}
	record, err := c.find(ctx, kind, text)
	return &record.ID, err
}

// book looks up the names of records by their ids; each kind is read when first asked for.
type book struct {
	connection *squadConnection
	names      map[client.Kind]map[uuid.UUID]string
}

// name returns a record's name; the id where the user may not see the record, and "" for nil.
func (b *book) name(ctx context.Context, kind client.Kind, id *uuid.UUID) (string, error) {
	if id == nil {
		return "", nil
	}
	names, known := b.names[kind]
	if !known {
		names = make(map[uuid.UUID]string)
		for record, err := range b.connection.Records(ctx, b.connection.squad, kind) {
			if err != nil {
				return "", err
			}
			called, err := client.Decode[struct{ Name string }](record)
			if err != nil {
				return "", err
			}
			names[record.ID] = called.Name
		}
		b.names[kind] = names
	}
	if name, known := names[*id]; known {
		return name, nil
	}
	return id.String(), nil
}
