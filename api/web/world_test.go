package web_test

import (
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/api"
	"laneward/db"
	"laneward/db/dbtest"
	"laneward/service"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/record"
)

// world is the whole HTTP surface over a real database, with an invented squad in it.
type world struct {
	t       testing.TB
	svc     *service.Service
	server  *httptest.Server
	now     time.Time // what the service takes for the time
	coach   uuid.UUID
	squad   uuid.UUID
	people  []*record.Athlete
	drill   *record.Drill
	session *record.Session
	pattern *record.Pattern
	flat    *record.Pattern // longer, and with as much oil outside as inside
	balls   []*record.Ball  // two of the first athlete's
}

const (
	coachEmail = "coach@example.org"
	password   = "maple-gutter-seven-lamps"
)

// newEmptyWorld starts a server that nobody has signed up with.
func newEmptyWorld(t testing.TB, change ...func(*api.Config)) *world {
	t.Helper()
	w := &world{t: t, now: time.Now()}
	opened, err := db.Open(t.Context(), dbtest.New(t).ServiceURL, db.Options{MaxConns: 4, Wait: time.Minute})
	must(t, err)
	t.Cleanup(opened.Close)
	keys, err := service.NewKeys()
	must(t, err)
	log := slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))
	w.svc = service.New(service.Config{
		DB: opened, Keys: keys, Log: log, Now: func() time.Time { return w.now }, Patience: time.Hour,
	})
	t.Cleanup(w.svc.Close)
	config := api.Config{Service: w.svc, Log: log, Version: "test"}
	for _, one := range change {
		one(&config)
	}
	handler, err := api.NewHandler(config)
	must(t, err)
	w.server = httptest.NewServer(handler)
	t.Cleanup(w.server.Close)
	return w
}

// newWorld starts a server with an invented squad: five athletes of both sides, three drills, a
// pattern, and sessions with their logs.
func newWorld(t testing.TB, change ...func(*api.Config)) *world {
	t.Helper()
	w := newEmptyWorld(t, change...)
	ctx := t.Context()
	w.coach = w.signUp(coachEmail, "Odalys Brackwater")
	squad, _, err := w.svc.CreateSquad(ctx, w.coach, &record.Squad{Name: "Thistle Row Lanes", Invented: true})
	must(t, err)
	w.squad = squad.ID
	for _, one := range []struct {
		name string
		side lane.Side
	}{{"Ansel Quorrie", lane.Right}, {"Bettany Voss-Lark", lane.Left}, {"Caspian Dree", lane.Right}, {"Dorrit Holloway-Penn", lane.Right}, {"Eamon Sallowfield", lane.Left}} {
		w.people = append(
			w.people,
			create(
				w,
				&record.Athlete{Name: one.name, Side: one.side, SpeedMPH: ptr(17.5), RevRateRPM: ptr(330.0)},
			),
		)
	}
	w.pattern = create(w, &record.Pattern{Name: "Long Meadow 44", LengthFt: 44, Loads: []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 3, ULPerBoard: 45, StartFt: 0, EndFt: 30},
		{Direction: oil.Out, FromBoard: 8, ToBoard: 32, Count: 2, ULPerBoard: 45, StartFt: 0, EndFt: 44},
		{Direction: oil.Back, FromBoard: 11, ToBoard: 29, Count: 2, ULPerBoard: 45, StartFt: 36, EndFt: 8},
	}})
	w.flat = create(w, &record.Pattern{Name: "Slate Reach 47", LengthFt: 47, Loads: []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 4, ULPerBoard: 70, StartFt: 0, EndFt: 36},
		{Direction: oil.Back, FromBoard: 2, ToBoard: 38, Count: 2, ULPerBoard: 70, StartFt: 12, EndFt: 47},
		{Direction: oil.Back, FromBoard: 9, ToBoard: 31, Count: 2, ULPerBoard: 70, StartFt: 4, EndFt: 42},
	}})
	for _, ball := range []*record.Ball{
		{Name: "Invented Ember", RGIn: ptr(2.48), SurfaceGrit: ptr(int32(1000))}, {Name: "Invented Pebble", RGIn: ptr(2.62), SurfaceGrit: ptr(int32(4000))},
	} {
		ball.AthleteID, ball.WeightLB = w.people[0].ID, 15
		w.balls = append(w.balls, create(w, ball))
	}
	w.drill = create(w, &record.Drill{
		Name:      "Play inside",
		Rules:     []drill.Rule{w.rule("keep the ball at board 10 or inside")},
		Reps:      30,
		PassShare: 0.8,
		PatternID: &w.pattern.ID,
	})
	slow := create(w, &record.Drill{
		Name: "Slow it down",
		Rules: []drill.Rule{
			w.rule("Keep the speed between 16 and 17.5 mph"),
			w.rule("Keep the ball between boards 8 and 14 at the arrows"),
		},
		Reps:      20,
		PassShare: 0.7,
	})
	for i, person := range w.people {
		create(
			w,
			&record.Assignment{DrillID: w.drill.ID, AthleteID: person.ID, AssignedOn: dayOf(t, "2026-03-02")},
		)
		if i < 3 {
			create(
				w,
				&record.Assignment{
					DrillID:    slow.ID,
					AthleteID:  person.ID,
					AssignedOn: dayOf(t, "2026-03-02"),
					DueOn:      ptr(dayOf(t, "2026-03-20")),
				},
			)
		}
		for night := range 2 {
			session := create(w, &record.Session{
				Form:      "practice",
				Name:      fmt.Sprintf("Practice %d", night+1),
				Date:      dayOf(t, fmt.Sprintf("2026-03-%02d", 3+2*night)),
				Centre:    "Thistle Row",
				Lanes:     []int32{11, 12},
				PatternID: &w.pattern.ID,
				AthleteID: &person.ID,
			})
			if i == 0 && night == 0 {
				w.session = session
			}
			shots := []int{45, 60, 36, 9, 0}[i]
			if shots > 0 {
				w.upload(session.ID, inventedLog(uint64(10*i+night), shots, []float64{11.6, 12.4, 9.3, 11, 0}[i]))
			}
		}
	}
	return w
}

