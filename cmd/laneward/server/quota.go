package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"strconv"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/service"
)

// limitFlags bound what one squad or user may have of the server.
type limitFlags struct {
	SquadQuota      int64 `env:"LANEWARD_SQUAD_QUOTA" default:"2000000" placeholder:"N" help:"How many records a squad may have, unless laneward quota says otherwise; 0 for any number (${default})."`
	Streams         int   `env:"LANEWARD_MAX_STREAMS" name:"max-streams" default:"20000" placeholder:"N" help:"How many live streams there are at most (${default})."`
	StreamsOfUser   int   `env:"LANEWARD_MAX_STREAMS_OF_USER" name:"max-streams-of-user" default:"64" placeholder:"N" help:"How many of them are one user's (${default})."`
	Downloads       int   `env:"LANEWARD_MAX_DOWNLOADS" name:"max-downloads" default:"128" placeholder:"N" help:"How many snapshots, feeds and exports are sent at once (${default})."`
	DownloadsOfUser int   `env:"LANEWARD_MAX_DOWNLOADS_OF_USER" name:"max-downloads-of-user" default:"6" placeholder:"N" help:"How many of them are one user's (${default})."`
}

// check reports a limit that would stop everybody.
func (f limitFlags) check() error {
	for _, one := range []struct {
		name  string
		value int
	}{
		{"max-streams", f.Streams},
		{"max-streams-of-user", f.StreamsOfUser},
		{"max-downloads", f.Downloads},
		{"max-downloads-of-user", f.DownloadsOfUser},
	} {
		if one.value < 1 {
			return terminal.Usage("--%s is %d: write 1 or more", one.name, one.value)
		}
	}
	if f.SquadQuota < 0 || f.SquadQuota > service.MaxQuota {
		return terminal.Usage("--squad-quota is %d: write a number of records, or 0 for any number", f.SquadQuota)
	}
	return nil
}

func (f limitFlags) limits() service.Limits {
	return service.Limits{
		Streams:         f.Streams,
		StreamsOfUser:   f.StreamsOfUser,
		Downloads:       f.Downloads,
		DownloadsOfUser: f.DownloadsOfUser,
	}
}

type quotaCommand struct {
	databaseFlags
	Squad      string `arg:"" help:"The squad's id, as in the address of its page."`
	Records    string `arg:"" optional:"" help:"How many records it may have; 0 for any number, default for what the server gives every squad."`
	SquadQuota int64  `env:"LANEWARD_SQUAD_QUOTA" default:"2000000" placeholder:"N" help:"What the server gives every squad, as for laneward serve (${default})."`
	Demo       bool   `help:"Of the example that laneward demo serves."`
}

func (quotaCommand) Help() string {
	return `Run it on the server, as the account that runs it and with its database. The server may go on running. Records are shots, sessions, athletes, balls, patterns, drills and assignments. A squad is warned from 80 % on; a full one stores nothing new, while changes and deletions go on and devices keep what they could not send. Setting a quota counts the records anew.

Examples:

    laneward quota 0192b3c4-5d6e-7f80-9102-a3b4c5d6e7f8
    laneward quota 0192b3c4-5d6e-7f80-9102-a3b4c5d6e7f8 500000
    laneward quota 0192b3c4-5d6e-7f80-9102-a3b4c5d6e7f8 default`
}

// Run shows how many records a squad has and may have, and sets that when told to.
func (c *quotaCommand) Run(ctx context.Context, env terminal.Environment) (err error) {
	squad, err := uuid.Parse(c.Squad)
	if err != nil {
		return terminal.Usage("%q is not a squad's id: it stands in the address of the squad's page", c.Squad)
	}
	own, set, err := c.wanted()
	if err != nil {
		return err
	}
	flags := c.databaseFlags
	if c.Demo {
		flags.StateDir = filepath.Join(flags.StateDir, "demo")
	}
	return flags.asOperator(ctx, env, service.Config{Quota: c.SquadQuota}, func(svc *service.Service) error {
		usage, err := svc.QuotaOf(ctx, squad)
		if err == nil && set {
			usage, err = svc.SetQuota(ctx, squad, own)
		}
		var known *service.Error
		if errors.As(err, &known) && known.Code == service.NotFound {
			return terminal.NotFound("%s", known.Detail)
		}
		if err != nil {
			return err
		}
		most := "any number"
		if usage.Quota > 0 {
			most = strconv.FormatInt(usage.Quota, 10)
		}
		has := terminal.Things(int(usage.Records), "record")
		_, err = fmt.Fprintf(env.Stdout, "%s; the squad may have %s.\n", has, most)
		return err
	})
}

// wanted reads the quota to set: nil for the server's; set is false when none is to be set.
func (c *quotaCommand) wanted() (own *int64, set bool, err error) {
	switch c.Records {
	case "":
		return nil, false, nil
	case "default":
		return nil, true, nil
	}
	n, err := strconv.ParseInt(c.Records, 10, 64)
	if err != nil || n < 0 || n > service.MaxQuota {
		return nil, false, terminal.Usage(
			"%q is not a number of records: write one such as 500000, 0 for any number, or default", c.Records,
		)
	}
	return &n, true, nil
}

// asOperator does something with the service beside a server that may be running.
func (f databaseFlags) asOperator(
	ctx context.Context,
	env terminal.Environment,
	config service.Config,
	do func(svc *service.Service) error,
) (err error) {
	log := slog.New(slog.NewTextHandler(env.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	database, err := f.openBeside(ctx, log)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, database.close(log)) }()
	if config.Keys, err = service.NewKeys(); err != nil { // for no token: nothing is signed
		return err
	}
	config.DB, config.Log, config.Now = database.DB, log, env.Now
	svc := service.New(config)
	defer svc.Close()
	return do(svc)
}
