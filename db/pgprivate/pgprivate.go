//go:build unix

// Package pgprivate runs a Postgres server of the program's own from the binaries the machine
// already has.
//
// The server listens on a unix socket only, in a directory that no other user may enter; there is
// no TCP port and no password. One process at a time owns a data directory, by a lock that the
// kernel releases when that process dies. The server does not outlive its owner: on Linux the
// kernel tells it to shut down when the owner is killed, and where that did not work the next start
// finds the server left behind, stops it cleanly and starts its own. Postgres replays its log after
// any crash, so what was committed is kept.
package pgprivate

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// MinMajor is the oldest supported major version of Postgres.
const MinMajor = 15

// Superuser is the role that [Server.URL] signs in as.
const Superuser = "postgres"

// Errors that a caller may want to distinguish.
var (
	// ErrNoBinaries: no usable Postgres is installed; the message says what to install.
	ErrNoBinaries = errors.New("no usable PostgreSQL on this machine")
	// ErrInUse: another living process runs a server on the data directory.
	ErrInUse = errors.New("data directory is in use")
)

// Config says where the server lives and what it runs from. Only DataDir is required.
type Config struct {
	// DataDir is the server's own directory, created when absent. It holds the cluster, the
	// server's log and the lock.
	DataDir string
	// BinDir holds the postgres and initdb to use. Empty: $LANEWARD_PG_BIN, else PATH, else
	// /usr/lib/postgresql/*/bin, newest first.
	BinDir string
	// User is the account the server runs as when this process is root, for Postgres refuses to run
	// as root. Empty: postgres where that account exists, else nobody. Not used by an ordinary
	// user.
	User string
	// Settings are added to the server's command line, after the package's own, which they
	// override. With fsync off a new cluster is not written through to the disk either: for tests
	// alone.
	Settings map[string]string
	// Logger receives starts, recoveries and stops; nil logs nothing.
	Logger *slog.Logger
}

// Server is a running private Postgres.
type Server struct {
	socketDir string
	home      *home
	logStart  int64 // where in the log file this run begins
	logger    *slog.Logger

	process  *os.Process
	stopping atomic.Bool
	done     chan struct{}
	err      error // set before done is closed
}

// Start runs a server on the data directory, initialised first when it is new, and returns once it
// takes connections (after a crash: once it has recovered). When ctx ends earlier the server is
// stopped again. The server lives until [Server.Stop] or until this process ends, whichever comes
// first, and not only as long as ctx.
//
// Errors: [ErrNoBinaries], [ErrInUse], or what the server wrote to its log.
func Start(ctx context.Context, config Config) (*Server, error) {
	logger := config.Logger
	if logger == nil {
		logger = slog.New(slog.DiscardHandler)
	}
	account, err := serverAccount(config.User)
	if err != nil {
		return nil, err
	}
	home, err := openHome(config.DataDir, account)
	if err != nil {
		return nil, err
	}
	server, err := startIn(ctx, home, config, logger)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("start the private Postgres in %s: %w", home.dir, err), home.close())
	}
	return server, nil
}

// startIn does the work of Start under the home's lock.
func startIn(ctx context.Context, home *home, config Config, logger *slog.Logger) (*Server, error) {
	major, err := home.clusterMajor()
	if err != nil {
		return nil, err
	}
	binaries, err := findBinaries(ctx, config.BinDir, major)
	if err != nil {
		return nil, err
	}
	if major == 0 {
		logger.Info("initialising a private postgres", "data_dir", home.dir, "postgres_major", binaries.major)
		if err := home.initialise(ctx, binaries, config.Settings["fsync"] == "off"); err != nil {
			return nil, err
		}
	}
	if err := home.handOver(); err != nil {
		return nil, err
	}
	if err := home.clearLeftovers(ctx, logger); err != nil {
		return nil, err
	}
	socketDir, err := home.makeSocketDir()
	if err != nil {
		return nil, err
	}
	server := &Server{socketDir: socketDir, home: home, logger: logger, done: make(chan struct{})}
	if err := server.launch(binaries, config.Settings); err != nil {
		return nil, errors.Join(err, removeSocketDir(socketDir))
	}
	if err := server.awaitReady(ctx); err != nil {
		return nil, err
	}
	logger.Info(
		"private postgres is ready",
		"data_dir",
		home.dir,
		"pid",
		server.process.Pid,
		"postgres_major",
		binaries.major,
	)
	return server, nil
}

