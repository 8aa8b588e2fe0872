// Package server holds the commands that run a server, its database and the example.
package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/url"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"laneward/api"
	"laneward/api/web/logger"
	"laneward/cmd/laneward/terminal"
	"laneward/db"
	"laneward/service"
)

// serverFlags are how the server runs.
type serverFlags struct {
	databaseFlags
	poolFlags
	limitFlags
	Listen       string        `env:"LANEWARD_LISTEN"            default:"127.0.0.1:8080" placeholder:"ADDRESS" help:"Address to listen on; port 0 takes a free one (${default})."`
	SigningKeys  string        `env:"LANEWARD_SIGNING_KEYS_FILE"                          placeholder:"FILE"    help:"PEM file of the Ed25519 keys that sign access tokens; made when absent (signing-keys.pem in the state directory)."`
	TrustedProxy []string      `env:"LANEWARD_TRUSTED_PROXY"                              placeholder:"CIDR"    help:"Networks whose X-Forwarded-For is believed."`
	DrainDelay   time.Duration `env:"LANEWARD_DRAIN_DELAY" default:"0s" placeholder:"TIME" help:"How long to go on answering after the signal to stop, while /readyz says 503, so that a load balancer sends requests elsewhere; a second signal ends it (${default})."`
	PublicURL    *url.URL      `env:"LANEWARD_PUBLIC_URL" placeholder:"URL" help:"Where people reach the server, for example https://lanes.example. With http:// cookies are sent without TLS too; without any they are not, but on this machine. Passkeys belong to its name: without one there are none, but at http://localhost."`
	LogFormat    string        `env:"LANEWARD_LOG_FORMAT"        default:"json"                                 help:"json or text (${default})."                                                                                        enum:"json,text"`
}

// running is a server that answers.
type running struct {
	address string // host:port it listens on
	service *service.Service
}

// serve runs the server until ctx ends. ready is called once, when it listens.
func (f serverFlags) serve(ctx context.Context, env terminal.Environment, ready func(running) error) (err error) {
	log := newLog(env.Stderr, f.LogFormat)
	proxies, err := f.proxies()
	if err != nil {
		return terminal.Usage("%w", err)
	}
	if public := f.PublicURL; public != nil &&
		(public.Host == "" || public.Scheme != "https" && public.Scheme != "http") {
		return terminal.Usage("the public URL %q is not one of the web: write it as https://lanes.example", public)
	}
	if err := f.check(); err != nil {
		return err
	}
	keyFile := f.SigningKeys
	if keyFile == "" {
		keyFile = filepath.Join(f.StateDir, "signing-keys.pem")
	}
	keys, err := service.LoadKeys(keyFile)
	if err != nil {
		return err
	}
	database, err := f.open(ctx, f.options(), log)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, database.close(log)) }()
	service.Prepare()
	svc := service.New(service.Config{
		DB:        database.DB,
		Keys:      keys,
		Log:       log,
		Now:       env.Now,
		PublicURL: f.origin(),
		Limits:    f.limits(),
		Quota:     f.SquadQuota,
	})
	defer svc.Close()
	if err := svc.Share(ctx); err != nil {
		return fmt.Errorf("share the keys with other servers: %w", err)
	}
	handler, err := api.NewHandler(
		api.Config{
			Service:        svc,
			Log:            log,
			Version:        terminal.Version(),
			TrustedProxies: proxies,
			PublicURL:      f.PublicURL,
		},
	)
	if err != nil {
		return err
	}
	var listening net.ListenConfig
	listener, err := listening.Listen(ctx, "tcp", f.Listen)
	if err != nil {
		return fmt.Errorf("listen on %s: %w", f.Listen, err)
	}
	if !logger.HasModule() {
		log.Warn("this program was built without the logger's module, so that the logger asks the server to judge shots: run deploy/module before go build")
	}
	log.Info("listening", "address", listener.Addr().String())
	up := running{address: listener.Addr().String(), service: svc}
	return f.serveOn(ctx, listener, handler, log, up, ready)
}