// inventedLog is a made-up log of shots whose breakpoints scatter about a board.
func inventedLog(seed uint64, shots int, about float64) string {
	draw := rand.New(rand.NewPCG(seed, 2026))
	var log strings.Builder
	log.WriteString(
		"time,arrows_board,breakpoint_board,breakpoint_ft,entry_board,entry_angle_deg,speed_mph,board_se,standing\n",
	)
	round := func(v float64) float64 { return math.Round(v*10) / 10 }
	for i := range shots {
		board := about + 1.7*draw.NormFloat64()
		entry := 17.3 + 0.55*(board-about) + 0.7*draw.NormFloat64()
		standing := []string{"10", "7", "4-7", "6-10", "3-6-10"}[draw.IntN(5)]
		if math.Abs(entry-17.4) < 0.75 && draw.Float64() < 0.8 || draw.Float64() < 0.12 {
			standing = "strike"
		}
		written := fmt.Sprint(round(board))
		if draw.Float64() < 0.06 {
			written = "" // not seen
		}
		fmt.Fprintf(
			&log,
			"2026-03-03T18:%02d:%02dZ,%g,%s,%g,%g,%g,%g,0.5,%s\n",
			i/60,
			i%60,
			round(board+1.5+0.6*draw.NormFloat64()),
			written,
			round(
				41.5+1.3*draw.NormFloat64(),
			),
			round(entry),
			round(5+0.5*draw.NormFloat64()),
			round(17+0.5*draw.NormFloat64()),
			standing,
		)
	}
	return log.String()
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

func (w *world) rule(sentence string) drill.Rule {
	w.t.Helper()
	reading, _, err := w.svc.ReadSentence(w.t.Context(), w.coach, w.squad, sentence)
	must(w.t, err)
	return reading.Rules[0]
}

func (w *world) upload(session uuid.UUID, log string) {
	w.t.Helper()
	result, err := w.svc.Upload(
		w.t.Context(),
		w.coach,
		w.squad,
		service.Log{Format: service.LogCSV, Body: strings.NewReader(log), Session: session},
	)
	must(w.t, err)
	for _, row := range result.Outcomes {
		if row.Status != service.StatusStored {
			w.t.Fatalf("row %d of an invented log is %s: %v", row.Row, row.Status, row.Faults)
		}
	}
}

// member signs somebody up and lets them join the squad.
func (w *world) member(email string, role record.Role, athlete *uuid.UUID) uuid.UUID {
	w.t.Helper()
	user := w.signUp(email, "Member "+email)
	made, err := w.svc.Invite(w.t.Context(), w.coach, w.squad, role, athlete)
	must(w.t, err)
	_, _, err = w.svc.Join(w.t.Context(), user, made.Code)
	must(w.t, err)
	return user
}

func create[R record.Record](w *world, record R) R {
	w.t.Helper()
	made, _, err := w.svc.Create(w.t.Context(), w.coach, w.squad, record)
	must(w.t, err)
	return made.(R)
}

func dayOf(t testing.TB, text string) record.Day {
	t.Helper()
	day, err := record.ParseDay(text)
	must(t, err)
	return day
}

func ptr[T any](value T) *T { return &value }

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// logWithMistakes is what a spreadsheet's way of writing makes of a log.
const logWithMistakes = `order;time;laydown_board;breakpoint_board;breakpoint_ft;speed_mph;standing
201;2026-03-03T20:00:00Z;22;11.5;42;16.8;strike
202;2026-03-03T20:01:00Z;22,5;11;41;16.9;10
203;2026-03-03T20:02:00Z;41;;;;7-11
204;2026-03-03T20:03:00Z;;;;;
`
