package logger_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/api/web/logger"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/phone"
	"laneward/service/record"
	"laneward/service/shot"
)

var update = flag.Bool("update", false, "write the golden files anew")

// practiceRequest is what the page opens a practice with.
type practiceRequest struct {
	Athlete     *record.Athlete      `json:"athlete"`
	Session     uuid.UUID            `json:"session"`
	Drill       *record.Drill        `json:"drill"`
	Sessions    []*record.Session    `json:"sessions"`
	Assignments []*record.Assignment `json:"assignments"`
	Balls       []*record.Ball       `json:"balls"`
	Shots       []shot.Shot          `json:"shots"`
}

// practices draws drills and logs at random, many of their numbers on whole and half boards, where
// edges lie.
func practices(n int) []practiceRequest {
	draw := drawer{rand.New(rand.NewPCG(2026, 11))}
	day := record.Day{Time: time.Date(2026, 3, 14, 0, 0, 0, 0, time.UTC)}
	var requests []practiceRequest
	for len(requests) < n {
		asked := draw.drill()
		if asked.Drill().Validate() != nil {
			continue
		}
		side := []lane.Side{lane.Right, lane.Left}[draw.IntN(2)]
		request := practiceRequest{Drill: asked, Athlete: &record.Athlete{Name: "Ansel Quorrie", Side: side}}
		request.Athlete.ID, asked.ID = draw.id(), draw.id()
		for id, name := range ballNames {
			ball := &record.Ball{Name: name}
			ball.ID = id
			request.Balls = append(request.Balls, ball)
		}
		for range 2 {
			session := &record.Session{Date: day}
			session.ID = draw.id()
			request.Sessions = append(request.Sessions, session)
		}
		request.Session = request.Sessions[1].ID
		request.Assignments = []*record.Assignment{{DrillID: asked.ID, AthleteID: request.Athlete.ID, AssignedOn: day}}
		for i := range draw.IntN(36) {
			s := draw.shot()
			s.ID, s.SessionID, s.AthleteID, s.Order = draw.id(), request.Sessions[i/18].ID, request.Athlete.ID, i+1
			request.Shots = append(request.Shots, s)
		}
		requests = append(requests, request)
	}
	return requests
}

type drawer struct{ *rand.Rand }

var (
	ballIDs   = []uuid.UUID{{1, 15: 1}, {2, 15: 2}, {3, 15: 3}, {4, 15: 4}, {5, 15: 5}}
	ballNames = map[uuid.UUID]string{
		ballIDs[0]: "Grey pearl",
		ballIDs[1]: "Two  tone",
		ballIDs[2]: "two tone",
		ballIDs[3]: `A "quoted" one`,
	}
)

func (d drawer) id() (id uuid.UUID) {
	for i := range id {
		id[i] = byte(d.IntN(256))
	}
	id[6], id[8] = id[6]&0x0f|0x70, id[8]&0x3f|0x80
	return id
}

// near draws a number about a middle on a grid, now and then a finer one.
func (d drawer) near(middle, spread, step float64) float64 {
	if d.IntN(4) == 0 {
		step /= 10
	}
	return math.Round(math.Round((middle+spread*d.NormFloat64())/step)*step*1000) / 1000
}

func (d drawer) maybe(share float64, value float64) *float64 {
	if d.Float64() >= share {
		return nil
	}
	return &value
}

func (d drawer) drill() *record.Drill {
	made := &record.Drill{Name: "Drawn", Reps: int32(1 + d.IntN(40)), PassShare: []float64{0.05, 0.3, 0.5, 0.5, 0.7, 0.8, 0.9, 1}[d.IntN(8)]}
	for range 1 + max(0, d.IntN(5)-2) {
		made.Rules = append(made.Rules, d.rule())
	}
	return made
}

