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
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/api/web/logger"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/shot"
)

var update = flag.Bool("update", false, "write the golden files anew")

const judgeGolden = "testdata/judge.ndjson"

// judgeCase is a drill, a log of shots, and what service/drill says of them: what the page has to
// say too.
type judgeCase struct {
	Side  lane.Side            `json:"side"`
	Drill judgeDrill           `json:"drill"`
	Names map[uuid.UUID]string `json:"names,omitempty"`
	Shots []shot.Shot          `json:"shots"`
	Want  judgeWant            `json:"want"`
}

type judgeDrill struct {
	Rules     []drill.Rule `json:"rules"`
	Reps      int          `json:"reps"`
	PassShare float64      `json:"pass_share"`
}

type judgeWant struct {
	Sentences []string     `json:"sentences"`
	Judged    []wantedShot `json:"judged"`
	Score     wantedScore  `json:"score"`
}

type wantedShot struct {
	Verdict     drill.Verdict     `json:"verdict"`
	Probability json.Number       `json:"probability"`
	Doubt       string            `json:"doubt,omitempty"`
	Rules       []wantedJudgement `json:"rules"`
}

type wantedJudgement struct {
	Verdict       drill.Verdict `json:"verdict"`
	Basis         drill.Basis   `json:"basis,omitempty"`
	Value         json.Number   `json:"value,omitempty"`
	StandardError json.Number   `json:"standardError,omitempty"`
	Margin        json.Number   `json:"margin,omitempty"`
	Probability   json.Number   `json:"probabilityKept,omitempty"`
	Miss          drill.Miss    `json:"miss,omitempty"`
	Reason        string        `json:"reason,omitempty"`
}

type wantedScore struct {
	Kept          int                `json:"kept"`
	Broken        int                `json:"broken"`
	Unknown       int                `json:"unknown"`
	LongestRun    int                `json:"longestRun"`
	OutsideMisses int                `json:"outsideMisses"`
	InsideMisses  int                `json:"insideMisses"`
	RepsLeft      int                `json:"repsLeft"`
	GutterBalls   int                `json:"gutterBalls"`
	Coverage      json.Number        `json:"coverage"`
	Low           json.Number        `json:"low"`
	High          json.Number        `json:"high"`
	AtLeast       json.Number        `json:"atLeast"`
	AtMost        json.Number        `json:"atMost"`
	Share         *json.Number       `json:"share"`
	MeanMargin    *json.Number       `json:"meanMargin"`
	MarginUnit    string             `json:"marginUnit"`
	Verdict       drill.DrillVerdict `json:"verdict"`
	Progress      json.Number        `json:"progress"`
	KeptToMet     *int               `json:"keptToMet"`
	BrokenToNot   *int               `json:"brokenToNotMet"`
	DecidedAt     int                `json:"decidedAt"`
}

// written rounds to what the two languages' functions agree on, and more than anybody can read.
func written(v float64) json.Number { return json.Number(strconv.FormatFloat(v+0, 'g', 11, 64)) }

func unlessZero(v float64) json.Number {
	if v == 0 {
		return ""
	}
	return written(v)
}

func writtenOrNil(v *float64) *json.Number {
	if v == nil {
		return nil
	}
	n := written(*v)
	return &n
}

func (c *judgeCase) ask() {
	d := drill.Drill{Rules: c.Drill.Rules, Reps: c.Drill.Reps, PassShare: c.Drill.PassShare}
	for _, rule := range d.Rules {
		c.Want.Sentences = append(c.Want.Sentences, rule.Sentence(c.Names))
	}
	d = d.For(c.Side)
	judged := d.Judge(c.Shots)
	for _, j := range judged {
		w := wantedShot{Verdict: j.Verdict, Probability: written(j.ProbabilityKept), Doubt: j.Doubt()}
		for _, r := range j.Rules {
			w.Rules = append(w.Rules, wantedJudgement{
				r.Verdict,
				r.Basis,
				unlessZero(r.Value),
				unlessZero(r.StandardError),
				unlessZero(r.Margin),
				unlessZero(r.ProbabilityKept),
				r.Miss,
				r.Reason,
			})
		}
		c.Want.Judged = append(c.Want.Judged, w)
	}
	a := d.Score(c.Shots, judged)
	c.Want.Score = wantedScore{
		Kept:          a.Kept,
		Broken:        a.Broken,
		Unknown:       a.Unknown,
		LongestRun:    a.LongestRun,
		OutsideMisses: a.OutsideMisses,
		InsideMisses:  a.InsideMisses,
		GutterBalls:   a.GutterBalls,
		RepsLeft:      a.RepsLeft,
		Coverage:      written(a.Coverage),
		Low:           written(a.TrueShare.Interval.Low),
		High:          written(a.TrueShare.Interval.High),
		AtLeast:       written(a.TrueShare.Bounds.Low),
		AtMost:        written(a.TrueShare.Bounds.High),
		Share:         writtenOrNil(a.TrueShare.Share),
		MeanMargin:    writtenOrNil(a.MeanMargin),
		MarginUnit:    a.MarginUnit,
		Verdict:       a.Verdict,
		Progress:      written(a.Evidence.Progress),
		KeptToMet:     a.Evidence.KeptToMet,
		BrokenToNot:   a.Evidence.BrokenToNotMet,
		DecidedAt:     a.Evidence.DecidedAt,
	}
}

