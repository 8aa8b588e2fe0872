package web_test

import (
	"bytes"
	"compress/gzip"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/api/web"
	"laneward/service"
)

// visitor is a browser without a window: it keeps cookies, and follows no redirect by itself.
type visitor struct {
	w      *world
	client *http.Client
}

func (w *world) visitor() *visitor {
	w.t.Helper()
	jar, err := cookiejar.New(nil)
	must(w.t, err)
	stay := func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return &visitor{w, &http.Client{Jar: jar, CheckRedirect: stay}}
}

// signedIn is a visitor who has signed in.
func (w *world) signedIn(email string) *visitor {
	w.t.Helper()
	v := w.visitor()
	if got := v.post("/sign-in", "email", email, "password", password); got.status != http.StatusSeeOther {
		w.t.Fatalf("sign in as %s: %d\n%s", email, got.status, got.body)
	}
	return v
}

// reply is a page as it came.
type reply struct {
	status int
	header http.Header
	body   string
}

func (v *visitor) send(request *http.Request) reply {
	v.w.t.Helper()
	response, err := v.client.Do(request)
	must(v.w.t, err)
	body, err := io.ReadAll(response.Body)
	must(v.w.t, err)
	must(v.w.t, response.Body.Close())
	return reply{response.StatusCode, response.Header, string(body)}
}

func (v *visitor) request(method, path string, body io.Reader) *http.Request {
	v.w.t.Helper()
	request, err := http.NewRequestWithContext(v.w.t.Context(), method, v.w.server.URL+path, body)
	must(v.w.t, err)
	return request
}

func (v *visitor) get(path string) reply {
	v.w.t.Helper()
	return v.send(v.request(http.MethodGet, path, nil))
}

// post sends a form of names and values by turns.
func (v *visitor) post(path string, fields ...string) reply {
	v.w.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	request := v.request(http.MethodPost, path, strings.NewReader(form.Encode()))
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return v.send(request)
}

// upload sends a file as a browser does.
func (v *visitor) upload(path, name, log string, fields ...string) reply {
	v.w.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for i := 0; i+1 < len(fields); i += 2 {
		must(v.w.t, form.WriteField(fields[i], fields[i+1]))
	}
	part, err := form.CreateFormFile("log", name)
	must(v.w.t, err)
	_, err = io.WriteString(part, log)
	must(v.w.t, err)
	must(v.w.t, form.Close())
	request := v.request(http.MethodPost, path, &body)
	request.Header.Set("Content-Type", form.FormDataContentType())
	return v.send(request)
}

// wants checks a reply's status and that its text holds each of the parts; tags do not count as text.
func (r reply) wants(t *testing.T, status int, parts ...string) {
	t.Helper()
	if r.status != status {
		t.Fatalf("the answer is %d, want %d:\n%s", r.status, status, r.body)
	}
	text := r.text()
	for _, part := range parts {
		if !strings.Contains(text, part) {
			t.Errorf("the page does not say %q:\n%s", part, text)
		}
	}
}

var (
	tagRE   = regexp.MustCompile(`<[^>]*>`)
	blankRE = regexp.MustCompile(`\s+`)
)

