package logger_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdpnetwork "github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// device is one browser profile with a page of the logger: a phone or a laptop of its own.
type device struct {
	t    *testing.T
	ctx  context.Context
	base string
	dir  string // where screenshots go

	mu       sync.Mutex
	expected []string // parts of console messages that a test provokes
}

// startBrowser starts Chromium, which reaches the loopback only. Without one the test fails: what
// nobody looked at is not tested.
func startBrowser(t *testing.T) context.Context {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("there is no Chromium to use the logger with: apt-get install chromium")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"),
	)
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox)
	}
	ctx, cancel := context.WithTimeout(
		context.WithoutCancel(t.Context()),
		20*time.Minute,
	) // the test's own ends before its clean-up
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(ctx)
	t.Cleanup(closeTab)
	must(t, chromedp.Do(ctx))
	t.Cleanup(func() {
		if err := chromedp.Cancel(ctx); err != nil {
			t.Logf("close the browser: %v", err)
		}
	})
	return ctx
}

// newDevice opens a profile of its own in a browser, at a phone's size.
func newDevice(t *testing.T, browser context.Context, base string) *device {
	t.Helper()
	d := &device{t: t, base: base, dir: screenshots(t)}
	d.newPage(browser, chromedp.WithNewBrowserContext())
	return d
}

// newPage opens a page, at a phone's size, that the device uses from now on.
func (d *device) newPage(parent context.Context, options ...chromedp.ContextOption) {
	d.t.Helper()
	ctx, closePage := chromedp.NewContext(parent, options...)
	d.ctx = ctx
	watched := d.watch(ctx)
	d.t.Cleanup(func() {
		closePage()
		<-watched
	})
	d.screen(390, false)
}

func screenshots(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("LANEWARD_SCREENSHOTS")
	if dir == "" {
		dir = filepath.Join(os.TempDir(), "laneward-logger")
	}
	must(t, os.MkdirAll(dir, 0o755))
	return dir
}

// watch fails the test on anything the page complains about that the test did not provoke: a
// script's error, a missing file, a breach of the content security policy.
func (d *device) watch(ctx context.Context) (done chan struct{}) {
	messages := chromedp.Console(ctx)
	done = make(chan struct{})
	go func() {
		defer close(done)
		for message, err := range messages {
			if err != nil {
				return // the tab was closed
			}
			text := fmt.Sprintf("%s %s (%s)", message.Source, message, message.URL)
			if !d.provoked(text) {
				d.t.Errorf("the console says %s", text)
			}
		}
	}()
	return done
}

// expect tells that console messages with such a part come of what the test does.
func (d *device) expect(parts ...string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.expected = append(d.expected, parts...)
}

func (d *device) provoked(text string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, part := range d.expected {
		if strings.Contains(text, part) {
			return true
		}
	}
	return false
}

func (d *device) do(steps ...chromedp.Action[chromedp.Void]) {
	d.t.Helper()
	if err := chromedp.Do(d.ctx, steps...); err != nil {
		d.t.Fatal(err)
	}
}

// screen sets the size of the window and whether it is dark.
func (d *device) screen(width int64, dark bool) {
	d.t.Helper()
	height, scheme := int64(844), "light"
	if width > 600 {
		height = 900
	}
	if dark {
		scheme = "dark"
	}
	features := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}
	d.do(
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

// offline takes the network away from the page and its service worker, or gives it back.
func (d *device) offline(off bool) {
	d.t.Helper()
	if off {
		d.expect("net::ERR_INTERNET_DISCONNECTED", "net::ERR_NETWORK_CHANGED")
	}
	d.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		worker := true
		rules := []*cdpnetwork.Conditions{{Offline: off, DownloadThroughput: -1, UploadThroughput: -1}}
		if _, err := cdp.Call(
			ctx,
			target,
			cdpnetwork.EmulateNetworkConditionsByRule,
			cdpnetwork.EmulateNetworkConditionsByRuleParams{
				EmulateOfflineServiceWorker: &worker, MatchedNetworkConditions: rules,
			},
		); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, target, cdpnetwork.OverrideNetworkState, cdpnetwork.OverrideNetworkStateParams{
			Offline: off, DownloadThroughput: -1, UploadThroughput: -1,
		})
		return err
	}))
}

