package local_test

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

// longVariable asks for many more histories than a quick run has.
const longVariable = "LANEWARD_LONG"

// lossy brings requests to a handler without a network, and loses some, or their answers.
type lossy struct {
	handler http.Handler
	fate    func() string // "", "request lost" or "answer lost"
}

var errLost = errors.New("lost on the way")

// RoundTrip brings a request, or its answer, or neither.
func (l *lossy) RoundTrip(request *http.Request) (*http.Response, error) {
	fate := l.fate()
	if fate == "request lost" {
		return nil, errLost
	}
	recorder := httptest.NewRecorder()
	l.handler.ServeHTTP(recorder, request)
	if fate == "answer lost" {
		return nil, errLost
	}
	return recorder.Result(), nil
}

// history is two computers of a coach and one of an athlete over a network that loses things.
type history struct {
	*rapid.T
	world   *world
	copies  []*copy
	base    base
	logged  map[uuid.UUID]bool // the shots; false from when anybody has deleted one
	losses  bool
	owner   *sql.DB
	context context.Context
}

// TestConvergence lets devices work over a bad network in random histories. In the end each holds
// exactly what the server does, and every shot that was logged and that nobody deleted is there.
func TestConvergence(t *testing.T) {
	t.Parallel()
	histories := 12
	if os.Getenv(longVariable) != "" {
		histories = 1000
	}
	if err := flag.Set("rapid.checks", fmt.Sprint(histories)); err != nil {
		t.Fatal(err)
	}
	w := newWorld(t)
	coach := w.newDevice(w.address)
	coach.signUp("coach")
	athlete := w.newDevice(w.address)
	athlete.signUp("athlete")
	owner := openOwner(t, w.db.OwnerURL)
	rapid.Check(t, func(rt *rapid.T) {
		h := newHistory(t, rt, w, coach, athlete)
		h.owner = owner
		defer h.close()
		for range rapid.IntRange(5, 40).Draw(rt, "steps") {
			h.step()
		}
		h.settle()
	})
}

func newHistory(t *testing.T, rt *rapid.T, w *world, coach, athlete *device) *history {
	h := &history{T: rt, world: w, logged: make(map[uuid.UUID]bool), context: t.Context()}
	made, err := coach.client.CreateSquad(t.Context(), "Invented squad")
	coach.must(err)
	squad := *made.Value.ID
	first := h.copyOf(coach, squad)
	h.base = first.newBase()
	first.once()
	coach.must(err)
	first.invite(athlete, openapi.RoleAthlete, &h.base.athlete)
	h.copies = []*copy{first, h.copyOf(coach, squad), h.copyOf(athlete, squad)}
	for _, c := range h.copies {
		c.once()
	}
	return h
}

// copyOf is one more computer of a person, behind a network of its own.
func (h *history) copyOf(who *device, squad uuid.UUID) *copy {
	d := &device{world: h.world, signIn: who.signIn, dir: h.world.t.TempDir()}
	transport := &lossy{h.world.real, func() string {
		if !h.losses {
			return ""
		}
		return rapid.SampledFrom([]string{"", "", "request lost", "answer lost"}).Draw(h.T, "fate")
	}}
	var err error
	d.client, err = client.New(
		client.Config{
			Server: h.world.address,
			Store:  d.signIn,
			Agent:  "test",
			Sleep:  noWait,
			HTTP:   &http.Client{Transport: transport},
		},
	)
	d.must(err)
	return d.open(squad)
}

