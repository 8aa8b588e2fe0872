package synctest

import (
	"flag"
	"fmt"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// longVariable asks for the long runs, whose results are reported with a release.
const longVariable = "LANEWARD_LONG"

func long() bool { return os.Getenv(longVariable) != "" }

const stepsPerHistory = 50

// TestConvergence lets devices work over a bad network, in random histories; at the end each must
// hold exactly what the model says its person sees, and every answer on the way must have been the
// one the rules give.
func TestConvergence(t *testing.T) {
	histories := 500
	if long() {
		histories = 20_000
	}
	if testing.Short() {
		histories = 50
	}
	const shards = 2
	setChecks(t, histories/shards)
	s := newServer(t, 2*shards)
	begun := time.Now()
	var done, refusals atomic.Int64
	t.Run("histories", func(t *testing.T) {
		for shard := range shards {
			t.Run(fmt.Sprint(shard), func(t *testing.T) {
				t.Parallel()
				by := directClient(s.handler)
				c := cast{
					coach:  signUp(t, by, "Coach"),
					others: []*person{signUp(t, by, "First"), signUp(t, by, "Second")},
					db:     s.db,
				}
				rapid.Check(t, func(rt *rapid.T) {
					w := newWorld(t.Context(), rt, c)
					for range stepsPerHistory {
						w.step()
					}
					w.settle()
					done.Add(1)
					refusals.Add(int64(w.refusals))
				})
			})
		}
	})
	if failures := s.log.lines(`"level":"ERROR"`); len(failures) > 0 {
		t.Errorf("the server failed: %s", failures[0])
	}
	t.Logf(
		"%d histories of %d steps converged in %s; %d items were refused or waited",
		done.Load(),
		stepsPerHistory,
		time.Since(begun).Round(time.Second),
		refusals.Load(),
	)
}

// setChecks sets how many histories rapid tries; -rapid.checks on the command line wins.
func setChecks(t *testing.T, n int) {
	t.Helper()
	given := false
	flag.Visit(func(f *flag.Flag) { given = given || f.Name == "rapid.checks" })
	if given {
		return
	}
	if testing.Short() {
		n *= 5 // of which rapid takes a fifth
	}
	if err := flag.Set("rapid.checks", fmt.Sprint(n)); err != nil {
		t.Fatal(err)
	}
}
