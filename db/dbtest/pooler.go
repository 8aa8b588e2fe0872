//go:build unix

package dbtest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"laneward/db/pgprivate"
)

// poolerVariable puts a pooler in front of every database that [New] gives, when it is set: the
// tests then run as behind a PgBouncer in transaction mode.
const poolerVariable = "LANEWARD_TEST_POOLER"

const (
	poolerPort  = "6432" // names the socket file; no TCP port is opened
	poolerLimit = 20 * time.Second
)

// Pooled returns the address of a PgBouncer of the test's own in transaction mode, in front of the
// database and user of another address. Each transaction goes to another of its sessions with the
// server. It fails without a pgbouncer on the machine; deploy/install test installs it.
func Pooled(t testing.TB, address string) string {
	t.Helper()
	config, err := pgx.ParseConfig(address)
	if err != nil {
		t.Fatal("dbtest: the address to pool cannot be read")
	}
	dir, err := os.MkdirTemp("/tmp", "laneward-pgb-") // short: a socket's path may have 103 bytes at most
	if err != nil {
		t.Fatal("dbtest:", err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error("dbtest:", err)
		}
	})
	if err := startPooler(t, dir, config); err != nil {
		t.Fatal("dbtest: start PgBouncer:", err)
	}
	pooled := url.URL{Scheme: "postgres", User: url.UserPassword(config.User, config.Password), Path: "/" + config.Database}
	pooled.RawQuery = url.Values{"host": {dir}, "port": {poolerPort}, "sslmode": {"disable"}}.Encode()
	return pooled.String()
}

func startPooler(t testing.TB, dir string, config *pgx.ConnConfig) error {
	attributes, err := pgprivate.ChildAttributes()
	if err != nil {
		return err
	}
	settings, err := writePoolerFiles(dir, config, attributes.Credential)
	if err != nil {
		return err
	}
	log, err := os.Create(filepath.Join(dir, "log")) // a file, which can be read while it runs
	if err != nil {
		return err
	}
	defer log.Close()                          //nolint:errcheck // the child has its own copy
	cmd := exec.Command("pgbouncer", settings) //nolint:noctx // it is stopped in its own way
	if found, err := exec.LookPath("/usr/sbin/pgbouncer"); err == nil {
		cmd.Path, cmd.Err = found, nil // Debian puts it where only root's PATH looks
	}
	cmd.Stdout, cmd.Stderr, cmd.SysProcAttr = log, log, attributes
	started, ended := make(chan error, 1), make(chan struct{})
	go func() {
		// The kernel signals the child when the thread that forked it ends.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		defer close(ended)
		err := cmd.Start()
		started <- err
		if err == nil {
			_ = cmd.Wait() // it was told to end
		}
	}()
	if err := <-started; err != nil {
		return err
	}
	t.Cleanup(func() {
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil && !errors.Is(err, os.ErrProcessDone) {
			t.Error("dbtest: stop PgBouncer:", err)
		}
		<-ended
	})
	ctx, cancel := context.WithTimeout(t.Context(), poolerLimit)
	defer cancel()
	if err := awaitSocket(ctx, filepath.Join(dir, ".s.PGSQL."+poolerPort)); err != nil {
		said, readErr := os.ReadFile(log.Name())
		return errors.Join(fmt.Errorf("%w:\n%s", err, said), readErr)
	}
	return nil
}

// writePoolerFiles writes the settings and the one user, for the account that the pooler runs as, and
// returns where the settings are.
func writePoolerFiles(dir string, config *pgx.ConnConfig, who *syscall.Credential) (settings string, err error) {
	settings = filepath.Join(dir, "pgbouncer.ini")
	users := filepath.Join(dir, "users")
	files := map[string]string{
		settings: fmt.Sprintf(`[databases]
%s = host=%s port=%d
[pgbouncer]
listen_addr =
listen_port = %s
unix_socket_dir = %s
auth_type = trust
auth_file = %s
pool_mode = transaction
default_pool_size = 20
server_round_robin = 1
`, config.Database, config.Host, config.Port, poolerPort, dir, users),
		users: fmt.Sprintf("%q %q\n", config.User, config.Password),
	}
	for name, text := range files {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			return "", err
		}
	}
	if who == nil {
		return settings, nil
	}
	for _, name := range []string{dir, settings, users} {
		if err := os.Chown(name, int(who.Uid), int(who.Gid)); err != nil {
			return "", err
		}
	}
	return settings, nil
}

// awaitSocket returns once somebody listens there.
func awaitSocket(ctx context.Context, path string) error {
	var dialer net.Dialer
	for {
		conn, err := dialer.DialContext(ctx, "unix", path)
		if err == nil {
			return conn.Close()
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(5 * time.Millisecond):
		}
	}
}
