package service

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"laneward/db"
	"laneward/db/dbtest"
	"laneward/service/lane"
	"laneward/service/record"
)

// fixture is a service over a database of its own, with a clock that only the test moves.
type fixture struct {
	*Service
	database *dbtest.DB
	clock    *standingClock
}

func newFixture(t testing.TB, conns int32) *fixture {
	t.Helper()
	database := dbtest.New(t)
	opened, err := db.Open(t.Context(), database.ServiceURL, db.Options{MaxConns: conns, Wait: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(opened.Close)
	keys, err := NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	at := &standingClock{at: time.Date(2026, 3, 14, 18, 0, 0, 0, time.UTC)}
	svc := New(Config{DB: opened, Keys: keys, Now: at.now, Patience: time.Hour})
	t.Cleanup(svc.Close)
	return &fixture{svc, database, at}
}

type standingClock struct {
	mu sync.Mutex
	at time.Time
}

func (c *standingClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *standingClock) move(by time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(by)
}

// person makes a user who has no password, where signing in is not what is tested.
func (f *fixture) person(t testing.TB) uuid.UUID {
	t.Helper()
	id := newID()
	err := f.db.Global(t.Context(), func(tx *db.Tx) error {
		return tx.AddUser(
			t.Context(),
			db.AddUserParams{
				ID:           id,
				Email:        id.String() + "@invented.example",
				Name:         "Person",
				PasswordHash: "none",
				CreatedAt:    f.Service.clock(),
			},
		)
	})
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// squad makes a squad with a new person as its coach.
func (f *fixture) squad(t testing.TB) (squad, coach uuid.UUID) {
	t.Helper()
	coach = f.person(t)
	made, created, err := f.CreateSquad(t.Context(), coach, &record.Squad{Name: "Quillfen"})
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return made.ID, coach
}

// store stores new records as the coach and fails unless each is.
func (f *fixture) store(t testing.TB, squad, coach uuid.UUID, records ...record.Record) {
	t.Helper()
	changes := make([]Change, len(records))
	for i, record := range records {
		changes[i] = Change{Record: record}
	}
	for _, outcome := range f.apply(t, squad, coach, changes...) {
		if outcome.Status != StatusStored {
			t.Fatal(outcome)
		}
	}
}

// apply applies changes, and stamps the records with the revisions they were stored at.
func (f *fixture) apply(t testing.TB, squad, user uuid.UUID, changes ...Change) (outcomes []Outcome) {
	t.Helper()
	err := f.inSquad(t.Context(), user, squad, func(w *work) (err error) {
		outcomes, _, err = w.apply(t.Context(), changes)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range outcomes {
		if o.Status == StatusStored && o.Record != nil { // the test goes on from what is stored
			changes[i].Record.Stamp(o.Record.Key(), o.Rev)
		}
	}
	return outcomes
}

// version is the one that a reader would know a revision of the squad by now.
func (f *fixture) version(t testing.TB, squad uuid.UUID, rev int64) Version {
	t.Helper()
	var now clock
	err := f.db.ReadSquad(t.Context(), squad, func(tx *db.Tx) (err error) {
		now, err = (&work{Tx: tx, member: member{squad: squad}}).clock(t.Context())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return Version{rev, f.writeHead(squad, now.head)}
}

// owner connects as the database's owner, who sees every row.
func (f *fixture) owner(t testing.TB) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), f.database.OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return conn
}

func wantCode(t testing.TB, err error, code Code) *Error {
	t.Helper()
	known := AsError(err)
	if err == nil || known.Code != code {
		t.Fatalf("error %v, want code %s", err, code)
	}
	return known
}

func newAthlete(name string) *record.Athlete {
	return &record.Athlete{Head: record.Head{ID: newID()}, Name: name, Side: lane.Right}
}

func newSession(athlete uuid.UUID) *record.Session {
	return &record.Session{
		Head:      record.Head{ID: newID()},
		Form:      "practice",
		Name:      "Practice",
		Date:      record.Day{Time: time.Date(2026, 3, 14, 0, 0, 0, 0, time.UTC)},
		AthleteID: &athlete,
	}
}

func newPattern(name string) *record.Pattern {
	return &record.Pattern{Head: record.Head{ID: newID()}, Name: name, LengthFt: 41}
}

func newBall(athlete uuid.UUID) *record.Ball {
	return &record.Ball{Head: record.Head{ID: newID()}, AthleteID: athlete, Name: "Blue solid", WeightLB: 15}
}
