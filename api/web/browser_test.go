package web_test

import (
	"context"
	_ "embed"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"laneward/api"
	"laneward/service/lane"
	"laneward/service/record"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdpnetwork "github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/google/go-cmp/cmp"
)

// emptyRows is how many rows of a load table a new pattern begins with.
const emptyRows = 6

// browser is a real Chromium with one tab.
type browser struct {
	t    *testing.T
	ctx  context.Context
	base string
	dir  string // where screenshots go
	// refused allows answers of 400 to 409, which Chromium reports on its console: the test sends a form
	// with mistakes.
	refused atomic.Bool
	// offline allows requests that fail because the test has taken the network away.
	offline atomic.Bool
}

// newBrowser starts Chromium. It reaches the loopback only. Without one the test fails: what nobody
// looked at is not tested.
func newBrowser(t *testing.T, base string) *browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("there is no Chromium to look at the pages with: apt-get install chromium")
	}
	dir := os.Getenv("LANEWARD_SCREENSHOTS")
	if dir == "" {
		if dir, err = os.MkdirTemp("", "laneward-pages-"); err != nil {
			t.Fatal(err)
		}
	}
	must(t, os.MkdirAll(dir, 0o755))
	t.Logf("screenshots are in %s", dir)
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("host-resolver-rules", "MAP laneward.test 127.0.0.1, MAP localhost 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"),
	)
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox)
	}
	ctx, cancel := context.WithTimeout(
		context.Background(),
		5*time.Minute,
	) // outlives t.Context, so that the browser is closed in good order
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(ctx)
	b := &browser{t: t, ctx: ctx, base: base, dir: dir}
	b.do() // starts it
	b.watchConsole()
	t.Cleanup(func() {
		if err := chromedp.Cancel(ctx); err != nil {
			t.Logf("close the browser: %v", err)
		}
		closeTab()
	})
	return b
}

// watchConsole fails the test on anything a page complains about: a script's error, a file that is
// missing, a breach of the content security policy.
func (b *browser) watchConsole() {
	messages := chromedp.Console(b.ctx)
	done := make(chan struct{})
	b.t.Cleanup(func() { <-done })
	go func() {
		defer close(done)
		for message, err := range messages {
			if err != nil {
				return // the browser was closed
			}
			if b.refused.Load() && strings.Contains(fmt.Sprint(message), "status of 40") {
				continue
			}
			if b.offline.Load() && strings.Contains(fmt.Sprint(message), "net::ERR_INTERNET_DISCONNECTED") {
				continue
			}
			b.t.Errorf("the console says %s %s (%s)", message.Source, message, message.URL)
		}
	}()
}

func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// screen sets the size of the window and whether it is dark.
func (b *browser) screen(width int64, dark bool) {
	b.t.Helper()
	height, scheme := int64(844), "light"
	if width > 600 {
		height = 900
	}
	if dark {
		scheme = "dark"
	}
	features := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}
	b.do(
		chromedp.EmulateViewport(width, height),
		chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(
				ctx,
				target,
				emulation.SetEmulatedMedia,
				emulation.SetEmulatedMediaParams{Features: features},
			)
			return err
		}),
	)
}

func (b *browser) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.base + path))
}

func evaluate[T any](b *browser, expression string) T {
	b.t.Helper()
	value, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		b.t.Fatal(err)
	}
	return value
}

//go:embed testdata/audit.js
var audit string

// look checks that the page fits its window and can be used by everybody, as far as a machine can
// tell, and keeps a picture of all of it.
func (b *browser) look(name string, width int64) {
	b.t.Helper()
	for _, fault := range evaluate[[]string](b, audit) {
		b.t.Errorf("%s at %d px: %s", name, width, fault)
	}
	b.picture(name, width)
}

// picture checks that the page fits its window and keeps a picture of all of it.
func (b *browser) picture(name string, width int64) {
	b.t.Helper()
	if over := evaluate[int64](b, "document.documentElement.scrollWidth"); over > width {
		wide := evaluate[string](
			b,
			`[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest(".scroll")).slice(0, 5)
			.map(e => e.tagName + "." + (e.getAttribute("class") || "")).join(", ")`,
		)
		b.t.Errorf("%s scrolls sideways at %d px: it is %d px wide; look at %s", name, width, over, wide)
	}
	b.loadPictures(name)
	shot, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.t.Fatal(err)
	}
	must(b.t, os.WriteFile(filepath.Join(b.dir, fmt.Sprintf("%s-%d.png", name, width)), shot, 0o600))
}

