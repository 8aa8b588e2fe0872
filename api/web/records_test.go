package web_test

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

func TestUploadALog(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	session := w.at("/sessions/", w.session.ID.String())
	v.upload(session+"/logs", "tuesday.csv", logWithMistakes, "drill_id", w.drill.ID.String()).wants(t, http.StatusOK,
		"tuesday.csv: 4 rows read", "2 stored", "2 refused", `laydown_board "22,5" has a decimal comma: write 22.5`, "laydown_board 41 is outside the limits",
		"standing there is no pin 11")
	v.upload(session+"/logs", "tuesday.csv", logWithMistakes, "drill_id", w.drill.ID.String()).
		wants(t, http.StatusOK, "0 stored", "2 unchanged", "2 refused")
	changed := strings.Replace(logWithMistakes, "16.8", "17.8", 1)
	v.upload(session+"/logs", "tuesday.csv", changed, "drill_id", w.drill.ID.String()).
		wants(t, http.StatusOK, "1 in conflict", "the whole row")
	var packed bytes.Buffer
	zip := gzip.NewWriter(&packed)
	_, err := io.WriteString(zip, `{"order":301,"time":"2026-03-03T21:00:00Z","speed_mph":16.5}`+"\n")
	must(t, err)
	must(t, zip.Close())
	v.upload(session+"/logs", "more.ndjson.gz", packed.String()).
		wants(t, http.StatusOK, "more.ndjson.gz: 1 row read", "1 stored")
	for name, c := range map[string]struct{ file, log, want string }{
		"a spreadsheet's own file": {"log.xlsx", "PK\x03\x04", "save it as CSV"},
		"no log at all":            {"log.csv", "hello", ""},
		"an empty file":            {"log.csv", "", ""},
		"not gzip":                 {"log.csv.gz", "order;time", "is not gzip"},
	} {
		t.Run(name, func(t *testing.T) {
			v.upload(session+"/logs", c.file, c.log).wants(t, http.StatusBadRequest, c.want, "Upload a practice log")
		})
	}
	v.post(session+"/logs").wants(t, http.StatusBadRequest, "did not arrive complete")
	v.get(session).wants(t, http.StatusOK, "48 shots", "strike", "Laydown", "Long Meadow 44")
}

func TestShotsComeInPages(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	shared := create(w, &record.Session{Form: "block", Name: "Block", Date: dayOf(t, "2026-03-08")})
	log := inventedLog(3, 130, 12)
	v.upload(w.at("/sessions/", shared.ID.String(), "/logs"), "block.csv", log, "athlete_id", w.people[2].ID.String()).
		wants(t, http.StatusOK, "130 stored")
	first := v.get(w.at("/sessions/", shared.ID.String()))
	first.wants(t, http.StatusOK, "More shots", "Caspian Dree")
	link := regexp.MustCompile(`href="(\?after=[^"#]+)#shots"`).FindStringSubmatch(first.body)
	if link == nil {
		t.Fatal("there is no link to the shots that follow")
	}
	rest := v.get(w.at("/sessions/", shared.ID.String(), link[1]))
	rest.wants(t, http.StatusOK, "First shots")
	row := regexp.MustCompile(`<tr><th scope="row" class="n">(\d+)</th>`)
	if a, b := len(row.FindAllString(first.body, -1)), len(row.FindAllString(rest.body, -1)); a != 100 || b != 30 {
		t.Errorf("the pages hold %d and %d shots, want 100 and 30", a, b)
	}
	v.get(w.at("/sessions/", shared.ID.String(), "?after=nonsense")).
		wants(t, http.StatusBadRequest, "start from the session's first shots")
}

