package web_test

import (
	"bytes"
	"image/png"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"laneward/service/advice"
	"laneward/service/lane"
	"laneward/service/line"
	"laneward/service/record"
)

// plan is where the lines of the first athlete with the first ball are, below the squad's address.
func (w *world) plan(more ...string) string {
	return "/plan?athlete=" + w.people[0].ID.String() + "&ball=" + w.balls[0].ID.String() + "&pattern=" + w.pattern.ID.String() + strings.Join(
		more,
		"",
	)
}

// compare is where that plan is compared with another.
func (w *world) compare(against ...string) string {
	return strings.Replace(w.plan(against...), "/plan?", "/compare?", 1)
}

// planOfLine is the page of the first line of that plan, as the plan links to it.
func (w *world) planOfLine() string {
	w.t.Helper()
	page := w.signedIn(coachEmail).get(w.at(w.plan()))
	link := regexp.MustCompile(`href="/squads/[^/"]+(/plan/line\?[^"#]+)"`).FindStringSubmatch(page.body)
	if link == nil {
		w.t.Fatalf("the plan links to no line: %.2000s", page.text())
	}
	return strings.ReplaceAll(link[1], "&amp;", "&")
}

func (w *world) planned(query advice.Query) *advice.Plan {
	w.t.Helper()
	plan, err := w.svc.PlanLines(w.t.Context(), w.coach, w.squad, query, nil)
	must(w.t, err)
	if len(plan.Lines) < 2 {
		w.t.Fatalf("the invented pattern has %d lines: too few to test with", len(plan.Lines))
	}
	return plan
}

func TestPlanALine(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.get(w.at("/plan")).
		wants(t, http.StatusOK, "Plan a line", "Ansel Quorrie", "Long Meadow 44", "Ansel Quorrie: Invented Ember", "Default: 16.5", "Default: 0.171")
	plan := w.planned(advice.Query{Athlete: w.people[0].ID, Ball: &w.balls[0].ID, Pattern: w.pattern.ID})
	page := v.get(w.at(w.plan()))
	page.wants(
		t,
		http.StatusOK,
		"Ansel Quorrie on Long Meadow 44",
		"Feet",
		"Target",
		"Breakpoint",
		"Entry",
	)
	page.wants(t, http.StatusOK, plan.Subject.Assumptions...)
	for _, one := range plan.Lines {
		page.wants(t, http.StatusOK, one.Reason)
		if one.Drill != nil {
			page.wants(t, http.StatusOK, one.Drill.Sentences...)
		}
	}
	if got := strings.Count(page.body, `<article class="card line"`); got != len(plan.Lines) {
		t.Errorf("the page has %d lines, the plan %d", got, len(plan.Lines))
	}
	equal := 0
	for _, one := range plan.Lines {
		if one.Equal {
			equal++
		}
	}
	if got := strings.Count(page.body, `<span class="soft">equal</span>`); got != equal || got == 1 {
		t.Errorf("the page marks %d lines as equal, the plan %d", got, equal)
	}
	if strings.Contains(page.body, "best first") != (plan.Ties == "") {
		t.Errorf("a plan that says %q is headed otherwise", plan.Ties)
	}
	for _, want := range []string{`src="` + w.at("/plan/map.svg?"), `href="` + w.at("/plan/lane.png?")} {
		if !strings.Contains(page.body, want) {
			t.Errorf("the page has no %s", want)
		}
	}
	worn := v.get(w.at(w.plan("&session=", w.session.ID.String(), "&shots=20")))
	worn.wants(
		t,
		http.StatusOK,
		"worn by 20 shots",
		`The film is worn by the shots of the session "Practice 1" (20 passes)`,
	)
	v.get(w.at(w.plan("&shots=30"))).
		wants(t, http.StatusOK, "shots of Ansel Quorrie as they scatter along the best line on the fresh film")
	v.get(w.at(w.plan("&board_low=17&mu_dry=0.2"))).wants(t, http.StatusOK, "board 17 to 18.5", "0.2 dry, 0.0007 in oil")
	v.get(w.at(w.plan("&mu_dry=0.24&mu_oil=0.004&q0=1&share_thick=0&slip_mps=none"))).
		wants(t, http.StatusOK, "0.24 dry, 0.004 in oil", "slip none")
}

