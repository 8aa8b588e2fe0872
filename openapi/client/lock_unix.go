//go:build unix

package client

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

const lockPoll = 20 * time.Millisecond

// lock takes the file's lock, waiting until ctx ends. The system releases it when the process ends,
// however it ends.
func lock(ctx context.Context, path string) (unlock func() error, err error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("lock the sign-ins: %w", err)
	}
	for {
		err := unix.Flock(int(file.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if err == nil {
			return file.Close, nil
		}
		if !errors.Is(err, unix.EWOULDBLOCK) && !errors.Is(err, unix.EINTR) {
			return nil, errors.Join(fmt.Errorf("lock the sign-ins: %w", err), file.Close())
		}
		if err := systemClock.sleep(ctx, lockPoll); err != nil {
			return nil, errors.Join(fmt.Errorf("another process holds the lock on the sign-ins: %w", err), file.Close())
		}
	}
}
