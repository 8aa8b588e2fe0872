package logger_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/drill"
	"laneward/service/record"
)

// logShot logs one shot by its breakpoint, and a strike.
func (d *device) logShot(board float64) {
	d.t.Helper()
	d.tapLane(board, 42)
	d.click(".strike")
	d.save()
}

// begun is a device of the athlete that logs, in a world of its own.
func begun(t *testing.T) (*world, *device) {
	t.Helper()
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.begin(athleteEmail, w.session.Name)
	return w, d
}

// boardsOf are the breakpoint boards of the stored shots, in the order thrown.
func boardsOf(w *world) string {
	var boards []string
	for _, s := range w.shots() {
		if s.BreakpointBoard == nil {
			boards = append(boards, "none")
			continue
		}
		boards = append(boards, fmt.Sprint(*s.BreakpointBoard))
	}
	return strings.Join(boards, " ")
}

func wantBoards(t *testing.T, w *world, want string) {
	t.Helper()
	if got := boardsOf(w); got != want {
		t.Errorf("the server has shots at boards %q, want %q", got, want)
	}
}

// The answer to a push is lost after the server has stored it: sent again, it is there once.
func TestLostAnswersStoreOnce(t *testing.T) {
	w, d := begun(t)
	d.expect("net::ERR_EMPTY_RESPONSE", "net::ERR_CONNECTION")
	w.network.cutAnswers("/push", 3)
	for _, board := range []float64{9, 10, 11} {
		d.logShot(board)
	}
	d.waitSent()
	wantBoards(t, w, "9 10 11")
	if _, pushes, _ := w.network.counts(); pushes < 4 {
		t.Errorf("only %d pushes reached the server: nothing was sent again", pushes)
	}
}

// A shot that is edited or deleted while the answer to its push is lost stays one shot, and no
// conflict.
func TestEditWhileTheAnswerIsLost(t *testing.T) {
	w, d := begun(t)
	d.expect("net::ERR_EMPTY_RESPONSE", "net::ERR_CONNECTION")
	w.network.cutAnswers("/push", 1_000)
	d.logShot(9)
	d.logShot(10)
	eventually(t, "both shots to be stored, and their answers lost", func() bool { return boardsOf(w) == "9 10" })
	d.open("#/shots")
	d.click(".shots li:last-child a")
	d.waitText("Save changes")
	d.tapLane(12, 42)
	d.save()
	d.open("#/shots")
	d.click(".shots li:first-child a")
	d.clickText("Delete shot 2")
	d.wait("the deletion", "document.querySelectorAll('.shots li').length === 1")
	w.network.cutAnswers("/push", 0)
	d.open("#/sync")
	d.clickText("Sync and verify")
	d.waitSent()
	wantBoards(t, w, "12")
}

// The answer to a refresh is lost: the same token is sent again, and nobody is signed out.
func TestLostRefreshAnswer(t *testing.T) {
	w, d := begun(t)
	d.expect("net::ERR_EMPTY_RESPONSE", "net::ERR_CONNECTION", "401")
	w.later(time.Hour) // the access token is over
	w.network.cutAnswers("/tokens/refresh", 2)
	d.logShot(9)
	d.waitSent()
	wantBoards(t, w, "9")
	if _, _, refreshes := w.network.counts(); refreshes != 3 {
		t.Errorf("%d refreshes reached the server, want 3: two lost and one answered", refreshes)
	}
}

