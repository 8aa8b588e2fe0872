//go:build unix

package synctest

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/db/pgprivate"
)

// The benchmarks run the server in this process over a durable Postgres of their own, and beside it
// psql on the same rows of the same tables. Client, server and database share the machine's
// processors.

// bench is a server with a durable database.
type bench struct {
	b     *testing.B
	owner string // the database's address for psql
	coach *person
}

func newBench(b *testing.B, settings map[string]string) *bench {
	b.Helper()
	dir, err := os.MkdirTemp("", "laneward-synctest-bench-")
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
	ctx, cancel := context.WithTimeout(b.Context(), startLimit)
	defer cancel()
	server, err := pgprivate.Start(ctx, pgprivate.Config{DataDir: filepath.Join(dir, "postgres"), Settings: settings})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := server.Stop(context.Background()); err != nil {
			b.Error(err)
		}
	})
	if err := db.Migrate(ctx, server.URL("postgres")); err != nil {
		b.Fatal(err)
	}
	opened, err := db.Open(ctx, server.URLAs(db.ServiceRole, "postgres"), db.Options{MaxConns: 16, Wait: time.Minute})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(opened.Close)
	if err := opened.Durable(ctx); err != nil {
		b.Fatal(err)
	}
	listener := httptest.NewServer(newHandler(b, opened, slog.New(slog.DiscardHandler)))
	b.Cleanup(func() {
		listener.CloseClientConnections()
		listener.Close()
	})
	return &bench{b, server.URL("postgres"), signUp(b, wireClient(listener.URL), "Coach")}
}

// psql runs a command, with what it reads and writes, and returns how long it took, the program's
// start left out.
func (n *bench) psql(in io.Reader, out io.Writer, command string) time.Duration {
	n.b.Helper()
	run := func(in io.Reader, out io.Writer, command string) time.Duration {
		cmd := exec.CommandContext(n.b.Context(), "psql", "-X", "-q", "-v", "ON_ERROR_STOP=1", "-c", command, n.owner)
		var stderr bytes.Buffer
		cmd.Stdin, cmd.Stdout, cmd.Stderr = in, out, &stderr
		begun := time.Now()
		if err := cmd.Run(); err != nil {
			n.b.Fatalf("psql: %v: %s", err, stderr.Bytes())
		}
		return time.Since(begun)
	}
	return run(in, out, command) - run(nil, io.Discard, "SELECT 1")
}

// measured are n shots as a sensor logs them: 11 measures to a tenth, a ball, a drill, the leave. Each
// has an id of the moment it was thrown at. Their spread is invented.
func (b base) measured(n int, ball string) []item {
	random := rand.New(rand.NewPCG(1, 2))
	tenth := func(mean, spread float64) float64 { return math.Round(10*(mean+spread*random.NormFloat64())) / 10 }
	items := make([]item, n)
	for i := range items {
		thrown := time.Date(2026, 3, 14, 17, 0, 0, 0, time.UTC).
			Add(time.Duration(i)*40*time.Second + time.Duration(random.Int64N(int64(9*time.Second))))
		record := fields{
			"id":         idOf(thrown),
			"session_id": b.session,
			"athlete_id": b.athlete,
			"ball_id":    ball,
			"drill_id":   b.drill,
			"order":      i + 1,
			"time":       thrown.Truncate(time.Second),
			"laydown_board": tenth(
				22,
				0.8,
			),
			"arrows_board":     tenth(14, 0.8),
			"breakpoint_board": tenth(9, 1),
			"breakpoint_ft":    tenth(41, 1),
			"entry_board": tenth(
				17.4,
				0.8,
			),
			"entry_angle_deg":  tenth(5, 0.4),
			"launch_angle_deg": tenth(2, 0.3),
			"speed_mph":        tenth(16.8, 0.3),
			"rev_rate_rpm":     math.Round(380 + 12*random.NormFloat64()),
			"rotation_deg":     tenth(45, 2),
			"tilt_deg":         tenth(12, 1),
			"source":           "sensor",
		}
		if random.IntN(2) == 0 {
			record["standing"] = []int{}
		} else {
			record["standing"] = []int{1 + random.IntN(10)}
		}
		items[i] = item{Kind: "shot", Record: record}
	}
	return items
}

// idOf is a UUIDv7 of a moment (RFC 9562, section 5.7).
func idOf(moment time.Time) string {
	id := uuid.Must(uuid.NewV7())
	ms := binary.BigEndian.AppendUint64(nil, uint64(moment.UnixMilli()))
	copy(id[:6], ms[2:])
	return id.String()
}

