package web_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// browser is a real Chromium with one tab.
type browser struct {
	t    *testing.T
	ctx  context.Context
	base string
	dir  string // where screenshots go
}

// newBrowser starts Chromium. It reaches the loopback only. Without one the test fails: what nobody looked at is not tested.
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
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"),
	)
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second)
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

// watchConsole fails the test on anything a page complains about: a script's error, a file that is missing, a breach of the content security policy.
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
	b.do(chromedp.EmulateViewport(width, height), chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: features})
		return err
	}))
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

// look checks that the page fits its window and keeps a picture of all of it.
func (b *browser) look(name string, width int64) {
	b.t.Helper()
	if over := evaluate[int64](b, "document.documentElement.scrollWidth"); over > width {
		wide := evaluate[string](b, `[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest(".scroll")).slice(0, 5)
			.map(e => e.tagName + "." + (e.getAttribute("class") || "")).join(", ")`)
		b.t.Errorf("%s scrolls sideways at %d px: it is %d px wide; look at %s", name, width, over, wide)
	}
	shot, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.t.Fatal(err)
	}
	must(b.t, os.WriteFile(filepath.Join(b.dir, fmt.Sprintf("%s-%d.png", name, width)), shot, 0o600))
}

func (b *browser) signIn() {
	b.t.Helper()
	b.open("/")
	b.do(chromedp.SendKeys(chromedp.ID("email"), coachEmail), chromedp.SendKeys(chromedp.ID("password"), password))
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Submit(chromedp.ID("password"))); err != nil {
		b.t.Fatal(err)
	}
}

func TestPagesInABrowser(t *testing.T) {
	w := newWorld(t)
	b := newBrowser(t, w.server.URL)
	squad := "/squads/" + w.squad.String()
	for _, width := range []int64{390, 1280} {
		b.screen(width, false)
		b.open("/")
		b.look("sign-in", width)
	}
	b.signIn()
	if at := evaluate[string](b, "location.pathname"); at != squad {
		t.Fatalf("after signing in the page is %s, want %s", at, squad)
	}
	for name, path := range map[string]string{
		"squad": squad, "drill": squad + "/drills/" + w.drill.ID.String(), "session": squad + "/sessions/" + w.session.ID.String(),
		"pattern": squad + "/patterns/" + w.pattern.ID.String(), "new-drill": squad + "/drills/new", "people": squad + "/people",
		"problems": "/problems", "squads": "/squads", "new-session": squad + "/sessions/new", "sign-up-again": "/sign-up",
		"lane": squad + "/drills/" + w.drill.ID.String() + "/athletes/" + w.people[1].ID.String() + "/lane.svg",
	} {
		for _, width := range []int64{390, 1280} {
			b.screen(width, false)
			b.open(path)
			b.look(name, width)
		}
		b.screen(390, true)
		b.look(name+"-dark", 390)
	}
}