// A sign-in that has ended keeps the queue: the same person signs in again and it is sent. Somebody
// else who signs in meanwhile neither sees nor sends it.
func TestSignInEnds(t *testing.T) {
	w, d := begun(t)
	d.expect("401")
	w.later(100 * 24 * time.Hour) // longer than a sign-in lasts
	d.logShot(9)
	d.waitText("Your sign-in ended.")
	d.logShot(10)
	if n := d.changes("unsent"); n != 2 {
		t.Fatalf("%d changes are kept, want 2", n)
	}
	d.look("signed-out", 390)

	d.clickText("Sign in again")
	d.wait("the sign-in", "document.querySelector('#password')")
	d.signIn(leftyEmail)
	d.waitText("Left-hand practice")
	d.wait("a sync of the other person", "document.querySelector('.sync').innerText === 'All sent'")
	if text := eval[string](d, "document.body.innerText"); strings.Contains(text, w.session.Name) {
		t.Errorf("somebody else sees the first person's session:\n%s", text)
	}
	wantBoards(t, w, "")
	d.open("#/sync")
	d.acceptDialogs()
	d.clickText("Sign out")
	d.wait("the sign-in", "document.querySelector('#password')")
	d.signIn(athleteEmail)
	d.waitSent()
	wantBoards(t, w, "9 10")
}

// Two devices change the same field of a shot: both versions are shown, and the choice is what
// everybody has.
func TestTwoDevicesEditOneShot(t *testing.T) {
	w := newWorld(t)
	browser := startBrowser(t)
	phone, laptop := newDevice(t, browser, w.server.URL), newDevice(t, browser, w.server.URL)
	phone.begin(athleteEmail, w.session.Name)
	phone.logShot(9)
	phone.waitSent()
	laptop.begin(athleteEmail, w.session.Name)
	laptop.wait("the shot of the phone", "document.querySelectorAll('.last li').length === 1")

	phone.offline(true)
	phone.click(".last button")
	phone.waitText("Save changes")
	phone.tapLane(12, 44)
	phone.tapLane(17, 60)
	phone.save()
	laptop.click(".last button")
	laptop.waitText("Save changes")
	laptop.tapLane(7, 40)
	laptop.save()
	laptop.waitSent()
	wantBoards(t, w, "7")

	phone.offline(false)
	phone.wait("the conflict", "document.querySelector('.sync').innerText === '1 conflict'")
	wantBoards(t, w, "7")
	phone.click(".sync")
	phone.clickText("Compare")
	phone.waitText("two versions")
	phone.everywhere("conflict")
	// The board of the phone, the distance of the laptop; the entry only the phone has.
	phone.click("input[name=field-breakpoint_ft][value=theirs]")
	phone.clickText("Keep my choices")
	phone.waitSent()
	stored := w.shots()[0]
	if *stored.BreakpointBoard != 12 || *stored.BreakpointFt != 40 || stored.EntryBoard == nil ||
		*stored.EntryBoard != 17 {
		t.Errorf(
			"the server has breakpoint %v at %v, entry %v; want 12 at 40, entry 17",
			*stored.BreakpointBoard,
			*stored.BreakpointFt,
			stored.EntryBoard,
		)
	}
	// The laptop learns of it by the live tail.
	laptop.open("#/shots")
	laptop.waitText("breakpoint 12 at 40 ft")
}

// Two devices change different fields: both stand, and nobody is asked.
func TestEditsThatDoNotMeet(t *testing.T) {
	w, d := begun(t)
	d.logShot(9)
	d.waitSent()
	d.offline(true)
	d.click(".last button")
	d.waitText("Save changes")
	d.tapLane(17, 60)
	d.save()
	w.edit(w.shots()[0], map[string]any{"note": "seen by the coach"})
	d.offline(false)
	d.waitSent()
	stored := w.shots()[0]
	if stored.Note != "seen by the coach" || stored.EntryBoard == nil || *stored.EntryBoard != 17 {
		t.Errorf("the server has note %q and entry %v, want both edits", stored.Note, stored.EntryBoard)
	}
}

