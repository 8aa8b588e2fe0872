package logger_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/api"
	"laneward/api/web/logger"
	"laneward/db"
	"laneward/db/dbtest"
	"laneward/service"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/record"
)

// world is the whole server over a real database, with an invented squad in it and what a test does
// to the network.
type world struct {
	db       *dbtest.DB
	t        testing.TB
	svc      *service.Service
	server   *httptest.Server
	coach    uuid.UUID
	squad    uuid.UUID
	athlete  *record.Athlete // signed up as athleteEmail
	lefty    *record.Athlete // signed up as leftyEmail
	drill    *record.Drill
	session  *record.Session
	ball     *record.Ball
	network  *network
	newer    atomic.Bool  // a newer version of the page is served
	copied   atomic.Int64 // snapshots a test has counted
	clockMu  sync.Mutex
	clockOff time.Duration
}

const (
	coachEmail   = "coach@example.org"
	athleteEmail = "ansel@example.org"
	leftyEmail   = "bettany@example.org"
	password     = "maple-gutter-seven-lamps"
)

// edgePolicy is the content security policy of the edge, which the page has to live under.
const edgePolicy = "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"

func newWorld(t testing.TB) *world {
	t.Helper()
	needModule(t)
	return newWorldOf(t, logger.Handler())
}

func needModule(t testing.TB) {
	t.Helper()
	if !logger.HasModule() {
		t.Fatal("the module that the page judges with is not built: run deploy/module")
	}
}

func newWorldOf(t testing.TB, page http.Handler) *world {
	t.Helper()
	w := &world{t: t, network: &network{}}
	w.db = dbtest.New(t)
	opened, err := db.Open(t.Context(), w.db.ServiceURL, db.Options{MaxConns: 8, Wait: time.Minute})
	must(t, err)
	t.Cleanup(opened.Close)
	keys, err := service.NewKeys()
	must(t, err)
	log := slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))
	w.svc = service.New(service.Config{DB: opened, Keys: keys, Log: log, Now: w.now})
	t.Cleanup(w.svc.Close)
	edge, err := api.NewHandler(api.Config{Service: w.svc, Log: log, Version: "test"})
	must(t, err)
	mux := http.NewServeMux()
	mux.Handle("/", edge)
	mux.HandleFunc("/logger/", func(rw http.ResponseWriter, r *http.Request) {
		rw.Header().Set("Content-Security-Policy", edgePolicy)
		if w.newer.Load() && strings.HasSuffix(r.URL.Path, "/sw.js") {
			rw.Header().Set("Content-Type", "text/javascript")
			newer := httptest.NewRecorder()
			page.ServeHTTP(newer, httptest.NewRequest(http.MethodGet, r.URL.Path, nil))
			_, _ = rw.Write(
				bytes.Replace(newer.Body.Bytes(), []byte("const version = \""), []byte("const version = \"newer "), 1),
			)
			return
		}
		page.ServeHTTP(rw, r)
	})
	w.server = httptest.NewServer(w.network.over(mux))
	t.Cleanup(func() {
		edge.Drain()
		w.server.CloseClientConnections()
		w.server.Close()
	})
	w.people()
	return w
}

func (w *world) now() time.Time {
	w.clockMu.Lock()
	defer w.clockMu.Unlock()
	return time.Now().Add(w.clockOff)
}

// later moves the server's clock on.
func (w *world) later(by time.Duration) {
	w.clockMu.Lock()
	defer w.clockMu.Unlock()
	w.clockOff += by
}