// serveOn answers requests on a listener until ctx ends, and does the service's regular work
// meanwhile.
func (f serverFlags) serveOn(
	ctx context.Context,
	listener net.Listener,
	handler *api.Handler,
	log *slog.Logger,
	up running,
	ready func(running) error,
) error {
	serving, stop := context.WithCancel(ctx)
	var jobs sync.WaitGroup
	defer jobs.Wait() // after stop, and before the database is closed
	jobs.Go(func() { forgetOld(serving, up.service, log) })
	defer stop()
	again, ended := make(chan struct{}), make(chan struct{})
	defer close(ended)
	jobs.Go(func() { awaitSignal(serving, again, ended) })
	ending := api.Ending{Delay: f.DrainDelay, Now: again}
	served := make(chan error, 1)
	go func() { served <- api.Serve(serving, listener, handler, ending, log) }()
	if err := ready(up); err != nil {
		stop()
		return errors.Join(err, <-served)
	}
	return <-served
}

// awaitSignal closes again when the program is told to stop a second time, after the signal that has
// ended ctx; it gives up when ended is closed.
func awaitSignal(ctx context.Context, again chan<- struct{}, ended <-chan struct{}) {
	<-ctx.Done()
	signals := make(chan os.Signal, 1)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	defer signal.Stop(signals)
	select {
	case <-signals:
		close(again)
	case <-ended:
	}
}

// forgetEvery is how often old deletions are forgotten.
const forgetEvery = 6 * time.Hour

func forgetOld(ctx context.Context, svc *service.Service, log *slog.Logger) {
	tick := time.NewTicker(forgetEvery)
	defer tick.Stop()
	for {
		switch forgotten, err := svc.Forget(ctx); {
		case err != nil && ctx.Err() == nil:
			log.Error("old deletions cannot be forgotten", "err", err)
		case forgotten > 0:
			log.Info("old deletions forgotten", "count", forgotten)
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}

func (f serverFlags) proxies() ([]*net.IPNet, error) {
	networks := make([]*net.IPNet, len(f.TrustedProxy))
	for i, text := range f.TrustedProxy {
		_, network, err := net.ParseCIDR(text)
		if err != nil {
			return nil, fmt.Errorf("trusted proxy %q is not a network: write it as 10.0.0.0/8", text)
		}
		networks[i] = network
	}
	return networks, nil
}

// origin is how people reach the server, without a path; "" when it is not known.
func (f serverFlags) origin() string {
	if f.PublicURL == nil {
		return ""
	}
	return f.PublicURL.Scheme + "://" + f.PublicURL.Host
}

type serveCommand struct {
	serverFlags
}

// Run serves until the program is stopped by a signal.
func (c *serveCommand) Run(ctx context.Context, env terminal.Environment) error {
	return c.serve(ctx, env, func(running) error { return nil })
}

type migrateCommand struct {
	databaseFlags
}

// Run migrates the database and says so.
func (c *migrateCommand) Run(ctx context.Context, env terminal.Environment) error {
	owner, err := c.owner()
	if err != nil {
		return terminal.Usage("%w", err)
	}
	if owner == "" {
		return terminal.Usage(
			"name the database and the owner of its tables by LANEWARD_OWNER_URL or --owner-url-file; " +
				"a server with its own Postgres migrates it by itself",
		)
	}
	if err := db.Migrate(ctx, owner); err != nil {
		return err
	}
	_, err = fmt.Fprintf(env.Stdout, "The database holds schema %s.\n", db.MigrationsHash())
	return err
}

func newLog(w io.Writer, format string) *slog.Logger {
	if format == "text" {
		return slog.New(slog.NewTextHandler(w, nil))
	}
	return slog.New(slog.NewJSONHandler(w, nil))
}
