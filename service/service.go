package service

import (
	"context"
	"crypto/rand"
	"io"
	"log/slog"
	"time"

	"github.com/google/uuid"

	"laneward/db"
)

// Service is the use cases over one database. It is safe for use by many goroutines.
type Service struct {
	db     *db.DB
	keys   *Keys
	now    func() time.Time
	random io.Reader
	log    *slog.Logger
	hashes chan struct{} // bounds how many passwords are hashed at once: each takes 19 MiB
}

// Config is what a service stands on. Now and Random default to the machine's.
type Config struct {
	DB     *db.DB
	Keys   *Keys
	Log    *slog.Logger
	Now    func() time.Time
	Random io.Reader
}

// New makes a service.
func New(config Config) *Service {
	s := &Service{db: config.DB, keys: config.Keys, log: config.Log, now: config.Now, random: config.Random, hashes: make(chan struct{}, 4)}
	if s.now == nil {
		s.now = time.Now
	}
	if s.random == nil {
		s.random = rand.Reader
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	return s
}

// Ready reports whether the database answers and holds this program's schema.
func (s *Service) Ready(ctx context.Context) error {
	if err := s.db.Ready(ctx); err != nil {
		return &Error{Code: Unavailable, Detail: "the database is not ready", RetryAfter: 2 * time.Second, cause: err}
	}
	return nil
}

// PublicKeys returns the keys that access tokens are checked with.
func (s *Service) PublicKeys() []PublicKey { return s.keys.Public() }

// clock is the moment a use case happens at, in the precision the database keeps.
func (s *Service) clock() time.Time { return s.now().UTC().Truncate(time.Microsecond) }

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// Role is what a member may do in a squad.
type Role string

// The roles: a coach runs the squad, an athlete keeps the own records, an analyst reads everything.
const (
	Coach   Role = "coach"
	Athlete Role = "athlete"
	Analyst Role = "analyst"
)

// member is who acts in a squad.
type member struct {
	user    uuid.UUID
	squad   uuid.UUID
	role    Role
	athlete *uuid.UUID // set for the role athlete, and for no other: what they may see is that athlete's
}

func (m member) mustCoach() error {
	if m.role != Coach {
		return fail(Forbidden, "only a coach of the squad may do this: ask one")
	}
	return nil
}

// work is a use case's transaction in a squad.
type work struct {
	*db.Tx
	member
	now time.Time
}

// inSquad runs a use case that writes. Whoever is no member learns nothing: the squad does not exist for them.
func (s *Service) inSquad(ctx context.Context, user, squad uuid.UUID, do func(w *work) error) error {
	return s.db.InSquad(ctx, squad, s.asMember(ctx, user, squad, do))
}

// readSquad runs a use case that reads at one moment.
func (s *Service) readSquad(ctx context.Context, user, squad uuid.UUID, do func(w *work) error) error {
	return s.db.ReadSquad(ctx, squad, s.asMember(ctx, user, squad, do))
}

func (s *Service) asMember(ctx context.Context, user, squad uuid.UUID, do func(w *work) error) func(tx *db.Tx) error {
	now := s.clock()
	return func(tx *db.Tx) error {
		row, err := tx.MembershipOfUser(ctx, db.MembershipOfUserParams{SquadID: squad, UserID: user})
		if err != nil {
			return notFoundAs(err, "there is no such squad, or you are not in it")
		}
		who := member{user: user, squad: squad, role: Role(row.Role), athlete: row.AthleteID}
		return do(&work{Tx: tx, member: who, now: now})
	}
}

// notFoundAs says a missing row in the caller's words and passes any other error.
func notFoundAs(err error, detail string) error {
	err = db.Translate(err)
	if AsError(err).Code == NotFound {
		return fail(NotFound, "%s", detail)
	}
	return err
}
