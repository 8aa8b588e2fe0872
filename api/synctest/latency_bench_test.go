//go:build unix

package synctest

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// BenchmarkLiveLatency has 200 commits a second and 1,000 live tails, spread over 100 squads or 10,
// or all in one, and tells how long after its commit an event is in its reader's hands. The moment
// of a commit is what Postgres notes of it (track_commit_timestamp), just before it writes it
// through to the disk, so the time includes that; readers and server share the processors.
func BenchmarkLiveLatency(b *testing.B) {
	const tails = 1_000
	for _, squads := range []int{100, 10, 1} {
		b.Run(fmt.Sprintf("%d tails in %d squads", tails, squads), func(b *testing.B) {
			n := newBench(b, map[string]string{"track_commit_timestamp": "on"})
			bases := make([]base, squads)
			for i := range bases {
				bases[i] = n.coach.newBase(b)
			}
			var latencies []time.Duration
			for b.Loop() {
				latencies = append(latencies, n.latencies(bases, tails/squads, 200, 1_000)...)
			}
			slices.Sort(latencies)
			at := func(share float64) float64 {
				return float64(latencies[int(share*float64(len(latencies)-1))].Microseconds()) / 1000
			}
			b.ReportMetric(at(0.5), "ms-p50")
			b.ReportMetric(at(0.99), "ms-p99")
			b.ReportMetric(at(1), "ms-max")
			b.ReportMetric(float64(len(latencies)), "events")
		})
	}
}

// arrival is an event in a reader's hands.
type arrival struct {
	id string
	at time.Time
}

// latencies follows every squad with so many tails while commits come at a steady rate, and returns
// the time from commit to reader of all.
func (n *bench) latencies(bases []base, tailsEach, rate, commits int) (all []time.Duration) {
	n.b.Helper()
	ctx, stop := context.WithCancel(n.b.Context())
	defer stop()
	var readers, ready sync.WaitGroup
	var received atomic.Int64
	var mu sync.Mutex
	var arrivals []arrival
	for _, b := range bases {
		cursor, _ := n.coach.end(n.b, b.squad)
		for range tailsEach {
			ready.Add(1)
			readers.Go(func() {
				own, err := n.readArrivals(ctx, b.squad, cursor, ready.Done, &received)
				if err != nil {
					n.b.Error(err)
				}
				mu.Lock()
				arrivals = append(arrivals, own...)
				mu.Unlock()
			})
		}
	}
	ready.Wait()
	pace := time.NewTicker(time.Second / time.Duration(rate))
	var pushes sync.WaitGroup
	for i := range commits {
		<-pace.C
		b := bases[i%len(bases)]
		pushes.Go(func() { n.coach.mustPush(n.b, b.squad, b.shots(1, 1+i), "stored") })
	}
	pace.Stop()
	pushes.Wait()
	want := int64(commits * tailsEach)
	for deadline := time.Now().Add(time.Minute); received.Load() < want && time.Now().Before(deadline); {
		time.Sleep(10 * time.Millisecond)
	}
	stop()
	readers.Wait()
	if received.Load() != want {
		n.b.Errorf("%d events came, want %d", received.Load(), want)
	}
	committed := n.commits()
	for _, a := range arrivals {
		all = append(all, a.at.Sub(committed[a.id]))
	}
	return all
}

// readArrivals reads a tail until ctx ends, coming back where the server has dropped it.
func (n *bench) readArrivals(
	ctx context.Context,
	squad, after string,
	ready func(),
	received *atomic.Int64,
) (own []arrival, err error) {
	told := sync.OnceFunc(ready)
	for ctx.Err() == nil {
		events, body, err := n.coach.live(ctx, squad, after)
		if err != nil {
			if ctx.Err() != nil {
				return own, nil
			}
			return own, err
		}
		events.lastID = after
		for {
			e, err := events.next()
			now := time.Now()
			if err != nil {
				break
			}
			if e.name == "at" {
				told()
				continue
			}
			_, rest, _ := bytes.Cut([]byte(e.data), []byte(`"id":"`))
			own = append(own, arrival{string(rest[:36]), now})
			received.Add(1)
		}
		after = events.lastID
		_ = body.Close()
	}
	return own, nil
}

// commits are the moments of all shots' commits.
func (n *bench) commits() map[string]time.Time {
	n.b.Helper()
	conn, err := pgx.Connect(n.b.Context(), n.owner)
	if err != nil {
		n.b.Fatal(err)
	}
	defer conn.Close(context.Background())
	rows, err := conn.Query(n.b.Context(), "SELECT id::text, pg_xact_commit_timestamp(xmin) FROM shots")
	if err != nil {
		n.b.Fatal(err)
	}
	at := make(map[string]time.Time)
	var id string
	var moment time.Time
	if _, err := pgx.ForEachRow(rows, []any{&id, &moment}, func() error { at[id] = moment; return nil }); err != nil {
		n.b.Fatal(err)
	}
	return at
}

// BenchmarkIdlePull asks for news where there is none, as a device does that has no live tail.
func BenchmarkIdlePull(b *testing.B) {
	n := newBench(b, nil)
	squad := n.coach.newBase(b)
	cursor, _ := n.coach.end(b, squad.squad)
	for b.Loop() {
		response, err := n.coach.send(b.Context(), http.MethodGet, "/v1/squads/"+squad.squad+"/feed?after="+cursor, nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := io.Copy(io.Discard, response.Body); err != nil {
			b.Fatal(err)
		}
		_ = response.Body.Close()
	}
}

// BenchmarkSmallPush pushes one shot at a time, as a phone does that is online.
func BenchmarkSmallPush(b *testing.B) {
	n := newBench(b, nil)
	squad := n.coach.newBase(b)
	order := 0
	for b.Loop() {
		order++
		n.coach.mustPush(b, squad.squad, squad.shots(1, 1+order%90_000), "stored")
	}
}
