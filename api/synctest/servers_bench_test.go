//go:build unix

package synctest

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"laneward/db"
	"laneward/db/pgprivate"
)

// streamsVariable is how many live streams [BenchmarkTwoServers] holds open.
const streamsVariable = "LANEWARD_STREAMS"

// What the streams of the benchmark are spread over: a person may have so many, and each squad of
// theirs has a few.
const (
	streamsAPerson = 60
	squadsAPerson  = 6
)

// BenchmarkTwoServers has two servers, each a process of its own, on one durable database. Live
// streams are open at the second and idle; a write through the first is to be on those of its squad
// soon. It tells how long after the write was sent off, and after it was answered, its event was in a
// reader's hands, and what the second server takes of a processor while nothing happens. Readers,
// servers and database share the machine.
func BenchmarkTwoServers(b *testing.B) {
	streams := 1_000
	if text := os.Getenv(streamsVariable); text != "" {
		var err error
		if streams, err = strconv.Atoi(text); err != nil {
			b.Fatal(err)
		}
	}
	pair := newPair(b)
	people := (streams + streamsAPerson - 1) / streamsAPerson
	var squads []followedSquad
	for i := range people {
		coach := signUp(b, pair.from(i), "Coach")
		for range squadsAPerson {
			squads = append(squads, followedSquad{coach: coach, base: coach.newBase(b)})
		}
	}
	hears := pair.follow(b, squads, streams)
	idle := pair.idleCPU(b, 10*time.Second)
	var sent, answered []time.Duration
	order := 0
	for b.Loop() {
		for range 200 {
			order++
			one := &squads[order*37%len(squads)]
			began := time.Now()
			pushed := one.coach.mustPush(b, one.base.squad, one.base.shots(1, order), "stored")
			done := time.Now()
			for _, at := range hears(one.base.squad, pushed.Rev, one.streams) {
				sent, answered = append(sent, at.Sub(began)), append(answered, max(0, at.Sub(done)))
			}
			time.Sleep(50 * time.Millisecond)
		}
	}
	for name, list := range map[string][]time.Duration{"sent": sent, "answered": answered} {
		slices.Sort(list)
		for _, share := range []float64{0.5, 0.95, 0.99, 1} {
			at := list[int(share*float64(len(list)-1))]
			b.ReportMetric(float64(at.Microseconds())/1000, fmt.Sprintf("ms-%s-p%g", name, 100*share))
		}
	}
	b.ReportMetric(float64(streams), "streams")
	b.ReportMetric(float64(len(sent)), "events")
	b.ReportMetric(100*idle, "%cpu-idle")
}

// pair is two servers on one database.
type pair struct {
	writes, reads string // their addresses
	reader        *exec.Cmd
}

// followedSquad is a squad, its coach at the first server, and how many streams it has at the second.
type followedSquad struct {
	coach   *person
	base    base
	streams int
}

func newPair(b *testing.B) *pair {
	b.Helper()
	dir, err := os.MkdirTemp("", "laneward-pair-")
	if err != nil {
		b.Fatal(err)
	}
	if err := os.Chmod(dir, 0o711); err != nil { // for Postgres's account
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			b.Error(err)
		}
	})
	postgres, err := pgprivate.Start(b.Context(), pgprivate.Config{DataDir: filepath.Join(dir, "postgres")})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := postgres.Stop(context.Background()); err != nil {
			b.Error(err)
		}
	})
	if err := db.Migrate(b.Context(), postgres.URL("postgres")); err != nil {
		b.Fatal(err)
	}
	env := []string{
		"LANEWARD_DATABASE_URL=" + postgres.URLAs(db.ServiceRole, "postgres"), "LANEWARD_DATABASE_WAIT=1m",
		"LANEWARD_TRUSTED_PROXY=127.0.0.0/8",
	}
	var p pair
	for name, address := range map[string]*string{"writes": &p.writes, "reads": &p.reads} {
		log := &logBuffer{}
		cmd, at := startProgram(b, log, env, "--state-dir", filepath.Join(dir, name))
		*address = "http://" + at
		if name == "reads" {
			p.reader = cmd
		}
		b.Cleanup(func() {
			if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
				b.Error(err)
			}
			if err := cmd.Wait(); err != nil {
				b.Errorf("a server ended with %v:\n%s", err, strings.Join(log.lines(`"level":"ERROR"`), ""))
			}
		})
	}
	return &p
}