// reopen closes the page and opens it again in the same profile, as one does a day later. The
// network is as it is set for the new page: off or on.
func (d *device) reopen(off bool) {
	d.t.Helper()
	old := d.ctx
	d.newPage(old)
	if off {
		d.offline(true)
	}
	if _, err := chromedp.Call(old, closePage, struct{}{}); err != nil {
		d.t.Fatal(err)
	}
	d.open("")
}

var closePage = cdp.Command[struct{}, struct{}]{Method: "Page.close"}

func (d *device) open(hash string) {
	d.t.Helper()
	d.do(chromedp.Navigate(d.base + "/logger/" + hash))
}

// eval reads a value from the page; a promise is waited for.
func eval[T any](d *device, expression string) T {
	d.t.Helper()
	value, err := chromedp.Run(d.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		d.t.Fatalf("%s: %v", expression, err)
	}
	return value
}

const patience = 20 * time.Second

// wait waits until an expression is true of the page.
func (d *device) wait(what, expression string) {
	d.t.Helper()
	deadline := time.Now().Add(patience)
	for {
		if ok, err := chromedp.Run(
			d.ctx,
			chromedp.Evaluate[bool]("(async () => Boolean(await ("+expression+")))()", chromedp.EvalAwaitPromise),
		); err == nil &&
			ok {
			return
		}
		if time.Now().After(deadline) {
			d.picture("failed")
			d.t.Fatalf(
				"waited %s for: %s\nthe page reads:\n%s",
				patience,
				what,
				eval[string](d, "document.body.innerText"),
			)
		}
		time.Sleep(25 * time.Millisecond)
	}
}

// eventually waits until something is true on the server's side.
func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	for deadline := time.Now().Add(patience); !is(); time.Sleep(25 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("waited %s for: %s", patience, what)
		}
	}
}

// waitText waits until the page shows a text.
func (d *device) waitText(text string) {
	d.t.Helper()
	quoted, err := json.Marshal(text)
	must(d.t, err)
	d.wait("the text "+text, fmt.Sprintf("document.body.innerText.includes(%s)", quoted))
}

// click presses on the middle of the first element that is found, where a finger would.
func (d *device) click(selector string) {
	d.t.Helper()
	d.clickOn(fmt.Sprintf("[...document.querySelectorAll(%q)].find(e => e.checkVisibility())", selector))
}

// clickText presses on the first button, link, label or summary with exactly this text.
func (d *device) clickText(text string) {
	d.t.Helper()
	d.clickOn(
		fmt.Sprintf(
			"[...document.querySelectorAll('button, a, label, summary')].find(e => e.textContent.trim() === %q && e.checkVisibility())",
			text,
		),
	)
}

func (d *device) clickOn(element string) {
	d.t.Helper()
	d.wait("something to press: "+element, element)
	d.press(element, `[frame.width / 2, frame.height / 2]`)
}

// tapLane taps where a ball crossed, on the drawn lane.
func (d *device) tapLane(board, ft float64) {
	d.t.Helper()
	d.wait("the lane, drawn at its size", `document.querySelector(".lane .wood") &&
		document.querySelector(".lane-picture").viewBox.baseVal.height === document.querySelector(".lane").clientHeight`)
	d.press(`document.querySelector(".lane-picture")`, fmt.Sprintf(`(() => {
		const wood = e.querySelector(".wood"), of = (name) => Number(wood.getAttribute(name));
		const left = document.querySelector(".lane").getAttribute("aria-label").includes("left");
		const from = (%g - 0.5) / 39, across = left ? from : 1 - from;
		return [of("x") + across * of("width"), of("y") + of("height") * (1 - %g / 60)];
	})()`, board, ft))
}