// A form leaves blanks behind in the address: they are taken out, so that what is handed on is
// short.
func TestPlanAddressIsShort(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	got, err := url.Parse(
		v.get(w.at("/plan?athlete=", w.people[0].ID.String(), "&pattern=", w.pattern.ID.String(), "&ball=&board_low=&mu_dry=&session=&shots=")).
			location(t),
	)
	must(t, err)
	if query := got.Query(); len(query) != 2 || query.Get("athlete") != w.people[0].ID.String() {
		t.Errorf("the form leads to %s", got)
	}
	v.get(w.at("/plan?pattern=", w.flat.ID.String())).wants(t, http.StatusOK, "Plan a line", "Plan the lines")
}

func TestPlanFaultsAreTold(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	bare := create(w, &record.Pattern{Name: "Hearsay 40", LengthFt: 40})
	for name, c := range map[string]struct {
		address string
		wants   []string
	}{
		"no number":          {w.plan("&board_low=x"), []string{`"x" is not a number`}},
		"pocket upside down": {w.plan("&board_low=18&board_high=17"), []string{"Outermost board 18 must be less than the highest board, 17"}},
		"no friction":        {w.plan("&mu_dry=9"), []string{"Friction on dry boards 9 is out of range: write 0 to 2"}},
		"no slip speed":      {w.plan("&slip_mps=fast"), []string{"is not a slip speed: write metres a second, such as 3, or none"}},
		"no share":           {w.plan("&share_thick=2"), []string{"Share of the friction that feels thick oil 2 is out of range: write 0 to 1"}},
		"too many shots":     {w.plan("&shots=9999"), []string{"How many shots", "is outside 1 to 4096"}},
		"foreign athlete":    {strings.Replace(w.plan(), w.people[0].ID.String(), w.squad.String(), 1), []string{"is not one of the choices"}},
		"only a length":      {strings.Replace(w.plan(), w.pattern.ID.String(), bare.ID.String(), 1), []string{"is not one of the choices"}},
		"picture":            {strings.Replace(w.plan("&board_low=x"), "/plan", "/plan/map.svg", 1), []string{"Outermost board", "is not a number"}},
		"line without aim":   {strings.Replace(w.plan(), "/plan", "/plan/line", 1), []string{"The line's address is incomplete"}},
		"compared to itself": {w.compare("&against_pattern=&against_ball="), []string{"Name what differs"}},
		"fresh and worn":     {w.compare("&against_session=fresh&against_shots=3&against_pattern=", w.flat.ID.String()), []string{"do not apply to a fresh film"}},
	} {
		t.Run(name, func(t *testing.T) {
			v.get(w.at(c.address)).wants(t, http.StatusBadRequest, c.wants...)
		})
	}
}

func TestPlanPictures(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	line := strings.Replace(w.planOfLine(), "/plan/line?", "/plan/line.svg?", 1)
	for name, c := range map[string]struct{ address, want string }{
		"lanes":       {strings.Replace(w.plan(), "/plan", "/plan/lane.svg", 1), "Ansel Quorrie on Long Meadow 44"},
		"miss map":    {strings.Replace(w.plan(), "/plan", "/plan/map.svg", 1), "Where Ansel Quorrie can aim on Long Meadow 44"},
		"one line":    {line, "the typical delivery"},
		"compared":    {strings.Replace(w.compare("&against_pattern=", w.flat.ID.String()), "/compare", "/compare/lanes.svg", 1), "B: Ansel Quorrie on Slate Reach 47"},
		"map as PNG":  {strings.Replace(w.plan(), "/plan", "/plan/map.png", 1), ""},
		"line as PNG": {strings.Replace(line, ".svg", ".png", 1), ""},
	} {
		t.Run(name, func(t *testing.T) {
			got := v.get(w.at(c.address))
			if got.status != http.StatusOK || !strings.Contains(got.body, c.want) {
				t.Fatalf("the picture is %d: %.300s", got.status, got.body)
			}
			if c.want != "" {
				return
			}
			if _, err := png.Decode(bytes.NewReader([]byte(got.body))); err != nil {
				t.Errorf("the picture is no PNG: %v", err)
			}
		})
	}
}

// The miss map marks the same lines as the plan beside it.
func TestMissMapMarksThePlansLines(t *testing.T) {
	w := newWorld(t)
	plan := w.planned(advice.Query{Athlete: w.people[0].ID, Ball: &w.balls[0].ID, Pattern: w.pattern.ID})
	scene, err := plan.Picture(390)
	must(t, err)
	label := regexp.MustCompile(`feet [\d.]+, target [\d.]+: [\d.]+ pins a frame, \d+ % in the pocket`)
	want := label.FindAllString(string(scene.SVG()), -1)
	missMap := w.signedIn(coachEmail).get(w.at(strings.Replace(w.plan(), "/plan", "/plan/map.svg", 1)))
	if len(want) == 0 {
		t.Fatal("the plan's picture names no lines")
	}
	for _, one := range want {
		if !strings.Contains(missMap.body, one) {
			t.Errorf("the miss map does not mark the line %q", one)
		}
	}
}