// loadPictures brings what is loaded only when it comes in sight.
func (b *browser) loadPictures(name string) {
	b.t.Helper()
	const seen = `(async () => {
		const late = [...document.querySelectorAll("img")].filter((img) => img.checkVisibility());
		for (const img of late) { img.loading = "eager"; await img.decode().catch(() => {}); }
		return late.filter((img) => !img.naturalWidth).length;
	})()`
	missing, err := chromedp.Run(b.ctx, chromedp.Evaluate[int](seen, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatal(err)
	}
	if missing > 0 {
		b.t.Errorf("%s: %d pictures are not there", name, missing)
	}
}

func (b *browser) signIn() {
	b.t.Helper()
	b.open("/")
	b.do(chromedp.SendKeys(chromedp.ID("email"), coachEmail), chromedp.SendKeys(chromedp.ID("password"), password))
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Submit(chromedp.ID("password"))); err != nil {
		b.t.Fatal(err)
	}
}

// press presses a button or a link by the keyboard and waits for the page it leads to. A click by
// the pointer can miss while a page moves after its picture was taken.
func (b *browser) press(selector string) {
	b.t.Helper()
	if _, err := chromedp.RunResponse(
		b.ctx,
		chromedp.Focus(chromedp.CSS(selector)),
		chromedp.KeyEvent(kb.Enter),
	); err != nil {
		b.t.Fatal(err)
	}
}

func TestPagesInABrowser(t *testing.T) {
	w := newWorld(t)
	b := newBrowser(t, w.server.URL)
	squad := "/squads/" + w.squad.String()
	for _, role := range []record.Role{record.RoleCoach, record.RoleAnalyst} {
		_, err := w.svc.Invite(t.Context(), w.coach, w.squad, role, nil)
		must(t, err)
	}
	for _, width := range []int64{390, 1280} {
		b.screen(width, false)
		b.open("/")
		b.look("sign-in", width)
		b.open("/sign-up")
		b.look("sign-up", width)
	}
	b.signIn()
	if at := evaluate[string](b, "location.pathname"); at != squad {
		t.Fatalf("after signing in the page is %s, want %s", at, squad)
	}
	for _, page := range []struct{ name, path string }{
		{"squads", "/squads"},
		{"squad", squad + "?drill=" + w.drill.ID.String()},
		{"drill", squad + "/drills/" + w.drill.ID.String()},
		{"session", squad + "/sessions/" + w.session.ID.String()},
		{"pattern", squad + "/patterns/" + w.pattern.ID.String()},
		{"plan-form", squad + "/plan"},
		{"plan", squad + w.plan()},
		{"line", squad + w.planOfLine()},
		{"pattern-worn", squad + "/patterns/" + w.pattern.ID.String() + "?session=" + w.session.ID.String()},
		{"new-pattern", squad + "/patterns/new"},
		{"compare-form", squad + "/compare?pattern=" + w.pattern.ID.String()},
		{"compare", squad + w.compare("&against_pattern=", w.flat.ID.String())},
		{"athlete", squad + "/athletes/" + w.people[0].ID.String()},
		{"edit-athlete", squad + "/athletes/" + w.people[0].ID.String() + "/edit"},
		{"edit-pattern", squad + "/patterns/" + w.pattern.ID.String() + "/edit"},
		{"edit-drill", squad + "/drills/" + w.drill.ID.String() + "/edit"},
		{"new-drill", squad + "/drills/new"},
		{"new-session", squad + "/sessions/new"},
		{"people", squad + "/people"},
		{"problems", "/problems"},
	} {
		for _, width := range []int64{390, 1280} {
			b.screen(width, false)
			b.open(page.path)
			b.look(page.name, width)
			b.screen(width, true)
			b.look(page.name+"-dark", width)
		}
	}
	b.screen(390, false)
	b.open(squad + "/drills/" + w.drill.ID.String() + "/athletes/" + w.people[1].ID.String() + "/lane.svg")
	b.picture("lane", 390)
}

