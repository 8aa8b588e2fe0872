//go:build unix

package pgprivate

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// account is the unprivileged account that the server runs as when this process is root; the zero
// value is this process's own.
type account struct {
	name     string
	uid, gid int
}

// serverAccount returns the zero value for an ordinary user, who runs the server under their own
// account.
func serverAccount(name string) (account, error) {
	if os.Geteuid() != 0 {
		return account{}, nil
	}
	candidates := []string{"postgres", "nobody"}
	if name != "" {
		candidates = []string{name}
	}
	var faults []error
	for _, candidate := range candidates {
		found, err := lookUpAccount(candidate)
		if err == nil {
			return found, nil
		}
		faults = append(faults, err)
	}
	return account{}, fmt.Errorf(
		"postgres does not run as root and there is no account to run it as (%w): run this as an ordinary user, or `adduser --system postgres`",
		errors.Join(faults...),
	)
}

func lookUpAccount(name string) (account, error) {
	entry, err := user.Lookup(name)
	if err != nil {
		return account{}, err
	}
	uid, uidErr := strconv.Atoi(entry.Uid)
	gid, gidErr := strconv.Atoi(entry.Gid)
	if err := errors.Join(uidErr, gidErr); err != nil {
		return account{}, fmt.Errorf("account %q: %w", name, err)
	}
	if uid == 0 {
		return account{}, fmt.Errorf("account %q is root itself", name)
	}
	return account{name: name, uid: uid, gid: gid}, nil
}

// own reports whether the server runs as this process does.
func (a account) own() bool { return a.name == "" }

// credential is what a child runs under; nil leaves it with the parent's.
func (a account) credential() *syscall.Credential {
	if a.own() {
		return nil
	}
	return &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)} //nolint:gosec // the system's own numbers
}

// ChildAttributes are those of another program that a test or the server runs beside Postgres: under
// the same account, and told to end when the thread that started it does.
func ChildAttributes() (*syscall.SysProcAttr, error) {
	account, err := serverAccount("")
	if err != nil {
		return nil, err
	}
	return childAttributes(account), nil
}