// people makes an invented squad: a coach, an athlete of each side, a drill for both, and a session
// of the first.
func (w *world) people() {
	w.coach = w.signUp(coachEmail, "Odalys Brackwater")
	squad, _, err := w.svc.CreateSquad(
		w.t.Context(),
		w.coach,
		&record.Squad{Name: "Thistle Row Lanes", Invented: true},
	)
	must(w.t, err)
	w.squad = squad.ID
	w.athlete = create(w, &record.Athlete{Name: "Ansel Quorrie", Side: lane.Right})
	w.lefty = create(w, &record.Athlete{Name: "Bettany Voss-Lark", Side: lane.Left})
	w.join(athleteEmail, record.RoleAthlete, &w.athlete.ID)
	w.join(leftyEmail, record.RoleAthlete, &w.lefty.ID)
	w.ball = create(w, &record.Ball{AthleteID: w.athlete.ID, Name: "Grey pearl", WeightLB: 15})
	minimum := 10.0
	w.drill = create(w, &record.Drill{
		Name:      "Play inside",
		Reps:      30,
		PassShare: 0.8,
		Rules:     []drill.Rule{{Measure: drill.Board, At: drill.Breakpoint, Min: &minimum}},
	})
	today := record.Day{Time: w.now().UTC()}
	for _, one := range []*record.Athlete{w.athlete, w.lefty} {
		create(
			w,
			&record.Assignment{
				DrillID:    w.drill.ID,
				AthleteID:  one.ID,
				AssignedOn: record.Day{Time: today.AddDate(0, 0, -7)},
			},
		)
	}
	w.session = create(
		w,
		&record.Session{
			Form:      "practice",
			Name:      "Tuesday practice",
			Date:      today,
			Centre:    "Thistle Row",
			Lanes:     []int32{11, 12},
			AthleteID: &w.athlete.ID,
		},
	)
	create(w, &record.Session{Form: "practice", Name: "Left-hand practice", Date: today, AthleteID: &w.lefty.ID})
}

func (w *world) signUp(email, name string) uuid.UUID {
	w.t.Helper()
	tokens, err := w.svc.SignUp(
		w.t.Context(),
		service.NewUser{Email: email, Name: name, Password: password, Device: "test"},
	)
	must(w.t, err)
	return tokens.User
}

func (w *world) join(email string, role record.Role, athlete *uuid.UUID) {
	w.t.Helper()
	user := w.signUp(email, "Member "+email)
	made, err := w.svc.Invite(w.t.Context(), w.coach, w.squad, role, athlete)
	must(w.t, err)
	_, _, err = w.svc.Join(w.t.Context(), user, made.Code)
	must(w.t, err)
}

// shots are what the server holds of a session, in the order thrown.
func (w *world) shots() []*record.Shot {
	w.t.Helper()
	found, _, err := w.svc.Shots(w.t.Context(), w.coach, w.squad, w.session.ID, service.ShotPlace{}, 1000)
	must(w.t, err)
	return found
}

// push stores items as the coach, from a device of theirs.
func (w *world) push(items ...service.PushItem) []service.PushOutcome {
	w.t.Helper()
	stored, err := w.svc.Push(context.WithoutCancel(w.t.Context()), w.coach, w.squad, service.PushQuery{Schema: service.Schema}, items)
	must(w.t, err)
	return stored.Outcomes
}

// edit changes some fields of a stored shot, as another device of the coach would.
func (w *world) edit(shot *record.Shot, fields map[string]any) {
	w.t.Helper()
	body, err := json.Marshal(shot)
	must(w.t, err)
	var rec map[string]any
	must(w.t, json.Unmarshal(body, &rec))
	for name, value := range fields {
		rec[name] = value
	}
	body, err = json.Marshal(rec)
	must(w.t, err)
	if outcome := w.push(
		service.PushItem{Kind: record.KindShot, ID: shot.ID, Version: w.version(shot), Record: body},
	); outcome[0].Status != service.StatusStored {
		w.t.Fatalf("the other device's edit is %s: %v", outcome[0].Status, outcome[0].Faults)
	}
}

// version is what a change of a shot is based on, as a device of the coach would know it.
func (w *world) version(shot *record.Shot) string {
	w.t.Helper()
	now, err := w.svc.Get(context.WithoutCancel(w.t.Context()), w.coach, w.squad, record.KindShot, shot.ID)
	must(w.t, err)
	return service.Version{Rev: shot.Rev, Head: now.Proof()}.String()
}

