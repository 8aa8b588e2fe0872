//go:build unix

package pgprivate

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// What a data directory holds.
const (
	clusterName = "cluster" // Postgres's own files, owned by the account it runs as
	freshName   = "cluster.new"
	logName     = "postgres.log"
	lockName    = "owner.lock"

	maxLogBytes = 16 << 20 // the log is rotated at a start, once it is larger
)

// home is a data directory whose lock this process holds.
type home struct {
	dir, cluster string
	account      account
	// lock is held by flock. Its text is, line by line, the process that owns the server and the
	// socket's directory: what the next owner needs to name the one and to remove the other.
	lock *os.File
}

// openHome creates the directory when absent and takes its lock. [ErrInUse] names the process that
// has it.
func openHome(dir string, account account) (*home, error) {
	if dir == "" {
		return nil, errors.New("a private Postgres needs a data directory")
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	mode := fs.FileMode(0o700)
	if !account.own() {
		mode = 0o711 // root's own, with the server's account let through to the cluster
	}
	if err := os.MkdirAll(dir, mode); err != nil {
		return nil, fmt.Errorf("create the data directory: %w", err)
	}
	lock, err := os.OpenFile(filepath.Join(dir, lockName), os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW, 0o600)
	if err != nil {
		return nil, fmt.Errorf("lock the data directory: %w", err)
	}
	h := &home{dir: dir, cluster: filepath.Join(dir, clusterName), account: account, lock: lock}
	if err := h.takeLock(); err != nil {
		return nil, errors.Join(err, lock.Close())
	}
	return h, nil
}

func (h *home) takeLock() error {
	err := syscall.Flock(int(h.lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err != nil && !errors.Is(err, syscall.EWOULDBLOCK) {
		return fmt.Errorf("lock the data directory %s: %w", h.dir, err)
	}
	owner, socketDir, readErr := h.readLock()
	switch {
	case readErr != nil:
		return readErr
	case err != nil:
		return fmt.Errorf("%w: %s belongs to a running process (%s): stop that, or choose another directory",
			ErrInUse, h.dir, cmp.Or(owner, "just starting"))
	}
	if err := removeSocketDir(socketDir); err != nil { // of an owner that was killed
		return err
	}
	return h.writeLock("")
}

// readLock returns what the owner wrote, empty where nothing is written.
func (h *home) readLock() (owner, socketDir string, err error) {
	text, err := io.ReadAll(io.NewSectionReader(h.lock, 0, 4096))
	if err != nil {
		return "", "", fmt.Errorf("read the lock of the data directory: %w", err)
	}
	lines := append(strings.Split(string(text), "\n"), "", "")
	return lines[0], lines[1], nil
}

// RunningURL is the address, for a role, of a database of the server that another process runs on a
// data directory, as that process last wrote it; "" when it has written none.
func RunningURL(dataDir, role, database string) (string, error) {
	lock, err := os.Open(filepath.Join(dataDir, lockName))
	if err != nil {
		return "", fmt.Errorf("read the lock of the data directory: %w", err)
	}
	defer lock.Close() //nolint:errcheck // only read
	_, socketDir, err := (&home{lock: lock}).readLock()
	if err != nil || socketDir == "" {
		return "", err
	}
	return (&Server{socketDir: socketDir}).URLAs(role, database), nil
}

func (h *home) writeLock(socketDir string) error {
	if err := h.lock.Truncate(0); err != nil {
		return fmt.Errorf("write the lock of the data directory: %w", err)
	}
	if _, err := h.lock.WriteAt(fmt.Appendf(nil, "%d\n%s\n", os.Getpid(), socketDir), 0); err != nil {
		return fmt.Errorf("write the lock of the data directory: %w", err)
	}
	return nil
}

// close releases the lock; a second call does nothing.
func (h *home) close() error {
	// Closing alone would not be enough: a child that is just being started elsewhere in this
	// process has the descriptor too, until it executes.
	unlocked := syscall.Flock(int(h.lock.Fd()), syscall.LOCK_UN)
	closed := h.lock.Close()
	if errors.Is(closed, os.ErrClosed) {
		return nil
	}
	return errors.Join(unlocked, closed)
}

// clusterMajor is the major version that made the cluster, 0 when there is none yet.
func (h *home) clusterMajor() (int, error) {
	text, err := os.ReadFile(filepath.Join(h.cluster, "PG_VERSION"))
	if err != nil {
		if _, clusterErr := os.Lstat(h.cluster); errors.Is(clusterErr, os.ErrNotExist) {
			return 0, nil
		}
		return 0, fmt.Errorf(
			"%s is no Postgres cluster: move it away or choose another data directory: %w",
			h.cluster,
			err,
		)
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fmt.Errorf("%s is not of a supported Postgres: PG_VERSION holds %q", h.cluster, text)
	}
	return major, nil
}

// initialise makes the cluster beside its place and moves it there when complete, so that an
// initialisation cut short leaves nothing that looks like a cluster; it is written through to the
// disk unless noSync. Anyone who can enter the socket directory may sign in as anyone; no one comes
// over TCP.
func (h *home) initialise(ctx context.Context, binaries binaries, noSync bool) error {
	fresh := filepath.Join(h.dir, freshName)
	if err := os.RemoveAll(fresh); err != nil {
		return fmt.Errorf("clear an initialisation cut short: %w", err)
	}
	if err := os.Mkdir(fresh, 0o700); err != nil {
		return err
	}
	if !h.account.own() {
		if err := os.Lchown(fresh, h.account.uid, h.account.gid); err != nil {
			return err
		}
	}
	args := []string{
		"-D",
		fresh,
		"-U",
		Superuser,
		"--auth-local=trust",
		"--auth-host=reject",
		"--encoding=UTF8",
		"--locale=C.UTF-8",
		"--data-checksums",
	}
	if noSync {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, binaries.initdb, args...)
	cmd.Dir, cmd.Env = fresh, childEnv()
	if !h.account.own() {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: h.account.credential()}
	}
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", binaries.initdb, explainReach(err, h.account, fresh), bytes.TrimSpace(out))
	}
	if err := os.Rename(fresh, h.cluster); err != nil {
		return err
	}
	return syncDir(h.dir)
}

// syncDir makes a rename in dir survive a power cut.
func syncDir(dir string) error {
	folder, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}

// handOver gives the cluster to the account that the server runs as, where another had it before:
// Postgres demands that it owns it. The walk cannot be led out of the cluster by a link.
func (h *home) handOver() error {
	if h.account.own() {
		return nil
	}
	info, err := os.Lstat(h.cluster)
	if err != nil {
		return err
	}
	if owner, ok := info.Sys().(*syscall.Stat_t); ok && int(owner.Uid) == h.account.uid {
		return nil
	}
	root, err := os.OpenRoot(h.cluster)
	if err != nil {
		return err
	}
	err = fs.WalkDir(root.FS(), ".", func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return root.Lchown(path, h.account.uid, h.account.gid)
	})
	if err := errors.Join(err, root.Close()); err != nil {
		return fmt.Errorf("give the cluster to the account %q: %w", h.account.name, err)
	}
	return nil
}

