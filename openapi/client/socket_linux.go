package client

import (
	"syscall"

	"golang.org/x/sys/unix"
)

// unsentBytes is how much of what was written may wait in the system before it goes out.
const unsentBytes = 16 << 10

// shallow keeps the system from taking a whole log at once, so that progress reports what has gone
// out; what is on the way is not limited.
func shallow(_, _ string, connection syscall.RawConn) error {
	var failed error
	err := connection.Control(func(fd uintptr) {
		failed = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_NOTSENT_LOWAT, unsentBytes)
	})
	if err != nil {
		return err
	}
	return failed
}