// A shot deleted here and changed elsewhere, and the other way round, is a conflict.
func TestDeleteAgainstEdit(t *testing.T) {
	w, d := begun(t)
	d.logShot(9)
	d.logShot(10)
	d.waitSent()
	d.offline(true)
	d.open("#/shots")
	d.click(".shots li:last-child a")
	d.clickText("Delete shot 1")
	d.wait("the deletion", "document.querySelectorAll('.shots li').length === 1")
	d.click(".shots li:first-child a")
	d.waitText("Save changes")
	d.tapLane(14, 42)
	d.save()
	stored := w.shots()
	w.edit(stored[0], map[string]any{"note": "worth keeping"})
	if outcome := w.push(
		service.PushItem{Kind: record.KindShot, ID: stored[1].ID, Version: w.version(stored[1]), Deleted: true},
	); outcome[0].Status != service.StatusStored {
		t.Fatalf("the coach's deletion is %s", outcome[0].Status)
	}
	d.offline(false)
	d.wait("the conflicts", "document.querySelector('.sync').innerText === '2 conflicts'")
	d.open("#/sync")
	d.look("conflicts", 390)
	for _, left := range []string{"1 conflict", "All sent"} { // keep what was changed, whoever deleted it
		d.clickText("Compare")
		d.clickText("Keep it")
		d.waitText(left)
	}
	d.waitSent()
	wantBoards(t, w, "9 14")
	if note := w.shots()[0].Note; note != "worth keeping" {
		t.Errorf("the note of the shot deleted here is %q", note)
	}
}

// What the server refuses is set aside with its reason, the rest is stored, and once mended it is
// sent again.
func TestRefusedIsSetAsideAndMended(t *testing.T) {
	w, d := begun(t)
	d.offline(true)
	d.logShot(9)
	eval[bool](
		d,
		`(() => { globalThis.RealDate = Date; globalThis.Date = class extends RealDate { toISOString() { return "1921-01-01T00:00:00.000Z"; } }; return true; })()`,
	)
	d.logShot(10)
	eval[bool](d, `(() => { globalThis.Date = RealDate; return true; })()`)
	d.logShot(11)
	d.offline(false)
	d.wait("the refusal", "document.querySelector('.sync').innerText === '1 refused'")
	wantBoards(t, w, "9 11")
	d.click(".sync")
	d.waitText("check the clock of the device")
	d.everywhere("refused")
	d.clickText("Edit")
	d.waitText("The server did not accept this shot")
	d.tapLane(12, 42)
	d.save()
	d.waitSent()
	wantBoards(t, w, "9 12 11")
}

// A session made here and the shots in it arrive together, the session first.
func TestNewSessionOffline(t *testing.T) {
	w, d := begun(t)
	d.offline(true)
	d.open("#/start")
	d.clickText("New session")
	d.clearField("session-name")
	d.click("#session-name")
	d.typeText("Made without a network")
	d.clickText("Create session")
	d.waitText("Made without a network") // the page is drawn anew, with the session chosen
	d.clickText("Start logging")
	d.logShot(9)
	d.offline(false)
	d.waitSent()
	items, err := w.svc.Feed(t.Context(), w.coach, w.squad, feedAll)
	must(t, err)
	found := false
	for _, item := range items.Items {
		if s, ok := item.Record.(*record.Session); ok && s.Name == "Made without a network" {
			found = *s.AthleteID == w.athlete.ID && s.ID.Version() == 7
			w.session = s
		}
	}
	if !found {
		t.Fatal("the session has not arrived, or is not the athlete's")
	}
	wantBoards(t, w, "9")
}

// What refers to a drill that was taken away waits with its reason, and goes once the drill is
// changed here.
func TestWaitsForWhatIsGone(t *testing.T) {
	w, d := begun(t)
	d.offline(true)
	d.logShot(9)
	w.unassign()
	d.offline(false)
	d.wait("the waiting shot", changesNow+".then(all => all.some(c => c.state === 'waiting'))")
	d.open("#/sync")
	d.waitText("Waiting for other records")
	d.look("waiting", 390)
	wantBoards(t, w, "")
	d.acceptDialogs()
	d.clickText("Send without the drill")
	d.waitSent()
	wantBoards(t, w, "9")
	if w.shots()[0].DrillID != nil {
		t.Error("the shot still names the drill")
	}
}

