package logger_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

// deviceTools are the page's own modules, over a connection of their own to the device's store;
// what a person would do by hand is done by them.
const deviceTools = `(async () => {
	const [store, queue, ids] = await Promise.all(["store", "queue", "ids"].map((name) => import("/logger/" + name + ".js")));
	const user = (await indexedDB.databases()).map((d) => d.name).find((name) => name.startsWith("laneward ")).slice("laneward ".length);
	const db = await store.openCopy(user), channel = new BroadcastChannel("laneward " + user);
	const squad = %q, session_id = %q, athlete_id = %q;
	const shots = () => queue.list(db, squad, "shot");
	const pick = async (at) => { const all = (await shots()).sort((a, b) => a.id < b.id ? -1 : 1); return all.length ? all[at %% all.length] : null; };
	const wake = () => channel.postMessage("wake");
	globalThis.tools = {
		add: async (board) => { const shot = await queue.addShot(db, squad, { id: ids.newId(), session_id, athlete_id, time: "2026-03-14T18:00:00Z", source: "eye", breakpoint_board: board }); wake(); return shot.id; },
		edit: async (at, field, value) => { const shot = await pick(at); if (shot) await queue.write(db, squad, "shot", shot.id, { ...shot, [field]: value }); wake(); return true; },
		remove: async (at) => { const shot = await pick(at); if (shot) await queue.write(db, squad, "shot", shot.id, null); wake(); return shot?.id ?? ""; },
		settle: async (mine) => { for (const c of (await queue.allChanges(db)).filter((c) => c.state === "conflict")) await queue.resolve(db, squad, c.kind, c.id, mine ? c.record : c.theirs.record); wake(); return true; },
		kept: async () => (await queue.allChanges(db)).map((c) => c.kind + " " + c.id + " " + c.state + " " + JSON.stringify(c.faults)),
		shots: async () => JSON.stringify(await shots()),
	};
	return true;
})()`

// A device that logs, edits and deletes while answers are lost, and a coach who edits and deletes
// the same shots meanwhile: in the end both hold the same, and no shot is missing that nobody
// deleted. LANEWARD_LOGGER_HISTORIES asks for more histories than the few of every run.
func TestDeviceAndServerConverge(t *testing.T) {
	browser := startBrowser(t)
	histories := 4
	if asked := os.Getenv("LANEWARD_LOGGER_HISTORIES"); asked != "" {
		var err error
		histories, err = strconv.Atoi(asked)
		must(t, err)
	}
	for seed := range uint64(histories) {
		t.Run(fmt.Sprintf("seed %d", seed), func(t *testing.T) {
			w := newWorld(t)
			d := newDevice(t, browser, w.server.URL)
			d.expect("net::ERR")
			d.begin(athleteEmail, w.session.Name)
			eval[bool](d, fmt.Sprintf(deviceTools, w.squad, w.session.ID, w.athlete.ID))
			h := &history{
				w:       w,
				d:       d,
				draw:    rand.New(rand.NewPCG(seed, 7)),
				added:   map[string]bool{},
				deleted: map[string]bool{},
			}
			for range 80 {
				h.step()
			}
			h.end()
		})
	}
}

// history is what has been done to one device and its server.
type history struct {
	w              *world
	d              *device
	draw           *rand.Rand
	added, deleted map[string]bool
}

func (h *history) step() {
	h.d.t.Helper()
	board := 5 + h.draw.IntN(20)
	switch h.draw.IntN(10) {
	case 0, 1, 2:
		h.added[eval[string](h.d, fmt.Sprintf("tools.add(%d)", board))] = true
	case 3, 4:
		field := []string{"breakpoint_board", "entry_board", "arrows_board"}[h.draw.IntN(3)]
		eval[bool](h.d, fmt.Sprintf("tools.edit(%d, %q, %d)", h.draw.IntN(1000), field, board))
	case 5:
		h.deleted[eval[string](h.d, fmt.Sprintf("tools.remove(%d)", h.draw.IntN(1000)))] = true
	case 6:
		h.coachEdits(board)
	case 7:
		h.coachDeletes()
	case 8:
		h.w.network.cutAnswers([]string{"/push", "/feed", "/live", "/push"}[h.draw.IntN(4)], 1+h.draw.IntN(3))
	case 9:
		eval[bool](h.d, fmt.Sprintf("tools.settle(%t)", h.draw.IntN(2) == 0))
	}
}

// coachEdits has the coach change a field of some stored shot.
func (h *history) coachEdits(board int) {
	h.d.t.Helper()
	shots := h.w.shots()
	if len(shots) == 0 {
		return
	}
	body, err := json.Marshal(shots[h.draw.IntN(len(shots))])
	must(h.d.t, err)
	var rec map[string]any
	must(h.d.t, json.Unmarshal(body, &rec))
	rec[[]string{"breakpoint_board", "entry_board", "speed_mph"}[h.draw.IntN(3)]] = board
	body, err = json.Marshal(rec)
	must(h.d.t, err)
	h.w.push(service.PushItem{Kind: record.KindShot, ID: uuid.MustParse(rec["id"].(string)), Record: body})
}

// coachDeletes has the coach delete some stored shot; or not, when the device has changed it or
// deleted it since it was read.
func (h *history) coachDeletes() {
	h.d.t.Helper()
	shots := h.w.shots()
	if len(shots) == 0 {
		return
	}
	shot := shots[h.draw.IntN(len(shots))]
	h.deleted[shot.ID.String()] = true
	now, err := h.w.svc.Get(h.d.t.Context(), h.w.coach, h.w.squad, record.KindShot, shot.ID)
	if err != nil && service.AsError(err).Code == service.NotFound {
		return
	}
	must(h.d.t, err)
	version := service.Version{Rev: shot.Rev, Head: now.Proof()}.String()
	h.w.push(service.PushItem{Kind: record.KindShot, ID: shot.ID, Version: version, Deleted: true})
}

// end lets everything be sent, and compares.
func (h *history) end() {
	t := h.d.t
	t.Helper()
	h.w.network.cutAnswers("/push", 0)
	eventually(t, "an empty queue", func() bool {
		eval[bool](h.d, fmt.Sprintf("tools.settle(%t)", h.draw.IntN(2) == 0))
		return len(eval[[]string](h.d, "tools.kept()")) == 0
	})
	var difference string
	defer func() {
		if difference != "" {
			t.Logf("the server (-) and the device (+) hold:\n%s", difference)
		}
	}()
	eventually(t, "the same shots on both sides", func() bool {
		difference = cmp.Diff(h.onServer(), h.onDevice())
		return difference == ""
	})
	held := h.onServer()
	for id := range h.added {
		if _, there := held[id]; !there && !h.deleted[id] {
			t.Errorf("shot %s is missing, and nobody deleted it", id)
		}
	}
	t.Logf("%d shots were logged, %d deletions tried, %d shots stand", len(h.added), len(h.deleted), len(held))
}

func (h *history) onServer() map[string]any {
	h.d.t.Helper()
	body, err := json.Marshal(h.w.shots())
	must(h.d.t, err)
	return byID(h.d.t, body)
}

func (h *history) onDevice() map[string]any {
	h.d.t.Helper()
	return byID(h.d.t, []byte(eval[string](h.d, "tools.shots()")))
}

func byID(t *testing.T, body []byte) map[string]any {
	t.Helper()
	var records []map[string]any
	must(t, json.Unmarshal(body, &records))
	found := map[string]any{}
	for _, record := range records {
		found[record["id"].(string)] = record
	}
	return found
}