// What a strip says of a miss is what the planner computed, on the side where the athlete sees it.
func TestMissStrips(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	for _, person := range w.people[:2] { // one of either side
		plan := w.planned(advice.Query{Athlete: person.ID, Pattern: w.pattern.ID})
		page := v.get(w.at("/plan?athlete=", person.ID.String(), "&pattern=", w.pattern.ID.String()))
		strips := regexp.MustCompile(`role="img" aria-label="Boards missed left: ([^.]*)\. Boards missed right: ([^.]*)\."`).
			FindAllStringSubmatch(page.body, -1)
		if len(strips) != len(plan.Lines) {
			t.Fatalf("there are %d strips for %d lines", len(strips), len(plan.Lines))
		}
		for i, one := range plan.Lines {
			for side, text := range map[string]string{"left": strips[i][1], "right": strips[i][2]} {
				checkStrip(t, text, one.Misses, side)
			}
			outside := "right"
			if person.Side == lane.Left {
				outside = "left"
			}
			if one.Misses[0].Side != "outside" || one.Misses[0].Toward != outside {
				t.Errorf("a miss outside of a %s-hander goes %s", person.Side, one.Misses[0].Toward)
			}
		}
	}
}

// checkStrip checks a strip's words, "1 still reaches the pocket, 2 to 5 goes high", against the
// misses on one side.
func checkStrip(t *testing.T, text string, misses []line.Miss, side string) {
	t.Helper()
	said := map[int]string{}
	for run := range strings.SplitSeq(text, ", ") {
		parts := regexp.MustCompile(`^(\d)(?: to (\d))? (.+)$`).FindStringSubmatch(run)
		if parts == nil {
			t.Fatalf("the strip says %q", run)
		}
		from, to := int(parts[1][0]-'0'), int(parts[1][0]-'0')
		if parts[2] != "" {
			to = int(parts[2][0] - '0')
		}
		for boards := from; boards <= to; boards++ {
			said[boards] = parts[3]
		}
	}
	n := 0
	for _, miss := range misses {
		if miss.Toward != side {
			continue
		}
		n++
		if said[miss.Boards] != miss.Hit.Words() {
			t.Errorf(
				"of a miss of %d boards %s the strip says %q, the plan %q",
				miss.Boards,
				side,
				said[miss.Boards],
				miss.Hit.Words(),
			)
		}
	}
	if n != len(said) {
		t.Errorf("the strip tells of %d misses %s, the plan of %d", len(said), side, n)
	}
}

func TestAssignALine(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	address := w.at(w.planOfLine())
	page := v.get(address)
	page.wants(
		t,
		http.StatusOK,
		"Drill for this line",
		"Keep the ball",
		"Assign the drill",
		"Aiming perfectly would keep",
		"pins a frame",
	)
	id := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(page.body)[1]
	fields := func(more ...string) []string {
		return append(
			[]string{
				"id",
				id,
				"name",
				"Long and inside",
				"reps",
				"24",
				"pass_share",
				"75",
				"assigned_on",
				"2026-03-01",
				"due_on",
				"2026-03-31",
			},
			more...)
	}
	for name, c := range map[string]struct{ fields, wants []string }{
		"no name":      {[]string{"id", id, "reps", "24", "pass_share", "75", "assigned_on", "2026-03-01"}, []string{"Name of the drill is required"}},
		"too many":     {[]string{"id", id, "name", "x", "reps", "0.5", "pass_share", "75", "assigned_on", "2026-03-01"}, []string{"is not a whole number"}},
		"share beyond": {[]string{"id", id, "name", "x", "reps", "20", "pass_share", "175", "assigned_on", "2026-03-01"}, []string{"Pass mark"}},
		"due before":   {[]string{"id", id, "name", "x", "reps", "20", "pass_share", "75", "assigned_on", "2026-03-05", "due_on", "2026-03-01"}, []string{"Due"}},
	} {
		t.Run(name, func(t *testing.T) { v.post(address, c.fields...).wants(t, http.StatusBadRequest, c.wants...) })
	}
	to := v.post(address, fields()...).location(t)
	if want := w.at("/drills/", id, "#", w.people[0].ID.String()); to != want {
		t.Errorf("assigning leads to %q, want %q", to, want)
	}
	if again := v.post(address, fields()...).location(t); again != to {
		t.Errorf("sent twice it leads to %q, want %q", again, to)
	}
	v.get(w.at("/drills/", id)).
		wants(t, http.StatusOK, "Long and inside", "Ansel Quorrie", "24 shots each", "pass mark 75 %", "on Long Meadow 44")
	assignments := 0
	list, err := w.svc.List(t.Context(), w.coach, w.squad, record.KindAssignment, 0, 1000)
	must(t, err)
	for _, one := range list.Records {
		if assignment := one.(*record.Assignment); assignment.DrillID.String() == id {
			assignments++
			if assignment.AthleteID != w.people[0].ID ||
				!assignment.AssignedOn.Equal(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)) {
				t.Errorf("it is assigned to %s on %s", assignment.AthleteID, assignment.AssignedOn)
			}
		}
	}
	if assignments != 1 {
		t.Errorf("the drill is assigned %d times, want once", assignments)
	}
}