// A full squad is told of, and what it has no room for stays on the device and goes once there is
// room.
func TestWaitsForRoom(t *testing.T) {
	w, d := begun(t)
	usage, err := w.svc.Usage(t.Context(), w.coach, w.squad)
	must(t, err)
	room := func(more int64) {
		t.Helper()
		quota := usage.Records + more
		_, err := w.svc.SetQuota(t.Context(), w.squad, &quota)
		must(t, err)
	}
	room(1)
	d.offline(true)
	d.logShot(9)
	d.logShot(10)
	d.offline(false)
	d.wait("the waiting shot", changesNow+".then(all => all.length === 1 && all[0].state === 'waiting')")
	d.waitText("The squad is full")
	wantBoards(t, w, "9")
	d.open("#/sync")
	d.waitText("Waiting for room")
	d.waitText("delete sessions that nobody needs any more")
	d.look("full", 390)
	room(3)
	d.click("#sync-now")
	d.waitSent()
	d.waitText("The squad is nearly full")
	wantBoards(t, w, "9 10")
	room(100)
	d.open("#/log")
	d.logShot(11)
	d.waitSent()
	d.wait("no word of it", "!document.body.innerText.includes('The squad is')")
}

// What a phone has not sent of an athlete who was erased meanwhile is told, is not sent again and
// holds up nothing of others; it can be discarded together.
func TestErasedAthlete(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.open("")
	d.signIn(coachEmail)
	d.wait("the athletes", "document.querySelectorAll('#athlete option').length === 3")
	begin := func(athlete *record.Athlete, session string) {
		t.Helper()
		d.open("#/start")
		d.wait("the athletes", "document.querySelectorAll('#athlete option').length === 3")
		eval[bool](d, fmt.Sprintf(
			`(() => { const who = document.getElementById("athlete"); who.value = %q; who.dispatchEvent(new Event("change")); return true; })()`,
			athlete.ID,
		))
		d.waitText(session)
		d.click("input[name=session]")
		d.clickText("Start logging")
	}
	begin(w.athlete, w.session.Name)
	d.logShot(8)
	d.waitSent()
	d.offline(true)
	d.logShot(9)
	d.logShot(10)
	begin(w.lefty, "Left-hand practice")
	d.logShot(11)
	if _, err := w.svc.Erase(t.Context(), w.coach, w.squad, w.athlete.ID, w.athlete.Name); err != nil {
		t.Fatal(err)
	}
	d.offline(false)
	d.wait("the other's shot to be sent", changesNow+".then(all => all.length === 2 && all.every(c => c.state === 'refused'))")
	page, err := w.svc.Feed(t.Context(), w.coach, w.squad, feedAll)
	must(t, err)
	if s := shotIn(page); s == nil || s.AthleteID != w.lefty.ID {
		t.Errorf("the server has %+v, want the other athlete's shot", s)
	}
	d.open("#/sync")
	d.wait("the card", "document.querySelector('#erased')?.textContent.includes('A coach erased the athlete')")
	d.look("erased", 390)
	if words := eval[string](d, "document.querySelector('#erased').textContent"); strings.Contains(words, "Send again") ||
		strings.Contains(words, "Edit") || strings.Count(words, "erased for good") < 2 {
		t.Errorf("the card says %q", words)
	}
	w.network.quiet()
	_, pushes, _ := w.network.counts()
	d.clickText("Sync and verify")
	d.waitText("exactly what the server has")
	w.network.quiet()
	if _, after, _ := w.network.counts(); after != pushes {
		t.Errorf("they were sent again: %d pushes", after-pushes)
	}
	d.acceptDialogs()
	d.clickText("Discard all 2")
	d.waitSent()
	d.waitText("Everything is sent.")
}

