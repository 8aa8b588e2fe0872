package logger_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/google/go-cmp/cmp"

	"laneward/openapi"
	"laneward/service/shot"
)

// One shot is logged by keys alone: the cursor on the lane, the pins, and saving.
func TestKeyboardOnly(t *testing.T) {
	w, d := begun(t)
	d.tabTo("the lane", ".lane")
	d.keys("3", kb.ArrowRight, kb.ArrowRight, kb.ArrowUp) // to the breakpoint, two boards outside, a foot on
	d.wait(
		"where the cursor is",
		"document.getElementById('say').innerText.startsWith('board 18, 43 feet, breakpoint')",
	)
	d.keys(kb.Enter)
	d.wait("what the mark says", "document.getElementById('say').innerText.includes('Kept by 8.5 boards')")
	d.keys("1", kb.Enter, "4", kb.ArrowLeft, kb.Enter, "1", kb.Delete) // a laydown that is taken away again
	d.look("keyboard", 390)
	d.tabTo("a pin", ".pin")
	d.keys("6", "0")
	d.wait("what was left", "document.getElementById('say').innerText.trim() === 'left 6-10'")
	d.tabTo("saving", "#save")
	d.keys(kb.Enter)
	d.wait(
		"the shot",
		"document.getElementById('say').innerText.startsWith('Shot 1 saved. Kept by 8.5 boards. 1 of 1 kept')",
	)
	if on := eval[string](d, "document.activeElement.className"); on != "lane" {
		t.Errorf("after saving the focus is on %q, want the lane, for the next shot", on)
	}
	d.waitSent()
	s := w.shots()[0]
	if *s.BreakpointBoard != 18 || *s.BreakpointFt != 43 || *s.EntryBoard != 19 || s.LaydownBoard != nil ||
		s.Standing.String() != "6-10" {
		t.Errorf(
			"the server has breakpoint %v at %v, entry %v, laydown %v, left %s",
			*s.BreakpointBoard,
			*s.BreakpointFt,
			*s.EntryBoard,
			s.LaydownBoard,
			s.Standing,
		)
	}
}

// tabTo goes on by the tab key until an element has the focus, visibly.
func (d *device) tabTo(what, selector string) {
	d.t.Helper()
	for range 60 {
		d.keys(kb.Tab)
		if eval[bool](d, fmt.Sprintf("document.activeElement.matches(%q)", selector)) {
			if style := eval[string](d, "getComputedStyle(document.activeElement).outlineStyle"); style == "none" {
				d.t.Errorf("the focus on %s cannot be seen", what)
			}
			return
		}
	}
	d.t.Fatalf("sixty tabs do not lead to %s", what)
}

func (d *device) keys(keys ...string) {
	d.t.Helper()
	for _, key := range keys {
		d.do(chromedp.KeyEvent(key))
	}
}

// A left-hander's lane is mirrored: the boards count from the left gutter, and the pins stay where
// they stand.
func TestLeftHander(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.begin(leftyEmail, "Left-hand practice")
	d.clickLaneAt(0.25, 42) // a quarter across from the left
	d.pin(7)
	d.look("left-hander", 390)
	d.save()
	d.waitSent()
	found, err := w.svc.Feed(t.Context(), w.coach, w.squad, feedAll)
	must(t, err)
	s := shotIn(found)
	if s == nil || *s.BreakpointBoard != 10 || s.Standing.String() != "7" {
		t.Fatalf("the server has %+v, want board 10 and the 7 pin", s)
	}
}

