package web_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/api/problem"
	"laneward/service"
	"laneward/service/record"
)

func TestSignUpMakeASquadSignOut(t *testing.T) {
	w := newEmptyWorld(t)
	v := w.visitor()
	v.get("/").wants(t, http.StatusOK, "Sign in", "Did they bowl the line you asked for?")
	for name, fields := range map[string][]string{
		"has 8 characters":                      {"name", "A", "email", "a@b", "password", "too-shor"},
		"is not an email address":               {"name", "A", "email", "nobody", "password", password},
		"Fix one thing":                         {"name", "", "email", "a@b", "password", password},
		"first anyone would guess":              {"name", "A", "email", "a@b", "password", "aaaaaaaaaaaa"},
		"Fix 3 things":                          {"next", "/"},
		"contains characters that are not text": {"name", "\xff\xfe", "email", "a@b", "password", password},
		"Password holds your addres":            {"name", "A", "email", "a@b.example", "password", "x-a@b.example-x"},
	} {
		v.post("/sign-up", fields...).wants(t, http.StatusBadRequest, name)
	}
	answer := v.post("/sign-up", "name", "Odalys", "email", "Odalys@Example.org", "password", password)
	if to := answer.location(t); to != "/" {
		t.Errorf("signing up leads to %q", to)
	}
	for _, cookie := range answer.header["Set-Cookie"] {
		if !strings.Contains(cookie, "HttpOnly") || !strings.Contains(cookie, "SameSite=Strict") ||
			!strings.Contains(cookie, "Path=/") {
			t.Errorf("the cookie is open to scripts or to other sites: %s", cookie)
		}
	}
	v.get("/").wants(t, http.StatusOK, "You aren’t in a squad yet", "Create a squad", "Join a squad")
	squad := v.post("/squads", "name", "Thistle Row").location(t)
	v.get(squad).wants(t, http.StatusOK, "Thistle Row", "No drills yet", "Add an athlete first")
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
		v.post("/sign-in", "email", coachEmail, "password", "wrong").
			wants(t, http.StatusUnauthorized, "The address or the password is wrong")
	}
	throttled := v.post("/sign-in", "email", coachEmail, "password", password)
	throttled.wants(t, http.StatusTooManyRequests, "Too many failed sign-ins", "second")
	if wait, err := strconv.Atoi(throttled.header.Get("Retry-After")); err != nil || wait < 1 {
		t.Errorf("Retry-After is %q", throttled.header.Get("Retry-After"))
	}
	w.now = w.now.Add(time.Hour)
	for next, want := range map[string]string{
		"/squads?x=1": "/squads?x=1", "https://other.example/": "/", "//other.example/": "/", `/\other.example`: "/", "": "/", "squads": "/", "/a\r\nb": "/", "/\t/other.example": "/",
	} {
		if to := w.visitor().
			post("/sign-in", "email", coachEmail, "password", password, "next", next).
			location(t); to != want {
			t.Errorf("signing in for %q leads to %q, want %q", next, to, want)
		}
	}
}