// unassign takes the athlete's drill away.
func (w *world) unassign() {
	w.t.Helper()
	page, err := w.svc.Feed(w.t.Context(), w.coach, w.squad, feedAll)
	must(w.t, err)
	for _, item := range page.Items {
		if a, ok := item.Record.(*record.Assignment); ok && a.AthleteID == w.athlete.ID {
			now, err := w.svc.Get(w.t.Context(), w.coach, w.squad, record.KindAssignment, a.ID)
			must(w.t, err)
			item := service.PushItem{Kind: record.KindAssignment, ID: a.ID, Version: service.VersionOf(now).String(), Deleted: true}
			if done := w.push(item); done[0].Status != service.StatusStored {
				w.t.Fatalf("the drill is not taken away: %+v", done[0])
			}
		}
	}
}

// Somebody who is no member any more keeps what was not sent, and is told.
func TestNoLongerAMember(t *testing.T) {
	w, d := begun(t)
	d.expect("404")
	d.offline(true)
	d.logShot(9)
	w.expel()
	d.offline(false)
	d.waitText("You are no longer in this squad")
	if n := d.changes("unsent"); n != 1 {
		t.Errorf("%d changes are kept, want 1", n)
	}
	d.look("not-a-member", 390)
}

func (w *world) expel() {
	w.t.Helper()
	page, err := w.svc.Feed(w.t.Context(), w.coach, w.squad, feedAll)
	must(w.t, err)
	for _, item := range page.Items {
		m, ok := item.Record.(*record.Member)
		if ok && m.AthleteID != nil && *m.AthleteID == w.athlete.ID {
			member, err := w.svc.Get(w.t.Context(), w.coach, w.squad, record.KindMember, m.ID)
			must(w.t, err)
			must(w.t, w.svc.RemoveMember(w.t.Context(), w.coach, w.squad, m.ID, service.VersionOf(member)))
		}
	}
}

// A client that is too old keeps what was not sent, and is told.
func TestTooOld(t *testing.T) {
	w, d := begun(t)
	d.expect("426")
	w.network.answerInstead(func(r *http.Request) int {
		if strings.Contains(r.URL.Path, "/squads/") {
			return http.StatusUpgradeRequired
		}
		return 0
	})
	d.logShot(9)
	d.waitText("too old for the server")
	if n := d.changes("unsent"); n != 1 {
		t.Errorf("%d changes are kept, want 1", n)
	}
	w.network.answerInstead(nil)
	d.open("#/sync")
	d.clickText("Sync and verify")
	d.waitSent()
	wantBoards(t, w, "9")
}

// A cursor that leads nowhere any more is answered by a new copy; the queue stays, and what is gone
// from the server goes from the device.
func TestCopyAnew(t *testing.T) {
	w, d := begun(t)
	d.expect("410")
	d.logShot(9)
	d.logShot(10)
	d.waitSent()
	d.offline(true)
	d.logShot(11)
	first := w.shots()[0]
	w.push(service.PushItem{Kind: record.KindShot, ID: first.ID, Version: w.version(first), Deleted: true})
	w.network.answerInstead(func(r *http.Request) int { // the deletion is never told: only the new copy shows it
		if strings.HasSuffix(r.URL.Path, "/feed") && !strings.Contains(r.URL.RawQuery, "after=&") &&
			w.copied.Load() == 0 {
			return http.StatusGone
		}
		if strings.HasSuffix(r.URL.Path, "/snapshot") {
			w.copied.Add(1)
		}
		return 0
	})
	d.offline(false)
	d.waitSent()
	wantBoards(t, w, "10 11")
	eventually(t, "a new copy to be read", func() bool { return w.copied.Load() > 0 })
	d.open("#/shots")
	d.wait("the shots that are left", "document.querySelectorAll('.shots li').length === 2")
}

