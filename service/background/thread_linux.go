package background

import "syscall"

// more is how much nicer a thread in the background is than the program: the system gives it a tenth
// of the processor beside one that is not.
const (
	more     = 10
	nicest   = 19
	ofItsOwn = 0 // the calling thread; Linux keeps a niceness for each
)

// giveWay makes the calling thread one that is served after others. Where that cannot be done it
// works like any other.
func giveWay() {
	raw, err := syscall.Getpriority(syscall.PRIO_PROCESS, ofItsOwn)
	if err != nil {
		return
	}
	now := 20 - raw // the system call counts from 40 down
	_ = syscall.Setpriority(syscall.PRIO_PROCESS, ofItsOwn, min(now+more, nicest))
}