// makeSocketDir makes the directory of the socket and records it, for the next owner to remove
// should this one be killed.
func (h *home) makeSocketDir() (string, error) {
	dir, err := newSocketDir(h.account)
	if err != nil {
		return "", fmt.Errorf("make the socket's directory: %w", err)
	}
	if err := h.writeLock(dir); err != nil {
		return "", errors.Join(err, os.Remove(dir))
	}
	return dir, nil
}

// newSocketDir makes a short-named directory that is open to the server's account (and root) alone.
func newSocketDir(account account) (string, error) {
	dir, err := os.MkdirTemp(socketDirParent, socketDirPrefix) // mode 0700
	if err != nil || account.own() {
		return dir, err
	}
	if err := os.Lchown(dir, account.uid, account.gid); err != nil {
		return "", errors.Join(err, os.Remove(dir))
	}
	return dir, nil
}

// removeSocketDir removes a directory that [home.makeSocketDir] made, and nothing else.
func removeSocketDir(dir string) error {
	if filepath.Dir(dir) != socketDirParent || !strings.HasPrefix(filepath.Base(dir), socketDirPrefix) {
		return nil
	}
	return os.RemoveAll(dir)
}

// openLog opens the server's log for appending, rotated first when it has grown large.
func (h *home) openLog() (*os.File, error) {
	path := filepath.Join(h.dir, logName)
	if info, err := os.Lstat(path); err == nil && info.Size() > maxLogBytes {
		if err := os.Rename(path, path+".1"); err != nil {
			return nil, err
		}
	}
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND|syscall.O_NOFOLLOW, 0o600)
}

// logTail returns the last lines written to the log since the offset, for an error message.
func (h *home) logTail(since int64) string {
	const maxBytes, maxLines = 8 << 10, 20
	text, err := readTail(filepath.Join(h.dir, logName), since, maxBytes)
	if err != nil {
		return fmt.Sprintf("(its log cannot be read: %v)", err)
	}
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) > maxLines {
		lines = lines[len(lines)-maxLines:]
	}
	return strings.Join(lines, "\n")
}

// readTail returns at most limit bytes from the end of the file, none from before the offset.
func readTail(path string, since, limit int64) (string, error) {
	file, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer func() { _ = file.Close() }() // only read
	info, err := file.Stat()
	if err != nil {
		return "", err
	}
	text, err := io.ReadAll(io.NewSectionReader(file, max(since, info.Size()-limit), limit))
	return string(text), err
}