func (d drawer) rule() drill.Rule {
	numbers := []drill.Measure{
		drill.Board,
		drill.Board,
		drill.Board,
		drill.LaunchAngle,
		drill.EntryAngle,
		drill.Speed,
		drill.RevRate,
		drill.Rotation,
		drill.Tilt,
		drill.BreakpointDistance,
	}
	r := drill.Rule{Measure: numbers[d.IntN(len(numbers))]}
	subject := r.Measure
	switch d.IntN(12) {
	case 5:
		return drill.Rule{Measure: drill.Split}
	case 0:
		r = drill.Rule{Measure: drill.Ball}
		for _, i := range d.Perm(len(ballIDs))[:1+d.IntN(3)] {
			r.Balls = append(r.Balls, ballIDs[i])
		}
		return r
	case 1:
		r = drill.Rule{Measure: drill.Leave, Leaves: []lane.PinSet{1 << 9, 1<<6 | 1<<9}[:1+d.IntN(2)]}
		return r
	case 2, 3, 4:
		if subject != drill.BreakpointDistance {
			r.Of, r.Measure = r.Measure, drill.Move
		}
	}
	if subject == drill.Board {
		if at := []drill.Place{drill.Laydown, drill.Arrows, drill.Breakpoint, drill.Entry, ""}[d.IntN(5)]; at != "" {
			r.At = at
		} else {
			ft := []float64{0, 15, 30, 38.5, 45, 60}[d.IntN(6)]
			if r.AtFt = &ft; r.Measure == drill.Board && d.IntN(2) == 0 {
				r.AtFt, r.PastFt = nil, &ft
			}
		}
	}
	low, high := d.bounds(subject, r.Measure == drill.Move)
	switch d.IntN(3) {
	case 0:
		r.Min = &low
	case 1:
		r.Max = &high
	default:
		r.Min, r.Max = &low, &high
	}
	return r
}

func (d drawer) bounds(subject drill.Measure, move bool) (low, high float64) {
	middle := map[drill.Measure][2]float64{
		drill.Board: {12, 1}, drill.BreakpointDistance: {42, 2}, drill.LaunchAngle: {1.5, 0.5}, drill.EntryAngle: {5, 0.5}, drill.Speed: {17, 0.5}, drill.RevRate: {320, 10},
		drill.Rotation: {50, 5}, drill.Tilt: {14, 1},
	}[subject]
	if move {
		if d.IntN(3) == 0 {
			width := middle[1] * float64(1+d.IntN(3))
			return -width, width
		}
		middle[0] = 0
	}
	low = d.near(middle[0], 3*middle[1], middle[1])
	if d.IntN(2) == 0 {
		low -= 6 * middle[1] // an easy one
	}
	return low, low + middle[1]*float64(d.IntN(12))
}

func (d drawer) shot() shot.Shot {
	s := shot.Shot{
		Time:         time.Date(2026, 3, 14, 18, 0, 0, 0, time.UTC),
		Source:       []string{"", "eye", "video", "Sensor"}[d.IntN(4)],
		LaydownBoard: d.maybe(0.6, d.near(18, 3, 1)),
		ArrowsBoard:  d.maybe(0.6, d.near(14, 3, 1)),
		BreakpointBoard: d.maybe(
			0.6,
			d.near(11, 2, 0.5),
		),
		BreakpointFt: d.maybe(0.6, d.near(42, 2, 1)),
		EntryBoard:   d.maybe(0.6, d.near(17.5, 1, 0.5)),
		EntryAngleDeg: d.maybe(
			0.5,
			d.near(5, 1, 0.5),
		),
		LaunchAngleDeg: d.maybe(0.5, d.near(1.5, 1, 0.5)),
		SpeedMPH:       d.maybe(0.6, d.near(17, 1, 0.5)),
		RevRateRPM: d.maybe(
			0.6,
			d.near(320, 30, 10),
		),
		RotationDeg: d.maybe(0.6, d.near(50, 10, 5)),
		TiltDeg:     d.maybe(0.6, d.near(14, 2, 1)),
	}
	if d.IntN(4) == 0 {
		s.Errors = shot.StandardErrors{
			Board:      d.maybe(0.7, 0.25),
			AngleDeg:   d.maybe(0.5, 0.4),
			SpeedMPH:   d.maybe(0.5, 0.3),
			RevRateRPM: d.maybe(0.5, 5),
			AxisDeg:    d.maybe(0.5, 2),
		}
	}
	if d.IntN(3) == 0 {
		s.Track = d.track()
	}
	if d.IntN(3) > 0 {
		standing := []lane.PinSet{0, 0, 1 << 9, 1<<6 | 1<<9, 1 << 6, lane.FullRack, lane.PinSet(d.IntN(1024))}[d.IntN(7)]
		s.Standing = &standing
		if standing == lane.FullRack && d.IntN(2) == 0 { // a gutter ball of which little was seen
			s.BreakpointBoard, s.BreakpointFt, s.EntryBoard, s.EntryAngleDeg, s.Track = nil, nil, nil, nil, nil
		}
		if standing == lane.FullRack && d.IntN(3) == 0 {
			s.BreakpointBoard = d.maybe(1, []float64{0.2, 40}[d.IntN(2)])
		}
	}
	if d.IntN(12) == 0 {
		s.Gutter = []lane.Side{lane.Right, lane.Left}[d.IntN(2)]
	}
	if d.IntN(3) > 0 {
		s.BallID = &ballIDs[d.IntN(len(ballIDs))]
	}
	return s
}