func (h *history) step() {
	c := rapid.SampledFrom(h.copies).Draw(h.T, "device")
	switch rapid.SampledFrom([]string{"log", "log", "edit", "edit", "delete", "sync", "sync", "sync", "decide", "reopen", "restore"}).
		Draw(h.T, "step") {
	case "log":
		h.logged[c.log(h.base, len(h.logged)+1)] = true
	case "edit":
		h.withShot(c, func(shot local.Record) {
			fields := []map[string]any{
				{"note": rapid.StringMatching(`[a-zäöü]{1,5}`).Draw(h.T, "note")},
				{"speed_mph": rapid.IntRange(15, 20).Draw(h.T, "speed")},
				{"note": nil},
			}
			h.ignoreConflict(
				c.store.Put(h.context, c.squad, edited(shot, rapid.SampledFrom(fields).Draw(h.T, "fields"))),
			)
		})
	case "delete":
		h.withShot(c, func(shot local.Record) {
			if err := c.store.Delete(h.context, c.squad, shot.Record); h.ignoreConflict(err) {
				h.logged[shot.ID] = false
			}
		})
	case "sync":
		h.losses = true
		_, err := c.sync().Once(h.context)
		h.losses = false
		if err != nil && client.CodeOf(err) != client.Unreachable {
			h.Fatalf("sync: %v", err)
		}
	case "decide":
		h.decide(c)
	case "reopen":
		store, err := local.Open(h.context, c.dir, c.client.Server(), c.user(), time.Now)
		c.must(err)
		c.must(c.store.Close())
		c.store = store
	case "restore":
		if rapid.IntRange(0, 3).Draw(h.T, "whether") == 0 {
			_, err := h.owner.ExecContext(h.context, otherHistory)
			c.must(err)
		}
	}
}

func (h *history) withShot(c *copy, do func(local.Record)) {
	shots, err := c.store.Records(h.context, c.squad, client.Shot)
	c.must(err)
	if len(shots) > 0 {
		do(shots[rapid.IntRange(0, len(shots)-1).Draw(h.T, "shot")])
	}
}

// ignoreConflict tells that a change was kept: over a conflict none is.
func (h *history) ignoreConflict(err error) bool {
	if err != nil && client.CodeOf(err) != client.Conflict {
		h.Fatal(err)
	}
	return err == nil
}

// decide settles every conflict, one way or another.
func (h *history) decide(c *copy) {
	all, err := c.store.Pending(h.context, local.Conflict)
	c.must(err)
	for _, p := range all {
		if rapid.Bool().Draw(h.T, "mine") {
			c.must(c.store.Resolve(h.context, p.Number, p.Mine))
		} else {
			c.must(c.store.Drop(h.context, p.Number))
		}
	}
}

func (h *history) close() {
	for _, c := range h.copies {
		_ = c.store.Close()
	}
}

// settle brings everything home and compares.
func (h *history) settle() {
	for range 4 { // a decision may meet another's
		for _, c := range h.copies {
			c.once()
			h.decide(c)
		}
	}
	for _, c := range h.copies {
		c.once()
	}
	for i, c := range h.copies {
		c.alike()
		if s := c.status(); s.Unsent() != 0 {
			left, err := c.store.Pending(h.context, local.Queued, local.Waiting, local.Refused, local.Conflict)
			h.Fatalf("device %d still has %+v, %v", i, left, err)
		}
		for id, stands := range h.logged {
			_, err := c.store.Get(h.context, c.squad, client.Shot, id)
			if stands && err != nil {
				h.Fatalf("device %d does not have the shot %s: %v", i, id, err)
			}
		}
	}
}

func edited(shot local.Record, change map[string]any) client.Record {
	fields, err := client.Decode[map[string]any](shot.Record)
	if err != nil {
		panic(err)
	}
	for name, value := range change {
		if fields[name] = value; value == nil {
			delete(fields, name)
		}
	}
	text, err := json.Marshal(fields)
	if err != nil {
		panic(err)
	}
	return client.Record{Kind: shot.Kind, ID: shot.ID, Rev: shot.Rev, JSON: text}
}