// Nothing is invented: what was not tapped is not there, and the last pin put down again is no
// strike.
func TestNothingIsInvented(t *testing.T) {
	w, d := begun(t)
	d.pin(10)
	d.pin(10)
	if text := eval[string](d, "document.querySelector('#save').getAttribute('aria-disabled')"); text != "true" {
		t.Error("a shot of which nothing is recorded can be saved")
	}
	d.click(".strike")
	d.save()
	d.tapLane(12, 15)
	d.click("#undo")
	d.tapLane(13, 15)
	d.save()
	d.waitText("Ball, speed, note")
	d.clickText("Ball, speed, note")
	d.clickText("Log shot as not seen")
	d.waitText("Shot 3 saved")
	d.waitSent()
	shots := w.shots()
	if len(shots) != 3 {
		t.Fatalf("the server has %d shots, want 3", len(shots))
	}
	for i, s := range shots {
		if s.LaydownBoard != nil || s.BreakpointBoard != nil || s.BreakpointFt != nil || s.EntryBoard != nil ||
			s.SpeedMPH != nil ||
			s.BallID != nil ||
			s.Note != "" {
			t.Errorf("shot %d says more than was tapped: %+v", i+1, s)
		}
	}
	if !shots[0].Standing.Strike() || shots[0].ArrowsBoard != nil {
		t.Errorf("the strike is %v", shots[0].Standing)
	}
	if shots[1].Standing != nil || *shots[1].ArrowsBoard != 13 {
		t.Errorf("the second shot left %v at board %v", shots[1].Standing, *shots[1].ArrowsBoard)
	}
	if shots[2].Standing != nil || shots[2].ArrowsBoard != nil {
		t.Errorf("the shot nobody saw says %+v", shots[2])
	}
}

// Boards, speed, ball and note can be typed, nudged and chosen, and what makes no sense is not
// taken.
func TestTyping(t *testing.T) {
	w, d := begun(t)
	d.click("#board")
	d.typeText("41" + kb.Enter)
	d.waitText("Enter a board, 1 to 39")
	d.clearField("board")
	d.typeText("9,5" + kb.Enter)
	d.wait("the board", "document.querySelector('.place[aria-pressed=true] .place-value').innerText === '9.5'")
	d.click("button[aria-label='One board inside']")
	d.click("button[aria-label='One board inside']")
	d.click("#undo") // both nudges are one step
	d.click("button[aria-label='One board inside']")
	d.clickOn("document.querySelector('.more summary')")
	d.click("#speed")
	d.typeText("27.4 km" + kb.Tab)
	d.waitText("Enter 5 to 30 mph")
	d.clearField("speed")
	d.click("#speed")
	d.typeText("17" + kb.Tab)
	eval[bool](
		d,
		fmt.Sprintf(
			`(() => { const ball = document.getElementById("ball"); ball.value = %q; ball.dispatchEvent(new Event("change")); return true; })()`,
			w.ball.ID,
		),
	)
	d.click("#note")
	d.typeText("slid long")
	d.look("typing", 390)
	d.save()
	d.waitSent()
	s := w.shots()[0]
	if *s.BreakpointBoard != 10.5 || s.BreakpointFt != nil || *s.SpeedMPH != 17 || s.Note != "slid long" ||
		s.BallID == nil ||
		*s.BallID != w.ball.ID {
		t.Errorf("the server has %+v", s)
	}
}

// A shot begun is there when the page is opened again, and the last save can be taken back.
func TestDraftAndUndo(t *testing.T) {
	w, d := begun(t)
	d.tapLane(12, 42)
	d.pin(4)
	d.reopen(false)
	d.wait("the begun shot", "document.querySelector('.pins-words')?.innerText === 'Left 4'")
	d.save()
	d.waitSent()
	d.click("#undo")
	d.wait(
		"the shot open again",
		"document.querySelector('#save').innerText === 'Save shot 1' && document.querySelector('.pins-words').innerText === 'Left 4'",
	)
	d.waitSent()
	wantBoards(t, w, "")
	d.tapLane(14, 42)
	d.save()
	d.waitSent()
	wantBoards(t, w, "14")
}

// Two pages of one device share the queue: whichever works sends what the other logs, once, and
// numbers go on.
func TestTwoPagesOfOneDevice(t *testing.T) {
	w, first := begun(t)
	second := &device{t: t, base: first.base, dir: first.dir}
	second.newPage(first.ctx)
	second.open("")
	second.wait("the lane", "document.querySelector('.lane .wood')")
	second.logShot(9)
	first.wait("the shot of the other page", "document.querySelectorAll('.last li').length === 1")
	first.logShot(10)
	second.wait("the shot of the other page", "document.querySelectorAll('.last li').length === 2")
	first.waitSent()
	if _, err := chromedp.Call(
		first.ctx,
		closePage,
		struct{}{},
	); err != nil { // the one that worked; the other takes over
		t.Fatal(err)
	}
	second.logShot(11)
	second.waitSent()
	wantBoards(t, w, "9 10 11")
	for i, s := range w.shots() {
		if s.Order != i+1 {
			t.Errorf("shot %d has order %d", i+1, s.Order)
		}
	}
}

