package server

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/netip"
	"slices"
	"time"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
	"laneward/service/record"
	"laneward/service/shot"
)

var loopback = netip.MustParseAddr("127.0.0.1")

// demoSpace is the namespace of the example's ids, so that loading it twice stores it once.
var demoSpace = uuid.MustParse("9c6f5a0e-5f0b-5c57-9a55-0d3a7f1f8f10")

func demoID(name string) uuid.UUID { return uuid.NewSHA1(demoSpace, []byte(name)) }

// demoPerson is an invented athlete: how they throw, how much it scatters, and where they like the
// ball to turn.
type demoPerson struct {
	name           string
	side           lane.Side
	speedMPH       float64
	revRPM         float64
	rotationDeg    float64
	tiltDeg        float64
	slideOffset    float64
	laydownSD      float64 // boards
	angleSD        float64 // degrees
	breakpointHome float64 // the board the athlete likes the ball to turn at, whatever was asked
	heeds          float64 // share of the way from there to what was asked
	source         string  // eye reads whole boards, sensor does not
	sessions       int
}

var demoPeople = []demoPerson{
	{"Ansa Verrowe", lane.Right, 17.2, 330, 50, 12, 6, 0.5, 0.22, 9, 1, "sensor", 8},
	{"Bramwin Tellisk", lane.Right, 18.4, 290, 40, 10, 7, 0.8, 0.35, 5, 0.35, "sensor", 8},
	{"Catrisse Wynholm", lane.Left, 16.8, 360, 60, 14, 5, 0.6, 0.25, 9, 0.9, "eye", 8},
	{"Dilvan Orrestad", lane.Right, 19.0, 400, 65, 16, 6, 0.7, 0.30, 8, 0.75, "sensor", 8},
	{"Esmerel Hathgard", lane.Left, 16.2, 260, 35, 9, 7, 0.9, 0.40, 7, 0.8, "eye", 8},
}

// demoLoads are invented load tables: a long flat one, a middling one and one like a house's, with
// much less oil outside.
var demoLoads = []struct {
	name     string
	lengthFt float64
	loads    []oil.Load
}{
	{"Invented Longshore", 47, []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 4, ULPerBoard: 80, StartFt: 0, EndFt: 34},
		{Direction: oil.Out, FromBoard: 6, ToBoard: 34, Count: 1, ULPerBoard: 80, StartFt: 0, EndFt: 40},
		{Direction: oil.Back, FromBoard: 2, ToBoard: 38, Count: 3, ULPerBoard: 80, StartFt: 12, EndFt: 47},
		{Direction: oil.Back, FromBoard: 9, ToBoard: 31, Count: 2, ULPerBoard: 80, StartFt: 4, EndFt: 42},
	}},
	{"Invented Midwater", 42, []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 2, ULPerBoard: 80, StartFt: 0, EndFt: 26},
		{Direction: oil.Out, FromBoard: 8, ToBoard: 32, Count: 3, ULPerBoard: 80, StartFt: 0, EndFt: 36},
		{Direction: oil.Back, FromBoard: 2, ToBoard: 38, Count: 1, ULPerBoard: 80, StartFt: 10, EndFt: 42},
		{Direction: oil.Back, FromBoard: 11, ToBoard: 29, Count: 4, ULPerBoard: 80, StartFt: 2, EndFt: 38},
	}},
	{"Invented Homefire", 40, []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 1, ULPerBoard: 70, StartFt: 0, EndFt: 18},
		{Direction: oil.Out, FromBoard: 11, ToBoard: 29, Count: 6, ULPerBoard: 70, StartFt: 0, EndFt: 36},
		{Direction: oil.Back, FromBoard: 9, ToBoard: 31, Count: 4, ULPerBoard: 70, StartFt: 2, EndFt: 40},
	}},
}

// demoDrills are what the coach of the example asks for; sessions alternate between them.
var demoDrills = []struct {
	name, sentence string
	reps           int32
	pass           float64
}{
	{"Play inside", "Keep the ball at board 10 or inside", 30, 0.8},
	{"Cross inside", "Keep the ball between boards 18 and 28 at the arrows", 30, 0.7},
	{"Hold the speed", "Keep the speed between 16 and 18 mph", 30, 0.8},
}

// askedBoard is where the example's drill wants the ball: at board 10 or inside.
const askedBoard = 10