// judgeCases draws drills and logs at random, many of their numbers on whole and half boards, where
// edges lie.
func judgeCases() []judgeCase {
	draw := drawer{rand.New(rand.NewPCG(2026, 11))}
	var cases []judgeCase
	for len(cases) < 240 {
		c := judgeCase{Drill: draw.drill(), Side: []lane.Side{lane.Right, lane.Left}[draw.IntN(2)]}
		if (drill.Drill{Rules: c.Drill.Rules, Reps: c.Drill.Reps, PassShare: c.Drill.PassShare}).Validate() != nil {
			continue
		}
		for _, rule := range c.Drill.Rules {
			if len(rule.Balls) > 0 {
				c.Names = ballNames
			}
		}
		sessions := []uuid.UUID{draw.id(), draw.id()}
		athlete := draw.id()
		for i := range draw.IntN(36) {
			s := draw.shot()
			s.ID, s.SessionID, s.AthleteID, s.Order = draw.id(), sessions[i/18], athlete, i+1
			c.Shots = append(c.Shots, s)
		}
		c.ask()
		cases = append(cases, c)
	}
	return cases
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

func (d drawer) drill() judgeDrill {
	made := judgeDrill{Reps: 1 + d.IntN(40), PassShare: []float64{0.05, 0.3, 0.5, 0.5, 0.7, 0.8, 0.9, 1}[d.IntN(8)]}
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

// The golden file is what service/drill says today; if that changes, the page has to follow.
func TestJudgeGolden(t *testing.T) {
	var lines bytes.Buffer
	encoder := json.NewEncoder(&lines)
	encoder.SetEscapeHTML(false)
	for _, c := range judgeCases() {
		must(t, encoder.Encode(c))
	}
	if *update {
		must(t, os.MkdirAll(filepath.Dir(judgeGolden), 0o755))
		must(t, os.WriteFile(judgeGolden, lines.Bytes(), 0o644))
	}
	golden, err := os.ReadFile(judgeGolden)
	must(t, err)
	if !bytes.Equal(golden, lines.Bytes()) {
		t.Fatal(
			"service/drill says otherwise than the golden file: look at why, then run the test with -update and let the page follow",
		)
	}
	counts := map[string]int{}
	for _, c := range judgeCases() {
		counts["shots"] += len(c.Shots)
		for _, j := range c.Want.Judged {
			for _, r := range j.Rules {
				counts["judgements"]++
				counts[string(r.Verdict)+" "+string(r.Basis)]++
			}
		}
		counts[string(c.Want.Score.Verdict)]++
	}
	t.Logf("%v", counts)
	for _, kind := range []string{"kept measured", "kept estimated", "broken measured", "broken estimated", "unknown ", "kept ", "broken ", "met", "not met", "too few shots"} {
		if counts[kind] < 20 {
			t.Errorf("only %d cases are %q: the file does not try it", counts[kind], kind)
		}
	}
}

// compareJudging runs the page's own modules over the cases and lists where they say otherwise.
// Words have to be the same, numbers to within 1e-9 of the larger of themselves and 1.
const compareJudging = `(async () => {
	const [{ forSide, judgeAll }, { score }, { sentence }, { doubt }] = await Promise.all(["judge", "score", "sentence", "words"].map((name) => import("/logger/" + name + ".js")));
	const cases = (await (await fetch("/cases")).text()).trim().split("\n").map((line) => JSON.parse(line));
	const faults = []; let judgements = 0;
	cases.forEach((c, n) => {
		const check = (where, got, want) => {
			const near = typeof got === "number" && typeof want === "number" && Math.abs(got - want) <= 1e-9 * Math.max(1, Math.abs(want));
			if (!near && !Object.is(got ?? null, want ?? null)) faults.push("case " + (n + 1) + " " + where + ": " + got + ", want " + want);
		};
		const names = new Map(Object.entries(c.names ?? {}));
		c.drill.rules.forEach((rule, i) => check("sentence " + i, sentence(rule, names), c.want.sentences[i]));
		const judged = judgeAll(forSide(c.drill, c.side), c.shots ?? []);
		(c.want.judged ?? []).forEach((want, i) => {
			check("shot " + i, judged[i].verdict, want.verdict);
			check("shot " + i + " probability", judged[i].probabilityKept, want.probability);
			check("shot " + i + " doubt", doubt(judged[i]).replace("\u00a0", " "), want.doubt ?? "");
			want.rules.forEach((rule, j) => {
				judgements++;
				for (const [name, none] of Object.entries({ verdict: "", basis: "", value: 0, standardError: 0, margin: 0, probabilityKept: 0, miss: "", reason: "" })) {
					check("shot " + i + " rule " + j + " " + name, judged[i].rules[j][name], rule[name] ?? none);
				}
			});
		});
		const got = score(c.drill, judged);
		const flat = { ...got, ...got.evidence, low: got.interval.low, high: got.interval.high, verdict: got.verdict };
		for (const [name, want] of Object.entries(c.want.score)) check("score " + name, flat[name], want);
	});
	return JSON.stringify({ judgements, faults: faults.length, first: faults.slice(0, 20) });
})()`

// blankPage opens a page of the logger's origin with none of its own script running, and one file
// beside it.
func blankPage(t *testing.T, name string, body []byte) *device {
	t.Helper()
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

// The page judges exactly as the server does.
func TestPageJudgesAsTheServer(t *testing.T) {
	golden, err := os.ReadFile(judgeGolden)
	must(t, err)
	d := blankPage(t, "cases", golden)
	var result struct {
		Judgements, Faults int
		First              []string
	}
	must(t, json.Unmarshal([]byte(eval[string](d, compareJudging)), &result))
	for _, fault := range result.First {
		t.Error(fault)
	}
	if result.Faults > 0 || result.Judgements < 3000 {
		t.Errorf("%d faults in %d judgements", result.Faults, result.Judgements)
	}
	t.Logf("%d judgements are the same", result.Judgements)
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