// serverArgs are the command line of the server: durable, and reachable through the socket
// directory only.
func serverArgs(cluster, socketDir string, settings map[string]string) []string {
	args := []string{"-D", cluster}
	add := func(name, value string) { args = append(args, "-c", name+"="+value) }
	add("listen_addresses", "")
	add("unix_socket_directories", socketDir)
	add("unix_socket_permissions", "0700")
	add("port", socketPort)
	add("fsync", "on")
	add("synchronous_commit", "on")
	add("full_page_writes", "on")
	add("logging_collector", "off") // the log is the file that this process opened
	add("log_destination", "stderr")
	add("timezone", "UTC")
	add("log_timezone", "UTC")
	for _, name := range slices.Sorted(maps.Keys(settings)) {
		add(name, settings[name])
	}
	return args
}

// launch starts the server as a child and a goroutine that owns it until it has ended.
func (s *Server) launch(binaries binaries, settings map[string]string) error {
	logFile, err := s.home.openLog()
	if err != nil {
		return err
	}
	if s.logStart, err = logFile.Seek(0, io.SeekEnd); err != nil {
		return errors.Join(err, logFile.Close())
	}
	cmd := exec.Command( //nolint:noctx // it is stopped in its own way, not killed
		binaries.postgres, serverArgs(s.home.cluster, s.socketDir, settings)...,
	)
	cmd.Dir, cmd.Env = s.home.cluster, childEnv()
	// A file and not a pipe: a server whose owner was killed can still write what it does while it
	// shuts down.
	cmd.Stdout, cmd.Stderr = logFile, logFile
	cmd.SysProcAttr = childAttributes(s.home.account)

	started := make(chan error, 1)
	go func() {
		// The kernel sends the death signal when the thread that forked the child ends, not when
		// the process does. So this goroutine keeps its thread for as long as the child lives.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			s.finish(cmd.Wait())
		}
	}()
	err = <-started
	closeErr := logFile.Close() // the child has its own copy
	if err != nil {
		return errors.Join(explainReach(err, s.home.account, s.home.cluster), closeErr)
	}
	s.process = cmd.Process
	return closeErr
}

// finish records how the server ended and releases its lock.
func (s *Server) finish(waitErr error) {
	var err error
	switch {
	case s.stopping.Load() && waitErr == nil:
		s.logger.Info("private postgres has stopped", "data_dir", s.home.dir)
	case waitErr == nil:
		err = fmt.Errorf(
			"the private Postgres in %s was shut down from outside; its log ends:\n%s",
			s.home.dir,
			s.home.logTail(s.logStart),
		)
	default:
		err = fmt.Errorf(
			"the private Postgres in %s ended (%w); its log ends:\n%s",
			s.home.dir,
			waitErr,
			s.home.logTail(s.logStart),
		)
	}
	s.err = errors.Join(err, removeSocketDir(s.socketDir), s.home.close())
	close(s.done)
}

// stopLimit is how long a server whose start was given up may take to shut down.
const stopLimit = 30 * time.Second

// awaitReady returns once a connection succeeds; when the server ends first or ctx does, the server
// is gone when it returns.
func (s *Server) awaitReady(ctx context.Context) error {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		connectErr := s.ping(ctx)
		if connectErr == nil {
			return nil
		}
		select {
		case <-s.done:
			return s.err
		case <-ctx.Done():
			err := fmt.Errorf("it takes no connections yet: %w (last answer: %w)", ctx.Err(), connectErr)
			stopCtx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopLimit)
			defer cancel()
			return errors.Join(err, s.Stop(stopCtx))
		case <-tick.C:
		}
	}
}

