//go:build unix

package synctest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
)

// crashed is one push of many shots through a network and a server that break.
type crashed struct {
	*testing.T
	program *program
	proxy   *proxy        // of the pushes
	pusher  *person       // through that
	coach   *person       // through a proxy that is never cut, for its address stays the same
	direct  *person       // to where the server is now
	cuts    int           // that were asked for
	took    time.Duration // of a push that nothing broke
}

const crashShots = 10_000

// trouble is what may happen at a random moment of a push.
var trouble = []struct {
	name string
	do   func(c *crashed)
}{
	{"the server is killed", func(c *crashed) { c.pause(); c.program.kill() }},
	{"Postgres is killed", func(c *crashed) { c.pause(); c.program.killPostgres(false) }},
	{"a Postgres backend is killed", func(c *crashed) { c.pause(); c.program.killPostgres(true) }},
	{"the line is cut after the commit and before the answer", func(c *crashed) { c.cut(cut{-1, 0}) }},
	{"the line is cut in the answer", func(c *crashed) { c.cut(cut{-1, rand.Int64N(10 << 10)}) }},
	{"the line is cut in the request", func(c *crashed) { c.cut(cut{rand.Int64N(500 << 10), -1}) }},
}

func (c *crashed) cut(how cut) {
	c.cuts++
	c.proxy.cutNext(how)
}

// pause waits for a random moment of a push.
func (c *crashed) pause() { time.Sleep(rand.N(c.took)) }

// TestCrashes pushes 10,000 shots at a time while the server, Postgres or the line is cut at random
// moments. What was acknowledged is there once, what was not is sent again and stored once, and who
// follows the live tail is given all of it.
func TestCrashes(t *testing.T) {
	if testing.Short() {
		t.Skip("starts the program many times")
	}
	t.Parallel()
	total := 20
	if long() {
		total = 200
	}
	c := newCrashed(t)
	begun := time.Now()
	c.run(-1)
	c.took = time.Since(begun)
	happened := make(map[string]int)
	for i := range total {
		c.signIn()
		c.run(i % len(trouble))
		happened[trouble[i%len(trouble)].name]++
	}
	for _, name := range slices.Sorted(maps.Keys(happened)) {
		t.Logf("%3d times: %s", happened[name], name)
	}
	if n := c.proxy.count(); n != c.cuts {
		t.Errorf("the line was cut %d times, want %d", n, c.cuts)
	}
	t.Logf(
		"%d shots were each stored once; a push takes %s undisturbed",
		(total+1)*crashShots,
		c.took.Round(time.Millisecond),
	)
}

func newCrashed(t *testing.T) *crashed {
	t.Helper()
	c := &crashed{T: t, program: newProgram(t), took: time.Second}
	c.proxy = newProxy(t, c.program.at)
	c.coach = signUp(t, wireClient("http://"+newProxy(t, c.program.at).address()), "Coach")
	fresh := &http.Transport{DisableKeepAlives: true} // a connection a request: each cut is for one push
	c.pusher = c.coach.via(&client{http: &http.Client{Transport: fresh}, base: "http://" + c.proxy.address()})
	c.direct = c.coach.via(&client{http: c.pusher.http})
	return c
}

// signIn renews the coach's token, and finds the server where it is now.
func (c *crashed) signIn() {
	c.Helper()
	c.direct.base = "http://" + c.program.at()
	var tokens struct {
		Access string `json:"access_token"`
	}
	body := fields{"email": c.coach.email, "password": password, "device": "phone"}
	c.must(func() error { return c.direct.call(c.Context(), http.MethodPost, "/v1/tokens", body, &tokens) })
	for _, as := range []*person{c.coach, c.pusher, c.direct} {
		as.token = tokens.Access
	}
}

// must tries again what a server that is just coming back refuses.
func (c *crashed) must(do func() error) {
	c.Helper()
	var err error
	for deadline := time.Now().Add(startLimit); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		c.direct.base = "http://" + c.program.at()
		if err = do(); err == nil {
			return
		}
		c.checkTold(err)
	}
	c.Fatal(err)
}

