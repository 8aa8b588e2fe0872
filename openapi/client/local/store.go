// Package local keeps on a device a copy of what a person may see of their squads, and the changes
// they made without a network, and synchronises the copy with the server ([Sync]). It knows the
// contract and nothing else of the program.
//
// A store belongs to one person on one server: what they have not sent stays theirs, whoever else
// signs in on the device, and is there again when they come back. What a person sees
// ([Store.Records]) is the server's records with their own changes on top. A change is one row, so
// there is no moment at which a record is kept and its place in the queue is not, and a write is on
// the disk when its call returns.
package local

import (
	"context"
	"crypto/sha256"
	"database/sql"
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"
	_ "modernc.org/sqlite" // the database, in pure Go

	"laneward/openapi"
)

// Store is one person's copy on one device. Several processes and goroutines may use it at once.
type Store struct {
	db     *sql.DB
	path   string
	server string
	user   uuid.UUID
	now    func() time.Time
}

// Path is the file of a person's store below a directory.
func Path(dir, server string, user uuid.UUID) string {
	_, host, _ := strings.Cut(server, "://")
	host = strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '.' || r == '-' {
			return r
		}
		return '_'
	}, strings.ToLower(host))
	sum := sha256.Sum256([]byte(server)) // two addresses may look alike after that
	return filepath.Join(dir, fmt.Sprintf("%.60s-%x", host, sum[:4]), user.String()+".db")
}

// busyLimit is how long one process waits for another that writes.
const busyLimit = 15 * time.Second

// Open opens a person's store below a directory, and creates it when there is none. server is the
// address as [client.Address] writes it.
func Open(ctx context.Context, dir, server string, user uuid.UUID, now func() time.Time) (*Store, error) {
	path := Path(dir, server, user)
	if err := makeFile(path); err != nil {
		return nil, err
	}
	absolute, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("open the copy on this device: %w", err)
	}
	settings := url.Values{"_txlock": {"immediate"}, "_pragma": {
		fmt.Sprintf("busy_timeout(%d)", busyLimit.Milliseconds()), "journal_mode(WAL)",
		"synchronous(FULL)", // a shot reported as saved survives a power cut
	}}
	name := url.URL{Scheme: "file", Path: filepath.ToSlash(absolute), RawQuery: settings.Encode()}
	db, err := sql.Open("sqlite", name.String())
	if err != nil {
		return nil, fmt.Errorf("open the copy on this device: %w", err)
	}
	db.SetMaxOpenConns(1) // writers of one process wait for each other here rather than in the database
	s := &Store{db: db, path: path, server: server, user: user, now: now}
	if err := s.prepare(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open the copy %s: %w", path, err), db.Close())
	}
	return s, nil
}

// makeFile creates the file so that no other user can read it; the database gives its own files
// beside it the same mode.
func makeFile(path string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("make a place for the copy on this device: %w", err)
	}
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if errors.Is(err, fs.ErrPermission) {
		return fmt.Errorf("the copy %s cannot be opened: it belongs to somebody else (%w)", path, err)
	}
	if err != nil {
		return fmt.Errorf("make the copy on this device: %w", err)
	}
	info, err := file.Stat()
	if err = errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("make the copy on this device: %w", err)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return fmt.Errorf("others can read the copy of your squads (mode %04o): run chmod 600 %s", mode, path)
	}
	return nil
}

// migrations upgrade a store from each version to the next. A shipped one never changes.
var migrations = []string{schema1, schema2, schema3, schema4}

//go:embed schema1.sql
var schema1 string

//go:embed schema2.sql
var schema2 string

//go:embed schema3.sql
var schema3 string

//go:embed schema4.sql
var schema4 string

// prepare migrates the file to this program's schema and checks that it is this person's.
func (s *Store) prepare(ctx context.Context) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		var version int
		if err := tx.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&version); err != nil {
			return err
		}
		if version > len(migrations) {
			return fmt.Errorf(
				"it was written by a newer program (schema %d, this one knows %d): update this one; nothing in it is lost",
				version,
				len(migrations),
			)
		}
		for _, step := range migrations[version:] {
			if _, err := tx.ExecContext(ctx, step); err != nil {
				return fmt.Errorf("bring it from schema %d to %d: %w", version, len(migrations), err)
			}
		}
		if version < len(migrations) {
			if _, err := tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, len(migrations))); err != nil {
				return err
			}
		}
		return s.checkOwner(ctx, tx)
	})
}

func (s *Store) checkOwner(ctx context.Context, tx *sql.Tx) error {
	var server, user string
	err := tx.QueryRowContext(ctx, `SELECT server, user FROM owner`).Scan(&server, &user)
	if errors.Is(err, sql.ErrNoRows) {
		_, err = tx.ExecContext(ctx, `INSERT INTO owner (server, user) VALUES (?, ?)`, s.server, s.user.String())
		return err
	}
	if err != nil {
		return err
	}
	if server != s.server || user != s.user.String() {
		return fmt.Errorf("it is the copy of user %s of %s: put it back in its place", user, server)
	}
	return nil
}