// demoMaker holds what loading the example needs.
type demoMaker struct {
	svc   *service.Service
	coach uuid.UUID
	squad uuid.UUID
	today time.Time
	films map[string]*oil.Film
}

// loadDemo stores the example through the use cases a coach and the athletes would use. Loading it
// again changes nothing.
func loadDemo(ctx context.Context, svc *service.Service, now time.Time) (demoSquad, error) {
	coach, err := demoSignIn(ctx, svc, demoCoach, "Invented Coach")
	if err != nil {
		return demoSquad{}, err
	}
	m := &demoMaker{
		svc:   svc,
		coach: coach.User,
		squad: demoID("squad"),
		today: now.UTC().Truncate(24 * time.Hour),
		films: map[string]*oil.Film{},
	}
	made := demoSquad{session: "Tonight"}
	squad := &record.Squad{
		Head:     record.Head{ID: m.squad},
		Name:     "Thursday squad (invented example)",
		Invented: true,
	}
	if _, created, err := svc.CreateSquad(ctx, m.coach, squad); err != nil || !created {
		return made, err
	}
	for _, step := range []func(context.Context) error{m.patterns, m.athletes, m.drills, m.members} {
		if err := step(ctx); err != nil {
			return made, err
		}
	}
	for i, person := range demoPeople {
		if err := m.practise(ctx, i, person); err != nil {
			return made, fmt.Errorf("%s: %w", person.name, err)
		}
	}
	ansa := demoID(demoPeople[0].name)
	return made, m.store(ctx, &record.Session{
		Head: record.Head{
			ID: demoID(made.session),
		},
		Form:      "practice",
		Name:      made.session,
		Date:      m.day(demoDays),
		Centre:    "an invented centre",
		AthleteID: &ansa,
		Note:      "Invented; waits for a log.",
	})
}

func (m *demoMaker) store(ctx context.Context, record record.Record) error {
	_, _, err := m.svc.Create(ctx, m.coach, m.squad, record)
	return err
}

func (m *demoMaker) patterns(ctx context.Context) error {
	for _, p := range demoLoads {
		film, err := oil.Table{Name: p.name, Loads: p.loads}.Film()
		if err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
		m.films[p.name] = film.WithEdges()
		record := &record.Pattern{
			Head:     record.Head{ID: demoID(p.name)},
			Name:     p.name,
			LengthFt: p.lengthFt,
			Loads:    p.loads,
			Note:     "Invented.",
		}
		if err := m.store(ctx, record); err != nil {
			return err
		}
	}
	return nil
}

func (m *demoMaker) athletes(ctx context.Context) error {
	solid, pearl, gyration, stiff := "solid", "pearl", 2.5, 2.56
	flare, grit, shine := 0.045, int32(2000), int32(5000)
	for _, p := range demoPeople {
		athlete := &record.Athlete{
			Head: record.Head{
				ID: demoID(p.name),
			},
			Name:        p.name,
			Side:        p.side,
			SpeedMPH:    &p.speedMPH,
			RevRateRPM:  &p.revRPM,
			RotationDeg: &p.rotationDeg,
			TiltDeg:     &p.tiltDeg,
			SlideOffset: &p.slideOffset,
			Note:        "Invented.",
		}
		dull := &record.Ball{
			Head: record.Head{
				ID: demoID(p.name + " dull"),
			},
			AthleteID:      athlete.ID,
			Name:           "dull solid",
			WeightLB:       15,
			RGIn:           &gyration,
			DifferentialIn: &flare,
			Cover:          &solid,
			SurfaceGrit:    &grit,
		}
		shiny := &record.Ball{
			Head: record.Head{
				ID: demoID(p.name + " shiny"),
			},
			AthleteID:      athlete.ID,
			Name:           "shiny pearl",
			WeightLB:       15,
			RGIn:           &stiff,
			DifferentialIn: &flare,
			Cover:          &pearl,
			SurfaceGrit:    &shine,
		}
		for _, record := range []record.Record{athlete, dull, shiny} {
			if err := m.store(ctx, record); err != nil {
				return err
			}
		}
	}
	return nil
}

// demoDays is how far back the example's two weeks begin.
const demoDays = 14

func (m *demoMaker) day(n int) record.Day {
	return record.Day{Time: m.today.AddDate(0, 0, n-demoDays)}
}

