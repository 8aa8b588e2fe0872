package api_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/google/uuid"

	"laneward/openapi"
)

func init() {
	openapi3filter.RegisterBodyDecoder("image/png", openapi3filter.PlainBodyDecoder) // only answers are read with it
}

// lineRequest is a request for lines of the squad's first athlete, and what else it has.
func (q *squad) lineRequest(more map[string]any) map[string]any {
	body, _ := lineBody(more)(q, 0).(map[string]any)
	return body
}

func (q *squad) lines(path string, body any, accept string) call {
	c := call{method: http.MethodPost, path: q.path(path), token: q.coach.token, body: body}
	if accept != "" {
		c = c.with("Accept", accept)
	}
	return c
}

// Each computation comes as JSON of the contract, as lines with its progress, and as both kinds of
// picture.
func TestLineAnswers(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	q := s.newSquad(t, "Quillfen")
	against := map[string]any{"against": map[string]any{"worn": map[string]any{"shots": 10}}}
	grid := map[string]any{
		"grid": map[string]any{"laydown_from_board": 20, "laydown_to_board": 26, "angle_step_deg": 0.5},
	}
	for _, c := range []struct {
		path    string
		body    map[string]any
		streams bool
	}{
		{"plans", q.lineRequest(nil), true},
		{"comparisons", q.lineRequest(against), true},
		{"miss-maps", q.lineRequest(grid), true},
		{"paths", q.lineRequest(goodAim), false},
	} {
		t.Run(c.path, func(t *testing.T) {
			plain := s.do(t, q.lines(c.path, c.body, "")).want(http.StatusOK)
			if got := plain.header.Get("Content-Type"); got != "application/json" {
				t.Errorf("Content-Type %q", got)
			}
			for _, accept := range []string{"application/json", "*/*", "text/html, application/json;q=0.9", "text/html"} {
				again := s.do(t, q.lines(c.path, c.body, accept)).want(http.StatusOK)
				if !bytes.Equal(again.body, plain.body) {
					t.Errorf("Accept %q: the same request is answered otherwise", accept)
				}
			}
			isSVG(t, s.do(t, q.lines(c.path, c.body, "image/svg+xml")).want(http.StatusOK), "Quillfen athlete 1")
			isSVG(
				t,
				s.do(t, q.lines(c.path+"?width_px=800", c.body, "image/svg+xml, */*;q=0.1")).want(http.StatusOK),
				"Quillfen pattern",
			)
			picture := s.do(t, q.lines(c.path, c.body, "image/png")).want(http.StatusOK)
			if _, err := png.Decode(bytes.NewReader(picture.body)); err != nil {
				t.Error(err)
			}
			s.do(t, q.lines(c.path+"?width_px=100", c.body, "image/svg+xml")).want(http.StatusBadRequest)
			if c.streams {
				streamed(t, s.do(t, q.lines(c.path, c.body, "application/x-ndjson")).want(http.StatusOK), plain.body)
			}
		})
	}
}