// Connections that are cut at any byte, in either direction, while two computers log and edit: what
// is logged is there, once, in the end.
func TestCuts(t *testing.T) {
	t.Parallel()
	const seed = 20260314
	w := newWorld(t)
	home := w.newSquad()
	b := home.newBase()
	home.once()
	random := rand.New(rand.NewPCG(seed, 2))
	var cutters []*cutter
	var copies []*copy
	for i := range 2 {
		c := newCutter(t, strings.TrimPrefix(w.address, "http://"), seed+uint64(i), 2500)
		cutters = append(cutters, c)
		copies = append(copies, home.another(c.address()))
	}
	var logged []uuid.UUID
	failures := 0
	for round := range 25 {
		for i, c := range copies {
			for range 1 + random.IntN(12) {
				logged = append(logged, c.log(b, len(logged)+1))
			}
			if all, err := c.store.Records(t.Context(), c.squad, client.Shot); err == nil && round > 0 {
				shot := all[random.IntN(len(all))]
				_ = c.store.Put(
					t.Context(),
					c.squad,
					edited(shot, map[string]any{"note": fmt.Sprint("by ", i, " in round ", round)}),
				) // over a conflict it is not kept
			}
			if _, err := c.sync().Once(t.Context()); err != nil {
				if client.CodeOf(err) != client.Unreachable {
					t.Fatal(err)
				}
				failures++
			}
		}
	}
	cuts := int64(0)
	for _, c := range cutters {
		c.whole.Store(true)
		cuts += c.cuts.Load()
	}
	t.Logf("%d cuts, %d of %d syncs failed in spite of sending again", cuts, failures, 50)
	if cuts < 25 {
		t.Errorf("only %d cuts", cuts)
	}
	for range 3 {
		for _, c := range copies {
			c.once()
			conflicts, err := c.store.Pending(t.Context(), local.Conflict)
			c.must(err)
			for _, p := range conflicts {
				c.must(c.store.Resolve(t.Context(), p.Number, p.Mine))
			}
		}
	}
	home.once()
	for _, c := range append(copies, home) {
		c.alike()
		c.wantPending(0, 0, 0, 0)
		shots, err := c.store.Records(t.Context(), c.squad, client.Shot)
		if err != nil || len(shots) != len(logged) {
			t.Errorf("%d shots, %v; want %d", len(shots), err, len(logged))
		}
		for _, id := range logged {
			c.see(client.Shot, id)
		}
	}
}

// A watch hears of what others do, sends what is put into the queue, and comes back when its tail
// is cut.
func TestWatch(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	coach.once()
	other := coach.another(coach.address)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- other.sync().Watch(ctx, func(local.Result, error, time.Duration) {}) }()
	until := func(what string, is func() bool) {
		t.Helper()
		for range 1500 {
			if is() {
				return
			}
			time.Sleep(10 * time.Millisecond)
		}
		t.Fatalf("%s: not within 15 s", what)
	}
	has := func(c *copy, id uuid.UUID) func() bool {
		return func() bool {
			_, err := c.store.Get(t.Context(), c.squad, client.Shot, id)
			return err == nil
		}
	}
	until("the first copy", func() bool { return !other.status().SyncedAt.IsZero() })
	first := coach.log(b, 1)
	coach.once()
	until("a shot comes", has(other, first))
	mine := other.log(b, 2)
	until("a shot goes", func() bool { return coach.onServer(client.Shot, mine, "order") == "2" })
	w.cutAll()
	second := coach.log(b, 3)
	coach.once()
	until("a shot comes after the tail was cut", has(other, second))
	coach.must(coach.store.Delete(t.Context(), coach.squad, coach.see(client.Shot, first).Record))
	coach.once()
	until("a deletion comes", func() bool { return !has(other, first)() })
	stop()
	if err := <-ended; err != nil {
		t.Errorf("stopped: %v", err)
	}
	other.alike()
}

// A watch ends by itself when waiting does not help.
func TestWatchEnds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	coach.newBase()
	coach.once()
	if _, err := coach.client.SignOut(t.Context(), false); err != nil {
		t.Fatal(err)
	}
	if err := coach.sync().
		Watch(t.Context(), func(local.Result, error, time.Duration) {}); client.CodeOf(
		err,
	) != client.SignedOut {
		t.Errorf("ends with %v", err)
	}
}