// pushShots has another device of the athlete send shots.
func (w *world) pushShots(n int) {
	w.t.Helper()
	items := make([]service.PushItem, 0, n)
	for i := range n {
		id := uuid.Must(uuid.NewV7())
		body, err := json.Marshal(map[string]any{
			"id":               id,
			"session_id":       w.session.ID,
			"athlete_id":       w.athlete.ID,
			"order":            i + 1,
			"time":             "2026-03-14T17:00:00Z",
			"drill_id":         w.drill.ID,
			"breakpoint_board": 8 + i%5,
			"breakpoint_ft":    42,
		})
		must(w.t, err)
		items = append(items, service.PushItem{Kind: record.KindShot, ID: id, Record: body})
	}
	for piece := range slices.Chunk(items, service.PushPiece) {
		w.push(piece...)
	}
}

// Several thousand records arrive by pages, and a copy that is broken off goes on where it was.
func TestLargeFirstCopy(t *testing.T) {
	w := newWorld(t)
	w.pushShots(2500)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.expect("503")
	w.network.answerInstead(func(r *http.Request) int { // the second page fails once
		if strings.HasSuffix(r.URL.Path, "/snapshot") && strings.Contains(r.URL.RawQuery, "page=") &&
			w.copied.Add(1) == 1 {
			return http.StatusServiceUnavailable
		}
		return 0
	})
	d.begin(athleteEmail, w.session.Name)
	d.wait("all shots", "document.querySelector('.standing .kept').innerText.includes('of 2500')")
	if pages := w.copied.Load(); pages != 3 { // the second twice, and the third
		t.Errorf("%d pages after the first were asked for, want 3", pages)
	}
	d.logShot(9)
	d.waitSent()
}

// Somebody else signs in in another page of the device: the page of the first person sends nothing
// under their name.
func TestSomebodyElseInAnotherPage(t *testing.T) {
	w, first := begun(t)
	w.network.answerInstead(func(r *http.Request) int { // so that nothing is sent yet
		if strings.HasSuffix(r.URL.Path, "/push") {
			return http.StatusServiceUnavailable
		}
		return 0
	})
	first.expect("503", "net::ERR")
	first.logShot(9)
	second := &device{t: t, base: first.base, dir: first.dir}
	second.newPage(first.ctx)
	second.open("#/sync")
	second.acceptDialogs()
	second.clickText("Sign out")
	second.signIn(leftyEmail)
	second.waitText("Left-hand practice")
	w.network.answerInstead(nil)
	first.logShot(10)
	first.waitText("Your sign-in ended.")
	if n := first.changes("unsent"); n != 2 {
		t.Errorf("%d changes are kept, want 2", n)
	}
	wantBoards(t, w, "")
}

// Nothing goes wrong in a page whose person signs out, whatever happens before the server has
// answered.
func TestNewsWhileSigningOut(t *testing.T) {
	w, d := begun(t)
	d.open("#/sync")
	d.wait("the sync", "document.querySelector('#sync-now')")
	d.acceptDialogs()
	asked := make(chan struct{}, 1)
	w.network.answerInstead(func(r *http.Request) int {
		if strings.HasSuffix(r.URL.Path, "/tokens/revoke") {
			asked <- struct{}{}
			time.Sleep(300 * time.Millisecond)
		}
		return 0
	})
	d.clickText("Sign out")
	<-asked
	eval[bool](d, "window.dispatchEvent(new Event('offline'))")
	d.wait("the sign-in", "document.querySelector('#password')")
}

// A newer version waits until the person takes it; the queue stays.
func TestUpdate(t *testing.T) {
	w, d := begun(t)
	d.wait("the service worker", "navigator.serviceWorker.ready.then(() => true)")
	d.reopen(false)
	d.wait("the lane", "document.querySelector('.lane .wood')")
	d.offline(true)
	d.logShot(9)
	d.offline(false)
	d.waitSent()
	w.newer.Store(true)
	eval[bool](d, "navigator.serviceWorker.getRegistration().then(r => r.update()).then(() => true)")
	d.waitText("A newer version of the logger is ready.")
	d.tapLane(10, 42)
	d.clickText("Update now")
	d.wait("the newer version alone", "caches.keys().then(names => names.length === 1 && names[0].includes('newer'))")
	d.wait(
		"the shot that was begun",
		"document.querySelector('.place[aria-pressed=true] .place-value')?.innerText === '10 at 42'",
	)
	d.save()
	d.waitSent()
	wantBoards(t, w, "9 10")
}