func TestAssignADrill(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	id := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(v.get(w.at("/drills/new")).body)[1]
	fields := func(more ...string) []string {
		return append([]string{
			"id",
			id,
			"name",
			"Deeper",
			"reps",
			"20",
			"pass_share",
			"75",
			"assigned_on",
			"2026-03-01",
			"sentences",
			"play inside: keep it at board 12 or inside\r\n\r\nkeep the speed at 16 mph or more",
			"step",
			"assign",
			"athlete_id",
			w.people[0].ID.String(),
			"athlete_id",
			w.people[4].ID.String(),
		}, more...)
	}
	unseen := v.post(w.at("/drills/new"), fields()...)
	unseen.wants(t, http.StatusOK, "This means:", "Keep the speed at 16 mph or more")
	read := regexp.MustCompile(`name="read" value="([^"]+)"`).FindStringSubmatch(unseen.body)[1]
	for name, c := range map[string]struct{ fields, want []string }{
		"no athletes":     {[]string{"athlete_id", "", "step", "assign"}, []string{"One of the athletes is not one of the choices"}},
		"a reversed term": {[]string{"due_on", "2026-02-01"}, []string{"lies before the day of assignment"}},
		"an odd pattern":  {[]string{"note", "x", "pattern_id", uuid.NewString()}, []string{"is not one of the choices"}},
	} {
		t.Run(name, func(t *testing.T) {
			v.post(w.at("/drills/new"), fields(append(c.fields, "read", read)...)...).
				wants(t, http.StatusBadRequest, c.want...)
		})
	}
	for range 2 { // sent twice, stored once
		if to := v.post(w.at("/drills/new"), fields("read", read)...).location(t); to != w.at("/drills/", id) {
			t.Errorf("assigning leads to %q", to)
		}
	}
	drills, err := w.svc.List(t.Context(), w.coach, w.squad, record.KindDrill, 0, 100)
	must(t, err)
	if len(drills.Records) != 3 {
		t.Errorf("the squad has %d drills, want 3", len(drills.Records))
	}
	page := v.get(w.at("/drills/", id))
	page.wants(
		t,
		http.StatusOK,
		"20 shots each · pass mark 75 %",
		"Ansel Quorrie",
		"Eamon Sallowfield",
		"Assign to another athlete",
	)
	v.post(w.at("/drills/", id, "/assignments"), "athlete_id", w.people[1].ID.String(), "assigned_on", "2026-03-01", "due_on", "2026-02-01").
		wants(t, http.StatusBadRequest, "lies before")
	v.post(w.at("/drills/", id, "/assignments"), "athlete_id", w.people[1].ID.String(), "assigned_on", "2026-03-01").
		location(t)
	scores, err := w.svc.Adherence(t.Context(), w.coach, w.squad, service.DrillQuery{Drill: uuid.MustParse(id)})
	must(t, err)
	if len(scores.Scores) != 3 {
		t.Errorf("the drill is assigned to %d athletes, want 3", len(scores.Scores))
	}
}

func TestSentencesThatCannotBeRead(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.post(w.at("/drills/new"), "sentences", "bowl better", "step", "read").
		wants(t, http.StatusOK, "Some of this wasn’t understood:", `"bowl better" isn't a rule I know`)
	v.post(w.at("/drills/new"), "sentences", "bowl better", "step", "assign").
		wants(t, http.StatusBadRequest, "Some sentences weren’t understood", "Choose at least one athlete")
	v.post(w.at("/drills/new"), "sentences", strings.Repeat("keep the ball at board 10 or inside\n", 21), "step", "read").
		wants(t, http.StatusOK, "A drill takes up to 20 sentences")
	part := v.post(w.at("/drills/reading"), "sentences", `use the ball "<b>"`)
	if part.status != http.StatusOK || strings.Contains(part.body, "<html") || strings.Contains(part.body, "<b>") {
		t.Errorf("the part for the script is %d: %s", part.status, part.body)
	}
}