// A coach logs for an athlete of their choice.
func TestCoachLogsForAnAthlete(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.open("")
	d.signIn(coachEmail)
	d.wait("the athletes", "document.querySelectorAll('#athlete option').length === 3")
	d.look("coach", 390)
	eval[bool](
		d,
		fmt.Sprintf(
			`(() => { const who = document.getElementById("athlete"); who.value = %q; who.dispatchEvent(new Event("change")); return true; })()`,
			w.athlete.ID,
		),
	)
	d.waitText(w.session.Name)
	d.click("input[name=session]")
	d.clickText("Start logging")
	d.logShot(10)
	d.waitSent()
	if s := w.shots()[0]; s.AthleteID != w.athlete.ID {
		t.Errorf("the shot is %s's", s.AthleteID)
	}
}

// Whoever works by touch meets no small target, whoever listens no nameless one.
func TestTargetsAndNames(t *testing.T) {
	w, d := begun(t)
	d.expect("net::ERR")
	d.logShot(10)
	for _, view := range []string{"#/log", "#/shots", "#/start", "#/sync"} {
		d.open(view)
		d.wait("the view", "document.querySelector('main h1')")
		if view == "#/log" {
			d.wait("the lane", "document.querySelector('.lane .wood')")
			d.clickOn("document.querySelector('.more summary')")
		}
		if view == "#/start" {
			d.clickText("New session")
		}
		// A radio button's target is its label. The signs of the last shots are 36 px wide at
		// least; each shot is in the list as well.
		small := eval[string](
			d,
			`[...document.querySelectorAll("button, a, input, select, textarea, summary, .lane")].filter(e => e.checkVisibility()).map(e => e.type === "radio" ? e.closest("label") : e)
			.filter(e => { const r = e.getBoundingClientRect(); return r.height < 43.9 || r.width < (e.closest(".last") ? 35.9 : 39.9); })
			.filter(e => !e.matches(".skip") && !e.closest("p")).map(e => e.outerHTML.slice(0, 90) + " " + JSON.stringify(e.getBoundingClientRect())).join("\n")`,
		)
		if small != "" {
			t.Errorf("%s has small targets:\n%s", view, small)
		}
		for _, nameless := range d.nameless() {
			t.Errorf("%s: %s has no name", view, nameless)
		}
	}
	_ = w
}

// nameless lists what can be operated and has no name for who listens.
func (d *device) nameless() (found []string) {
	d.t.Helper()
	d.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		tree, err := cdp.Call(ctx, target, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
		if err != nil {
			return err
		}
		operable := map[string]bool{
			"button":      true,
			"link":        true,
			"textbox":     true,
			"combobox":    true,
			"radio":       true,
			"spinbutton":  true,
			"application": true,
			"radiogroup":  true,
		}
		seen := 0
		for _, node := range tree.Nodes {
			if node.Ignored || node.Role == nil || !operable[strings.Trim(string(node.Role.Value), `"`)] {
				continue
			}
			seen++
			if node.Name == nil || strings.Trim(string(node.Name.Value), `" `) == "" {
				found = append(found, fmt.Sprintf("%s %v", node.Role.Value, node.BackendDOMNodeID))
			}
		}
		if seen < 5 {
			found = append(found, fmt.Sprintf("only %d things that can be operated were found, so this test", seen))
		}
		return nil
	}))
	return found
}