// typed are n shots as an athlete types them: three boards and the leave.
func (b base) typed(n int, ball string) []item {
	items := b.measured(n, ball)
	for _, it := range items {
		for name, value := range it.Record {
			if number, ok := value.(float64); ok {
				it.Record[name] = math.Round(number)
			}
		}
		for _, name := range []string{"breakpoint_ft", "entry_board", "entry_angle_deg", "launch_angle_deg", "speed_mph", "rev_rate_rpm", "rotation_deg", "tilt_deg"} {
			delete(it.Record, name)
		}
		it.Record["source"] = "eye"
	}
	return items
}

func (n *bench) newBall(b base) string {
	n.b.Helper()
	id := newID()
	n.coach.mustPush(
		n.b,
		b.squad,
		[]item{{Kind: "ball", Record: fields{"id": id, "athlete_id": b.athlete, "name": "Ball", "weight_lb": 15}}},
		"stored",
	)
	return id
}

// form is a way to write a push.
type form struct {
	media string
	write func(testing.TB, []item) []byte
}

var (
	asLines  = form{"application/x-ndjson", lines}
	asTables = form{tablesMedia, func(t testing.TB, items []item) []byte {
		var all []any
		for part := range slices.Chunk(items, 1_000) {
			all = append(all, tableOf(t, part, "session_id", "athlete_id", "ball_id", "drill_id", "source"))
		}
		return tables(t, all...)
	}}
)

// push pushes and fails unless everything is stored. It returns how long it took.
func (n *bench) push(squad, media string, body []byte, want int, header ...string) time.Duration {
	n.b.Helper()
	begun := time.Now()
	response, err := n.coach.send(n.b.Context(), http.MethodPost, "/v1/squads/"+squad+"/push", bytes.NewReader(body),
		append(header, "Content-Type", media, "Accept-Encoding", "identity")...)
	if err != nil {
		n.b.Fatal(err)
	}
	defer response.Body.Close()
	answer, err := io.ReadAll(response.Body)
	took := time.Since(begun)
	if stored := bytes.Count(answer, []byte(`"outcome":"stored"`)); err != nil || stored != want {
		n.b.Fatalf("%d stored, %v", stored, err)
	}
	return took
}

// pushParts pushes in parts that are within the largest body.
func (n *bench) pushParts(squad string, items []item, as form) (took time.Duration) {
	for part := range slices.Chunk(items, 25_000) {
		took += n.push(squad, as.media, as.write(n.b, part), len(part))
	}
	return took
}

func perSecond(n int, took time.Duration) float64 { return float64(n) / took.Seconds() }

// BenchmarkPush pushes new shots as NDJSON and as tables, and beside it copies the very same rows into
// the same table by psql.
func BenchmarkPush(b *testing.B) {
	for name, as := range map[string]form{"rows": asLines, "tables": asTables} {
		b.Run(name, func(b *testing.B) { benchmarkPush(b, as) })
	}
}

func benchmarkPush(b *testing.B, as form) {
	for _, size := range []int{10_000, 100_000} {
		b.Run(fmt.Sprint(size), func(b *testing.B) {
			n := newBench(b, nil)
			var pushing, copying time.Duration
			rounds := 0
			for b.Loop() {
				rounds++
				squad := n.coach.newBase(b)
				pushing += n.pushParts(squad.squad, squad.measured(size, n.newBall(squad)), as)
				copying += n.copyIn(squad.squad)
			}
			b.ReportMetric(perSecond(rounds*size, pushing), "pushed/s")
			b.ReportMetric(perSecond(rounds*size, copying), "copied/s")
			b.ReportMetric(pushing.Seconds()/copying.Seconds(), "times-COPY")
		})
	}
}

// copyIn takes a squad's shots out of their table and copies them in again.
func (n *bench) copyIn(squad string) time.Duration {
	n.b.Helper()
	var rows bytes.Buffer
	n.psql(nil, &rows, "COPY (SELECT * FROM shots WHERE squad_id = '"+squad+"' ORDER BY rev) TO STDOUT")
	n.psql(nil, io.Discard, "DELETE FROM shots WHERE squad_id = '"+squad+"'")
	return n.psql(&rows, io.Discard, "COPY shots FROM STDIN")
}