// When the browser cannot keep a shot, the person is told, and what was entered stays before them.
func TestStorageFull(t *testing.T) {
	w, d := begun(t)
	d.expect("QuotaExceededError", "storage is full")
	d.tapLane(10, 42)
	eval[bool](d, `(() => { globalThis.put = IDBObjectStore.prototype.put;
		IDBObjectStore.prototype.put = function () { throw new DOMException("storage is full", "QuotaExceededError"); }; return true; })()`)
	d.click("#save")
	d.waitText("This device is out of space, so this was not saved.")
	eval[bool](d, `(() => { IDBObjectStore.prototype.put = globalThis.put; return true; })()`)
	d.save()
	d.waitSent()
	wantBoards(t, w, "10")
}

// A drill of several rules says of each what came of it.
func TestSeveralRules(t *testing.T) {
	w := newWorld(t)
	low, slow, far := 8.0, 17.0, 38.0
	several := create(w, &record.Drill{Name: "Two things", Reps: 10, PassShare: 0.7, Rules: []drill.Rule{
		{Measure: drill.Board, AtFt: &far, Min: &low}, {Measure: drill.Speed, Max: &slow},
	}})
	create(w, &record.Assignment{DrillID: several.ID, AthleteID: w.athlete.ID, AssignedOn: w.session.Date})
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.begin(athleteEmail, w.session.Name)
	d.open("#/start")
	d.clickOn(
		"[...document.querySelectorAll('input[name=drill]')].find(e => e.closest('label').innerText.includes('Two things'))",
	)
	d.clickText("Start logging")
	d.wait("the drill", "document.querySelector('.asked')?.innerText.includes('38 ft')")
	d.tapLane(14, 15)
	d.tapLane(10, 42)
	d.waitText("kept by 3.1 boards") // 14 - 4 * 23/27 on the straight line, less the edge of board 8, 7.5
	d.waitText("not measured")
	d.everywhere("several-rules")
	d.save()
	d.waitSent()
}

// What the device holds is proved by a digest; where it is not what the server has, all is read
// again.
func TestCompare(t *testing.T) {
	w, d := begun(t)
	d.logShot(9)
	d.logShot(10)
	d.waitSent()
	d.open("#/sync")
	d.clickText("Sync and verify")
	d.waitText("this device has exactly what the server has")

	if n := eval[int](d, `import("/logger/store.js").then(async ({ ask, openCopy, run }) => {
		const db = await openCopy((await indexedDB.databases()).map(({ name }) => name.split(" ")[1]).find(Boolean));
		return run(db, ["records"], "readwrite", async (tx) => {
			const records = tx.objectStore("records"), shots = (await ask(records.getAll())).filter(({ kind }) => kind === "shot");
			await ask(records.delete([shots[0].squad, "shot", shots[0].id])); // as a disk may lose it
			return shots.length;
		});
	})`); n != 2 {
		t.Fatalf("the device held %d shots", n)
	}
	d.clickText("Sync and verify")
	d.waitText("this device differed from the server and was reloaded; now it has exactly what the server has")
	d.open("#/shots")
	d.wait("both shots", "document.querySelectorAll('.shots li').length === 2")
	wantBoards(t, w, "9 10")
}