// Text stands 4.5 to 1 from its ground and signs 3 to 1, in the light and in the dark (WCAG 2.2,
// 1.4.3 and 1.4.11).
func TestContrast(t *testing.T) {
	schemes := make([]string, 2)
	for _, name := range []string{"page/base.css", "page/style.css"} {
		css, err := os.ReadFile(name)
		must(t, err)
		found := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllStringSubmatch(string(css), -1)
		if len(found) != 2 {
			t.Fatalf("%s has %d schemes, want a light and a dark one", name, len(found))
		}
		for i := range schemes {
			schemes[i] += found[i][1]
		}
	}
	pairs := map[string]float64{
		"ink ground":                 4.5,
		"ink card":                   4.5,
		"soft ground":                4.5,
		"soft card":                  4.5,
		"blue card":                  4.5,
		"blue ground":                4.5,
		"blue blue-ground":           4.5,
		"soft blue-ground":           4.5,
		"ink blue-ground":            4.5,
		"on-blue blue":               4.5,
		"vermilion card":             4.5,
		"vermilion vermilion-ground": 4.5,
		"ink vermilion-ground":       4.5,
		"blue vermilion-ground":      4.5,
		"maple-ink maple":            4.5,
		"ink maple":                  4.5,
		"card ink":                   4.5,
		"frame card":                 3,
		"blue maple":                 3,
		"vermilion maple":            3,
		"soft halo":                  3,
		"focus ground":               3,
		"focus card":                 3,
		"blue track":                 3,
	}
	for i, name := range []string{"light", "dark"} {
		colours := map[string][3]float64{}
		for _, found := range regexp.MustCompile(`--([a-z-]+): #([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})`).FindAllStringSubmatch(schemes[i], -1) {
			var c [3]float64
			for i, digits := range found[2:] {
				channel, err := strconv.ParseUint(digits, 16, 8)
				must(t, err)
				c[i] = float64(channel) / 255
			}
			colours[found[1]] = c
		}
		for pair, least := range pairs {
			on, under, _ := strings.Cut(pair, " ")
			if _, known := colours[on]; !known {
				t.Fatalf("the %s scheme has no colour %s", name, on)
			}
			if ratio := contrast(colours[on], colours[under]); ratio < least {
				t.Errorf("%s on %s in the %s is %.2f to 1, want %v", on, under, name, ratio, least)
			}
		}
	}
}

// contrast returns the contrast of two sRGB colours, channels from 0 to 1. Source: WCAG 2.2,
// relative luminance and contrast ratio.
func contrast(a, b [3]float64) float64 {
	luminance := func(c [3]float64) float64 {
		for i, v := range c {
			if c[i] = v / 12.92; v > 0.04045 {
				c[i] = math.Pow((v+0.055)/1.055, 2.4)
			}
		}
		return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
	}
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// The page can be installed.
func TestInstallable(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.open("")
	d.wait("the service worker", "navigator.serviceWorker.ready.then(() => true)")
	d.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		manifest, err := cdp.Call(ctx, target, page.GetAppManifest, page.GetAppManifestParams{})
		if err != nil {
			return err
		}
		for _, fault := range manifest.Errors {
			t.Errorf("the manifest: %s", fault.Message)
		}
		var said struct{ Scope, Name string }
		if manifest.Data == "" {
			t.Error("there is no manifest")
			return nil
		}
		if err := json.Unmarshal([]byte(manifest.Data), &said); err != nil || said.Scope != "/logger/" {
			t.Errorf("the manifest says %+v (%v)", said, err)
		}
		faults, err := cdp.Call(ctx, target, page.GetInstallabilityErrors, cdp.Empty{})
		if err != nil {
			return err
		}
		for _, fault := range faults.InstallabilityErrors {
			if fault.ErrorID != "in-incognito" { // a profile of its own is taken for one
				t.Errorf("the page cannot be installed: %s %v", fault.ErrorID, fault.ErrorArguments)
			}
		}
		return nil
	}))
	if got := eval[string](d, "navigator.serviceWorker.ready.then(r => new URL(r.scope).pathname)"); got != "/logger/" {
		t.Errorf("the service worker rules %s", got)
	}
}

// clickLaneAt taps at a share of the lane's width from the left.
func (d *device) clickLaneAt(share, ft float64) {
	d.t.Helper()
	d.press(
		`document.querySelector(".lane .wood")`,
		fmt.Sprintf(`[frame.width * %g, frame.height * (1 - %g / 60)]`, share, ft),
	)
}