// TestCoachAssignsADrillInABrowser types a sentence, sees what it is read as while typing, and
// assigns it.
func TestCoachAssignsADrillInABrowser(t *testing.T) {
	w := newWorld(t)
	b := newBrowser(t, w.server.URL)
	b.screen(390, false)
	b.signIn()
	b.open("/squads/" + w.squad.String() + "/drills/new")
	b.do(
		chromedp.SendKeys(chromedp.ID("sentences"), "Play inside: keep it at board 12 or inside"),
		chromedp.WaitVisible(chromedp.CSS("#reading .asked li")),
	)
	if read := evaluate[string](
		b,
		`document.querySelector("#reading .asked").textContent`,
	); read != "Keep the ball at board 12 or inside at the breakpoint" {
		t.Errorf("the sentence is read as %q", read)
	}
	b.look("new-drill-read", 390)
	b.do(
		chromedp.SendKeys(chromedp.ID("name"), "Deeper"),
		chromedp.Click(chromedp.CSS(`input[value="`+w.people[0].ID.String()+`"]`)),
	)
	b.press(`button[value="assign"]`)
	if heading := evaluate[string](b, `document.querySelector("h1").textContent`); heading != "Deeper" {
		t.Errorf("after assigning the page is %q", heading)
	}
	b.look("assigned", 390)
}

// TestAthleteUploadsALogInABrowser chooses a file with mistakes and reads how to mend it.
func TestAthleteUploadsALogInABrowser(t *testing.T) {
	w := newWorld(t)
	file := filepath.Join(t.TempDir(), "tuesday.csv")
	must(t, os.WriteFile(file, []byte(logWithMistakes), 0o600))
	b := newBrowser(t, w.server.URL)
	b.screen(390, false)
	b.signIn()
	b.open("/squads/" + w.squad.String() + "/sessions/" + w.session.ID.String())
	b.do(chromedp.SetUploadFiles(chromedp.ID("log"), []string{file}))
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Submit(chromedp.ID("log"))); err != nil {
		t.Fatal(err)
	}
	if heading := evaluate[string](
		b,
		`document.querySelector("#result").textContent`,
	); heading != "tuesday.csv: 4 rows read" {
		t.Errorf("the result is headed %q", heading)
	}
	for _, width := range []int64{390, 1280} {
		b.screen(width, false)
		b.look("uploaded", width)
	}
}

// TestCoachPlansALineInABrowser asks for a plan, looks at the best line's misses and assigns the
// drill that keeps to it.
func TestCoachPlansALineInABrowser(t *testing.T) {
	w := newWorld(t)
	b := newBrowser(t, w.server.URL)
	b.screen(390, false)
	b.signIn()
	b.press(`a[href$="/plan"]`)
	b.do(
		chromedp.SetValue(chromedp.ID("pattern"), w.pattern.ID.String()),
		chromedp.SetValue(chromedp.ID("ball"), w.balls[0].ID.String()),
	)
	b.press(`main form button`)
	if heading := evaluate[string](
		b,
		`document.querySelector("h1").textContent`,
	); heading != "Ansel Quorrie on Long Meadow 44" {
		t.Errorf("the plan is headed %q", heading)
	}
	sentence := evaluate[string](b, `document.querySelector(".line .asked li").textContent`)
	b.press(`.line .button`)
	b.press(`#assign form button`)
	if asked := evaluate[string](b, `document.querySelector(".asked li").textContent`); asked != sentence {
		t.Errorf("the drill asks %q, the line %q", asked, sentence)
	}
	b.look("assigned-line", 390)
}

// TestCoachAddsAPatternInABrowser fills a load table with a row more than there are, and looks at
// the film before it is stored.
func TestCoachAddsAPatternInABrowser(t *testing.T) {
	w := newWorld(t)
	b := newBrowser(t, w.server.URL)
	b.refused.Store(true)
	b.signIn()
	for _, width := range []int64{390, 1280} {
		b.screen(width, false)
		b.open(w.at("/patterns/new"))
		b.do(chromedp.Click(chromedp.ID("more-loads")))
		row := emptyRows + 1
		if focus := evaluate[string](b, `document.activeElement.id`); focus != fmt.Sprintf("load-%d-direction", row) {
			t.Errorf("after adding a row the focus is on %q", focus)
		}
		for _, load := range []struct {
			row    int
			values string
		}{{1, "2 38 3 50 0 32"}, {row, "9 31 4 50 4 41"}} {
			for i, value := range strings.Fields(load.values) {
				column := []string{"from_board", "to_board", "count", "ul_per_board", "start_ft", "end_ft"}[i]
				b.do(chromedp.SendKeys(chromedp.ID(fmt.Sprintf("load-%d-%s", load.row, column)), value))
			}
		}
		b.press(`button[value="look"]`)
		if text := evaluate[string](
			b,
			`document.querySelector("#film").textContent`,
		); !strings.Contains(
			text,
			"41 ft",
		) {
			t.Errorf("the film is shown as %.200q", text)
		}
		b.look("pattern-looked-at", width)
		b.do(
			chromedp.SetValue(chromedp.ID("load-1-from_board"), "0"),
			chromedp.SetValue(chromedp.ID("load-1-end_ft"), "0"),
		)
		b.press(`button[value="look"]`)
		b.look("pattern-faults", width)
	}
}