// The squad's page says how full the squad is, and from 80 % on to everybody.
func TestUsageOnThePage(t *testing.T) {
	w := newWorld(t)
	usage, err := w.svc.Usage(t.Context(), w.coach, w.squad)
	if err != nil {
		t.Fatal(err)
	}
	viewer := w.signUp("vera@example.org", "Vera Quill")
	invitation, err := w.svc.Invite(t.Context(), w.coach, w.squad, record.RoleAnalyst, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := w.svc.Join(t.Context(), viewer, invitation.Code); err != nil {
		t.Fatal(err)
	}
	coach, analyst := w.signedIn(coachEmail), w.signedIn("vera@example.org")
	has := fmt.Sprintf("has %d", usage.Records)
	coach.get(w.at()).wants(t, http.StatusOK, "The squad "+has+" records.")
	if said := analyst.get(w.at()).text(); strings.Contains(said, has) {
		t.Error("an analyst is told of a quota that is far off")
	}
	for _, tc := range []struct {
		quota int64
		says  string
	}{
		{usage.Records + 1, "The squad is nearly full: it " + has + " of"},
		{usage.Records, "The squad is full: it " + has + " of"},
	} {
		if _, err := w.svc.SetQuota(t.Context(), w.squad, &tc.quota); err != nil {
			t.Fatal(err)
		}
		coach.get(w.at()).wants(t, http.StatusOK, tc.says, "Delete sessions that nobody needs any more")
		analyst.get(w.at()).wants(t, http.StatusOK, tc.says, "Tell your coach")
	}
	coach.post(w.at("/sessions/new"), "kind", "practice", "name", "One more", "date", "2026-03-14").
		wants(t, http.StatusConflict, fmt.Sprintf("all of the %d records that it may have", usage.Records))
}

func TestAccessIsRefreshed(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.get(w.at()).wants(t, http.StatusOK, "Thistle Row Lanes")
	w.now = w.now.Add(service.AccessTTL + time.Minute)
	again := v.get(w.at())
	again.wants(t, http.StatusOK, "Thistle Row Lanes")
	if len(again.header["Set-Cookie"]) != 3 { // the two tokens and the device's mark
		t.Errorf("the browser is given %d new cookies, want 3", len(again.header["Set-Cookie"]))
	}
	if next := v.get(w.at()); len(next.header["Set-Cookie"]) != 0 {
		t.Error("a fresh access token is refreshed at once")
	}
	w.now = w.now.Add(100 * 24 * time.Hour)
	gone := v.get(w.at())
	if to := gone.location(t); !strings.HasPrefix(to, "/sign-in") {
		t.Errorf("after the sign-in ran out the page leads to %q", to)
	}
	v.post("/squads", "name", "x").wants(t, http.StatusUnauthorized, "Your sign-in ended. Sign in to continue")
}

// A sign-in that the browser would forget at once, because its cookies are for TLS alone and the
// page came without, says so and what to do.
func TestSignInWithoutTLS(t *testing.T) {
	w := newEmptyWorld(t)
	w.signUp(coachEmail, "Odalys")
	send := func(path, origin string, fields ...string) reply {
		v := w.visitor()
		form := url.Values{}
		for i := 0; i+1 < len(fields); i += 2 {
			form.Add(fields[i], fields[i+1])
		}
		request := v.request(http.MethodPost, path, strings.NewReader(form.Encode()))
		request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		request.Header.Set("Origin", origin)
		request.Host = "lanes.example"
		return v.send(request)
	}
	send("/sign-in", "http://lanes.example", "email", coachEmail, "password", password).
		wants(t, http.StatusBadRequest, "without encryption", "--public-url")
	send("/sign-up", "http://lanes.example", "name", "B", "email", "b@example.org", "password", password).
		wants(t, http.StatusBadRequest, "without encryption")
	if to := send("/sign-in", "https://lanes.example", "email", coachEmail, "password", password).location(t); to != "/" {
		t.Errorf("over TLS the sign-in leads to %q", to)
	}
}

// Whoever is signed out while filling in a form signs in and sends what they entered, also after a
// wrong password.
func TestEntriesOutliveASignIn(t *testing.T) {
	w := newWorld(t)
	v := w.visitor()
	asked := v.post(w.at("/athletes"), "name", `Fenna "Ostrow"`, "side", "left", "note", "one\ntwo")
	asked.wants(t, http.StatusUnauthorized, "Your sign-in ended. Sign in to continue; your entries are kept.")
	wrong := v.post("/sign-in", asked.sends(t, "/sign-in", "email", coachEmail, "password", "wrong")...)
	wrong.wants(t, http.StatusUnauthorized, "The address or the password is wrong")
	kept := v.post("/sign-in", wrong.sends(t, "/sign-in", "email", coachEmail, "password", password)...)
	kept.wants(t, http.StatusOK, "Your entries were kept")
	if to := v.post(w.at("/athletes"), kept.sends(t, "/athletes")...).location(t); to != w.at("/people") {
		t.Errorf("sending the kept entries leads to %q", to)
	}
	v.get(w.at("/people")).wants(t, http.StatusOK, `Fenna "Ostrow"`)
	elsewhere := w.visitor().post("/sign-in", "email", coachEmail, "password", password, "action", "//other.example/", "entries", "a=b")
	if to := elsewhere.location(t); to != "/" {
		t.Errorf("entries for another site lead to %q", to)
	}
}

// The address at which a refused form is shown can be opened again.
func TestRefusedFormsCanBeOpenedAgain(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	athlete, drill, session := "/athletes/"+w.people[0].ID.String(), "/drills/"+w.drill.ID.String(), "/sessions/"+w.session.ID.String()
	for from, to := range map[string]string{
		"/athletes": "/people", "/invitations": "/people", "/name": "/people", athlete + "/balls": athlete, athlete + "/erase": athlete,
		athlete + "/delete": athlete + "/edit", drill + "/assignments": drill, session + "/logs": session, session + "/delete": session + "/edit",
	} {
		if got := v.get(w.at(from)).location(t); got != w.at(to) {
			t.Errorf("%s leads to %s, want %s", from, got, w.at(to))
		}
	}
}

// A link on another site brings no SameSite=Strict cookies along: the browser is made to ask once
// more from here.
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
			v.send(request).
				wants(t, http.StatusForbidden, "This form was sent from another site, so nothing was changed")
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
	squad.wants(
		t,
		http.StatusOK,
		"Invented example.",
		"Play inside",
		"Keep the ball at board 10 or inside at the breakpoint",
		"Slow it down",
		"30 shots each · pass mark 80 %",
		"Bettany Voss-Lark",
		"too few shots",
		"more good shots and it is met",
		"Where each ball went",
		"Long Meadow 44",
		"older sessions",
	)
	if n := strings.Count(squad.body, "<svg xmlns"); n != 2+len(w.people) {
		t.Errorf("the squad's page shows %d pictures, want the bars of 2 drills and %d lanes", n, len(w.people))
	}
	page := v.get(w.at("/drills/", w.drill.ID.String()))
	page.wants(
		t,
		http.StatusOK,
		"Did as asked on",
		"95 % interval",
		"Missed outside",
		"Average margin",
		"Longest streak",
		"Reached the pocket",
		"Struck",
		"Rule by rule",
		"No shots yet.",
	)
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
	if svg.header.Get("Content-Type") != "image/svg+xml" || !strings.HasPrefix(svg.body, "<svg ") ||
		!strings.Contains(svg.body, "left-hander") {
		t.Errorf("the SVG is %s: %.200s", svg.header.Get("Content-Type"), svg.body)
	}
	if png := v.get(
		lane + "png",
	); png.header.Get("Content-Type") != "image/png" ||
		!strings.HasPrefix(png.body, "\x89PNG") {
		t.Errorf("the PNG is %s: %.8q", png.header.Get("Content-Type"), png.body)
	}
	v.get(w.at("/drills/", w.drill.ID.String(), "/athletes/", uuid.NewString(), "/lane.svg")).
		wants(t, http.StatusNotFound, "Not found")
}