// checkTold holds that a failure is one that a client tries again after: the line broke, or the
// server says that it is not ready.
func (c *crashed) checkTold(err error) {
	c.Helper()
	if status := statusOf(err); status != 0 && status != http.StatusServiceUnavailable {
		c.Errorf("a server that is killed answers %v, want 503 or nothing", err)
	}
}

// run pushes new shots into a new squad while one kind of trouble happens; -1 for none.
func (c *crashed) run(kind int) {
	c.Helper()
	b := c.newBase()
	after, first := "", int64(0)
	c.must(func() error {
		got, err := c.direct.feed(c.Context(), b.squad, "", 1000)
		after, first = got.Cursor, got.Rev
		return err
	})
	items := b.shots(crashShots, 1)
	tailed := newSeen()
	follow, stop := context.WithCancel(c.Context())
	defer stop()
	followed := make(chan error, 1)
	go func() {
		_, err := c.coach.followLive(follow, b.squad, after, tailed.take)
		followed <- err
	}()
	pushed := make(chan map[string]int64, 1)
	go func() { pushed <- c.pushAll(b.squad, items) }()
	if kind >= 0 {
		trouble[kind].do(c)
	}
	acknowledged := <-pushed
	c.checkStored(b, items, acknowledged, first)
	awaitCount(c.T, tailed, len(items))
	stop()
	if err := <-followed; err != nil {
		c.Error(err)
	}
	tailed.checkDense(c, first+1, first+int64(len(items)))
}

func (c *crashed) newBase() (b base) {
	c.Helper()
	squad := ""
	c.must(func() (err error) {
		squad, err = c.direct.newSquad(c.Context(), "Invented squad")
		return err
	})
	b = base{squad, newID(), newID(), newID()}
	c.must(func() error {
		_, err := c.direct.push(c.Context(), squad, []item{
			{Kind: "athlete", Record: fields{"id": b.athlete, "name": "Invented athlete", "side": "right"}},
			{
				Kind: "session",
				Record: fields{
					"id":         b.session,
					"kind":       "practice",
					"name":       "Practice",
					"date":       "2026-03-14",
					"athlete_id": b.athlete,
				},
			},
		})
		return err
	})
	return b
}

// pushAll pushes until everything is acknowledged, as a device does: after a break it sends again
// what was not. Half the pushes are NDJSON, half JSON in pieces. It returns the revision that each
// shot was acknowledged with.
func (c *crashed) pushAll(squad string, items []item) map[string]int64 {
	acknowledged := make(map[string]int64, len(items))
	take := func(o outcome) {
		before, known := acknowledged[o.ID]
		if o.Outcome != "stored" && o.Outcome != "same" || known && before != o.Rev {
			c.Errorf("a shot's outcome is %+v; it was acknowledged before: %t at %d", o, known, before)
		}
		acknowledged[o.ID] = o.Rev
	}
	asLines := rand.IntN(2) == 0
	for deadline := time.Now().Add(startLimit); len(acknowledged) < len(items); {
		if time.Now().After(deadline) {
			c.Errorf("%d of %d shots are acknowledged", len(acknowledged), len(items))
			return acknowledged
		}
		left := slices.DeleteFunc(
			slices.Clone(items),
			func(it item) bool { _, ok := acknowledged[it.Record["id"].(string)]; return ok },
		)
		var err error
		if asLines {
			_, err = c.pusher.pushLines(c.Context(), squad, bytes.NewReader(lines(c, left)), take)
		} else {
			err = c.pushPieces(squad, left, take)
		}
		if err != nil {
			c.checkTold(err)
			time.Sleep(rand.N(100 * time.Millisecond))
		}
	}
	return acknowledged
}

func (c *crashed) pushPieces(squad string, items []item, take func(outcome)) error {
	for piece := range slices.Chunk(items, 2_500) {
		result, err := c.pusher.push(c.Context(), squad, piece)
		if err != nil {
			return err
		}
		for _, o := range result.Outcomes {
			take(o)
		}
	}
	return nil
}