// A page that was damaged on the way is not taken in: it is told and read again.
func TestDamagedPages(t *testing.T) {
	for name, spoil := range map[string]func(body string) string{
		"another digest": func(body string) string {
			return regexp.MustCompile(`"sum":"[0-9]+"`).ReplaceAllString(body, `"sum":"1"`)
		},
		"a table cut": func(body string) string { return strings.Replace(body, `"table":{"count":2`, `"table":{"count":3`, 1) },
	} {
		t.Run(name, func(t *testing.T) {
			w, d := begun(t)
			var spoilt atomic.Int64
			w.network.spoilAnswers(func(path, body string) string {
				changed := body
				if strings.HasSuffix(path, "/feed") {
					changed = spoil(body)
				}
				if changed != body {
					spoilt.Add(1)
				}
				return changed
			})
			d.offline(true)
			w.pushShots(2)
			d.offline(false)
			eventually(t, "a page to be spoilt", func() bool { return spoilt.Load() > 0 })
			d.open("#/sync")
			d.waitText("it was damaged on the way")
			w.network.spoilAnswers(nil)
			d.clickText("Sync and verify")
			d.waitText("this device has exactly what the server has")
			d.open("#/shots")
			d.wait("both shots", "document.querySelectorAll('.shots li').length === 2")
		})
	}
}

// unavailable lets every push fail, so that what is sent is on its way and not answered.
func unavailable(r *http.Request) int {
	if strings.HasSuffix(r.URL.Path, "/push") {
		return http.StatusServiceUnavailable
	}
	return 0
}

// A shot that is taken back while it is on its way still has its number in the list of what is to
// be sent.
func TestTakenBackOnItsWay(t *testing.T) {
	w, d := begun(t)
	w.network.answerInstead(unavailable)
	d.expect("503")
	d.logShot(9)
	d.open("#/sync")
	d.waitText("The server says")
	d.open("#/shots")
	d.clickOn("document.querySelector('.shots a')")
	d.waitText("Save changes")
	d.clickText("Delete shot 1")
	d.waitText("No shots in this session yet.")
	d.open("#/sync")
	d.waitText("Shot 1, deleted here")
}

// A second page of the same device knows at once which shot is the next, also while nothing can be
// sent.
func TestSecondPageKnowsTheNextShot(t *testing.T) {
	w, first := begun(t)
	w.network.answerInstead(unavailable)
	first.expect("503")
	first.logShot(9)
	second := &device{t: t, base: first.base, dir: first.dir}
	second.newPage(first.ctx)
	second.expect("503")
	second.open("#/log")
	second.waitText("Save shot 2")
	second.logShot(10)
	first.waitText("Save shot 3")
}

// TestRestoredServer: a backup is restored on the server. The phone notices by itself, keeps what was
// not sent, and offers what the server has lost.
func TestRestoredServer(t *testing.T) {
	w, d := begun(t)
	d.expect("410")
	d.logShot(9)
	d.waitSent()
	backup, err := w.db.BackUp(t.Context(), w.squad)
	must(t, err)
	d.logShot(10)
	d.logShot(11)
	d.waitSent()
	d.offline(true)
	d.logShot(12)
	must(t, backup.Restore(t.Context()))
	w.pushShots(4) // others write past what was lost
	d.offline(false)
	d.waitText("The server has lost 2 records that this phone still has.")
	d.waitSent()
	wantAll := func(want string) {
		t.Helper()
		boards := strings.Fields(boardsOf(w))
		slices.Sort(boards)
		if got := strings.Join(boards, " "); got != want {
			t.Errorf("the server has shots at boards %q, want %q", got, want)
		}
	}
	wantAll("10 11 12 8 9 9")
	d.screen(1280, false)
	d.look("restored", 1280)
	d.screen(390, false)
	d.look("restored", 390)
	d.open("#/sync")
	d.waitText("It has lost 2 records that this phone still has.")
	d.look("restored-sync", 390)
	d.clickText("Send 2 records again")
	d.wait("the offer to end", "document.querySelector('#lost') === null && document.querySelector('#send-lost') === null")
	d.waitSent()
	wantAll("10 10 11 11 12 8 9 9")
	d.clickText("Sync and verify")
	d.waitText("this device has exactly what the server has")
}
