//go:build unix

package dbtest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"time"

	"laneward/db"
	"laneward/db/pgprivate"
)

// testSettings make a server fast and not durable; its data are gone with the test process anyway.
var testSettings = map[string]string{
	"fsync":              "off",
	"synchronous_commit": "off",
	"full_page_writes":   "off",
	"max_connections":    "200",
}

// startPrivate runs a server on a copy of a directory that was initialised and migrated once and is
// kept for later test processes.
func startPrivate(ctx context.Context) (*keptServer, error) {
	prepared, err := preparedDir(ctx)
	if err != nil {
		return nil, err
	}
	run, err := os.MkdirTemp("", "laneward-dbtest-run-")
	if err != nil {
		return nil, err
	}
	server, err := startCopy(ctx, prepared, run)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(run))
	}
	return &keptServer{
		adminURL: server.URL("postgres"),
		stop: func(ctx context.Context) error {
			return errors.Join(server.Stop(ctx), os.RemoveAll(run))
		},
	}, nil
}

func startCopy(ctx context.Context, prepared, run string) (*pgprivate.Server, error) {
	if err := os.Chmod(run, 0o711); err != nil { //nolint:gosec // when root runs the tests, the server's account must get through
		return nil, err
	}
	dataDir := filepath.Join(run, "data")
	if out, err := exec.CommandContext(ctx, "cp", "-Rp", prepared, dataDir).CombinedOutput(); err != nil {
		return nil, fmt.Errorf("copy the prepared data directory: %w: %s", err, bytes.TrimSpace(out))
	}
	return pgprivate.Start(ctx, pgprivate.Config{DataDir: dataDir, Settings: testSettings})
}

// preparedDir returns the data directory for this schema and this Postgres, made at the first call
// on the machine. It is not changed once it has its name.
func preparedDir(ctx context.Context) (string, error) {
	major, err := pgprivate.InstalledMajor(ctx, "")
	if err != nil {
		return "", err
	}
	cache, err := openCache()
	if err != nil {
		return "", err
	}
	unlock, err := lockFile(ctx, filepath.Join(cache, "lock"))
	if err != nil {
		return "", err
	}
	prepared := filepath.Join(cache, fmt.Sprintf("pg%d-%s", major, db.MigrationsHash()))
	err = prepare(ctx, prepared)
	if err := errors.Join(err, unlock()); err != nil {
		return "", fmt.Errorf("prepare a data directory: %w", err)
	}
	return prepared, nil
}

// openCache returns the folder of prepared directories of this user. No other user may be able to
// change what is in it.
func openCache() (string, error) {
	cache := filepath.Join(os.TempDir(), fmt.Sprintf("laneward-dbtest-%d", os.Geteuid()))
	if err := os.Mkdir(cache, 0o711); err != nil && !errors.Is(err, fs.ErrExist) { //nolint:gosec // as above
		return "", err
	}
	info, err := os.Lstat(cache)
	if err != nil {
		return "", err
	}
	owner, ok := info.Sys().(*syscall.Stat_t)
	if !ok || !info.IsDir() || int(owner.Uid) != os.Geteuid() || info.Mode().Perm()&0o022 != 0 {
		return "", fmt.Errorf(
			"%s is not a folder of this user's alone: remove it, or set TMPDIR to another folder",
			cache,
		)
	}
	return cache, nil
}

// lockFile waits for the lock on the file at path, made when absent.
func lockFile(ctx context.Context, path string) (unlock func() error, err error) {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	for {
		err := syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			return file.Close, nil
		}
		if !errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, errors.Join(err, file.Close())
		}
		select {
		case <-ctx.Done():
			return nil, errors.Join(
				fmt.Errorf("another test process prepares the data directory: %w", ctx.Err()),
				file.Close(),
			)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// prepare makes the directory unless it is there, under the cache's lock.
func prepare(ctx context.Context, prepared string) error {
	now := time.Now()
	if _, err := os.Stat(prepared); err == nil {
		return os.Chtimes(prepared, now, now) // used: not to be cleared
	}
	if err := clearCache(filepath.Dir(prepared), now); err != nil {
		return err
	}
	building := prepared + ".building"
	if err := os.RemoveAll(building); err != nil { // of a process that was killed
		return err
	}
	server, err := pgprivate.Start(ctx, pgprivate.Config{DataDir: building, Settings: testSettings})
	if err != nil {
		return err
	}
	_, templateErr := ensureTemplate(ctx, server.URL("postgres"))
	if err := errors.Join(templateErr, server.Stop(ctx)); err != nil {
		return err
	}
	return os.Rename(building, prepared)
}

// unusedAfter is how long a prepared directory is kept that no test process has used.
const unusedAfter = 3 * 24 * time.Hour

// clearCache removes the directories of schemas that have been out of use for long.
func clearCache(cache string, now time.Time) error {
	entries, err := os.ReadDir(cache)
	if err != nil {
		return err
	}
	for _, entry := range entries {
		info, err := entry.Info()
		if err != nil {
			return err
		}
		if entry.IsDir() && now.Sub(info.ModTime()) > unusedAfter {
			if err := os.RemoveAll(filepath.Join(cache, entry.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}