func (r reply) text() string {
	return blankRE.ReplaceAllString(strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&lt;", "<", "&amp;", "&").Replace(tagRE.ReplaceAllString(r.body, " ")), " ")
}

func (r reply) location(t *testing.T) string {
	t.Helper()
	if r.status != http.StatusSeeOther {
		t.Fatalf("the answer is %d, want %d:\n%s", r.status, http.StatusSeeOther, r.body)
	}
	return r.header.Get("Location")
}

func (w *world) at(parts ...string) string {
	return "/squads/" + w.squad.String() + strings.Join(parts, "")
}

func TestSignUpMakeASquadSignOut(t *testing.T) {
	w := newEmptyWorld(t)
	v := w.visitor()
	v.get("/").wants(t, http.StatusOK, "Sign in", "Did they bowl the line you asked for?")
	for name, fields := range map[string][]string{
		"has 8 characters":           {"name", "A", "email", "a@b", "password", "too-shor"},
		"is no e-mail address":       {"name", "A", "email", "nobody", "password", password},
		"One thing needs mending":    {"name", "", "email", "a@b", "password", password},
		"first anyone would guess":   {"name", "A", "email", "a@b", "password", "aaaaaaaaaaaa"},
		"3 things need mending":      {"next", "/"},
		"holds what is no text":      {"name", "\xff\xfe", "email", "a@b", "password", password},
		"Password holds your addres": {"name", "A", "email", "a@b.example", "password", "x-a@b.example-x"},
	} {
		v.post("/sign-up", fields...).wants(t, http.StatusBadRequest, name)
	}
	answer := v.post("/sign-up", "name", "Odalys", "email", "Odalys@Example.org", "password", password)
	if to := answer.location(t); to != "/" {
		t.Errorf("signing up leads to %q", to)
	}
	for _, cookie := range answer.header["Set-Cookie"] {
		if !strings.Contains(cookie, "HttpOnly") || !strings.Contains(cookie, "SameSite=Strict") || !strings.Contains(cookie, "Path=/") {
			t.Errorf("the cookie is open to scripts or to other sites: %s", cookie)
		}
	}
	v.get("/").wants(t, http.StatusOK, "You are in no squad yet", "Make a squad", "Join a squad")
	squad := v.post("/squads", "name", "Thistle Row").location(t)
	v.get(squad).wants(t, http.StatusOK, "Thistle Row", "No drill yet", "Add an athlete first")
	if to := v.get("/").location(t); to != squad {
		t.Errorf("with one squad the start leads to %q, want %q", to, squad)
	}
	if to := v.post("/sign-out").location(t); to != "/sign-in" {
		t.Errorf("signing out leads to %q", to)
	}
	if to := v.get(squad).location(t); to != "/sign-in?next="+url.QueryEscape(squad) {
		t.Errorf("a squad's page when signed out leads to %q", to)
	}
}

func TestSignIn(t *testing.T) {
	w := newEmptyWorld(t)
	w.signUp(coachEmail, "Odalys")
	v := w.visitor()
	for range 5 {
		v.post("/sign-in", "email", coachEmail, "password", "wrong").wants(t, http.StatusUnauthorized, "the address or the password is wrong")
	}
	throttled := v.post("/sign-in", "email", coachEmail, "password", password)
	throttled.wants(t, http.StatusTooManyRequests, "too many failed sign-ins", "second")
	if wait, err := strconv.Atoi(throttled.header.Get("Retry-After")); err != nil || wait < 1 {
		t.Errorf("Retry-After is %q", throttled.header.Get("Retry-After"))
	}
	w.now = w.now.Add(time.Hour)
	for next, want := range map[string]string{
		"/squads?x=1": "/squads?x=1", "https://other.example/": "/", "//other.example/": "/", `/\other.example`: "/", "": "/", "squads": "/", "/a\r\nb": "/",
	} {
		if to := w.visitor().post("/sign-in", "email", coachEmail, "password", password, "next", next).location(t); to != want {
			t.Errorf("signing in for %q leads to %q, want %q", next, to, want)
		}
	}
}

func TestAccessIsRefreshed(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.get(w.at()).wants(t, http.StatusOK, "Thistle Row Lanes")
	w.now = w.now.Add(service.AccessTTL + time.Minute)
	again := v.get(w.at())
	again.wants(t, http.StatusOK, "Thistle Row Lanes")
	if len(again.header["Set-Cookie"]) != 2 {
		t.Errorf("the browser is given %d new cookies, want 2", len(again.header["Set-Cookie"]))
	}
	if next := v.get(w.at()); len(next.header["Set-Cookie"]) != 0 {
		t.Error("a fresh access token is refreshed at once")
	}
	w.now = w.now.Add(100 * 24 * time.Hour)
	gone := v.get(w.at())
	if to := gone.location(t); !strings.HasPrefix(to, "/sign-in") {
		t.Errorf("after the sign-in ran out the page leads to %q", to)
	}
	v.post("/squads", "name", "x").wants(t, http.StatusUnauthorized, "You are signed out: sign in, then do it again")
}

// A link on another site brings no SameSite=Strict cookies along: the browser is made to ask once more from here.
func TestLinkFromAnotherSite(t *testing.T) {
	w := newWorld(t)
	v := w.visitor()
	for _, path := range []string{w.at(), "/"} {
		request := v.request(http.MethodGet, path, nil)
		request.Header.Set("Sec-Fetch-Site", "cross-site")
		if got := v.send(request); got.status != http.StatusOK || !strings.Contains(got.body, `http-equiv="refresh"`) {
			t.Errorf("%s from another site is answered %d:\n%s", path, got.status, got.body)
		}
	}
}

func TestFormsFromAnotherSiteAreRefused(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	for name, header := range map[string][2]string{
		"fetch metadata": {"Sec-Fetch-Site", "cross-site"}, "same site, other origin": {"Sec-Fetch-Site", "same-site"}, "origin": {"Origin", "https://other.example"},
	} {
		t.Run(name, func(t *testing.T) {
			request := v.request(http.MethodPost, "/squads", strings.NewReader("name=Taken"))
			request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			request.Header.Set(header[0], header[1])
			v.send(request).wants(t, http.StatusForbidden, "This form was sent from another site, so nothing was changed")
		})
	}
	me, err := w.svc.Me(t.Context(), w.coach)
	must(t, err)
	if len(me.Squads) != 1 {
		t.Errorf("the coach has %d squads by now, want 1", len(me.Squads))
	}
}

func TestSquadAndDrillPages(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	squad := v.get(w.at("?drill=", w.drill.ID.String()))
	squad.wants(t, http.StatusOK, "Invented example.", "Play inside", "Keep the ball at board 10 or inside at the breakpoint", "Slow it down", "30 shots each · pass mark 80 %",
		"Bettany Voss-Lark", "too few shots", "more kept shots would make it met", "Where each ball went", "Long Meadow 44", "older sessions")
	if n := strings.Count(squad.body, "<svg xmlns"); n != 2+len(w.people) {
		t.Errorf("the squad's page shows %d pictures, want the bars of 2 drills and %d lanes", n, len(w.people))
	}
	page := v.get(w.at("/drills/", w.drill.ID.String()))
	page.wants(t, http.StatusOK, "Did as asked on", "95 % interval", "Missed outside", "Mean margin", "Longest run kept", "Reached the pocket", "Struck", "Rule by rule", "No shots yet.")
	for _, body := range []string{squad.body, page.body} {
		if strings.Contains(body, " style=") {
			t.Error("a page holds an inline style, which its policy forbids")
		}
	}
	scores, err := w.svc.Adherence(t.Context(), w.coach, w.squad, service.DrillQuery{Drill: w.drill.ID})
	must(t, err)
	for _, score := range scores.Scores {
		page.wants(t, http.StatusOK, score.Adherence.Reading)
	}
}

func TestLanePictures(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	lane := w.at("/drills/", w.drill.ID.String(), "/athletes/", w.people[1].ID.String(), "/lane.")
	svg := v.get(lane + "svg")
	if svg.header.Get("Content-Type") != "image/svg+xml" || !strings.HasPrefix(svg.body, "<svg ") || !strings.Contains(svg.body, "left-hander") {
		t.Errorf("the SVG is %s: %.200s", svg.header.Get("Content-Type"), svg.body)
	}
	if png := v.get(lane + "png"); png.header.Get("Content-Type") != "image/png" || !strings.HasPrefix(png.body, "\x89PNG") {
		t.Errorf("the PNG is %s: %.8q", png.header.Get("Content-Type"), png.body)
	}
	v.get(w.at("/drills/", w.drill.ID.String(), "/athletes/", uuid.NewString(), "/lane.svg")).wants(t, http.StatusNotFound, "Not found")
}

func TestUploadALog(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	session := w.at("/sessions/", w.session.ID.String())
	v.upload(session+"/logs", "tuesday.csv", logWithMistakes, "drill_id", w.drill.ID.String()).wants(t, http.StatusOK,
		"tuesday.csv: 4 rows read", "2 stored", "2 refused", `laydown_board "22,5" has a decimal comma: write 22.5`, "laydown_board 41 is outside the limits",
		"standing there is no pin 11")
	v.upload(session+"/logs", "tuesday.csv", logWithMistakes, "drill_id", w.drill.ID.String()).wants(t, http.StatusOK, "0 stored", "2 there already", "2 refused")
	changed := strings.Replace(logWithMistakes, "16.8", "17.8", 1)
	v.upload(session+"/logs", "tuesday.csv", changed, "drill_id", w.drill.ID.String()).wants(t, http.StatusOK, "1 in conflict", "the whole row")
	var packed bytes.Buffer
	zip := gzip.NewWriter(&packed)
	_, err := io.WriteString(zip, `{"order":301,"time":"2026-03-03T21:00:00Z","speed_mph":16.5}`+"\n")
	must(t, err)
	must(t, zip.Close())
	v.upload(session+"/logs", "more.ndjson.gz", packed.String()).wants(t, http.StatusOK, "more.ndjson.gz: 1 row read", "1 stored")
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
	v.post(session+"/logs").wants(t, http.StatusBadRequest, "did not arrive whole")
	v.get(session).wants(t, http.StatusOK, "48 shots", "strike", "Laydown", "Long Meadow 44")
}

func TestShotsComeInPages(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	shared := create(w, &service.SessionRecord{Form: "block", Name: "Block", Date: dayOf(t, "2026-03-08")})
	log := inventedLog(3, 130, 12)
	v.upload(w.at("/sessions/", shared.ID.String(), "/logs"), "block.csv", log, "athlete_id", w.people[2].ID.String()).wants(t, http.StatusOK, "130 stored")
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
	v.get(w.at("/sessions/", shared.ID.String(), "?after=nonsense")).wants(t, http.StatusBadRequest, "start from the session's first shots")
}

func TestAssignADrill(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	id := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(v.get(w.at("/drills/new")).body)[1]
	fields := func(more ...string) []string {
		return append([]string{
			"id", id, "name", "Deeper", "reps", "20", "pass_share", "75", "assigned_on", "2026-03-01", "sentences", "play inside: keep it at board 12 or inside\r\n\r\nkeep the speed at 16 mph or more", "step", "assign",
			"athlete_id", w.people[0].ID.String(), "athlete_id", w.people[4].ID.String(),
		}, more...)
	}
	unseen := v.post(w.at("/drills/new"), fields()...)
	unseen.wants(t, http.StatusOK, "It is read as:", "Keep the speed at 16 mph or more")
	read := regexp.MustCompile(`name="read" value="([^"]+)"`).FindStringSubmatch(unseen.body)[1]
	for name, c := range map[string]struct{ fields, want []string }{
		"no athletes":     {[]string{"athlete_id", "", "step", "assign"}, []string{"One of the athletes is none of the choices"}},
		"a reversed term": {[]string{"due_on", "2026-02-01"}, []string{"lies before the day of assignment"}},
		"an odd pattern":  {[]string{"note", "x", "pattern_id", uuid.NewString()}, []string{"is none of the choices"}},
	} {
		t.Run(name, func(t *testing.T) {
			v.post(w.at("/drills/new"), fields(append(c.fields, "read", read)...)...).wants(t, http.StatusBadRequest, c.want...)
		})
	}
	for range 2 { // sent twice, stored once
		if to := v.post(w.at("/drills/new"), fields("read", read)...).location(t); to != w.at("/drills/", id) {
			t.Errorf("assigning leads to %q", to)
		}
	}
	drills, err := w.svc.List(t.Context(), w.coach, w.squad, service.KindDrill, 0, 100)
	must(t, err)
	if len(drills.Records) != 3 {
		t.Errorf("the squad has %d drills, want 3", len(drills.Records))
	}
	page := v.get(w.at("/drills/", id))
	page.wants(t, http.StatusOK, "20 shots each · pass mark 75 %", "Ansel Quorrie", "Eamon Sallowfield", "Assign it to another athlete")
	v.post(w.at("/drills/", id, "/assignments"), "athlete_id", w.people[1].ID.String(), "assigned_on", "2026-03-01", "due_on", "2026-02-01").wants(t, http.StatusBadRequest, "lies before")
	v.post(w.at("/drills/", id, "/assignments"), "athlete_id", w.people[1].ID.String(), "assigned_on", "2026-03-01").location(t)
	scores, err := w.svc.Adherence(t.Context(), w.coach, w.squad, service.DrillQuery{Drill: uuid.MustParse(id)})
	must(t, err)
	if len(scores.Scores) != 3 {
		t.Errorf("the drill is assigned to %d athletes, want 3", len(scores.Scores))
	}
}

func TestSentencesThatCannotBeRead(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.post(w.at("/drills/new"), "sentences", "bowl better", "step", "read").wants(t, http.StatusOK, "Not everything can be read:", `cannot read "bowl better" as a rule`)
	v.post(w.at("/drills/new"), "sentences", "bowl better", "step", "assign").wants(t, http.StatusBadRequest, "cannot all be read", "Choose at least one athlete")
	v.post(w.at("/drills/new"), "sentences", strings.Repeat("keep the ball at board 10 or inside\n", 21), "step", "read").wants(t, http.StatusOK, "More than 20 sentences")
	part := v.post(w.at("/drills/reading"), "sentences", `use the ball "<b>"`)
	if part.status != http.StatusOK || strings.Contains(part.body, "<html") || strings.Contains(part.body, "<b>") {
		t.Errorf("the part for the script is %d: %s", part.status, part.body)
	}
}

func TestPeopleAndSessions(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.post(w.at("/athletes"), "name", "Fenna <script>alert(1)</script>", "side", "left", "speed_mph", "16.5").location(t)
	people := v.get(w.at("/people"))
	people.wants(t, http.StatusOK, "left-handed · 16.5 mph")
	if strings.Contains(people.body, "<script>alert") {
		t.Error("a name is written into the page as it came")
	}
	v.post(w.at("/athletes"), "name", "Gil", "side", "up", "speed_mph", "fast", "tilt_deg", "400").wants(t, http.StatusBadRequest, "is none of the choices", `"fast" is no number`)
	v.post(w.at("/athletes"), "name", "Gil", "side", "left", "tilt_deg", "400").wants(t, http.StatusBadRequest, "is outside -30 to 90 degrees")
	v.post(w.at("/invitations"), "whom", "").wants(t, http.StatusBadRequest, "is needed")
	made := v.post(w.at("/invitations"), "whom", w.people[0].ID.String())
	made.wants(t, http.StatusOK, "Hand it to Ansel Quorrie", "It works once")
	code := regexp.MustCompile(`class="code">([A-Z0-9]+)<`).FindStringSubmatch(made.body)[1]

	w.signUp("ansel@example.org", "Ansel")
	athlete := w.signedIn("ansel@example.org")
	athlete.post("/join", "code", "WRONG").wants(t, http.StatusNotFound, "the code is wrong, used or too old")
	if to := athlete.post("/join", "code", strings.ToLower(code)).location(t); to != w.at() {
		t.Errorf("joining leads to %q", to)
	}
	athlete.get(w.at()).wants(t, http.StatusOK, "You are an athlete of this squad", "Ansel Quorrie")
	if text := athlete.get(w.at()).text(); strings.Contains(text, "Bettany") || strings.Contains(text, "Assign a drill") {
		t.Errorf("an athlete sees another one, or what is for coaches:\n%s", text)
	}
	own := athlete.post(w.at("/sessions/new"), "name", "Alone", "date", "2026-03-10", "kind", "practice", "athlete_id", w.people[0].ID.String(), "lanes", "3, 4").location(t)
	athlete.get(own).wants(t, http.StatusOK, "Alone", "lanes 3 and 4", "No shots yet.")
	athlete.post(w.at("/sessions/new"), "name", "Odd", "date", "soon", "kind", "party", "lanes", "x").wants(t, http.StatusBadRequest, "is none of the choices", "is not a day", `"x" is no lane`)
}

// Whoever has no business in a squad finds nothing there, and whoever has another role is told so.
func TestWhatIsForWhom(t *testing.T) {
	w := newWorld(t)
	w.member("analyst@example.org", service.Analyst, nil)
	w.member("ansel@example.org", service.Athlete, &w.people[0].ID)
	w.signUp("stranger@example.org", "Stranger")
	drill, session := w.at("/drills/", w.drill.ID.String()), w.at("/sessions/", w.session.ID.String())
	other := w.at("/drills/", w.drill.ID.String(), "/athletes/", w.people[1].ID.String(), "/lane.svg")
	for _, c := range []struct {
		method, path               string
		stranger, analyst, athlete int
	}{
		{"GET", w.at(), 404, 200, 200},
		{"GET", drill, 404, 200, 200},
		{"GET", other, 404, 200, 404},
		{"GET", session, 404, 200, 200},
		{"GET", w.at("/patterns/", w.pattern.ID.String()), 404, 200, 200},
		{"GET", w.at("/people"), 404, 403, 403},
		{"GET", w.at("/drills/new"), 404, 403, 403},
		{"GET", w.at("/sessions/new"), 404, 403, 200},
		{"POST", w.at("/athletes"), 404, 403, 403},
		{"POST", w.at("/invitations"), 404, 403, 403},
		{"POST", w.at("/drills/new"), 404, 403, 403},
		{"POST", w.at("/drills/reading"), 404, 200, 200},
		{"POST", drill + "/assignments", 404, 403, 403},
		{"POST", w.at("/sessions/new"), 404, 403, 400},
		{"POST", session + "/logs", 404, 403, 400},
		{"GET", "/squads/" + uuid.NewString(), 404, 404, 404},
		{"GET", "/squads/none", 404, 404, 404},
		{"GET", w.at("/drills/", uuid.NewString()), 404, 404, 404},
		{"GET", w.at("/nothing"), 404, 404, 404},
	} {
		for email, want := range map[string]int{"stranger@example.org": c.stranger, "analyst@example.org": c.analyst, "ansel@example.org": c.athlete} {
			v := w.signedIn(email)
			got := v.get(c.path)
			if c.method == http.MethodPost {
				got = v.post(c.path, "name", "x", "whom", "coach")
			}
			if got.status != want {
				t.Errorf("%s %s as %s is answered %d, want %d: %.300s", c.method, c.path, email, got.status, want, got.text())
			}
		}
	}
}

// Every kind of failure that the service or the edge names is explained, under the edge's own title, on the page that the API's answers point at.
func TestEveryProblemIsExplained(t *testing.T) {
	w := newEmptyWorld(t)
	body := w.visitor().get("/problems").body
	edge, err := os.ReadFile("../problem.go")
	must(t, err)
	codes := codesIn(t, "../../service/errors.go")
	if len(codes) < 12 {
		t.Fatalf("only the codes %q were found", codes)
	}
	for name, code := range codesIn(t, "../problem.go") {
		codes[name] = code
	}
	for name, code := range codes {
		at := slices.IndexFunc(web.Problems(), func(p web.Problem) bool { return string(p.Code) == code })
		if at < 0 {
			t.Errorf("the kind of failure %q is not explained", code)
			continue
		}
		problem := web.Problems()[at]
		if !strings.Contains(body, `id="`+code+`"`) || problem.Meaning == "" || len(problem.Mend) == 0 {
			t.Errorf("what %q means and how to mend it is not said", code)
		}
		if !regexp.MustCompile(`\b` + name + `\b.*` + regexp.QuoteMeta(problem.Title)).Match(edge) {
			t.Errorf("the API gives %q another title than %q", code, problem.Title)
		}
	}
}

// codesIn reads the constants of type Code in a file of Go, by their names.
func codesIn(t *testing.T, path string) map[string]string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
	must(t, err)
	codes := make(map[string]string)
	ast.Inspect(file, func(node ast.Node) bool {
		spec, ok := node.(*ast.ValueSpec)
		if !ok || len(spec.Values) != 1 {
			return true
		}
		plain, isPlain := spec.Type.(*ast.Ident)
		qualified, isQualified := spec.Type.(*ast.SelectorExpr)
		value, isText := spec.Values[0].(*ast.BasicLit)
		if isText && (isPlain && plain.Name == "Code" || isQualified && qualified.Sel.Name == "Code") {
			text, err := strconv.Unquote(value.Value)
			must(t, err)
			codes[spec.Names[0].Name] = text
		}
		return true
	})
	return codes
}

func TestStaticFilesAreKept(t *testing.T) {
	w := newEmptyWorld(t)
	v := w.visitor()
	link := regexp.MustCompile(`href="(/static/style\.css\?v=[^"]+)"`).FindStringSubmatch(v.get("/sign-in").body)
	if link == nil {
		t.Fatal("the page names no stylesheet")
	}
	style := v.get(link[1])
	if style.status != http.StatusOK || !strings.HasPrefix(style.header.Get("Content-Type"), "text/css") || !strings.Contains(style.header.Get("Cache-Control"), "immutable") {
		t.Errorf("the stylesheet is %d, %v", style.status, style.header)
	}
	if old := v.get("/static/style.css?v=old"); old.header.Get("Cache-Control") != "no-cache" {
		t.Errorf("an old address is kept: %q", old.header.Get("Cache-Control"))
	}
	v.get("/static/none.css").wants(t, http.StatusNotFound)
	if page := v.get("/sign-in"); page.header.Get("Cache-Control") != "private, no-store" {
		t.Errorf("a page may be kept: %q", page.header.Get("Cache-Control"))
	}
	v.get("/nothing/here").wants(t, http.StatusNotFound, "There is no page at this address", "Request id")
}