func isSVG(t *testing.T, a *answer, holds string) {
	t.Helper()
	if got := a.header.Get("Content-Type"); got != "image/svg+xml" {
		t.Errorf("Content-Type %q", got)
	}
	decoder := xml.NewDecoder(bytes.NewReader(a.body))
	for {
		_, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if !strings.Contains(string(a.body), holds) {
		t.Errorf("the picture does not speak of %q", holds)
	}
}

// streamed holds that lines tell progress and end with the plain answer.
func streamed(t *testing.T, a *answer, plain []byte) {
	t.Helper()
	if got := a.header.Get("Content-Type"); got != "application/x-ndjson" {
		t.Errorf("Content-Type %q", got)
	}
	lines := strings.Split(strings.TrimSpace(string(a.body)), "\n")
	if len(lines) < 2 {
		t.Fatalf("%d lines: %s", len(lines), a.text())
	}
	for i, text := range lines[:len(lines)-1] {
		var line struct {
			Progress *struct {
				Stage       string
				Done, Total int
				Lines       []openapi.PlannedLine
			}
		}
		if err := json.Unmarshal(
			[]byte(text),
			&line,
		); err != nil || line.Progress == nil || line.Progress.Stage == "" ||
			line.Progress.Total == 0 {
			t.Errorf("line %d: %v: %s", i+1, err, text)
		}
	}
	var last struct{ Result json.RawMessage }
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(last.Result, bytes.TrimSpace(plain)) {
		t.Errorf("the streamed result differs from the plain one: %s", lines[len(lines)-1])
	}
}

// What is wrong is told with its place, whatever the form of the answer, and before a stream
// begins.
func TestLineRefusals(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	q := s.newSquad(t, "Quillfen")
	bare := q.add(t, "patterns", map[string]any{"name": "Bare", "length_ft": 45})
	for name, c := range map[string]struct {
		path   string
		body   any
		status int
		says   string
	}{
		"no athlete":              {"plans", without(q.lineRequest(nil), "athlete_id"), 400, "athlete_id"},
		"unknown field":           {"plans", q.lineRequest(map[string]any{"bal_id": uuid.NewString()}), 400, "bal_id"},
		"friction too high":       {"plans", q.lineRequest(map[string]any{"friction": map[string]any{"mu_dry": 9, "mu_oil": 0, "q0": 1}}), 400, "/subject/friction/mu_dry"},
		"slip speed of nothing":   {"plans", q.lineRequest(map[string]any{"friction": map[string]any{"mu_dry": 0.2, "mu_oil": 0, "q0": 1, "slip_mps": 0}}), 400, "/subject/friction/slip_mps"},
		"friction in part":        {"plans", q.lineRequest(map[string]any{"friction": map[string]any{"mu_dry": 0.2}}), 400, "/subject/friction"},
		"odd draws":               {"plans", q.lineRequest(map[string]any{"draws": 65}), 400, "/draws"},
		"many lines":              {"plans", q.lineRequest(map[string]any{"lines": 21}), 400, "/lines"},
		"pocket upside down":      {"plans", q.lineRequest(map[string]any{"pocket": map[string]any{"board_low": 18, "board_high": 16, "angle_low_deg": 3, "angle_high_deg": 8}}), 400, "/subject/pocket/board_low"},
		"worn by nothing":         {"plans", q.lineRequest(map[string]any{"worn": map[string]any{}}), 400, "/subject/worn"},
		"only a length":           {"plans", q.lineRequest(map[string]any{"pattern_id": bare}), 409, "only a length"},
		"nothing differs":         {"comparisons", q.lineRequest(map[string]any{"against": map[string]any{}}), 400, "/against"},
		"no other side":           {"comparisons", q.lineRequest(nil), 400, "against"},
		"a grid of nothing":       {"miss-maps", q.lineRequest(map[string]any{"grid": map[string]any{"laydown_from_board": 20, "laydown_to_board": 10}}), 400, "/grid/laydown_from_board"},
		"a grid too fine":         {"miss-maps", q.lineRequest(map[string]any{"grid": map[string]any{"angle_step_deg": 0.01}}), 400, "/grid/angle_from_deg"},
		"no line":                 {"paths", q.lineRequest(nil), 400, "laydown_board"},
		"a line off the lane":     {"paths", q.lineRequest(map[string]any{"laydown_board": 50, "launch_angle_deg": 2}), 400, "/laydown_board"},
		"nothing to keep":         {"line-drills", q.lineRequest(map[string]any{"laydown_board": 35, "launch_angle_deg": -2}), 409, "no drill to keep to"},
		"due before it begins":    {"line-drills", q.lineRequest(map[string]any{"laydown_board": 21, "launch_angle_deg": 1.75, "assigned_on": "2026-03-14", "due_on": "2026-03-01"}), 400, "/due_on"},
		"a film that is no film":  {"miss-maps", q.lineRequest(map[string]any{"pattern_id": bare}), 409, "only a length"},
		"a pattern that is not":   {"plans", q.lineRequest(map[string]any{"pattern_id": uuid.NewString()}), 404, "no pattern"},
		"a session that is not":   {"plans", q.lineRequest(map[string]any{"worn": map[string]any{"session_id": uuid.NewString()}}), 404, "no session"},
		"no line on a worn film":  {"plans", q.lineRequest(map[string]any{"worn": map[string]any{"shots": 3, "laydown_board": 24}}), 400, "give both laydown_board and launch_angle_deg"},
		"a wear by too many":      {"plans", q.lineRequest(map[string]any{"worn": map[string]any{"shots": 5000}}), 400, "/subject/worn/shots"},
		"another athlete's wear":  {"plans", q.lineRequest(map[string]any{"worn": map[string]any{"shots": 5, "athlete_id": uuid.NewString()}}), 400, "/subject/worn/athlete_id"},
		"no JSON":                 {"plans", "{", 400, ""},
		"the wear of an unknown":  {"comparisons", q.lineRequest(map[string]any{"against": map[string]any{"worn": map[string]any{"session_id": uuid.NewString()}}}), 404, "no session"},
		"a scatter of miles":      {"plans", q.lineRequest(map[string]any{"scatter_boards": 50}), 400, "/subject/scatter_boards"},
		"spares of nothing":       {"plans", q.lineRequest(map[string]any{"spares": map[string]any{"split": map[string]any{}}}), 400, "/subject/spares/split"},
		"more spares than tries":  {"paths", q.lineRequest(map[string]any{"laydown_board": 21, "launch_angle_deg": 1.75, "spares": map[string]any{"single": map[string]any{"converted": 4, "tries": 3}}}), 400, "4 converted of 3 tries"},
		"no such spares":          {"plans", q.lineRequest(map[string]any{"spares": map[string]any{"doubles": map[string]any{"share": 1}}}), 400, "doubles"},
		"against no spares":       {"comparisons", q.lineRequest(map[string]any{"against": map[string]any{"spares": map[string]any{"rack": map[string]any{}}}}), 400, "/against/spares/rack"},
		"against an unknown ball": {"comparisons", q.lineRequest(map[string]any{"against": map[string]any{"ball_id": uuid.NewString()}}), 404, "no ball"},
	} {
		t.Run(name, func(t *testing.T) {
			for _, accept := range []string{"", "application/x-ndjson", "image/svg+xml"} {
				a := s.do(t, q.lines(c.path, c.body, accept)).want(c.status)
				if !strings.Contains(a.text(), c.says) {
					t.Errorf("Accept %q: does not say %q: %s", accept, c.says, a.text())
				}
			}
		})
	}
}

// A line is worth what the athlete's own spares make of it, and the answer has the rates used.
func TestLineOfOwnSpares(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	q := s.newSquad(t, "Quillfen")
	study := func(more map[string]any) (got openapi.LineStudy) {
		body := map[string]any{"laydown_board": 21, "launch_angle_deg": 1.75}
		maps.Copy(body, more)
		s.do(t, q.lines("paths", q.lineRequest(body), "")).want(http.StatusOK).into(&got)
		return got
	}
	usual := study(nil)
	own := study(map[string]any{"scatter_boards": 0.4, "spares": map[string]any{
		"single": map[string]any{"share": 1},
		"close":  map[string]any{"converted": 20, "tries": 20},
	}})
	spares := own.Subject.Spares
	if spares.Single != 1 || spares.Close != 0.85 || spares.Split != usual.Subject.Spares.Split || !(own.Pins > usual.Pins) {
		t.Errorf("%+v: %.2f pins a frame, usually %.2f", spares, own.Pins, usual.Pins)
	}
	if scatter := own.Subject.Scatter; scatter.ArrowsBoards != 0.4 || scatter.Stated == nil || usual.Subject.Scatter.Stated != nil {
		t.Errorf("%+v", scatter)
	}
	if !strings.Contains(strings.Join(own.Subject.Assumptions, "\n"), "as stated: single pins 100 %") {
		t.Errorf("%q", own.Subject.Assumptions)
	}
}

// The ids inside a request's objects are as private as those outside: another squad's are answered
// like nobody's, and an athlete has the own only.
func TestLineReferencesArePrivate(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	own, foreign := s.newSquad(t, "Quillfen"), s.newSquad(t, "Brackenlow")
	at := func(path, name, id string) map[string]any {
		inner := map[string]any{name: id}
		if path == "plans" {
			return own.lineRequest(map[string]any{"worn": inner})
		}
		return own.lineRequest(map[string]any{"against": inner})
	}
	inWear := func(name, id string) map[string]any {
		return own.lineRequest(map[string]any{"worn": map[string]any{"session_id": own.of[0]["session_id"], name: id}})
	}
	for name, body := range map[string]func(of ids) (path string, body map[string]any){
		"worn by a session":  func(of ids) (string, map[string]any) { return "plans", at("plans", "session_id", of["session_id"]) },
		"worn by an athlete": func(of ids) (string, map[string]any) { return "plans", inWear("athlete_id", of["athlete_id"]) },
		"worn with a ball":   func(of ids) (string, map[string]any) { return "plans", inWear("ball_id", of["ball_id"]) },
		"against an athlete": func(of ids) (string, map[string]any) {
			return "comparisons", at("comparisons", "athlete_id", of["athlete_id"])
		},
		"against a ball": func(of ids) (string, map[string]any) {
			return "comparisons", at("comparisons", "ball_id", of["ball_id"])
		},
		"against a pattern": func(of ids) (string, map[string]any) {
			return "comparisons", at("comparisons", "pattern_id", of["pattern_id"])
		},
		"against worn by one": func(of ids) (string, map[string]any) {
			return "comparisons", own.lineRequest(map[string]any{"against": map[string]any{"worn": map[string]any{"session_id": of["session_id"]}}})
		},
	} {
		t.Run(name, func(t *testing.T) {
			var told [2]string
			nobody := ids{}
			for kind := range foreign.of[0] {
				nobody[kind] = uuid.NewString()
			}
			for i, of := range []ids{foreign.of[0], nobody} {
				path, request := body(of)
				a := s.do(t, own.lines(path, request, "")).want(http.StatusNotFound)
				told[i] = a.problem().Detail
				for _, id := range of {
					told[i] = strings.ReplaceAll(told[i], id, "ID")
				}
			}
			if told[0] != told[1] {
				t.Errorf("another squad's is told apart from none: %q, %q", told[0], told[1])
			}
			path, request := body(own.of[1])
			c := own.lines(path, request, "")
			c.token = own.athletes[0].token
			if name != "against a pattern" { // patterns are the squad's
				s.do(t, c).want(http.StatusNotFound)
			}
		})
	}
}

func TestFilms(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	q := s.newSquad(t, "Quillfen")
	path := q.path("patterns/" + q.of[0]["pattern_id"] + "/film")
	get := func(query string) call { return call{method: http.MethodGet, path: path + query, token: q.coach.token} }
	var fresh, worn openapi.FilmReport
	s.do(t, get("")).want(http.StatusOK).into(&fresh)
	// The load table's own volume: two loads over 37 boards, three over 25, four over 19, 80
	// microlitres each.
	if want := 80.0 * (2*37 + 3*25 + 4*19); fresh.VolumeUl < want-1e-6 || fresh.VolumeUl > want+1e-6 ||
		fresh.Wear != nil {
		t.Errorf("%g uL, want %g; wear %v", fresh.VolumeUl, want, fresh.Wear)
	}
	s.do(t, get("?shots=20&athlete_id="+q.of[0]["athlete_id"])).want(http.StatusOK).into(&worn)
	if worn.Wear == nil || worn.Wear.Passes != 20 || worn.VolumeUl >= fresh.VolumeUl {
		t.Errorf("%g uL, wear %+v", worn.VolumeUl, worn.Wear)
	}
	s.do(t, get("?session_id="+q.of[0]["session_id"])).want(http.StatusOK).into(&worn)
	if worn.Wear == nil || worn.Wear.Passes != 0 || worn.Wear.PassesLeftOut != 1 {
		t.Errorf("wear %+v", worn.Wear)
	}
	s.do(t, get("?shots=20")).want(http.StatusBadRequest)
	s.do(t, get("?shots=0&session_id="+q.of[0]["session_id"])).want(http.StatusBadRequest)
	picture := call{method: http.MethodGet, path: path + ".svg?width_px=640", token: q.coach.token}
	isSVG(t, s.do(t, picture).want(http.StatusOK), "41 ft, 18.00 mL")
	bare := q.add(t, "patterns", map[string]any{"name": "Bare", "length_ft": 45})
	for _, suffix := range []string{"/film", "/film.svg"} {
		c := call{method: http.MethodGet, path: q.path("patterns/" + bare + suffix), token: q.coach.token}
		if a := s.do(t, c).
			want(http.StatusConflict); !strings.Contains(
			a.problem().Detail,
			"load table or a film map",
		) {
			t.Errorf("%s: %s", suffix, a.text())
		}
	}
}

func TestLayOil(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	q := s.newSquad(t, "Quillfen")
	load := map[string]any{
		"direction":    "out",
		"from_board":   2,
		"to_board":     38,
		"count":        2,
		"ul_per_board": 45,
		"start_ft":     0,
		"end_ft":       40,
	}
	post := func(body any) call {
		return call{method: http.MethodPost, path: "/v1/oil", token: q.athletes[0].token, body: body}
	}
	var film openapi.FilmReport
	s.do(t, post(map[string]any{"name": "Given", "loads": []any{load}})).want(http.StatusOK).into(&film)
	if film.Name != "Given" || film.VolumeUl < 3330-1e-9 || film.VolumeUl > 3330+1e-9 || film.Class != "sport" {
		t.Errorf("%q, %g uL, %s", film.Name, film.VolumeUl, film.Class)
	}
	s.do(t, post(map[string]any{"film": film.FilmUl})).want(http.StatusOK)
	bad := maps.Clone(load)
	bad["to_board"], bad["ul_per_board"] = 50, -4
	a := s.do(t, post(map[string]any{"loads": []any{load, bad}})).want(http.StatusBadRequest)
	if faults := *a.problem().Errors; len(faults) != 2 || faults[0].Pointer != "/loads/1/to_board" ||
		faults[1].Pointer != "/loads/1/ul_per_board" {
		t.Errorf("%+v", faults)
	}
	s.do(t, post(map[string]any{})).want(http.StatusBadRequest)
}

func TestAssignLine(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	q := s.newSquad(t, "Quillfen")
	body := q.lineRequest(goodAim)
	body["id"], body["name"], body["reps"], body["pass_share"], body["due_on"] = uuid.NewString(), "Stay inside", 40, 0.75, "2026-04-01"
	var made, again openapi.LineDrill
	s.do(t, q.lines("line-drills", body, "")).want(http.StatusCreated).into(&made)
	s.do(t, q.lines("line-drills", body, "")).want(http.StatusOK).into(&again)
	if made.Drill.Name != "Stay inside" || made.Drill.Reps != 40 || made.Drill.PassShare != 0.75 ||
		made.Assignment.DrillID != *made.Drill.ID ||
		made.Assignment.AthleteID.String() != q.of[0]["athlete_id"] ||
		*again.Drill.Rev != *made.Drill.Rev ||
		*again.Assignment.ID != *made.Assignment.ID {
		t.Errorf("%+v, again %+v", made, again)
	}
	// It is a drill as any other: the athlete sees it.
	c := call{method: http.MethodGet, path: q.path("drills/" + made.Drill.ID.String()), token: q.athletes[0].token}
	s.do(t, c).want(http.StatusOK)
	c.token = q.athletes[1].token
	s.do(t, c).want(http.StatusNotFound)
}

// A reader who goes away ends the computation: with every slot taken by such readers, the next one
// is served at once and not turned away.
func TestLinesEndWithTheReader(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	q := s.newSquad(t, "Quillfen")
	real := httptest.NewServer(s.handler)
	t.Cleanup(real.Close)
	endless, err := json.Marshal(
		q.lineRequest(
			map[string]any{"draws": 220, "grid": map[string]any{"laydown_step_boards": 0.11, "angle_step_deg": 0.3}},
		),
	)
	if err != nil {
		t.Fatal(err)
	}
	const more = 2 // than there are slots would only wait
	for range more {
		ctx, leave := context.WithCancel(t.Context())
		request, err := http.NewRequestWithContext(
			ctx,
			http.MethodPost,
			real.URL+q.path("miss-maps"),
			bytes.NewReader(endless),
		)
		if err != nil {
			t.Fatal(err)
		}
		for name, value := range map[string]string{"Content-Type": "application/json", "Accept": "application/x-ndjson", "Authorization": "Bearer " + q.coach.token} {
			request.Header.Set(name, value)
		}
		response, err := real.Client().Do(request)
		if err != nil {
			t.Fatal(err)
		}
		line, err := bufio.NewReader(response.Body).ReadString('\n')
		if err != nil || !strings.Contains(line, `"progress"`) {
			t.Errorf("the first line is %q, %v", line, err)
		}
		t.Cleanup(func() {
			if err := response.Body.Close(); err != nil {
				t.Error(err)
			}
		})
		t.Cleanup(leave)
		leave()
	}
	s.do(t, q.lines("paths", q.lineRequest(goodAim), "")).want(http.StatusOK)
	if failed := s.log.lines("request failed"); len(failed) > 0 {
		t.Errorf("a reader who left is logged as a failure: %s", failed)
	}
}