// Ids made on the device are UUIDs of version 7, different, and rise as they are made.
func TestIDs(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.open("")
	fault := eval[string](d, `import("/logger/ids.js").then(({ newId }) => {
		const ids = Array.from({ length: 20000 }, newId);
		if (new Set(ids).size !== ids.length) return "two are the same";
		if (ids.some((id) => !/^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/.test(id))) return "one is not of version 7";
		if (ids.some((id, i) => i > 0 && id <= ids[i - 1])) return "they do not rise";
		const ms = parseInt(ids[0].replace("-", "").slice(0, 12), 16);
		return Math.abs(ms - Date.now()) < 60000 ? "" : "the time in them is not now";
	})`)
	if fault != "" {
		t.Error(fault)
	}
}

// The contract's example of a digest.
func TestDigestOfThePage(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.open("")
	const want = "14628742275190202663"
	if !bytes.Contains(openapi.Contract, []byte(want)) {
		t.Fatal("the contract has no such example")
	}
	if got := eval[string](
		d,
		`import("/logger/digest.js").then(({ digestOf }) => digestOf([{ id: "01890a5d-ac96-774b-bcce-b302099a8057", rev: 7 }]).sum)`,
	); got != want {
		t.Errorf("the sum is %s, want %s", got, want)
	}
}

// The shots of a push, folded by the page into a table and read by the server, are the shots; what is
// out of the ordinary stays an item of its own.
func TestTableOfThePage(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.open("")
	const session = `{"kind":"session","id":"01890a5d-ac96-774b-bcce-b302099a8000","record":{"name":"S"}}`
	const odd = `{"kind":"shot","id":"01890a5d-ac96-774b-bcce-b302099a8009","record":{"order":9,"time":"2026-03-14T17:00:00.123456Z"}}`
	shots := []string{
		`{"id":"01890a5d-ac96-774b-bcce-b302099a8001","kind":"shot","record":{"order":1,"session_id":"s","source":"eye","time":"2026-03-14T17:00:00Z"}}`,
		`{"id":"01890a5d-ac96-774b-bcce-b302099a8002","kind":"shot","record":{"note":"é \"x\"","order":7,"session_id":"s","source":"eye","time":"2026-03-14T17:00:40.5Z"},"version":"4.head"}`,
		`{"id":"fe890a5d-ac96-774b-bcce-b302099a80ff","kind":"shot","record":{"order":2,"session_id":"s","speed_mph":16.5,"standing":[],"time":"2026-03-14T16:00:00Z"},"schema":2}`,
	}
	folded := eval[string](d, `import("/logger/table.js").then(({ fold }) => JSON.stringify(fold([`+
		strings.Join(append(append([]string{session}, shots...), odd), ",")+`])))`)
	var items []json.RawMessage
	must(t, json.Unmarshal([]byte(folded), &items))
	if len(items) != 3 || string(items[0]) != session || string(items[2]) != odd {
		t.Fatalf("folded to %s", folded)
	}
	table, err := shot.ReadPushTable(items[1])
	must(t, err)
	i := 0
	for row := range table.Rows() {
		var got any
		must(t, json.Unmarshal(row.AppendItem(nil), &got))
		text, err := json.Marshal(got)
		must(t, err)
		if string(text) != shots[i] {
			t.Errorf("row %d is\n%s, want\n%s", i, text, shots[i])
		}
		i++
	}
	if i != len(shots) {
		t.Errorf("%d rows, want %d", i, len(shots))
	}
}