// press brings an element e into view, waits until it keeps still there, and presses at a place in
// its frame: [across, down] in pixels.
func (d *device) press(element, place string) {
	d.t.Helper()
	at := eval[[]float64](d, fmt.Sprintf(`(async () => {
		for (let last = ""; ;) {
			const e = %s;
			e.scrollIntoView({ block: "center", behavior: "instant" });
			const frame = e.getBoundingClientRect(), now = JSON.stringify(frame), [across, down] = %s;
			if (now === last) return [frame.left + across, frame.top + down];
			last = now;
			await new Promise((resolve) => setTimeout(resolve, 20));
		}
	})()`, element, place))
	d.do(chromedp.MouseClickXY(at[0], at[1]))
}

func (d *device) pin(n int) {
	d.t.Helper()
	d.click(fmt.Sprintf("button[aria-label='Pin %d stands']", n))
}

// save presses the button that saves, and waits until the shot is kept.
func (d *device) save() {
	d.t.Helper()
	d.click("#save")
	d.wait("a saved shot", "/^Shot \\d+ saved/.test(document.querySelector('.now').innerText)")
}

func (d *device) signIn(email string) {
	d.t.Helper()
	d.wait("the sign-in", "document.querySelector('#password')")
	d.clearField("email")
	d.do(chromedp.SendKeys(chromedp.ID("email"), email), chromedp.SendKeys(chromedp.ID("password"), password))
	d.clickText("Sign in")
}

// begin signs in, waits for the first copy, and chooses the first session and drill that are
// offered.
func (d *device) begin(email, session string) {
	d.t.Helper()
	d.open("")
	d.signIn(email)
	d.waitText(session)
	d.clickOn(
		fmt.Sprintf(
			"[...document.querySelectorAll('input[name=session]')].find(e => e.closest('label').innerText.includes(%q))",
			session,
		),
	)
	d.clickOn("document.querySelector('input[name=drill]')")
	d.clickText("Start logging")
	d.wait("the lane", "document.querySelector('.lane .wood')")
}

// look checks that the page fits its window and keeps a picture of it.
func (d *device) look(name string, width int64) {
	d.t.Helper()
	if over := eval[int64](d, "document.documentElement.scrollWidth"); over > width {
		wide := eval[string](
			d,
			`[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1).slice(0, 5)
			.map(e => e.tagName + "." + (e.getAttribute("class") || "")).join(", ")`,
		)
		d.t.Errorf("%s scrolls sideways at %d px: it is %d px wide; look at %s", name, width, over, wide)
	}
	d.picture(fmt.Sprintf("%s-%d", name, width))
}

func (d *device) picture(name string) {
	d.t.Helper()
	shot, err := chromedp.Run(d.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		d.t.Fatal(err)
	}
	must(d.t, os.WriteFile(filepath.Join(d.dir, name+".png"), shot, 0o600))
}

// changes counts the changes of a state that the device keeps: unsent, waiting, refused, conflict,
// landed.
const changesNow = `(async () => { const names = (await indexedDB.databases()).map(d => d.name).filter(n => n.startsWith("laneward "));
	let all = []; for (const name of names) { const db = await new Promise((ok, no) => { const r = indexedDB.open(name); r.onsuccess = () => ok(r.result); r.onerror = no; });
	all = all.concat(await new Promise((ok) => { const r = db.transaction("changes").objectStore("changes").getAll(); r.onsuccess = () => ok(r.result); })); db.close(); }
	return all; })()`

func (d *device) changes(state string) int {
	d.t.Helper()
	return eval[int](
		d,
		fmt.Sprintf("%s.then(all => all.filter(c => !%q || c.state === %q).length)", changesNow, state, state),
	)
}

// waitSent waits until the device keeps no change any more.
func (d *device) waitSent() {
	d.t.Helper()
	d.wait("an empty queue", changesNow+".then(all => all.length === 0)")
}

// clearField empties an input.
func (d *device) clearField(id string) {
	d.t.Helper()
	eval[bool](d, fmt.Sprintf("(() => { document.getElementById(%q).value = ''; return true; })()", id))
}

// typeText types into what has the focus.
func (d *device) typeText(text string) {
	d.t.Helper()
	d.do(chromedp.KeyEvent(text))
}

// acceptDialogs says yes to whatever the page asks from now on.
func (d *device) acceptDialogs() {
	d.t.Helper()
	eval[bool](d, "(() => { window.confirm = () => true; return true; })()")
}