// forwarded is a client of a proxy, so that not all come from one network.
type forwarded string

// RoundTrip sends the request on with the address.
func (f forwarded) RoundTrip(request *http.Request) (*http.Response, error) {
	request.Header.Set("X-Forwarded-For", string(f))
	return http.DefaultTransport.RoundTrip(request)
}

// from is a client of the first server on the n-th network.
func (p *pair) from(n int) *client {
	return &client{
		http: &http.Client{Transport: forwarded(fmt.Sprintf("198.18.%d.%d", n/250, 1+n%250))},
		base: p.writes,
	}
}

// follow opens the streams at the second server, evenly over the squads, and returns once each says
// where it stands. What it returns waits until all streams of a squad have a revision, and says when
// each had it.
func (p *pair) follow(b *testing.B, squads []followedSquad, streams int) func(squad string, rev int64, n int) []time.Time {
	b.Helper()
	type arrived struct {
		squad string
		rev   int64
		at    time.Time
	}
	arrivals := make(chan arrived, 4_096)
	transport := &http.Transport{MaxIdleConns: -1, DisableCompression: true}
	b.Cleanup(transport.CloseIdleConnections)
	var opened, open sync.WaitGroup
	ctx, stop := context.WithCancel(context.WithoutCancel(b.Context()))
	b.Cleanup(func() { stop(); open.Wait() })
	places := make(chan struct{}, 32) // of those that are being opened
	for i := range streams {
		one := &squads[i%len(squads)]
		one.streams++
		reader := one.coach.via(&client{http: &http.Client{Transport: transport}, base: p.reads})
		squad := one.base.squad
		opened.Add(1)
		open.Go(func() {
			up := sync.OnceFunc(opened.Done)
			defer up()
			places <- struct{}{}
			events, body, err := reader.live(ctx, squad, "")
			if err != nil {
				<-places
				b.Error(err)
				return
			}
			defer body.Close()
			reached := false
			for {
				e, err := events.next()
				now := time.Now()
				switch {
				case err != nil:
					if ctx.Err() == nil {
						b.Error("a stream ended: ", err)
					}
					if !reached {
						<-places
					}
					return
				case e.name == "at" && !reached:
					reached = true
					<-places
					up()
				case e.name == "item" && reached:
					it, err := e.item()
					if err != nil {
						b.Error(err)
						return
					}
					arrivals <- arrived{squad, it.Rev, now}
				}
			}
		})
	}
	opened.Wait()
	if b.Failed() {
		b.FailNow()
	}
	return func(squad string, rev int64, n int) (at []time.Time) {
		limit := time.After(time.Minute)
		for len(at) < n {
			select {
			case a := <-arrivals:
				if a.squad == squad && a.rev == rev {
					at = append(at, a.at)
				}
			case <-limit:
				b.Fatalf("%d of %d streams have revision %d", len(at), n, rev)
			}
		}
		return at
	}
}

// idleCPU is the share of one processor that the second server takes over a while.
func (p *pair) idleCPU(b *testing.B, while time.Duration) float64 {
	b.Helper()
	used := func() time.Duration {
		text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.reader.Process.Pid))
		if err != nil {
			b.Skip("this system does not tell what a process takes: ", err)
		}
		fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')'):]))
		var ticks int
		for _, field := range fields[12:14] { // utime and stime (proc(5)), in hundredths
			n, err := strconv.Atoi(field)
			if err != nil {
				b.Fatal(err)
			}
			ticks += n
		}
		return time.Duration(ticks) * 10 * time.Millisecond
	}
	before := used()
	time.Sleep(while)
	return float64(used()-before) / float64(while)
}