// The answers of the handler.
func TestHandler(t *testing.T) {
	w := newWorld(t)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	get := func(path, etag string) *http.Response {
		t.Helper()
		request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, w.server.URL+path, nil)
		must(t, err)
		request.Header.Set("If-None-Match", etag)
		response, err := client.Do(request)
		must(t, err)
		t.Cleanup(func() { must(t, response.Body.Close()) })
		return response
	}
	for path, want := range map[string]struct {
		status int
		media  string
	}{
		"/logger/":                     {200, "text/html; charset=utf-8"},
		"/logger/app.js":               {200, "text/javascript; charset=utf-8"},
		"/logger/sw.js":                {200, "text/javascript; charset=utf-8"},
		"/logger/style.css":            {200, "text/css; charset=utf-8"},
		"/logger/manifest.webmanifest": {200, "application/manifest+json"},
		"/logger/icon-192.png":         {200, "image/png"},
		"/logger/none.js":              {404, "text/plain; charset=utf-8"},
	} {
		response := get(path, "")
		if media := response.Header.Get(
			"Content-Type",
		); response.StatusCode != want.status ||
			want.media != "" && media != want.media {
			t.Errorf("%s is %d %s, want %d %s", path, response.StatusCode, media, want.status, want.media)
		}
		if etag := response.Header.Get(
			"ETag",
		); response.StatusCode == 200 &&
			(etag == "" || get(path, etag).StatusCode != http.StatusNotModified) {
			t.Errorf("%s with the ETag %s is sent again", path, etag)
		}
	}
}

// A finger that slides along the lane sets the mark where it lifts, and reads the board while it
// slides; one that scrolls the page sets none.
func TestTouch(t *testing.T) {
	w, d := begun(t)
	d.do(chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
	at := func(board, ft float64) (x, y float64) {
		point := eval[[]float64](
			d,
			fmt.Sprintf(`(() => { const r = document.querySelector(".lane .wood").getBoundingClientRect();
			return [r.right - r.width * (%g - 0.5) / 39, r.bottom - r.height * %g / 60]; })()`, board, ft),
		)
		return point[0], point[1]
	}
	one, finger := 1.0, 0.0
	touch := func(kind input.DispatchTouchEventType, points ...*input.TouchPoint) {
		t.Helper()
		for _, point := range points {
			point.RadiusX, point.RadiusY, point.Force, point.ID = &one, &one, &one, &finger
		}
		if points == nil {
			points = []*input.TouchPoint{}
		}
		d.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(
				ctx,
				target,
				input.DispatchTouchEvent,
				input.DispatchTouchEventParams{Type: kind, TouchPoints: points},
			)
			return err
		}))
	}
	x, y := at(16, 42)
	touch(input.DispatchTouchEventTypeTouchStart, &input.TouchPoint{X: x, Y: y})
	for board := 15.0; board >= 12; board-- {
		x, y = at(board, 42)
		touch(input.DispatchTouchEventTypeTouchMove, &input.TouchPoint{X: x, Y: y})
	}
	d.wait(
		"the board under the finger",
		"document.querySelector('.loupe text')?.textContent === 'Board 12 · Breakpoint 42 ft'",
	)
	d.look("sliding", 390)
	touch(input.DispatchTouchEventTypeTouchEnd)
	d.wait("the mark", "document.querySelector('.place[aria-pressed=true] .place-value').innerText === '12 at 42'")

	x, y = at(30, 30)
	touch(input.DispatchTouchEventTypeTouchStart, &input.TouchPoint{X: x, Y: y})
	for range 12 {
		y -= 12
		touch(input.DispatchTouchEventTypeTouchMove, &input.TouchPoint{X: x, Y: y})
	}
	touch(input.DispatchTouchEventTypeTouchEnd)
	d.wait(
		"no mark from scrolling",
		"document.querySelector('.place[aria-pressed=true] .place-value').innerText === '12 at 42'",
	)
	d.save()
	d.waitSent()
	wantBoards(t, w, "12")
}

// Devices that failed come back at any time up to a bound that doubles to a minute, and not
// together.
func TestBackoff(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.open("")
	waits := eval[[][]float64](
		d,
		`import("/logger/sync.js").then(({ backoff }) => [1, 2, 3, 6, 30, 2000].map((n) => [backoff(n, () => 0), backoff(n, () => 0.5), backoff(n, () => 1)]))`,
	)
	want := [][]float64{{0, 1e3, 2e3}, {0, 2e3, 4e3}, {0, 4e3, 8e3}, {0, 30e3, 60e3}, {0, 30e3, 60e3}, {0, 30e3, 60e3}}
	if diff := cmp.Diff(want, waits); diff != "" {
		t.Errorf("waits in ms after 1, 2, 3, 6, 30 and 2000 failures (-want +got):\n%s", diff)
	}
}
