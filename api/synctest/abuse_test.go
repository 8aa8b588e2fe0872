//go:build unix

package synctest

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

const (
	abusers   = 16
	trackSize = 200
	// Without LANEWARD_ABUSE_TIME, and with it.
	abuseTime      = 2 * time.Second
	abuseShots     = 200
	longAbuseShots = 2_000
)

// abuseOrder is what the program of the abusive clients is told: who they are, and for how long.
type abuseOrder struct {
	Last    time.Duration
	Server  string
	Abusers []abuserOrder
}

type abuserOrder struct{ Token, Email, Squad, Athlete, Session, Drill string }

// abuseOrderVariable names the file with the order; only [TestAbuse] sets it.
const abuseOrderVariable = "LANEWARD_ABUSE_ORDER"

// TestAbuse has sixteen abusive clients of seven kinds ask at once for as much as they can, for
// LANEWARD_ABUSE_TIME, while one honest client works on. The honest one may be told to come back, and
// nothing worse; how long it waits is printed beside the aim, not held: that depends on the machine.
// The abusive clients are a program of their own that gives way to all others: in life they have
// machines of their own. /healthz, which does nothing, shows how much of a delay is the machine's.
func TestAbuse(t *testing.T) {
	last, shots := abuseTime, abuseShots
	if text := os.Getenv("LANEWARD_ABUSE_TIME"); text != "" {
		var err error
		if last, err = time.ParseDuration(text); err != nil {
			t.Fatal(err)
		}
		shots = longAbuseShots
	}
	p := newProgram(t)
	honest := signUp(t, wireClient("http://"+p.at()), "Honest")
	squad := honest.newBase(t)
	order := abuseOrder{Last: last, Server: "http://" + p.at()}
	for i := range abusers {
		person := signUp(t, wireClient(order.Server), "Abuser")
		one := &abuser{person, person.newBase(t)}
		if kind := abuses[i%len(abuses)].name; kind == "judging" || kind == "unread exports" {
			one.fill(t, shots)
		}
		order.Abusers = append(order.Abusers, abuserOrder{
			one.token, one.email, one.squad, one.athlete, one.session, one.drill,
		})
	}
	quiet := honest.work(t, squad, last/4)
	before := p.processorTime()
	wait := startAbuse(t, order)
	under := honest.work(t, squad, last)
	theirs := wait()
	ours := p.processorTime() - before
	t.Logf("quiet:\n%s", quiet)
	t.Logf("under abuse; the aim for p99 is 1 s:\n%s", under)
	t.Logf("processor time of %s on %d processors: server %s, abusive clients %s", last, runtime.NumCPU(), ours, theirs)
	if err := honest.call(t.Context(), http.MethodGet, "/readyz", nil, nil); err != nil {
		t.Errorf("after the abuse the server is not ready: %v", err)
	}
}

// startAbuse runs the abusive clients. wait returns when they have ended, with the processor time
// that they took.
func startAbuse(t *testing.T, order abuseOrder) (wait func() time.Duration) {
	t.Helper()
	text, err := json.Marshal(order)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "order.json")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	command := exec.Command("nice", "-n", "19", os.Args[0], "-test.run", "^TestAbusers$", "-test.v")
	command.Env = append(os.Environ(), abuseOrderVariable+"="+file)
	var out bytes.Buffer
	command.Stdout, command.Stderr = &out, &out
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	return func() time.Duration {
		if err := command.Wait(); err != nil {
			t.Errorf("the abusive clients: %v", err)
		}
		t.Log(out.String())
		return command.ProcessState.UserTime() + command.ProcessState.SystemTime()
	}
}

// processorTime is how long processors have worked for the server, its database aside; 0 where the
// system does not say.
func (p *program) processorTime() time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.cmd.Process.Pid))
	if err != nil {
		return 0
	}
	_, after, _ := strings.Cut(string(text), ") ")
	values := strings.Fields(after)
	const userTime, systemTime, tick = 11, 12, 10 * time.Millisecond // proc(5), counted from the state; USER_HZ is 100
	if len(values) <= systemTime {
		return 0
	}
	var total time.Duration
	for _, i := range []int{userTime, systemTime} {
		ticks, err := strconv.ParseInt(values[i], 10, 64)
		if err != nil {
			return 0
		}
		total += time.Duration(ticks) * tick
	}
	return total
}

// waits are how long requests took.
type waits struct {
	took   []time.Duration
	failed int // were told to come back
}

func (w *waits) percentile(share float64) time.Duration {
	if len(w.took) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(w.took))
	return sorted[min(len(sorted)-1, int(math.Ceil(share*float64(len(sorted))))-1)]
}

// kindsOfWaits are the waits of each kind of request.
type kindsOfWaits map[string]*waits

func (k kindsOfWaits) add(kind string, took time.Duration, failed bool) {
	for _, name := range []string{kind, "all"} {
		if k[name] == nil {
			k[name] = &waits{}
		}
		k[name].took = append(k[name].took, took)
		if failed {
			k[name].failed++
		}
	}
}

func (k kindsOfWaits) String() string {
	var table strings.Builder
	fmt.Fprintf(&table, "%-10s %8s %8s %8s %8s %8s %12s", "request", "count", "p50", "p95", "p99", "longest", "told to wait")
	for _, name := range slices.Sorted(maps.Keys(k)) {
		w := k[name]
		fmt.Fprintf(&table, "\n%-10s %8d", name, len(w.took))
		for _, share := range []float64{0.5, 0.95, 0.99, 1} {
			fmt.Fprintf(&table, " %5d ms", w.percentile(share).Milliseconds())
		}
		fmt.Fprintf(&table, " %12d", w.failed)
	}
	return table.String()
}

// work does what a coach with a phone does, ten requests a second, and returns how long each took.
func (p *person) work(t testing.TB, squad base, last time.Duration) kindsOfWaits {
	t.Helper()
	result := make(kindsOfWaits)
	order := int(time.Now().UnixMilli() % 50_000)
	path := "/v1/squads/" + squad.squad
	get := func(address string) func(context.Context) error {
		return func(ctx context.Context) error { return p.call(ctx, http.MethodGet, address, nil, nil) }
	}
	steps := []struct {
		name string
		do   func(ctx context.Context) error
	}{
		{"me", get("/v1/me")},
		{"push", func(ctx context.Context) error {
			order += 10
			_, err := p.push(ctx, squad.squad, squad.shots(10, order))
			return err
		}},
		{"feed", get(path + "/feed?limit=100")},
		{"sessions", get(path + "/sessions")},
		{"adherence", get(path + "/drills/" + squad.drill + "/adherence")},
		{"readyz", get("/readyz")},
		{"healthz", get("/healthz")},
	}
	begun := time.Now()
	for i := 0; time.Since(begun) < last; i++ {
		ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
		start := time.Now()
		step := steps[i%len(steps)]
		err := step.do(ctx)
		cancel()
		result.add(step.name, time.Since(start), err != nil)
		if err != nil && statusOf(err) != http.StatusServiceUnavailable {
			t.Errorf("the honest client's %s: %v", step.name, err)
		}
		time.Sleep(100 * time.Millisecond)
	}
	return result
}
