package logger_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"laneward/service/record"
	"laneward/service/shot"
)

// savedFile is what the page saves to a file when the button is pressed.
const savedFile = `new Promise((resolve) => {
	const make = URL.createObjectURL;
	URL.createObjectURL = (blob) => { URL.createObjectURL = make; blob.text().then(resolve); return make(blob); };
	document.getElementById("save-unsent").click();
})`

// takeUp chooses a file of a text on the sync page.
func (d *device) takeUp(text string) {
	d.t.Helper()
	quoted, err := json.Marshal(text)
	must(d.t, err)
	eval[bool](d, fmt.Sprintf(`(() => {
		const input = document.getElementById("take-up"), files = new DataTransfer();
		files.items.add(new File([%s], "laneward-unsent.json", { type: "application/json" }));
		input.files = files.files;
		input.dispatchEvent(new Event("change"));
		return true;
	})()`, quoted))
}

// TestUnsentFile: what is unsent is saved to a file, and taken up on another phone as often as one
// likes: the server has each shot once.
func TestUnsentFile(t *testing.T) {
	w := newWorld(t)
	browser := startBrowser(t)
	phone, other := newDevice(t, browser, w.server.URL), newDevice(t, browser, w.server.URL)
	phone.begin(athleteEmail, w.session.Name)
	phone.offline(true)
	phone.logShot(9)
	phone.logShot(10)
	phone.waitText("2 changes not sent yet are only in this browser")
	phone.look("unsent", 390)
	phone.open("#/sync")
	phone.waitText("The logger uses")
	phone.look("keeping", 390)
	text := eval[string](phone, savedFile)

	other.begin(athleteEmail, w.session.Name)
	other.open("#/sync")
	other.waitText("Take up a saved file")
	other.takeUp("no file")
	other.waitText("This file can't be read.")
	other.takeUp(`{"format":"laneward-unsent","version":1,"changes":[{"kind":"shot"}]}`)
	other.waitText("This isn't a file of unsent changes.")
	other.takeUp(text)
	other.waitSent()
	other.wait("two shots on the server", "document.getElementById('say').textContent.includes('2 changes taken up')")
	wantBoards(t, w, "9 10")
	other.takeUp(text)
	other.wait("nothing to do", "document.getElementById('say').textContent.includes('All of this file is here already')")
	phone.offline(false)
	phone.waitSent()
	wantBoards(t, w, "9 10")
	if n := phone.changes("conflict") + phone.changes("refused") + other.changes("conflict"); n != 0 {
		t.Errorf("%d changes were not the same", n)
	}
}

// TestCleared: a browser that has cleared the logger's data is told of, with what was unsent in it;
// signing out is not.
func TestCleared(t *testing.T) {
	w, d := begun(t)
	d.expect("503")
	w.network.answerInstead(func(r *http.Request) int {
		if strings.HasSuffix(r.URL.Path, "/push") {
			return http.StatusServiceUnavailable
		}
		return 0
	})
	d.logShot(9)
	d.waitText("1 change not sent yet is only in this browser")
	d.do(chromedp.Navigate(d.base + "/healthz")) // of the same origin, and opens no store
	eval[bool](d, `(async () => {
		for (const { name } of await indexedDB.databases()) await new Promise((ok) => { const r = indexedDB.deleteDatabase(name); r.onsuccess = r.onerror = ok; r.onblocked = ok; });
		return true;
	})()`)
	w.network.answerInstead(nil)
	d.open("")
	d.waitText("This browser has cleared the logger's data. 1 change not sent yet was in it")
	d.look("cleared", 390)
	d.begin(athleteEmail, w.session.Name)
	d.acceptDialogs()
	d.open("#/sync")
	d.waitText("Everything is sent.")
	d.clickText("Sign out")
	d.waitText("Sign in")
	d.wait("no word of clearing", "!document.getElementById('cleared') && !document.cookie.includes('laneward_kept=')")
}

// TestOlderSessions: the first copy has the sessions of the last 90 days; older ones come when they
// are asked for, and what is compared is what the device has.
func TestOlderSessions(t *testing.T) {
	w := newWorld(t)
	old := create(w, &record.Session{
		Form:      "practice",
		Name:      "Long ago",
		Date:      record.Day{Time: w.session.Date.AddDate(0, 0, -200)},
		AthleteID: &w.athlete.ID,
	})
	create(w, &record.Shot{Shot: shot.Shot{
		SessionID: old.ID, AthleteID: w.athlete.ID, Order: 1, Time: time.Date(2026, 3, 14, 18, 0, 0, 0, time.UTC),
	}})
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.begin(athleteEmail, w.session.Name)
	d.open("#/sync")
	d.clickText("Sync and verify")
	d.waitText("this device has exactly what the server has")
	d.open("#/start")
	d.waitText("Sessions since")
	d.wait("only new sessions", "!document.body.textContent.includes('Long ago')")
	d.look("older", 390)
	d.clickText("Get older sessions")
	d.waitText("Long ago")
	w.edit(w.shotsOf(old)[0], map[string]any{"note": "found"})
	eval[bool](d, fmt.Sprintf(deviceTools, w.squad, old.ID, w.athlete.ID))
	d.wait("the old shot as it is now", `tools.shots().then((text) => text.includes("found"))`)
	d.open("#/sync")
	d.clickText("Sync and verify")
	d.waitText("this device has exactly what the server has")
}

func (w *world) shotsOf(session *record.Session) []*record.Shot {
	w.t.Helper()
	w.session, session = session, w.session
	defer func() { w.session = session }()
	return w.shots()
}
