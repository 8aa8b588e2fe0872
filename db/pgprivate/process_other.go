//go:build unix && !linux

package pgprivate

import "syscall"

// canFindServers: [serverProcesses] cannot see servers here.
const canFindServers = false

// childAttributes puts a child into a process group of its own, so that ^C in a terminal reaches
// only this process, which then shuts the server down in order. These systems have no signal at the
// parent's death.
func childAttributes(account account) *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Setpgid: true, Credential: account.credential()}
}

// serverProcesses finds none: without /proc there is no sure way to tell a server left behind from
// a process that has its id now. Postgres itself then refuses to start beside it, and the error
// shows its message, which names the process to stop.
func serverProcesses(string) ([]int, error) { return nil, nil }