// TestKeyboardInABrowser goes through the sign-in with the tabulator key only: every stop has to be
// seen.
func TestKeyboardInABrowser(t *testing.T) {
	w := newEmptyWorld(t)
	b := newBrowser(t, w.server.URL)
	b.screen(1280, false)
	b.open("/")
	var stops []string
	for range 8 {
		b.do(chromedp.KeyEvent(kb.Tab))
		stop := evaluate[string](b, `(document.activeElement.textContent.trim() || document.activeElement.id)`)
		stops = append(stops, stop)
		if outline := evaluate[string](
			b,
			`getComputedStyle(document.activeElement).outlineStyle + " " + getComputedStyle(document.activeElement).outlineWidth`,
		); outline != "solid 3px" {
			t.Errorf("the stop at %q has the outline %q", stop, outline)
		}
	}
	want := []string{
		"Skip to content",
		"Laneward",
		"email",
		"password",
		"Sign in",
		"Forgot your password?",
		"Sign up",
		"Help with errors",
	}
	if diff := cmp.Diff(want, stops); diff != "" {
		t.Errorf("the stops differ (-want +got):\n%s", diff)
	}
}

// TestPlainHTTPInABrowser signs in under a name that is not the loopback's, as in a bowling
// centre's own network: there a browser sends no fetch metadata, and only the form's origin tells
// where it comes from.
func TestPlainHTTPInABrowser(t *testing.T) {
	w := newWorld(t, func(config *api.Config) { config.PublicURL = &url.URL{Scheme: "http", Host: "laneward.test"} })
	b := newBrowser(t, strings.Replace(w.server.URL, "127.0.0.1", "laneward.test", 1))
	b.screen(390, false)
	b.signIn()
	if at := evaluate[string](b, "location.pathname"); at != w.at() {
		t.Errorf("after signing in the page is %s, want %s", at, w.at())
	}
}

// TestNoNetworkInABrowser sends a form without a network: the page stays, says so, and sends the same
// when the network is back.
func TestNoNetworkInABrowser(t *testing.T) {
	w := newWorld(t)
	b := newBrowser(t, w.server.URL)
	b.screen(390, false)
	b.signIn()
	b.open(w.at("/people"))
	const name = `document.querySelector("form[action$='/athletes'] input[name=name]")`
	const submit = name + `.form.requestSubmit(), true`
	evaluate[string](b, name+`.value = "Marit Underhay"`)
	b.network(false)
	evaluate[bool](b, submit)
	b.until(`document.querySelector(".unsent") === document.activeElement`)
	b.look("no-network", 390)
	if got := evaluate[string](b, name+`.value`); got != "Marit Underhay" {
		t.Errorf("the name that was entered is now %q", got)
	}
	b.network(true)
	evaluate[bool](b, submit)
	b.until(`!!document.body?.innerText.includes("Marit Underhay") && !document.querySelector(".unsent")`)
}

// network takes the network away from the page, or gives it back.
func (b *browser) network(on bool) {
	b.t.Helper()
	b.offline.Store(true)
	b.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(
			ctx,
			target,
			cdpnetwork.EmulateNetworkConditionsByRule,
			cdpnetwork.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*cdpnetwork.Conditions{
				{Offline: !on, DownloadThroughput: -1, UploadThroughput: -1},
			}},
		)
		return err
	}))
}

// until waits for a page that may be on its way to another.
func (b *browser) until(condition string) {
	b.t.Helper()
	for tries := 0; !evaluate[bool](b, condition); tries++ {
		if tries == 200 {
			b.t.Fatalf("never: %s", condition)
		}
		b.do(chromedp.Sleep(50 * time.Millisecond))
	}
}