// Close closes the store.
func (s *Store) Close() error { return s.db.Close() }

// File is where the store is.
func (s *Store) File() string { return s.path }

// Version returns a number that changes when another process has written to the store.
func (s *Store) Version(ctx context.Context) (version int64, err error) {
	err = s.db.QueryRowContext(ctx, `PRAGMA data_version`).Scan(&version)
	return version, err
}

// User is whose store it is.
func (s *Store) User() uuid.UUID { return s.user }

// write runs work in a transaction, which is on the disk when write returns nil.
func (s *Store) write(ctx context.Context, work func(*sql.Tx) error) (err error) {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() {
		if err == nil {
			err = tx.Commit()
			return
		}
		if undone := tx.Rollback(); !errors.Is(undone, sql.ErrTxDone) {
			err = errors.Join(err, undone)
		}
	}()
	return work(tx)
}

// Squad is a squad of the person, as the server last sent it.
type Squad struct {
	ID      uuid.UUID
	Name    string
	Role    openapi.Role
	Athlete *uuid.UUID // whom the person is in the squad, if one of its athletes
	// Member is false when the person is no longer a member: the copy is gone then, and what they
	// had not sent is still there.
	Member   bool
	Rev      int64     // the squad's revision that the copy has reached
	SyncedAt time.Time // when it did last; zero when there is no whole copy yet
	// Since is the first day of the sessions that the copy has, "" for all, and Of whose they are with
	// their shots, nil for everybody's.
	Since string
	Of    *uuid.UUID
}

// Squads lists the person's squads, by name, also those they left with something unsent.
func (s *Store) Squads(ctx context.Context) ([]Squad, error) {
	rows, err := s.db.QueryContext(
		ctx,
		`SELECT id, name, role, athlete, member, rev, synced_ms, since, of_athlete FROM squads ORDER BY name, id`,
	)
	if err != nil {
		return nil, err
	}
	return collect(rows, func(squad *Squad) error {
		var milliseconds int64
		if err := rows.Scan(
			&squad.ID,
			&squad.Name,
			&squad.Role,
			&squad.Athlete,
			&squad.Member,
			&squad.Rev,
			&milliseconds,
			&squad.Since,
			&squad.Of,
		); err != nil {
			return err
		}
		if milliseconds > 0 {
			squad.SyncedAt = time.UnixMilli(milliseconds)
		}
		return nil
	})
}

// collect reads all rows by read, which scans the present one, and closes them.
func collect[T any](rows *sql.Rows, read func(*T) error) (all []T, err error) {
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var one T
		if err := read(&one); err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, rows.Err()
}

// SetSquads stores which squads the person is in, as the server says. The copy of a squad they left
// is dropped, and its queue kept.
func (s *Store) SetSquads(ctx context.Context, squads []openapi.MySquad) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `UPDATE squads SET member = 0`); err != nil {
			return err
		}
		for _, squad := range squads {
			_, err := tx.ExecContext(ctx, `INSERT INTO squads (id, name, role, athlete, member) VALUES (?, ?, ?, ?, 1)
				ON CONFLICT (id) DO UPDATE SET name = excluded.name, role = excluded.role, athlete = excluded.athlete, member = 1`,
				squad.SquadID.String(), squad.Name, string(squad.Role), textOf(squad.AthleteID))
			if err != nil {
				return err
			}
		}
		return dropLeft(ctx, tx)
	})
}

// Leave records that the person is no longer a member of a squad: the copy is dropped, and the
// queue kept.
func (s *Store) Leave(ctx context.Context, squad uuid.UUID) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `UPDATE squads SET member = 0 WHERE id = ?`, squad.String()); err != nil {
			return err
		}
		return dropLeft(ctx, tx)
	})
}

func dropLeft(ctx context.Context, tx *sql.Tx) error {
	for _, step := range []string{
		`DELETE FROM records WHERE squad IN (SELECT id FROM squads WHERE member = 0)`,
		`DELETE FROM lost WHERE squad IN (SELECT id FROM squads WHERE member = 0)`,
		`DELETE FROM heads WHERE squad IN (SELECT id FROM squads WHERE member = 0)`,
		`UPDATE squads SET cursor = '', page = '', rev = 0, synced_ms = 0, seen = '', seen_rev = 0, why = '' WHERE member = 0`,
		`DELETE FROM squads WHERE member = 0 AND NOT EXISTS (SELECT 1 FROM changes c WHERE c.squad = squads.id)`,
	} {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return err
		}
	}
	return nil
}

func textOf(id *uuid.UUID) any {
	if id == nil {
		return nil
	}
	return id.String()
}