// Whoever has no business in a squad finds nothing there, and whoever has another role is told so.
func TestWhatIsForWhom(t *testing.T) {
	w := newWorld(t)
	w.member("analyst@example.org", record.RoleAnalyst, nil)
	w.member("ansel@example.org", record.RoleAthlete, &w.people[0].ID)
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
		{"GET", w.at("/athletes/", w.people[0].ID.String(), "/data.zip"), 404, 403, 200},
		{"GET", w.at("/athletes/", w.people[1].ID.String(), "/data.zip"), 404, 403, 404},
		{"POST", w.at("/athletes/", w.people[0].ID.String(), "/erase"), 404, 403, 403},
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
				t.Errorf(
					"%s %s as %s is answered %d, want %d: %.300s",
					c.method,
					c.path,
					email,
					got.status,
					want,
					got.text(),
				)
			}
		}
	}
}

// Every kind of failure that the service or the edge names is explained, under the edge's own
// title, on the page that the API's answers point at.
func TestEveryProblemIsExplained(t *testing.T) {
	w := newEmptyWorld(t)
	body := w.visitor().get("/problems").body
	codes := codesIn(t, "../../service/errors.go")
	if len(codes) < 12 {
		t.Fatalf("only the codes %q were found", codes)
	}
	for name, code := range codesIn(t, "../problem/problem.go") {
		codes[name] = code
	}
	for name, code := range codes {
		kind := problem.Of(service.Code(code))
		if string(kind.Code) != code {
			t.Errorf("%s, the kind of failure %q, is not explained", name, code)
		}
		if !strings.Contains(body, `id="`+code+`"`) || !strings.Contains(body, ">"+kind.Title+"<") {
			t.Errorf("the page does not explain %q", code)
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
	if style.status != http.StatusOK || !strings.HasPrefix(style.header.Get("Content-Type"), "text/css") ||
		!strings.Contains(style.header.Get("Cache-Control"), "immutable") {
		t.Errorf("the stylesheet is %d, %v", style.status, style.header)
	}
	if old := v.get("/static/style.css?v=old"); old.header.Get("Cache-Control") != "no-cache" {
		t.Errorf("an old address is kept: %q", old.header.Get("Cache-Control"))
	}
	v.get("/static/none.css").wants(t, http.StatusNotFound)
	if page := v.get("/sign-in"); page.header.Get("Cache-Control") != "private, no-store" {
		t.Errorf("a page may be kept: %q", page.header.Get("Cache-Control"))
	}
	v.get("/nothing/here").wants(t, http.StatusNotFound, "Page not found", "Request id")
}

func TestDatesAreInTheReadersForm(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	for language, want := range map[string]string{
		"":                  `<time datetime="2026-03-03" lang="en">3 Mar 2026</time>`,
		"en-US,en;q=0.8":    `<time datetime="2026-03-03" lang="en-US">Mar 3, 2026</time>`,
		"de-AT, en;q=0.5":   `<time datetime="2026-03-03" lang="de">3. März 2026</time>`,
		"tlh, sv;q=0.9, en": `<time datetime="2026-03-03" lang="en">3 Mar 2026</time>`,
	} {
		request := v.request(http.MethodGet, w.at(), nil)
		request.Header.Set("Accept-Language", language)
		if got := v.send(request); !strings.Contains(got.body, want) {
			t.Errorf("for %q the squad's page does not hold %s", language, want)
		}
	}
}