// BenchmarkPull streams 100,000 shots as a feed and as a snapshot, plain and packed, and beside it
// copies the same rows out by psql. It also tells what a shot takes on the wire.
func BenchmarkPull(b *testing.B) {
	const size = 100_000
	n := newBench(b, nil)
	squad := n.coach.newBase(b)
	n.pushParts(squad.squad, squad.measured(size, n.newBall(squad)), asLines)
	n.psql(nil, io.Discard, "VACUUM ANALYZE")
	for _, path := range []string{"feed", "feed?limit=1000", "snapshot", "snapshot?limit=1000"} {
		for _, encoding := range []string{"identity", "gzip"} {
			b.Run(path+" "+encoding, func(b *testing.B) {
				var pulling, copying time.Duration
				var received int64
				rounds := 0
				for b.Loop() {
					rounds++
					took, bytes := n.pull(squad.squad, path, encoding)
					pulling += took
					received += bytes
					copying += n.psql(
						nil,
						io.Discard,
						"COPY (SELECT * FROM shots WHERE squad_id = '"+squad.squad+"') TO STDOUT",
					)
				}
				b.ReportMetric(perSecond(rounds*size, pulling), "pulled/s")
				b.ReportMetric(perSecond(rounds*size, copying), "copied/s")
				b.ReportMetric(pulling.Seconds()/copying.Seconds(), "times-COPY")
				b.ReportMetric(float64(received)/float64(rounds*size), "B/shot")
			})
		}
	}
}

func (n *bench) pull(squad, path, encoding string) (time.Duration, int64) {
	n.b.Helper()
	return n.pullAs("application/x-ndjson", squad, path, encoding)
}

func (n *bench) pullAs(accept, squad, path, encoding string) (time.Duration, int64) {
	n.b.Helper()
	begun := time.Now()
	response, err := n.coach.send(
		n.b.Context(),
		http.MethodGet,
		"/v1/squads/"+squad+"/"+path,
		nil,
		"Accept",
		accept,
		"Accept-Encoding",
		encoding,
	)
	if err != nil {
		n.b.Fatal(err)
	}
	defer response.Body.Close()
	received, err := io.Copy(io.Discard, response.Body)
	if err != nil {
		n.b.Fatal(err)
	}
	return time.Since(begun), received
}

// watchHeap samples the heap until the function it returns is called, and keeps the most it was
// above where it began.
func watchHeap(peak *uint64) (stop func()) {
	heap := func() uint64 {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapInuse
	}
	runtime.GC()
	before := heap()
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		for {
			if now := heap(); now > before {
				*peak = max(*peak, now-before)
			}
			select {
			case <-done:
				return
			case <-time.After(10 * time.Millisecond):
			}
		}
	}()
	return func() { close(done); <-ended }
}

// BenchmarkFirstSyncMemory streams snapshots of more and more shots: from some pages on, the heap
// must not grow with them.
func BenchmarkFirstSyncMemory(b *testing.B) {
	n := newBench(b, nil)
	for _, size := range []int{1_000, 10_000, 50_000, 100_000} {
		squad := n.coach.newBase(b)
		n.pushParts(squad.squad, squad.measured(size, n.newBall(squad)), asLines)
		b.Run(fmt.Sprint(size), func(b *testing.B) {
			peak := uint64(0)
			for b.Loop() {
				stop := watchHeap(&peak)
				n.pull(squad.squad, "snapshot", "gzip")
				stop()
			}
			b.ReportMetric(float64(peak)/(1<<20), "MB-heap")
		})
	}
}

// BenchmarkWireSize tells what a shot takes on the wire, packed, in either direction, measured by a
// sensor or typed by hand.
func BenchmarkWireSize(b *testing.B) {
	const size = 10_000
	for name, shots := range map[string]func(base, int, string) []item{"sensor": base.measured, "eye": base.typed} {
		b.Run(name, func(b *testing.B) {
			n := newBench(b, nil)
			var up, upTables, rows, tables, rounds float64
			for b.Loop() {
				rounds++
				squad := n.coach.newBase(b)
				logged := shots(squad, size, n.newBall(squad))
				for part := range slices.Chunk(logged, 1_000) { // as a device sends them
					up += float64(len(gzipped(b, lines(b, part)))) / size
					packed := gzipped(b, asTables.write(b, part))
					n.push(squad.squad, tablesMedia, packed, len(part), "Content-Encoding", "gzip")
					upTables += float64(len(packed)) / size
				}
				_, inRows := n.pull(squad.squad, "feed", "gzip")
				_, inTables := n.pullAs("application/x-ndjson;shots=table", squad.squad, "feed", "gzip")
				rows += float64(inRows) / size
				tables += float64(inTables) / size
			}
			b.ReportMetric(up/rounds, "B-up-rows/shot")
			b.ReportMetric(upTables/rounds, "B-up-tables/shot")
			b.ReportMetric(rows/rounds, "B-down-rows/shot")
			b.ReportMetric(tables/rounds, "B-down-tables/shot")
		})
	}
}