func (m *demoMaker) drills(ctx context.Context) error {
	for _, d := range slices.Backward(demoDrills) { // the first is created last, because the newest is shown first

		reading, err := drill.Read(d.sentence, nil)
		if err != nil {
			return err
		}
		rec := &record.Drill{
			Head: record.Head{
				ID: demoID(d.name),
			},
			Name:      d.name,
			Rules:     reading.Rules,
			Reps:      d.reps,
			PassShare: d.pass,
			Note:      "Invented.",
		}
		if err := m.store(ctx, rec); err != nil {
			return err
		}
		for _, p := range demoPeople {
			due := m.day(demoDays)
			given := &record.Assignment{
				Head: record.Head{
					ID: demoID(d.name + p.name),
				},
				DrillID:    rec.ID,
				AthleteID:  demoID(p.name),
				AssignedOn: m.day(0),
				DueOn:      &due,
			}
			if err := m.store(ctx, given); err != nil {
				return err
			}
		}
	}
	return nil
}

// members lets one athlete and one analyst in, by invitations like anyone else.
func (m *demoMaker) members(ctx context.Context) error {
	ansa := demoID(demoPeople[0].name)
	for _, p := range []struct {
		email, name string
		role        record.Role
		athlete     *uuid.UUID
	}{
		{demoAthlete, demoPeople[0].name, record.RoleAthlete, &ansa},
		{demoAnalyst, "Invented Analyst", record.RoleAnalyst, nil},
	} {
		tokens, err := demoSignIn(ctx, m.svc, p.email, p.name)
		if err != nil {
			return err
		}
		invitation, err := m.svc.Invite(ctx, m.coach, m.squad, p.role, p.athlete)
		if err != nil {
			return err
		}
		if _, _, err := m.svc.Join(ctx, tokens.User, invitation.Code); err != nil {
			return err
		}
	}
	return nil
}

// shotsASession times the sessions of all athletes is about two thousand.
const shotsASession = 50

func demoSessionName(p demoPerson, n int) string { return fmt.Sprintf("Practice %d of %s", n, p.name) }

// practise stores an athlete's sessions: each a log of shots, uploaded as the athlete's device
// would.
func (m *demoMaker) practise(ctx context.Context, index int, p demoPerson) error {
	random := rand.New(rand.NewPCG(2026, uint64(index))) //nolint:gosec // the example is to come out the same each time
	for n := 1; n <= p.sessions; n++ {
		pattern := demoLoads[(n-1)%len(demoLoads)].name
		patternID, athlete := demoID(pattern), demoID(p.name)
		session := &record.Session{
			Head: record.Head{
				ID: demoID(fmt.Sprint(p.name, n)),
			},
			Form:      "practice",
			Name:      demoSessionName(p, n),
			Date:      m.day(n + n/2),
			Centre:    "an invented centre",
			Lanes:     []int32{11, 12},
			PatternID: &patternID,
			AthleteID: &athlete,
		}
		if err := m.store(ctx, session); err != nil {
			return err
		}
		shots, err := p.throw(random, m.films[pattern], session)
		if err != nil {
			return err
		}
		if err := m.upload(ctx, session.ID, demoID(demoDrills[(n-1)%len(demoDrills)].name), shots); err != nil {
			return err
		}
	}
	return nil
}

func (m *demoMaker) upload(ctx context.Context, session, thrownFor uuid.UUID, shots []shot.Shot) error {
	var body bytes.Buffer
	if err := json.NewEncoder(&body).Encode(shots); err != nil {
		return err
	}
	log := service.Log{Format: service.LogJSON, Body: &body, Session: session, Drill: thrownFor}
	result, err := m.svc.Upload(ctx, m.coach, m.squad, log)
	if err != nil {
		return err
	}
	for _, row := range result.Outcomes {
		if row.Status != service.StatusStored {
			return fmt.Errorf("shot %d: %s %v", row.Row, row.Status, row.Faults)
		}
	}
	return nil
}

// release is how the person means to throw from a laydown board at a launch angle.
func (p demoPerson) release(laydown, angleDeg float64) motion.Release {
	return motion.Release{
		LaydownBoard:   laydown,
		LaunchAngleDeg: angleDeg,
		SpeedMPH:       p.speedMPH,
		RevRPM:         p.revRPM,
		RotationDeg:    p.rotationDeg,
		TiltDeg:        p.tiltDeg,
	}
}
