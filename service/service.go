package service

import (
	"context"
	"crypto/rand"
	"errors"
	"io"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// Service is the use cases over one database. It is safe for use by many goroutines.
type Service struct {
	db        *db.DB
	keys      *Keys
	now       func() time.Time
	random    io.Reader
	log       *slog.Logger
	hashes    *hashQueue     // bounds how many passwords are hashed at once: each takes 19 MiB
	guesses   *turns[string] // at most one guess of a password is looked at for an account
	planners  *limiter       // bounds what is planned at once
	judges    *limiter       // bounds what is judged and drawn at once
	exports   *limiter       // bounds how many exports are read at once
	checks    *limiter       // bounds how many large bodies are checked at once
	streams   *places
	downloads *places
	queues    *turns[uuid.UUID] // of those who write to a squad
	signedIn  *signedIn         // which sign-ins stand
	synced    synced            // which devices were written to have synced
	lookUps   lookUps           // of the keys of other servers
	live      *live
	tails     *tails
	// running ends when the service is closed; jobs are what works in the background meanwhile.
	running context.Context //nolint:containedctx // its end is the service's
	stop    context.CancelFunc
	jobs    sync.WaitGroup
	// cursorKey signs the cursors of feeds and snapshots, markKey the marks of devices.
	cursorKey, markKey []byte
	quota              int64  // of records, for squads that have none of their own; 0 for any number
	publicURL          string // the origin that passkeys belong to; "" for none
}

// Config is what a service is built from. Now and Random default to the machine's.
type Config struct {
	DB     *db.DB
	Keys   *Keys
	Log    *slog.Logger
	Now    func() time.Time
	Random io.Reader
	// PublicURL is how the server is reached from outside, such as https://lanes.example.org;
	// "" when it is not known, and then there are passkeys at http://localhost only.
	PublicURL string
	// Patience is how long a computation may wait for its turn, and then take. 0 is what a person
	// at a page bears; tests on a busy machine have more.
	Patience time.Duration
	Limits   Limits
	// Quota is how many records a squad may have that has no quota of its own; 0 for any number.
	Quota int64
}

// New makes a service. Close it after its last use; [Service.Share] it with others on the database.
func New(config Config) *Service {
	s := &Service{
		db:        config.DB,
		keys:      config.Keys,
		log:       config.Log,
		now:       config.Now,
		random:    config.Random,
		hashes:    newHashQueue(),
		guesses:   newTurns[string](1),
		signedIn:  newSignedIn(),
		streams:   newStreams(config.Limits),
		downloads: newDownloads(config.Limits),
		queues:    newWriteQueues(),
		quota:     config.Quota,
	}
	if s.now == nil {
		s.now = time.Now //nolint:forbidigo // the default is the machine's clock
	}
	newLimiter := func(places int) *limiter { return newLimiter(places, config.Patience, s.now) }
	s.planners, s.judges = newLimiter(plansAtOnce), newLimiter(judgedAtOnce)
	s.exports, s.checks = newLimiter(exportsAtOnce), newLimiter(checkedAtOnce)
	if s.random == nil {
		s.random = rand.Reader
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	s.running, s.stop = context.WithCancel(context.Background())
	s.live = newLive(s)
	s.tails = &tails{service: s, running: make(map[tailKey]*broadcast)}
	s.publicURL = config.PublicURL
	s.cursorKey, s.markKey = s.keys.secret("cursors"), s.keys.secret("devices")
	return s
}

// Close stops the background work, and with it every tail, and waits for it to end. It does not
// close the database.
func (s *Service) Close() {
	s.stop()
	s.jobs.Wait()
}

// pause waits, and reports whether the service is still open then.
func (s *Service) pause(wait time.Duration) bool {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-s.running.Done():
		return false
	}
}

// Ready reports whether the database answers, holds this program's schema and keeps squads apart.
func (s *Service) Ready(ctx context.Context) error {
	err := s.db.Ready(ctx)
	if err == nil {
		return nil
	}
	detail := "the database is not ready"
	var operator *db.NotReadyError
	if errors.As(err, &operator) {
		detail = operator.Error()
	}
	return &Error{Code: Unavailable, Detail: detail, RetryAfter: 2 * time.Second, cause: err}
}

// PublicKeys returns the keys that access tokens are checked with.
func (s *Service) PublicKeys() []PublicKey { return s.keys.Public() }

// Now returns the time of day by the service's clock, in its zone.
func (s *Service) Now() time.Time { return s.now() }

// clock is the moment a use case happens at, in the precision the database keeps.
func (s *Service) clock() time.Time { return s.now().UTC().Truncate(time.Microsecond) }

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// member is who acts in a squad.
type member struct {
	user    uuid.UUID
	squad   uuid.UUID
	role    record.Role
	athlete *uuid.UUID // set for the role athlete, and for no other: what they may see is that athlete's
}

func (m member) mustCoach() error {
	if m.role != record.RoleCoach {
		return fail(Forbidden, "only a coach of the squad may do this: ask one")
	}
	return nil
}

// work is a use case's transaction in a squad.
type work struct {
	*db.Tx
	member
	now    time.Time
	locked *clock // the counter as it stands, once this transaction is the squad's only writer
	wrote  bool   // it has moved the counter
	quota  int64  // of squads that have none of their own
	span   span   // of the copy that is read for
}

// inSquad runs a use case that writes. Non-members get NotFound, so that a squad's existence does
// not leak.
func (s *Service) inSquad(ctx context.Context, user, squad uuid.UUID, do func(w *work) error) error {
	return s.commit(ctx, squad, func(tx *db.Tx) (*work, error) {
		w, err := s.asMember(ctx, tx, user, squad)
		if err != nil {
			return nil, err
		}
		return w, do(w)
	})
}

// commit runs a transaction that may write, and wakes the squad's followers once it has been
// committed.
func (s *Service) commit(ctx context.Context, squad uuid.UUID, do func(tx *db.Tx) (*work, error)) error {
	finished, err := s.queues.take(ctx, squad)
	if err != nil {
		return err
	}
	defer finished()
	var done *work
	err = s.db.InSquad(ctx, squad, func(tx *db.Tx) (err error) {
		done, err = do(tx)
		return err
	})
	if err == nil && done != nil && done.wrote {
		s.live.wake(squad, done.locked.head)
	}
	return err
}

// readSquad runs a use case that reads, from one consistent snapshot.
func (s *Service) readSquad(ctx context.Context, user, squad uuid.UUID, do func(w *work) error) error {
	return s.db.ReadSquad(ctx, squad, func(tx *db.Tx) error {
		w, err := s.asMember(ctx, tx, user, squad)
		if err != nil {
			return err
		}
		return do(w)
	})
}

func (s *Service) asMember(ctx context.Context, tx *db.Tx, user, squad uuid.UUID) (*work, error) {
	row, err := tx.MembershipOfUser(ctx, db.MembershipOfUserParams{SquadID: squad, UserID: user})
	if err != nil {
		return nil, notFoundAs(err, "there is no such squad, or you are not in it")
	}
	who := member{user: user, squad: squad, role: record.Role(row.Role), athlete: row.AthleteID}
	return &work{Tx: tx, member: who, now: s.clock(), quota: s.quota}, nil
}

// notFoundAs describes a missing row in the caller's words and returns any other error as it is.
func notFoundAs(err error, detail string) error {
	err = db.Translate(err)
	if AsError(err).Code == NotFound {
		return fail(NotFound, "%s", detail)
	}
	return err
}
