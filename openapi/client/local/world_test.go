package local_test

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	_ "github.com/jackc/pgx/v5/stdlib" // to do to the server's data what an operator does

	"laneward/api"
	"laneward/db"
	"laneward/db/dbtest"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
	"laneward/service"
)

// world is a whole server over a database of its own.
type world struct {
	t       testing.TB
	db      *dbtest.DB
	opened  *db.DB
	address string
	// handler may be put in front of the server by a test, from one moment to the next.
	handler atomic.Pointer[http.Handler]
	real    http.Handler
	cutAll  func() // cuts every connection
}

func newWorld(t testing.TB) *world {
	t.Helper()
	w := &world{t: t, db: dbtest.New(t)}
	var err error
	if w.opened, err = db.Open(t.Context(), w.db.ServiceURL, db.Options{MaxConns: 4, Wait: time.Minute}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(w.opened.Close)
	w.restart()
	server := httptest.NewServer(
		http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) { (*w.handler.Load()).ServeHTTP(rw, r) }),
	)
	t.Cleanup(func() {
		server.CloseClientConnections()
		server.Close()
	})
	w.address, w.cutAll = server.URL, server.CloseClientConnections
	return w
}

// restart puts another server in the place of the first, with keys of its own: nobody is signed in
// to it, and it knows no cursor.
func (w *world) restart() {
	w.t.Helper()
	keys, err := service.NewKeys()
	if err != nil {
		w.t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	svc := service.New(service.Config{DB: w.opened, Keys: keys, Log: log})
	w.t.Cleanup(svc.Close)
	made, err := api.NewHandler(api.Config{Service: svc, Log: log, Version: "test"})
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(made.Drain)
	w.real = made
	w.wrap(func(real http.Handler) http.Handler { return real })
}

// wrap puts something in front of the server, in place of what was there.
func (w *world) wrap(wrapped func(http.Handler) http.Handler) {
	handler := wrapped(w.real)
	w.handler.Store(&handler)
}

// unwrap takes it away.
func (w *world) unwrap() { w.wrap(func(real http.Handler) http.Handler { return real }) }

// device is a computer: sign-ins, and a directory for copies.
type device struct {
	*world
	client *client.Client
	signIn *client.Store
	dir    string
}

// noWait passes over waits, but leaves the others their turn.
func noWait(ctx context.Context, _ time.Duration) error {
	time.Sleep(time.Millisecond)
	return ctx.Err()
}

// newDevice is a computer that reaches the server at an address.
func (w *world) newDevice(address string) *device {
	w.t.Helper()
	d := &device{world: w, signIn: client.OpenStore(w.t.TempDir()), dir: w.t.TempDir()}
	d.reach(address)
	return d
}

// reach lets the device reach the server at another address under the name of the first, as a proxy
// does.
func (d *device) reach(address string) {
	d.t.Helper()
	transport := &http.Transport{DisableKeepAlives: address != d.address}
	if address != d.address {
		transport.Proxy = nil
		transport.DialContext = dialTo(address)
	}
	d.t.Cleanup(transport.CloseIdleConnections)
	made, err := client.New(client.Config{
		Server: d.address,
		Store:  d.signIn,
		Agent:  "test",
		Sleep:  noWait,
		HTTP:   &http.Client{Transport: transport, Timeout: 30 * time.Second},
	})
	if err != nil {
		d.t.Fatal(err)
	}
	d.client = made
}

const passphrase = "four unrelated words"

var people atomic.Int64

// signUp makes a person and signs them in on the device. It returns their email.
func (d *device) signUp(name string) string {
	d.t.Helper()
	email := fmt.Sprintf("%s%d@invented.example", name, people.Add(1))
	_, err := d.client.SignUp(d.t.Context(), email, name, passphrase)
	d.must(err)
	return email
}

func (d *device) must(err error) {
	d.t.Helper()
	if err != nil {
		d.t.Fatal(err)
	}
}

// user is who is signed in.
func (d *device) user() uuid.UUID {
	d.t.Helper()
	held, err := d.signIn.Load()
	d.must(err)
	return held.SignIns[d.client.Server()].UserID
}

// copy is a person's copy of one squad on a device.
type copy struct {
	*device
	store *local.Store
	squad uuid.UUID
}

// open opens the copy of whoever is signed in, knowing the squads they are in.
func (d *device) open(squad uuid.UUID) *copy {
	d.t.Helper()
	store, err := local.Open(d.t.Context(), d.dir, d.client.Server(), d.user(), time.Now)
	d.must(err)
	d.t.Cleanup(func() { d.must(store.Close()) })
	c := &copy{d, store, squad}
	c.learnSquads()
	return c
}

func (c *copy) learnSquads() {
	c.t.Helper()
	me, err := c.client.Me(c.t.Context())
	c.must(err)
	c.must(c.store.SetSquads(c.t.Context(), me.Value.Squads))
}

func (c *copy) sync() *local.Sync {
	return &local.Sync{Client: c.client, Store: c.store, Squad: c.squad}
}

// once syncs and must succeed.
func (c *copy) once() local.Result {
	c.t.Helper()
	result, err := c.sync().Once(c.t.Context())
	c.must(err)
	return result
}

// alike holds that the copy has exactly what the server does.
func (c *copy) alike() {
	c.t.Helper()
	differing, _, err := c.sync().Verify(c.t.Context())
	c.must(err)
	if len(differing) > 0 {
		c.t.Fatalf("the copy is not what the server has: %+v", differing)
	}
}

func (c *copy) status() local.Status {
	c.t.Helper()
	all, err := c.store.Status(c.t.Context())
	c.must(err)
	for _, status := range all {
		if status.ID == c.squad {
			return status
		}
	}
	return local.Status{}
}

// wantPending holds how many changes are in which state.
func (c *copy) wantPending(queued, waiting, refused, conflicts int) {
	c.t.Helper()
	if s := c.status(); s.Queued != queued || s.Waiting != waiting || s.Refused != refused || s.Conflicts != conflicts {
		c.t.Fatalf("queued %d, waiting %d, refused %d, conflicts %d; want %d, %d, %d, %d",
			s.Queued, s.Waiting, s.Refused, s.Conflicts, queued, waiting, refused, conflicts)
	}
}

// pending is the only change in a state.
func (c *copy) pending(state local.State) local.Pending {
	c.t.Helper()
	all, err := c.store.Pending(c.t.Context(), state)
	c.must(err)
	if len(all) != 1 {
		c.t.Fatalf("%d changes are %s, want 1: %+v", len(all), state, all)
	}
	return all[0]
}

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// put keeps a record and returns it as the device shows it.
func (c *copy) put(kind client.Kind, id uuid.UUID, rev int64, fields map[string]any) {
	c.t.Helper()
	text, err := json.Marshal(fields)
	c.must(err)
	c.must(c.store.Put(c.t.Context(), c.squad, client.Record{Kind: kind, ID: id, Rev: rev, JSON: text}))
}

// see returns a record as the device shows it.
func (c *copy) see(kind client.Kind, id uuid.UUID) local.Record {
	c.t.Helper()
	record, err := c.store.Get(c.t.Context(), c.squad, kind, id)
	c.must(err)
	return record
}

// edit changes fields of a record as it is seen on the device; nil takes a field away.
func (c *copy) edit(kind client.Kind, id uuid.UUID, change map[string]any) {
	c.t.Helper()
	record := c.see(kind, id)
	var fields map[string]any
	c.must(json.Unmarshal(record.JSON, &fields))
	for name, value := range change {
		if fields[name] = value; value == nil {
			delete(fields, name)
		}
	}
	c.put(kind, id, record.Rev, fields)
}

// field is a field of a record as the device shows it, as JSON.
func (c *copy) field(kind client.Kind, id uuid.UUID, name string) string {
	c.t.Helper()
	return fieldOf(c.t, c.see(kind, id).JSON, name)
}

func fieldOf(t testing.TB, body json.RawMessage, name string) string {
	t.Helper()
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(body, &fields); err != nil {
		t.Fatalf("%s: %v", body, err)
	}
	return string(fields[name])
}

// onServer is a field of a record as the server has it.
func (c *copy) onServer(kind client.Kind, id uuid.UUID, name string) string {
	c.t.Helper()
	record, err := c.client.Get(c.t.Context(), c.squad, kind, id)
	if client.CodeOf(err) == client.NotFound {
		return "gone"
	}
	c.must(err)
	return fieldOf(c.t, record.JSON, name)
}

// base is what shots stand on.
type base struct{ athlete, session uuid.UUID }

// newBase queues an athlete and their session.
func (c *copy) newBase() base {
	c.t.Helper()
	b := base{newID(), newID()}
	c.put(client.Athlete, b.athlete, 0, map[string]any{"name": "Rhea", "side": "right"})
	c.put(client.Session, b.session, 0, b.sessionFields())
	return b
}

func (b base) sessionFields() map[string]any {
	return map[string]any{"kind": "practice", "name": "Practice", "date": "2026-03-14", "athlete_id": b.athlete}
}

func (b base) shotFields(order int) map[string]any {
	return map[string]any{
		"session_id":       b.session,
		"athlete_id":       b.athlete,
		"order":            order,
		"time":             "2026-03-14T17:00:00Z",
		"breakpoint_board": 9.0,
		"speed_mph":        16.5,
	}
}

// log queues a shot.
func (c *copy) log(b base, order int) uuid.UUID {
	c.t.Helper()
	id := newID()
	c.put(client.Shot, id, 0, b.shotFields(order))
	return id
}

// newSquad signs a coach up on a device and founds a squad, which both know.
func (w *world) newSquad() *copy {
	w.t.Helper()
	d := w.newDevice(w.address)
	d.signUp("coach")
	made, err := d.client.CreateSquad(w.t.Context(), "Invented squad")
	d.must(err)
	return d.open(*made.Value.ID)
}

// another is the same person on another device of theirs.
func (c *copy) another(address string) *copy {
	c.t.Helper()
	d := c.newDevice(address)
	held, err := c.signIn.Load()
	c.must(err)
	signIn := held.SignIns[c.client.Server()]
	_, err = c.atHome(d).SignIn(c.t.Context(), signIn.Email, passphrase)
	d.must(err)
	return d.open(c.squad)
}

// atHome is a client of the device that reaches the server without anything between.
func (w *world) atHome(d *device) *client.Client {
	made, err := client.New(client.Config{Server: w.address, Store: d.signIn, Agent: "test", Sleep: noWait})
	d.must(err)
	return made
}

// joins makes whoever signs up on a new device a member, by the coach's invitation.
func (c *copy) joins(role openapi.Role, athlete *uuid.UUID) *copy {
	c.t.Helper()
	d := c.newDevice(c.address)
	d.signUp(string(role))
	c.invite(d, role, athlete)
	return d.open(c.squad)
}

func (c *copy) invite(d *device, role openapi.Role, athlete *uuid.UUID) {
	c.t.Helper()
	invitation, err := c.client.Invite(c.t.Context(), c.squad, role, athlete)
	c.must(err)
	_, err = d.client.Join(c.t.Context(), *invitation.Value.Code)
	d.must(err)
}

// removeMember makes somebody no member any more.
func (c *copy) removeMember(member uuid.UUID) {
	c.t.Helper()
	held, err := c.signIn.Load()
	c.must(err)
	address := fmt.Sprintf("%s/v1/squads/%s/members/%s", c.address, c.squad, member)
	request, err := http.NewRequestWithContext(c.t.Context(), http.MethodDelete, address, nil)
	c.must(err)
	request.Header.Set("Authorization", "Bearer "+held.SignIns[c.client.Server()].AccessToken)
	request.Header.Set("If-Match", "*")
	response, err := http.DefaultClient.Do(request)
	c.must(err)
	c.must(response.Body.Close())
	if response.StatusCode != http.StatusNoContent {
		c.t.Fatalf("the member is not removed: %s", response.Status)
	}
}

// openOwner opens the server's database as its owner.
func openOwner(t testing.TB, address string) *sql.DB {
	t.Helper()
	owner, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = owner.Close() })
	return owner
}

// otherHistory makes every squad's history come to other heads, as after a restore that lost the
// last commit and a commit of others in its place. The records stay.
const otherHistory = `WITH moved AS (UPDATE squads_clock SET head = uuid_send(gen_random_uuid()) RETURNING squad_id, rev, head)
	UPDATE heads h SET head = m.head FROM moved m WHERE h.squad_id = m.squad_id AND h.rev = m.rev`

// loseAnswers lets the server do what it is asked on an address that ends so, and loses the answer.
func loseAnswers(suffix string, lost *atomic.Int64) func(http.Handler) http.Handler {
	return func(real http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if len(r.URL.Path) >= len(suffix) && r.URL.Path[len(r.URL.Path)-len(suffix):] == suffix {
				real.ServeHTTP(discard{http.Header{}}, r.WithContext(context.WithoutCancel(r.Context())))
				lost.Add(1)
				panic(http.ErrAbortHandler)
			}
			real.ServeHTTP(w, r)
		})
	}
}

// discard is an answer that is lost.
type discard struct{ header http.Header }

func (d discard) Header() http.Header         { return d.header }
func (d discard) Write(p []byte) (int, error) { return len(p), nil }
func (d discard) WriteHeader(int)             {}