// TestLongNamesInABrowser gives names of 60 letters without a space: no page may scroll sideways.
func TestLongNamesInABrowser(t *testing.T) {
	w := newWorld(t)
	long := strings.Repeat("Wolmarrow", 7)[:60]
	athlete := create(w, &record.Athlete{Name: long, Side: lane.Right, SpeedMPH: ptr(17.5), RevRateRPM: ptr(330.0)})
	d := create(w, &record.Drill{Name: long, Rules: w.drill.Rules, Reps: 30, PassShare: 0.8})
	create(w, &record.Assignment{DrillID: d.ID, AthleteID: athlete.ID, AssignedOn: dayOf(t, "2026-03-02")})
	create(w, &record.Session{Form: "practice", Name: long, Date: dayOf(t, "2026-03-04"), AthleteID: &athlete.ID})
	b := newBrowser(t, w.server.URL)
	b.screen(390, false)
	b.signIn()
	squad := "/squads/" + w.squad.String()
	for name, path := range map[string]string{
		"squad": squad, "drill": squad + "/drills/" + d.ID.String(), "new-drill": squad + "/drills/new",
		"athlete": squad + "/athletes/" + athlete.ID.String(), "people": squad + "/people", "plan-form": squad + "/plan",
	} {
		b.open(path)
		b.picture("long-"+name, 390)
	}
}

// TestRefusedFormInABrowser sends no file from a phone: the message is in sight and has the focus.
func TestRefusedFormInABrowser(t *testing.T) {
	w := newWorld(t)
	file := filepath.Join(t.TempDir(), "tuesday.xlsx")
	must(t, os.WriteFile(file, []byte("PK"), 0o600))
	b := newBrowser(t, w.server.URL)
	b.refused.Store(true)
	b.screen(390, false)
	b.signIn()
	b.open("/squads/" + w.squad.String() + "/sessions/" + w.session.ID.String())
	b.do(chromedp.SetUploadFiles(chromedp.ID("log"), []string{file}))
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Submit(chromedp.ID("log"))); err != nil {
		t.Fatal(err)
	}
	const inSight = `(() => { const alert = document.querySelector(".alert"), box = alert.getBoundingClientRect();
		return document.activeElement === alert && box.top >= 0 && box.bottom <= innerHeight; })()`
	for tries := 0; !evaluate[bool](b, inSight); tries++ { // the page may scroll smoothly
		if tries == 100 {
			t.Fatal("the message does not get the focus, or does not come in sight")
		}
		b.do(chromedp.Sleep(50 * time.Millisecond))
	}
	b.look("refused-upload", 390)
}

// TestPagesOnPaper looks at what a printer gets: verdicts and letters that are dark on white, and
// the miss map there without anybody having scrolled to it.
func TestPagesOnPaper(t *testing.T) {
	w := newWorld(t)
	b := newBrowser(t, w.server.URL)
	b.screen(1280, true)
	b.signIn()
	b.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
	squad := "/squads/" + w.squad.String()
	b.open(squad + "/drills/" + w.drill.ID.String())
	const pale = `[...document.querySelectorAll(".chip, .letter")].map((e) => getComputedStyle(e))
		.filter((s) => s.backgroundColor !== "rgba(0, 0, 0, 0)" || Math.max(...s.color.match(/\d+/g).map(Number)) > 110).length`
	if n := evaluate[int](b, pale); n > 0 {
		t.Errorf("%d verdicts and letters need a ground that printers leave out", n)
	}
	if n := evaluate[int](b, `document.querySelectorAll(".chip.met").length`); n == 0 {
		t.Error("no drill is met: the test looks at nothing")
	}
	b.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		paper, err := cdp.Call(ctx, target, page.PrintToPDF, page.PrintToPDFParams{})
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(b.dir, "drill.pdf"), paper.Data, 0o600)
	}))
	b.open(squad + w.plan())
	if n := evaluate[int](b, pale); n > 0 {
		t.Errorf("%d letters of the plan need a ground that printers leave out", n)
	}
	if n := evaluate[int](b, `[...document.images].filter((img) => img.loading === "lazy").length`); n > 0 {
		t.Errorf("%d pictures are loaded only when scrolled to", n)
	}
}