// track is a path that goes out and comes back, read at a few distances.
func (d drawer) track() (track []shot.TrackPoint) {
	out, turn := d.near(9, 2, 0.5), d.near(42, 3, 1)
	for ft := 3.0 + float64(d.IntN(5)); ft < 60; ft += 4 + float64(d.IntN(8)) {
		board := out + math.Abs(ft-turn)*0.2 + 0.01*(ft-turn)*(ft-turn)*0.3
		track = append(track, shot.TrackPoint{Ft: ft, Board: math.Min(40, math.Round(board*10)/10)})
	}
	return track
}

// compareAnswers has the module answer the same calls and lists where it says otherwise. Words have
// to be the same, numbers to within 1e-9 of the larger of themselves and 1, and a whole number in
// words to within 1: another machine's functions may round otherwise.
const compareAnswers = `(async () => {
	const call = await (await import("/logger/engine.js")).engine();
	const cases = (await (await fetch("/cases")).text()).trim().split("\n").map((line) => JSON.parse(line));
	const faults = []; let compared = 0;
	const alike = (got, want) => {
		if (typeof got !== "string" || typeof want !== "string" || got.replace(/\d+/g, "#") !== want.replace(/\d+/g, "#")) return false;
		const theirs = want.match(/\d+/g);
		return got.match(/\d+/g).every((number, i) => Math.abs(number - theirs[i]) <= 1);
	};
	const compare = (where, got, want) => {
		if (typeof want === "object" && want !== null && typeof got === "object" && got !== null) {
			for (const name of new Set([...Object.keys(got), ...Object.keys(want)])) compare(where + "/" + name, got[name], want[name]);
			return;
		}
		compared++;
		const near = typeof got === "number" && typeof want === "number" && Math.abs(got - want) <= 1e-9 * Math.max(1, Math.abs(want));
		if (!near && got !== want && !alike(got, want)) faults.push(where + ": " + got + ", want " + want);
	};
	cases.forEach(({ name, request, answer }, n) => compare(n + " " + name, call(name, request), answer));
	return JSON.stringify({ compared, faults: faults.length, first: faults.slice(0, 20) });
})()`

// asked is a call of the engine and its answer on this machine.
type asked struct {
	Name    string          `json:"name"`
	Request any             `json:"request"`
	Answer  json.RawMessage `json:"answer"`
}