func (s *Server) ping(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, s.URL("postgres"))
	if err != nil {
		return err
	}
	return conn.Close(ctx)
}

// URL is the address of a database of this server for [Superuser], over the socket; pgx,
// database/sql and psql read it. It stays valid until the server ends; a later start has another.
func (s *Server) URL(database string) string { return s.URLAs(Superuser, database) }

// URLAs is [Server.URL] for another role, which needs no password either.
func (s *Server) URLAs(role, database string) string {
	address := url.URL{Scheme: "postgres", User: url.User(role), Path: "/" + database}
	address.RawQuery = url.Values{"host": {s.socketDir}, "port": {socketPort}, "sslmode": {"disable"}}.Encode()
	return address.String()
}

// Done is closed when the server has ended, for whatever reason; [Server.Err] then says why.
func (s *Server) Done() <-chan struct{} { return s.done }

// Err is nil while the server runs and after a clean [Server.Stop]; after any other end it says how
// the server ended and what the last lines of its log were.
func (s *Server) Err() error {
	select {
	case <-s.done:
		return s.err
	default:
		return nil
	}
}

// Stop shuts the server down: open transactions are rolled back, connections closed, everything
// written out. When ctx ends before that, the server is signalled to drop everything at once (what
// was committed is kept, and replayed at the next start) and the context's error is returned.
// Stopping a server that has ended returns [Server.Err].
func (s *Server) Stop(ctx context.Context) error {
	s.stopping.Store(true)
	if err := s.signal(syscall.SIGINT); err != nil {
		return err
	}
	select {
	case <-s.done:
		return s.err
	case <-ctx.Done():
	}
	const immediateLimit = 5 * time.Second
	for _, sig := range []syscall.Signal{syscall.SIGQUIT, syscall.SIGKILL} {
		if err := s.signal(sig); err != nil {
			return err
		}
		select {
		case <-s.done:
			return fmt.Errorf(
				"the private Postgres did not shut down in time and was cut off: %w",
				errors.Join(ctx.Err(), s.err),
			)
		case <-time.After(immediateLimit):
		}
	}
	return fmt.Errorf("the private Postgres (process %d) does not end: %w", s.process.Pid, ctx.Err())
}

func (s *Server) signal(sig syscall.Signal) error {
	if err := s.process.Signal(sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return fmt.Errorf("signal the private Postgres (process %d): %w", s.process.Pid, err)
	}
	return nil
}

// childEnv is the environment of the server and of initdb: none of the caller's PG* variables,
// which would change what they do.
func childEnv() []string {
	env := []string{"LC_ALL=C", "TZ=UTC"}
	for _, name := range []string{"PATH", "LD_LIBRARY_PATH"} {
		if value := os.Getenv(name); value != "" {
			env = append(env, name+"="+value)
		}
	}
	return env
}

// socketPort names the socket file; no TCP port is opened.
const socketPort = "5432"

// socketDirPrefix and socketDirParent make the path short: a socket's may have 103 bytes at most,
// and TMPDIR may be long or closed to the server's account.
const (
	socketDirParent = "/tmp"
	socketDirPrefix = "laneward-pg-"
)

// explainReach adds what to do when the server's account may not enter the data directory.
func explainReach(err error, account account, dir string) error {
	if account.own() || !errors.Is(err, syscall.EACCES) {
		return err
	}
	return fmt.Errorf(
		"the account %q that Postgres runs as may not enter %s (%w): put the data directory where it may, such as under /var/lib, or open each folder on the way (chmod o+x)",
		account.name,
		filepath.Clean(strings.TrimSuffix(dir, clusterName)),
		err,
	)
}
