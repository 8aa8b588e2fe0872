//go:build unix

package pgprivate

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// clearLeftovers ends a server that outlived its owner, and clears what a crash left in the
// cluster.
func (h *home) clearLeftovers(ctx context.Context, logger *slog.Logger) error {
	pid, err := h.serverPID()
	if err != nil {
		return err
	}
	if err := h.stopOrphan(ctx, pid, orphanPatience, logger); err != nil {
		return err
	}
	return h.removeStalePIDFile()
}

const pidFileName = "postmaster.pid"

// serverPID is the process that the last server wrote into the first line of postmaster.pid, 0 when
// it has ended in order.
func (h *home) serverPID() (int, error) {
	text, err := os.ReadFile(filepath.Join(h.cluster, pidFileName))
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	line, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(line))
	if err != nil || pid <= 0 {
		return 0, nil //nolint:nilerr // cut short while it was written: Postgres puts it right
	}
	return pid, nil
}

// orphanPatience is how long a server left behind may take for its clean shutdown, a checkpoint
// included, before it is cut off.
const orphanPatience = 30 * time.Second

// stopOrphan returns once no process works on the cluster. The lock is ours, so the process that
// started one is dead. A server whose main process was killed leaves backends that end by
// themselves in a moment, or are cut off when the patience is over.
func (h *home) stopOrphan(ctx context.Context, serverPID int, patience time.Duration, logger *slog.Logger) error {
	outOfPatience := time.After(patience)
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for first := true; ; first = false {
		pids, err := serverProcesses(h.cluster)
		if err != nil || len(pids) == 0 {
			return err
		}
		if first {
			logger.Warn("stopping a private postgres left behind by an earlier run", "data_dir", h.dir, "pids", pids)
			for _, pid := range pids {
				if pid == serverPID {
					if err := signalProcess(pid, syscall.SIGINT); err != nil {
						return err
					}
				}
			}
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf(
				"a server left behind by an earlier run (processes %v) has not ended yet: %w",
				pids,
				ctx.Err(),
			)
		case <-outOfPatience:
			for _, pid := range pids {
				if err := signalProcess(pid, syscall.SIGQUIT); err != nil {
					return err
				}
			}
		case <-tick.C:
		}
	}
}

func signalProcess(pid int, sig syscall.Signal) error {
	if err := syscall.Kill(pid, sig); err != nil && !errors.Is(err, syscall.ESRCH) {
		return fmt.Errorf("stop the server left behind (process %d): %w", pid, err)
	}
	return nil
}

// removeStalePIDFile removes the file of a dead server whose process id has gone to another program
// (small ids come round quickly in a container), for Postgres would take that program for a server
// and refuse to start. Where the id is free, Postgres clears the file itself.
func (h *home) removeStalePIDFile() error {
	pid, err := h.serverPID()
	if err != nil || pid == 0 || errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
		return err
	}
	if !canFindServers {
		return nil // it may be a server after all
	}
	return os.Remove(filepath.Join(h.cluster, pidFileName))
}