// The module answers as the same packages do here.
func TestModuleJudgesAsTheServer(t *testing.T) {
	engine := phone.New()
	var lines bytes.Buffer
	encoder := json.NewEncoder(&lines)
	put := func(name string, request any) {
		t.Helper()
		body, err := json.Marshal(request)
		must(t, err)
		answer, err := engine.Call(name, body)
		must(t, err)
		must(t, encoder.Encode(asked{name, request, answer}))
	}
	counts := map[string]int{}
	for i, request := range practices(240) {
		put("open", request)
		for _, s := range request.Shots {
			counts["shots"]++
			if s.Order%9 == 0 {
				put("look", map[string]any{"practice": i + 1, "shot": s})
			}
		}
		if len(request.Shots) > 0 {
			put("remove", map[string]any{"practice": i + 1, "id": request.Shots[0].ID})
			put("replace", map[string]any{"practice": i + 1, "shot": request.Shots[0]})
		}
	}
	put("sentences", map[string]any{"drills": []*record.Drill{practices(1)[0].Drill}, "balls": practices(1)[0].Balls})
	for _, kind := range []string{
		"met", "not met", "too few shots", "measured", "estimated", "kept", "broken", "unknown", "withdrawn",
	} {
		if n := bytes.Count(lines.Bytes(), []byte(`"`+kind+`"`)); n < 5 {
			t.Errorf("only %d answers say %q: the cases do not try it", n, kind)
		}
	}
	d := blankPage(t, "cases", lines.Bytes())
	var result struct {
		Compared, Faults int
		First            []string
	}
	must(t, json.Unmarshal([]byte(eval[string](d, compareAnswers)), &result))
	for _, fault := range result.First {
		t.Error(fault)
	}
	if result.Faults > 0 || result.Compared < 30_000 {
		t.Errorf("%d faults in %d values", result.Faults, result.Compared)
	}
	t.Logf("%d shots, %d values are the same", counts["shots"], result.Compared)
}

// blankPage opens a page of the logger's origin with none of its own script running, and one file
// beside it.
func blankPage(t *testing.T, name string, body []byte) *device {
	t.Helper()
	needModule(t)
	mux := http.NewServeMux()
	mux.Handle("/logger/", logger.Handler())
	mux.HandleFunc("/"+name, func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write(body) })
	mux.HandleFunc("/blank", func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprint(w, "<!DOCTYPE html><link rel=icon href=data:,>")
	})
	server := httptest.NewServer(mux)
	t.Cleanup(server.Close)
	d := newDevice(t, startBrowser(t), server.URL)
	d.open("../blank")
	return d
}

// Where the program was built without the module, the page shows what the server says of the shots
// that are sent.
func TestServerJudgesWithoutTheModule(t *testing.T) {
	w := newWorldOf(t, logger.WithoutModule())
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.begin(athleteEmail, w.session.Name)
	d.tapLane(12, 42)
	d.waitText("The server judges it once it is sent")
	d.click(".strike")
	d.save()
	d.tapLane(4, 42)
	d.click(".strike")
	d.save()
	d.waitSent()
	d.open("#/start")
	d.waitText("Keep the ball at board 10 or inside at the breakpoint")
	d.open("#/log")
	d.waitText("1 of 2")
	d.wait("the verdicts of both", `document.querySelectorAll(".last .sign.kept, .last .kept").length >= 1 && document.querySelectorAll(".last .sign.broken, .last .broken").length >= 1`)
}

// compareDays lists the days that the page's own module writes otherwise than the golden file.
const compareDays = `(async () => {
	const { formFor, dayText, weekdayText } = await import("/logger/dates.js");
	const cases = await (await fetch("/days")).json();
	const faults = cases.map(({ language, date, day, weekday }) => {
		const form = formFor([language]);
		const got = [dayText(date, form), weekdayText(date, form)];
		return got[0] === day && got[1] === weekday ? "" : language + ": " + got.join(" and ") + ", want " + day + " and " + weekday;
	}).filter(Boolean);
	return JSON.stringify({ cases: cases.length, faults });
})()`

// The page writes days exactly as the pages of the server do.
func TestPageWritesDaysAsTheServer(t *testing.T) {
	golden, err := os.ReadFile("../dates/testdata/days.json")
	must(t, err)
	d := blankPage(t, "days", golden)
	var result struct {
		Cases  int
		Faults []string
	}
	must(t, json.Unmarshal([]byte(eval[string](d, compareDays)), &result))
	for _, fault := range result.Faults {
		t.Error(fault)
	}
	if result.Cases < 40 {
		t.Errorf("only %d days were compared", result.Cases)
	}
}