// checkStored reads everything back: each shot is there, once, at the revision it was acknowledged
// with, and nothing was stored twice, for then the squad would have got further.
func (c *crashed) checkStored(b base, items []item, acknowledged map[string]int64, first int64) {
	c.Helper()
	var found []item
	last := int64(0)
	c.must(func() error {
		found = nil
		return c.direct.stream(c.Context(), "/v1/squads/"+b.squad+"/snapshot?limit=5000", func(got page) error {
			found = append(found, got.Items...)
			last = got.Rev
			return nil
		})
	})
	stored := make(map[string]int64)
	for _, it := range found {
		if it.Kind != "shot" {
			continue
		}
		if _, twice := stored[it.ID]; twice || acknowledged[it.ID] != it.Rev {
			c.Errorf(
				"shot %s is at revision %d (twice %t), acknowledged at %d",
				it.ID,
				it.Rev,
				twice,
				acknowledged[it.ID],
			)
		}
		stored[it.ID] = it.Rev
	}
	if len(stored) != len(items) || last != first+int64(len(items)) {
		c.Errorf(
			"%d shots are stored and the squad went from revision %d to %d; want %d",
			len(stored),
			first,
			last,
			len(items),
		)
	}
}

// TestTailSurvivesPostgres kills Postgres under a live tail: the tail itself goes on, on its
// connection, and brings what comes after.
func TestTailSurvivesPostgres(t *testing.T) {
	if testing.Short() {
		t.Skip("starts the program")
	}
	t.Parallel()
	c := newCrashed(t)
	b := c.newBase()
	cursor, _ := c.coach.end(t, b.squad)
	events := c.coach.tail(t, b.squad, cursor)
	next(t, events, "at")
	for i := range 3 {
		shot := b.shot(i + 1)
		c.program.killPostgres(i == 1)
		c.must(func() error {
			result, err := c.direct.push(t.Context(), b.squad, []item{shot})
			if err == nil && result.Outcomes[0].Outcome != "stored" && result.Outcomes[0].Outcome != "same" {
				t.Errorf("%+v", result.Outcomes[0])
			}
			return err
		})
		if it, err := next(t, events, "shot").item(); err != nil || it.ID != shot.Record["id"] {
			t.Errorf("the tail brings %s, %v, want %s", it.ID, err, shot.Record["id"])
		}
	}
	// The backend goes on for a moment without its postmaster, so that a push may be answered
	// before the end is seen and logged.
	c.must(func() error {
		if n := len(c.program.log.lines("the private Postgres has ended")); n < 2 {
			return fmt.Errorf("Postgres was killed three times and its end is logged %d times", n)
		}
		return nil
	})
}

// TestRestartKeepsWhatIsWaiting ends the program in order while tails are open and pushes come in:
// it ends in time, and nothing is lost.
func TestRestartKeepsWhatIsWaiting(t *testing.T) {
	if testing.Short() {
		t.Skip("starts the program")
	}
	t.Parallel()
	c := newCrashed(t)
	b := c.newBase()
	_, first := c.coach.end(t, b.squad)
	events := c.coach.tail(t, b.squad, "")
	pushed := make(chan map[string]int64, 1)
	items := b.shots(crashShots, 1)
	go func() { pushed <- c.pushAll(b.squad, items) }()
	c.pause()
	begun := time.Now()
	c.program.stop()
	t.Logf("it ended within %s", time.Since(begun).Round(time.Millisecond))
	c.program.start()
	c.checkStored(b, items, <-pushed, first)
	for {
		if _, err := events.next(); err != nil {
			if !errors.Is(err, io.EOF) && !strings.Contains(err.Error(), "reset") {
				t.Errorf("the tail ended with %v", err)
			}
			break
		}
	}
	if _, err := os.Stat(c.program.state); err != nil {
		t.Error(err)
	}
}
