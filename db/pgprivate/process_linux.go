package pgprivate

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
)

// canFindServers: [serverProcesses] sees every server, so that none seen is none there.
const canFindServers = true

// childAttributes puts a child into a process group of its own, so that ^C in a terminal reaches
// only this process, which then shuts the server down in order, and asks the kernel to send the
// child a fast shutdown (SIGINT) when this process dies without having done so. SIGINT and not
// SIGKILL, so that the server closes its files and the next start needs no recovery.
func childAttributes(account account) *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGINT, Credential: account.credential()}
}

// serverProcesses returns the Postgres processes, server and backends, that work in the cluster
// directory: each of them has it as its working directory, which a process id that was given to
// another program since does not.
func serverProcesses(cluster string) ([]int, error) {
	want, err := os.Stat(cluster)
	if err != nil {
		return nil, err
	}
	entries, err := os.ReadDir("/proc")
	if err != nil {
		return nil, fmt.Errorf("look for a server left behind: %w", err)
	}
	var pids []int
	for _, entry := range entries {
		pid, err := strconv.Atoi(entry.Name())
		if err != nil {
			continue // not a process
		}
		folder := filepath.Join("/proc", entry.Name())
		name, err := os.ReadFile(filepath.Join(folder, "comm"))
		if err != nil || !bytes.HasPrefix(name, []byte("postgres")) {
			continue // gone meanwhile, or another program
		}
		cwd, err := os.Stat(filepath.Join(folder, "cwd"))
		switch {
		case errors.Is(err, os.ErrNotExist), errors.Is(err, os.ErrPermission), errors.Is(err, syscall.ESRCH):
			continue // gone meanwhile, or another account's, which cannot have our cluster open
		case err != nil:
			return nil, fmt.Errorf("look for a server left behind: %w", err)
		}
		if os.SameFile(cwd, want) {
			pids = append(pids, pid)
		}
	}
	return pids, nil
}
