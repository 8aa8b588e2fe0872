package synctest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// A counter under the squad's lock is what makes the feed whole. These tests keep the proof: the
// same reader, over the same tables and the same service, loses nothing when the revisions come
// from the counter, and is seen to lose rows when they come from a sequence.

// writer stores a row in the project's own tables. It takes its revision, and commits after a
// pause.
type writer func(ctx context.Context, tx pgx.Tx, squad, id string, pause func()) (rev int64, err error)

const insertPattern = `INSERT INTO patterns (squad_id, id, rev, hash, name, length_ft, loads) VALUES ($1, $2, $3, '\x00', 'Adversary', 40, '[]')`

// reach has the squad reach a revision with the head it has, by which a reader goes on.
const reach = `WITH moved AS (
		UPDATE squads_clock SET rev = greatest(rev, $2) WHERE squad_id = $1 RETURNING squad_id, rev, head
	) INSERT INTO heads (squad_id, rev, made_at, head) SELECT squad_id, rev, now(), head FROM moved ON CONFLICT DO NOTHING`

// byCounter is how the service writes: the counter's row stays locked to the commit.
func byCounter(ctx context.Context, tx pgx.Tx, squad, id string, pause func()) (rev int64, err error) {
	if err := tx.QueryRow(ctx, "SELECT rev + 1 FROM squads_clock WHERE squad_id = $1 FOR UPDATE", squad).
		Scan(&rev); err != nil {
		return 0, err
	}
	if _, err := tx.Exec(ctx, insertPattern, squad, id, rev); err != nil {
		return 0, err
	}
	pause()
	_, err = tx.Exec(ctx, reach, squad, rev)
	return rev, err
}

// bySequence takes the revision from a sequence, which waits for nobody.
func bySequence(ctx context.Context, tx pgx.Tx, squad, id string, pause func()) (rev int64, err error) {
	if err := tx.QueryRow(ctx, "SELECT nextval('adversary')").Scan(&rev); err != nil {
		return 0, err
	}
	if _, err := tx.Exec(ctx, insertPattern, squad, id, rev); err != nil {
		return 0, err
	}
	pause()
	return rev, nil
}

const (
	gapWriters = 6
	gapRows    = 60 // each
	gapRounds  = 5
)

func TestCounterLosesNothing(t *testing.T) {
	t.Parallel()
	s := newServer(t, 4)
	for round := range gapRounds {
		written, lost := race(t, s, byCounter)
		if written != gapWriters*gapRows || lost > 0 {
			t.Fatalf("round %d: the reader lost %d of %d rows", round, lost, written)
		}
	}
}

// TestSequenceLosesRows holds that the reader of the test above would notice: with a sequence it
// must lose rows.
func TestSequenceLosesRows(t *testing.T) {
	t.Parallel()
	s := newServer(t, 4)
	for round := range gapRounds {
		if written, lost := race(t, s, bySequence); lost > 0 {
			t.Logf("round %d: the reader lost %d of %d rows, as it must", round, lost, written)
			return
		}
	}
	t.Fatalf("no row was lost in %d rounds: the check cannot fail, so it proves nothing", gapRounds)
}

// race lets writers store rows at once while a reader follows the feed the whole time, and counts
// the rows that the reader never got.
func race(t *testing.T, s *server, write writer) (written, lost int) {
	t.Helper()
	coach := signUp(t, directClient(s.handler), "Coach")
	squad, err := coach.newSquad(t.Context(), "Invented squad")
	if err != nil {
		t.Fatal(err)
	}
	after, rev := coach.end(t, squad)
	owner, err := pgxpool.New(t.Context(), s.db.OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close()
	if _, err := owner.Exec(
		t.Context(),
		fmt.Sprintf("DROP SEQUENCE IF EXISTS adversary; CREATE SEQUENCE adversary START %d", rev+1),
	); err != nil {
		t.Fatal(err)
	}
	done, given := make(chan struct{}), newSeen()
	read := make(chan error, 1)
	go func() { read <- coach.poll(t.Context(), squad, after, 100, done, given) }()
	var mu sync.Mutex
	var acknowledged []string
	var writers sync.WaitGroup
	for range gapWriters {
		writers.Go(func() {
			for range gapRows {
				id := newID()
				if err := store(t.Context(), owner, squad, id, write); err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				acknowledged = append(acknowledged, id)
				mu.Unlock()
			}
		})
	}
	writers.Wait()
	close(done)
	if err := <-read; err != nil {
		t.Fatal(err)
	}
	return len(acknowledged), len(given.missing(acknowledged))
}

// store writes one row; one in seven commits late. Then the squad has reached the revision, which
// the counter's writer has said already.
func store(ctx context.Context, owner *pgxpool.Pool, squad, id string, write writer) error {
	var rev int64
	err := pgx.BeginFunc(ctx, owner, func(tx pgx.Tx) (err error) {
		if _, err := tx.Exec(ctx, "SELECT set_config('laneward.squad', $1, true)", squad); err != nil {
			return err
		}
		rev, err = write(ctx, tx, squad, id, func() {
			if rand.IntN(7) == 0 {
				time.Sleep(time.Millisecond + rand.N(2*time.Millisecond))
			}
		})
		return err
	})
	if err != nil {
		return err
	}
	return pgx.BeginFunc(ctx, owner, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "SELECT set_config('laneward.squad', $1, true)", squad); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, reach, squad, rev)
		return err
	})
}
