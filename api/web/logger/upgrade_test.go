package logger_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"laneward/service/lane"
	"laneward/service/record"
	"laneward/service/shot"
)

// firstStore makes of a device's store what the first version of the page kept: its stores, and in
// them nothing that came later.
const firstStore = `(async () => {
	const name = (await indexedDB.databases()).map((d) => d.name).find((n) => n.startsWith("laneward "));
	const done = (request) => new Promise((ok, no) => { request.onsuccess = () => ok(request.result); request.onerror = () => no(request.error); });
	const is = await done(indexedDB.open(name)), all = {};
	for (const store of ["records", "changes", "meta"]) all[store] = await done(is.transaction(store).objectStore(store).getAll());
	is.close();
	await done(indexedDB.deleteDatabase(name));
	const opening = indexedDB.open(name, 1);
	opening.onupgradeneeded = () => {
		const db = opening.result, records = db.createObjectStore("records", { keyPath: ["squad", "kind", "id"] });
		records.createIndex("session", ["squad", "kind", "record.session_id"]);
		records.createIndex("athlete", ["squad", "kind", "record.athlete_id"]);
		db.createObjectStore("changes", { keyPath: ["squad", "kind", "id"] }).createIndex("squad", "squad");
		db.createObjectStore("meta", { keyPath: "name" });
	};
	const was = await done(opening), tx = was.transaction(["records", "changes", "meta"], "readwrite");
	const old = (r) => { if (!r) return r; const { lane, gutter, arrows_ft, ...rest } = r; return rest; };
	for (const e of all.records) tx.objectStore("records").put({ ...e, record: old(e.record) });
	for (const { schema, ...c } of all.changes) tx.objectStore("changes").put({ ...c, record: old(c.record), baseRecord: old(c.baseRecord) });
	for (const m of all.meta) tx.objectStore("meta").put(m.name.startsWith("sync ") ? { ...m, value: { ...m.value, cursor: "" } } : m);
	await new Promise((ok, no) => { tx.oncomplete = ok; tx.onabort = () => no(tx.error); });
	was.close();
	return all.changes.length;
})()`

// A store of the page's first version, with a copy and unsent changes in it, is taken over: what was
// logged is sent, and an edit made by the old page takes nothing away that it did not know.
func TestUpgradeFromTheFirstStore(t *testing.T) {
	w, d := begun(t)
	coachs := create(w, &record.Shot{Shot: shot.Shot{
		SessionID: w.session.ID, AthleteID: w.athlete.ID, Order: 1, Time: time.Date(2026, 3, 14, 18, 0, 0, 0, time.UTC),
		Lane: new(11), Gutter: lane.Left, ArrowsBoard: new(12.0), ArrowsFt: new(14.5),
	}})
	eval[bool](d, fmt.Sprintf(deviceTools, w.squad, w.session.ID, w.athlete.ID))
	d.wait("the coach's shot", "tools.shots().then((text) => JSON.parse(text).length === 1)")
	d.offline(true)
	eval[bool](d, `tools.edit(0, "note", "said by the old page")`)
	eval[string](d, "tools.add(9)")
	offline := d.ctx
	d.newPage(offline)
	if _, err := chromedp.Call(offline, closePage, struct{}{}); err != nil {
		t.Fatal(err)
	}
	d.do(chromedp.Navigate(d.base + "/healthz")) // of the same origin, and opens no store
	if n := eval[int](d, firstStore); n != 2 {
		t.Fatalf("%d changes were unsent, want 2", n)
	}
	d.open("")
	d.wait("the lane", "document.querySelector('.lane .wood')")
	d.waitSent()
	shots := w.shots()
	if len(shots) != 2 {
		t.Fatalf("the server has %d shots, want 2", len(shots))
	}
	for _, s := range shots {
		switch {
		case s.ID != coachs.ID && *s.BreakpointBoard == 9:
		case s.ID == coachs.ID && s.Note == "said by the old page" && s.Lane != nil && *s.Lane == 11 &&
			s.Gutter == lane.Left && s.ArrowsFt != nil && *s.ArrowsFt == 14.5:
		default:
			t.Errorf("the server has %+v", s.Shot)
		}
	}
	eval[bool](d, fmt.Sprintf(deviceTools, w.squad, w.session.ID, w.athlete.ID))
	d.wait("what the old page did not know",
		"tools.shots().then((text) => JSON.parse(text).some((s) => s.lane === 11 && s.gutter === 'left' && s.arrows_ft === 14.5))")
}