func create[R record.Record](w *world, record R) R {
	w.t.Helper()
	made, _, err := w.svc.Create(w.t.Context(), w.coach, w.squad, record)
	must(w.t, err)
	return made.(R)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// network stands between the browser and the server, and does to it what networks do.
type network struct {
	mu        sync.Mutex
	pushes    int                                // that reached the server
	refreshes int                                // likewise
	requests  int                                // of the contract, likewise
	cut       map[string]int                     // how often the answer to an address that ends so is still to be lost
	answer    func(r *http.Request) (status int) // instead of the server; 0 lets it answer
	spoil     func(path, body string) string     // what is done to an answer on its way; nil leaves all as they are
}

// cutAnswers loses the next n answers to requests whose path ends so, after the server has done its
// work.
func (n *network) cutAnswers(suffix string, count int) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.cut = map[string]int{suffix: count}
}

// answerInstead has requests answered with a status and a problem, as long as the function gives
// one.
func (n *network) answerInstead(answer func(r *http.Request) int) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.answer = answer
}

// spoilAnswers has something done to the content of answers; nil leaves them as they are.
func (n *network) spoilAnswers(spoil func(path, body string) string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.spoil = spoil
}

func (n *network) spoiling() func(path, body string) string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.spoil
}

func (n *network) counts() (requests, pushes, refreshes int) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.requests, n.pushes, n.refreshes
}

// quiet waits until what was already on the wire has arrived, and gives the number of requests.
func (n *network) quiet() (requests int) {
	for last := -1; requests != last; {
		last = requests
		time.Sleep(300 * time.Millisecond)
		requests, _, _ = n.counts()
	}
	return requests
}

func (n *network) over(server http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		cut, status := n.take(r)
		if status != 0 {
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(status)
			_ = json.NewEncoder(w).
				Encode(map[string]any{"type": "/problems#test", "status": status, "detail": "answered by the test"})
			return
		}
		if spoil := n.spoiling(); spoil != nil && !cut && !strings.HasSuffix(r.URL.Path, "/live") {
			r.Header.Del("Accept-Encoding")
			whole := httptest.NewRecorder()
			server.ServeHTTP(whole, r)
			maps.Copy(w.Header(), whole.Header())
			w.WriteHeader(whole.Code)
			_, _ = io.WriteString(w, spoil(r.URL.Path, whole.Body.String()))
			return
		}
		if !cut {
			server.ServeHTTP(w, r)
			return
		}
		server.ServeHTTP(&lost{header: http.Header{}}, r)
		panic(http.ErrAbortHandler)
	})
}

func (n *network) take(r *http.Request) (cut bool, status int) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if strings.HasPrefix(r.URL.Path, "/v1/") {
		n.requests++
	}
	if strings.HasSuffix(r.URL.Path, "/push") {
		n.pushes++
	}
	if strings.HasSuffix(r.URL.Path, "/tokens/refresh") {
		n.refreshes++
	}
	if n.answer != nil {
		if status = n.answer(r); status != 0 {
			return false, status
		}
	}
	for suffix, left := range n.cut {
		if left > 0 && strings.HasSuffix(r.URL.Path, suffix) {
			n.cut[suffix]--
			return true, 0
		}
	}
	return false, 0
}

// lost takes an answer that nobody will see.
type lost struct {
	header http.Header
	body   bytes.Buffer
}

func (l *lost) Header() http.Header         { return l.header }
func (l *lost) Write(p []byte) (int, error) { return l.body.Write(p) }
func (l *lost) WriteHeader(int)             {}

// feedAll asks for all that is there.
var feedAll = service.FeedQuery{Limit: 1000, Schema: service.Schema}

// shotIn is the first shot of a page of the feed, nil for none.
func shotIn(page service.FeedPage) *record.Shot {
	for _, item := range page.Items {
		if s, ok := item.Record.(*record.Shot); ok {
			return s
		}
	}
	return nil
}