func TestCompareLines(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.get(w.at("/compare?pattern=", w.flat.ID.String())).
		wants(t, http.StatusOK, "Compare lines", "same, except", "The same athlete")
	for name, c := range map[string]struct {
		against string
		wants   []string
	}{
		"two patterns": {"&against_pattern=" + w.flat.ID.String(), []string{"Ansel Quorrie on Slate Reach 47 with Invented Ember", "From A's line to B's"}},
		"two athletes": {"&against_athlete=" + w.people[1].ID.String(), []string{"Bettany Voss-Lark on Long Meadow 44", "B only"}},
		"two balls":    {"&against_ball=" + w.balls[1].ID.String(), []string{"Ansel Quorrie on Long Meadow 44 with Invented Pebble"}},
		"worn":         {"&against_shots=40", []string{"Ansel Quorrie on Long Meadow 44 after 40 shots"}},
	} {
		t.Run(name, func(t *testing.T) {
			page := v.get(w.at(w.compare(c.against)))
			page.wants(
				t,
				http.StatusOK,
				append(
					c.wants,
					"Ansel Quorrie on Long Meadow 44 with Invented Ember",
					"Shots in the pocket",
					"From A to B",
				)...)
			for _, link := range regexp.MustCompile(`href="([^"]+)">All lines of [AB]`).FindAllStringSubmatch(page.body, -1) {
				v.get(strings.ReplaceAll(link[1], "&amp;", "&")).wants(t, http.StatusOK, "Where to aim")
			}
		})
	}
	flat := w.planned(advice.Query{Athlete: w.people[0].ID, Ball: &w.balls[0].ID, Pattern: w.flat.ID})
	v.get(w.at(w.compare("&against_pattern=", w.flat.ID.String()))).wants(t, http.StatusOK, flat.Lines[0].Reason)
}

// An athlete plans for themself only; an analyst reads plans and assigns nothing.
func TestWhoMayPlan(t *testing.T) {
	w := newWorld(t)
	w.member("ansel@example.org", record.RoleAthlete, &w.people[0].ID)
	w.member("analyst@example.org", record.RoleAnalyst, nil)
	line := w.planOfLine()
	other := "/plan?athlete=" + w.people[1].ID.String() + "&pattern=" + w.pattern.ID.String()
	athlete, analyst := w.signedIn("ansel@example.org"), w.signedIn("analyst@example.org")

	own := athlete.get(w.at(w.plan()))
	own.wants(t, http.StatusOK, "Where to aim")
	if strings.Contains(own.body, "Bettany") || strings.Contains(own.body, "Assign the drill") {
		t.Error("an athlete's plan names others, or offers to assign")
	}
	athlete.get(w.at(other)).wants(t, http.StatusBadRequest, "is not one of the choices")
	athlete.get(w.at(strings.Replace(other, "/plan", "/plan/map.svg", 1))).
		wants(t, http.StatusNotFound, "or you may not see it")
	athlete.get(w.at(w.compare("&against_athlete=", w.people[1].ID.String()))).
		wants(t, http.StatusBadRequest, "is not one of the choices")
	athlete.post(w.at(line), "name", "x").wants(t, http.StatusForbidden, "Only coaches of this squad can do this")

	read := analyst.get(w.at(other))
	read.wants(t, http.StatusOK, "Bettany Voss-Lark on Long Meadow 44")
	if strings.Contains(read.body, "Assign the drill") {
		t.Error("an analyst is offered to assign")
	}
	analyst.get(w.at(line)).wants(t, http.StatusOK, "Drill for this line")
	analyst.post(w.at(line), "name", "x").wants(t, http.StatusForbidden, "Only coaches of this squad can do this")
}