func TestPeopleAndSessions(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.post(w.at("/athletes"), "name", "Fenna <script>alert(1)</script>", "side", "left", "speed_mph", "16.5").
		location(t)
	people := v.get(w.at("/people"))
	people.wants(t, http.StatusOK, "left-handed · 16.5 mph")
	if strings.Contains(people.body, "<script>alert") {
		t.Error("a name is written into the page as it came")
	}
	v.post(w.at("/athletes"), "name", "Gil", "side", "up", "speed_mph", "fast", "tilt_deg", "400").
		wants(t, http.StatusBadRequest, "is not one of the choices", `"fast" is not a number`)
	v.post(w.at("/athletes"), "name", "Gil", "side", "left", "tilt_deg", "400").
		wants(t, http.StatusBadRequest, "is outside -30 to 90 degrees")
	v.post(w.at("/invitations"), "whom", "").wants(t, http.StatusBadRequest, "is required")
	made := v.post(w.at("/invitations"), "whom", w.people[0].ID.String())
	made.wants(t, http.StatusOK, "Give it to Ansel Quorrie", "It works once")
	v.post(w.at("/invitations"), "whom", "coach").wants(t, http.StatusOK, "Unused codes")
	withdraw := regexp.MustCompile(`action="([^"]+/withdraw)"`).FindAllStringSubmatch(v.get(w.at("/people")).body, -1)
	if len(withdraw) != 2 {
		t.Fatalf("%d codes can be withdrawn, want 2", len(withdraw))
	}
	v.post(withdraw[1][1]).location(t)
	v.post(withdraw[1][1]).wants(t, http.StatusNotFound)
	v.post(w.at("/name"), v.get(w.at("/people")).sends(t, "/name", "squad_name", "Thistle Row Juniors")...).location(t)
	v.get(w.at()).wants(t, http.StatusOK, "Thistle Row Juniors", "Invented example")
	v.post(w.at("/name"), v.get(w.at("/people")).sends(t, "/name", "time_zone", "Middle-earth")...).
		wants(t, http.StatusBadRequest, "is not a time zone")
	v.post(w.at("/name"), v.get(w.at("/people")).sends(t, "/name", "time_zone", "Europe/Berlin")...).location(t)
	if !strings.Contains(v.get(w.at("/people")).body, `value="Europe/Berlin"`) {
		t.Error("the page does not show the squad's time zone")
	}
	v.post(w.at("/name"), "squad_name", "", "version", "1").wants(t, http.StatusBadRequest, "is required")
	v.post(w.at("/name"), "squad_name", "Another", "version", "1").wants(t, http.StatusPreconditionFailed, "changed")
	code := regexp.MustCompile(`class="code">([A-Z0-9]+)<`).FindStringSubmatch(made.body)[1]

	w.signUp("ansel@example.org", "Ansel")
	athlete := w.signedIn("ansel@example.org")
	athlete.post("/join", "code", "WRONG").wants(t, http.StatusNotFound, "the code is wrong, used or too old")
	if to := athlete.post("/join", "code", strings.ToLower(code)).location(t); to != w.at() {
		t.Errorf("joining leads to %q", to)
	}
	athlete.get(w.at()).wants(t, http.StatusOK, "You are an athlete of this squad", "Ansel Quorrie")
	if text := athlete.get(w.at()).
		text(); strings.Contains(text, "Bettany") ||
		strings.Contains(text, "Assign a drill") {
		t.Errorf("an athlete sees another one, or what is for coaches:\n%s", text)
	}
	own := athlete.post(w.at("/sessions/new"), "name", "Alone", "date", "2026-03-10", "kind", "practice", "athlete_id", w.people[0].ID.String(), "lanes", "3, 4").
		location(t)
	athlete.get(own).wants(t, http.StatusOK, "Alone", "lanes 3 and 4", "No shots yet.")
	athlete.post(w.at("/sessions/new"), "name", "Odd", "date", "soon", "kind", "party", "lanes", "x").
		wants(t, http.StatusBadRequest, "is not one of the choices", "is not a day", `"x" is not a lane`)
}

// Shots dated far from the session's day are stored, and the page says so.
func TestShotsFarFromTheSession(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	near := create(w, &record.Session{
		Form: "practice", Name: "Sunday", Date: dayOf(t, "2026-11-29"), AthleteID: &w.people[0].ID,
	})
	where := w.at("/sessions/", near.ID.String())
	const warning = "far from the session’s"
	log := func(time string) string { return "time,breakpoint_board\n" + time + ",10\n" }
	for _, time := range []string{"2026-11-28T20:00:00Z", "2026-11-30T09:00:00Z"} {
		if page := v.upload(where+"/logs", "night.csv", log(time)); strings.Contains(page.body, warning) {
			t.Errorf("a shot of %s is said to be far from 29 November", time)
		}
	}
	far := create(w, &record.Session{
		Form: "practice", Name: "Sunday again", Date: dayOf(t, "2026-11-29"), AthleteID: &w.people[0].ID,
	})
	v.upload(w.at("/sessions/", far.ID.String(), "/logs"), "spring.csv", log("2026-03-01T18:00:00Z")).
		wants(t, http.StatusOK, "1 stored", "dated 1 Mar 2026 , far from the session’s 29 Nov 2026")
}
