package client

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"
)

// SignIn is what a device keeps of one sign-in. When it has ended the tokens are empty and the rest
// stays, so that unsent changes find their user again.
type SignIn struct {
	UserID        uuid.UUID `json:"user_id"`
	Email         string    `json:"email"`
	Device        string    `json:"device"`
	AccessToken   string    `json:"access_token,omitempty"`
	AccessExpires time.Time `json:"access_expires,omitzero"` // by this device's clock
	RefreshToken  string    `json:"refresh_token,omitempty"`
}

// Credentials is the file of sign-ins, at most one a server.
type Credentials struct {
	Server  string            `json:"server,omitempty"` // the one signed in to last
	SignIns map[string]SignIn `json:"sign_ins"`
	// Devices are what each server gave this device at a sign-in, by server and address. It opens
	// nothing, and is kept after signing out: others' guesses then do not hold up the next sign-in.
	Devices map[string]map[string]string `json:"devices,omitempty"`
}

// deviceToken is what a server gave this device for an address; "" when it gave nothing.
func (c Credentials) deviceToken(server, email string) string {
	return c.Devices[server][strings.ToLower(email)]
}

func (c *Credentials) keepDeviceToken(server, email string, token *string) {
	if token == nil {
		return
	}
	if c.Devices == nil {
		c.Devices = make(map[string]map[string]string)
	}
	if c.Devices[server] == nil {
		c.Devices[server] = make(map[string]string)
	}
	c.Devices[server][strings.ToLower(email)] = *token
}

// Store keeps sign-ins in a directory of the person's own, in a file that no other user can read.
// Several processes may use it at once.
type Store struct {
	dir string
}

const (
	credentialsFile = "credentials.json"
	lockFile        = "credentials.lock"
	directoryMode   = 0o700
)

// OpenStore returns the store in dir, which is created when first written to.
func OpenStore(dir string) *Store { return &Store{dir: dir} }

// Path is the file of sign-ins.
func (s *Store) Path() string { return filepath.Join(s.dir, credentialsFile) }

// Load reads the sign-ins. A file that does not exist holds none.
func (s *Store) Load() (Credentials, error) {
	held := Credentials{SignIns: make(map[string]SignIn)}
	file, err := os.Open(s.Path())
	if errors.Is(err, fs.ErrNotExist) {
		return held, nil
	}
	if err != nil {
		return held, fmt.Errorf("read the sign-ins: %w", err)
	}
	defer file.Close() //nolint:errcheck // only read
	info, err := file.Stat()
	if err != nil {
		return held, fmt.Errorf("read the sign-ins: %w", err)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return held, fmt.Errorf(
			"others can read your sign-ins (mode %04o): run chmod 600 %s, and sign in again if someone may have read them",
			mode,
			s.Path(),
		)
	}
	if err := json.NewDecoder(file).Decode(&held); err != nil {
		return held, fmt.Errorf(
			"the file of sign-ins %s cannot be read: remove it and sign in again (%w)",
			s.Path(),
			err,
		)
	}
	if held.SignIns == nil {
		held.SignIns = make(map[string]SignIn)
	}
	return held, nil
}

// Update changes the sign-ins while no other process can. Nothing is written when change fails.
func (s *Store) Update(ctx context.Context, change func(*Credentials) error) error {
	return s.locked(ctx, func() error {
		held, err := s.Load()
		if err != nil {
			return err
		}
		if err := change(&held); err != nil {
			return err
		}
		return s.write(held)
	})
}

// locked runs work while no other process or goroutine runs any under the same store.
func (s *Store) locked(ctx context.Context, work func() error) (err error) {
	if err := os.MkdirAll(s.dir, directoryMode); err != nil {
		return fmt.Errorf("make the directory of sign-ins: %w", err)
	}
	unlock, err := lock(ctx, filepath.Join(s.dir, lockFile))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	return work()
}

// write replaces the file as a whole, so that neither a reader nor a crash ever leaves half of it.
func (s *Store) write(held Credentials) (err error) {
	text, err := json.MarshalIndent(held, "", "  ")
	if err != nil {
		return fmt.Errorf("write the sign-ins: %w", err)
	}
	file, err := os.CreateTemp(s.dir, credentialsFile+".*") // mode 0600
	if err != nil {
		return fmt.Errorf("write the sign-ins: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("write the sign-ins: %w", err), os.Remove(file.Name()))
		}
	}()
	_, err = file.Write(append(text, '\n'))
	if err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return err
	}
	if err := os.Rename(file.Name(), s.Path()); err != nil {
		return err
	}
	return syncDir(s.dir)
}

// syncDir makes a rename last: a refresh token that was spent must not come back after a power cut.
func syncDir(dir string) error {
	opened, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(opened.Sync(), opened.Close())
}
