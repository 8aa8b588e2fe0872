package synctest

import (
	"fmt"
	"maps"
	"math"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"pgregory.net/rapid"
)

// steps are what may happen, the more often the more entries. The first is nothing at all: a
// failing history shrinks to the steps it needs.
var steps = []struct {
	name string
	do   func(*world)
}{
	{"nothing", func(*world) {}},
	{"create", (*world).create},
	{"create", (*world).create},
	{"create", (*world).create},
	{"edit", (*world).edit},
	{"edit", (*world).edit},
	{"edit", (*world).edit},
	{"edit", (*world).edit},
	{"delete", (*world).deleteOne},
	{"push", (*world).sendQueue},
	{"push", (*world).sendQueue},
	{"push", (*world).sendQueue},
	{"push", (*world).sendQueue},
	{"push", (*world).sendQueue},
	{"pull", (*world).readFeed},
	{"pull", (*world).readFeed},
	{"pull", (*world).readFeed},
	{"snapshot", (*world).readSnapshot},
	{"late", (*world).arriveLate},
	{"resolve", (*world).resolve},
	{"resolve", (*world).resolve},
	{"backup", (*world).backup},
	{"restore", (*world).restore},
	{"backup of the server", (*world).backUpServer},
	{"restore of the server", (*world).restoreServer},
	{"role", (*world).changeRole},
	{"address", (*world).changeByAddress},
}

func (w *world) step() {
	w.Helper()
	step := steps[rapid.IntRange(0, len(steps)-1).Draw(w.T, "step")]
	step.do(w)
	for _, d := range w.devices {
		w.checkHeld(d)
	}
}

func (w *world) device() *device {
	return w.devices[rapid.IntRange(0, len(w.devices)-1).Draw(w.T, "device")]
}

// pick draws one of a list, the first most likely after shrinking.
func pick[T any](w *world, label string, list ...T) T {
	return list[rapid.IntRange(0, len(list)-1).Draw(w.T, label)]
}

// some draws a record of a kind that the person sees, or "".
func some(w *world, view map[key]fields, kind string) string {
	ids := idsOf(view, kind)
	if len(ids) == 0 {
		return ""
	}
	return pick(w, kind, ids...)
}

func idsOf(view map[key]fields, kind string) (ids []string) {
	for k := range view {
		if k.kind == kind {
			ids = append(ids, k.id)
		}
	}
	slices.Sort(ids)
	return ids
}

// create makes a record on a device, of whatever the person sees there.
func (w *world) create() {
	d := w.device()
	view := d.sees()
	kind := pick(w, "kind", "shot", "shot", "session", "assignment", "drill", "ball", "athlete", "pattern")
	athlete := some(w, view, "athlete")
	var is fields
	switch kind {
	case "athlete":
		is = fields{"name": "Cy", "side": "right"}
	case "pattern":
		is = fields{"name": "Short", "length_ft": 36.0}
	case "ball":
		is = fields{"athlete_id": athlete, "name": "Spare ball", "weight_lb": 15.0}
	case "session":
		is = fields{"kind": "practice", "name": "Evening", "date": "2026-03-15", "athlete_id": athlete}
		if pick(w, "shared", false, true) {
			delete(is, "athlete_id")
		}
	case "drill":
		is = drillFields("")
		delete(is, "id")
		is["reps"] = 20.0
		is["rules"] = []any{fields{"measure": "board", "at": "arrows", "min": 12.0}}
	case "assignment":
		is = fields{"athlete_id": athlete, "drill_id": some(w, view, "drill"), "assigned_on": "2026-03-02"}
	case "shot":
		is = fields{
			"athlete_id": athlete,
			"session_id": some(w, view, "session"),
			"order":      float64(w.made + 1),
			"time":       "2026-03-14T17:00:00Z",
		}
	}
	for _, id := range is {
		if id == "" {
			return // there is nothing to refer to
		}
	}
	d.put(key{kind, w.newID()}, is)
}

// editable are the fields of each kind that people change, with the values they may have; nil
// leaves the field out, and a kind's name means one of the records in sight.
var editable = map[string][]struct {
	name   string
	values []any
}{
	"athlete": {
		{"name", []any{"Ada", "Bo", "Cy"}},
		{"note", []any{nil, "x", "y"}},
		{"speed_mph", []any{nil, 15.0, 16.5}},
	},
	"pattern": {{"name", []any{"Long", "Short"}}, {"note", []any{nil, "x"}}, {"length_ft", []any{36.0, 44.0}}},
	"ball": {
		{"name", []any{"Spare ball", "Old ball"}},
		{"weight_lb", []any{14.0, 15.0}},
		{"athlete_id", []any{"athlete"}},
	},
	"session": {
		{"name", []any{"Practice", "Evening"}},
		{"centre", []any{nil, "East"}},
		{"pattern_id", []any{nil, "pattern"}},
	},
	"drill": {
		{"name", []any{"Inside", "Outside"}},
		{"reps", []any{20.0, 30.0}},
		{"pattern_id", []any{nil, "pattern"}},
	},
	"assignment": {{"note", []any{nil, "x"}}, {"drill_id", []any{"drill"}}, {"due_on", []any{nil, "2026-04-01"}}},
	"shot": {
		{"note", []any{nil, "x"}},
		{"speed_mph", []any{nil, 15.0, 16.5}},
		{"drill_id", []any{nil, "drill"}},
		{"ball_id", []any{nil, "ball"}},
	},
}

// edit changes a field of a record on a device.
func (w *world) edit() {
	d := w.device()
	view := d.sees()
	k, ok := w.someRecord(view)
	if !ok {
		return
	}
	is, ok := w.edited(view, k, view[k])
	if ok {
		d.put(k, is)
	}
}

func (w *world) edited(view map[key]fields, k key, was fields) (fields, bool) {
	field := pick(w, "field", editable[k.kind]...)
	value := pick(w, "value", field.values...)
	if kind, ok := value.(string); ok && editable[kind] != nil {
		id := some(w, view, kind)
		if id == "" {
			return nil, false
		}
		value = id
	}
	is := maps.Clone(was)
	if value == nil {
		delete(is, field.name)
	} else {
		is[field.name] = value
	}
	return is, true
}

// someRecord draws a record that can be edited.
func (w *world) someRecord(view map[key]fields) (key, bool) {
	var list []key
	for _, kind := range slices.Sorted(maps.Keys(editable)) {
		for _, id := range idsOf(view, kind) {
			list = append(list, key{kind, id})
		}
	}
	if len(list) == 0 {
		return key{}, false
	}
	return pick(w, "record", list...), true
}

func (w *world) deleteOne() {
	d := w.device()
	if k, ok := w.someRecord(d.sees()); ok {
		d.put(k, nil)
	}
}

// sendQueue pushes from a device over a network that may lose the request or the answer, deliver it
// twice, or much later.
func (w *world) sendQueue() {
	d := w.device()
	items := d.outgoing(pick(w, "items", 1000, 1, 2))
	if len(items) == 0 {
		return
	}
	if pick(w, "reversed", false, true) {
		slices.Reverse(items)
	}
	l := letter{d.who, d.seen, items}
	switch pick(w, "network", "good", "good", "good", "answer lost", "request lost", "twice", "late") {
	case "good":
		w.hear(d, l)
	case "answer lost":
		_, _, _ = w.deliver(l) // held against the model there
	case "request lost":
	case "twice":
		_, _, _ = w.deliver(l) // as above
		w.hear(d, l)
	case "late":
		w.network = append(w.network, l)
	}
}

// hear delivers a push and brings its answer to the device.
func (w *world) hear(d *device, l letter) {
	outcomes, by, err := w.deliver(l)
	if statusOf(err) == http.StatusGone {
		d.restored()
		return
	}
	if err != nil {
		return // no member: the queue stays
	}
	w.looks(d, by)
	for _, o := range outcomes {
		d.answered(o)
	}
}

func (w *world) arriveLate() {
	if len(w.network) == 0 {
		return
	}
	i := rapid.IntRange(0, len(w.network)-1).Draw(w.T, "letter")
	_, _, _ = w.deliver(w.network[i]) // held against the model there; nobody waits for the answer any more
	w.network = slices.Delete(w.network, i, i+1)
}

func (w *world) readFeed() {
	d := w.device()
	if d.fresh != nil {
		w.snapshot(d, 3, 1)
		return
	}
	w.pull(d, pick(w, "limit", 1000, 1, 2, 5), pick(w, "pages", 1, 100), pick(w, "lost", false, false, false, true))
}

func (w *world) readSnapshot() {
	d := w.device()
	w.snapshot(d, pick(w, "limit", 1000, 1, 2, 5), pick(w, "pages", 1, 2, 100))
}

// resolve decides a conflict: theirs stays, or mine is sent again in knowledge of theirs.
func (w *world) resolve() {
	d := w.device()
	if len(d.aside) == 0 {
		return
	}
	i := rapid.IntRange(0, len(d.aside)-1).Draw(w.T, "conflict")
	c := d.aside[i]
	d.aside = slices.Delete(d.aside, i, i+1)
	if pick(w, "choice", "mine", "theirs") == "theirs" || d.firstOf(c.key) >= 0 {
		return
	}
	if c.rev > 0 && (c.mine != nil || c.is != nil) {
		d.queue = append(d.queue, change{key: c.key, base: c.rev, by: c.by, is: c.mine})
	}
}

func (w *world) backup() {
	d := w.device()
	d.saved = d.copy()
}

// restore puts a device back to an earlier state, cursor and queue and all.
func (w *world) restore() {
	if d := w.device(); d.saved != nil {
		d.state = *d.saved.copy()
	}
}

// backUpServer takes a backup of the squad's rows, in place of the one before.
func (w *world) backUpServer() {
	if !w.restores {
		return
	}
	if w.saved != nil {
		w.must(w.saved.Drop(w.ctx))
	}
	backup, err := w.db.BackUp(w.ctx, uuid.MustParse(w.squad))
	w.must(err)
	w.saved = &saved{backup, w.model.copy(), w.lineNow(), maps.Clone(w.lines), len(w.answered)}
	w.saved.lines[w.line] = w.model.rev
}

// lineNow is the line of the head that the server has: where nothing has been written since a
// restore it is the one before.
func (w *world) lineNow() int {
	if w.model.rev == w.start {
		return w.parent
	}
	return w.line
}

// restoreServer puts the backup back: another history goes on from there, and what was acknowledged
// since is lost.
func (w *world) restoreServer() {
	if w.saved == nil {
		return
	}
	w.must(w.saved.Restore(w.ctx))
	w.model, w.lines = w.saved.model.copy(), maps.Clone(w.saved.lines)
	w.answered = slices.Clone(w.answered[:w.saved.answered])
	w.begun++
	w.line, w.parent, w.start = w.begun, w.saved.line, w.model.rev
	w.lines[w.line] = math.MaxInt64
}

// looks brings a device the head of a push. A copy of a history that has ended stays one.
func (w *world) looks(d *device, by proof) {
	if d.seen = by; w.holds(d.newest) {
		d.newest = by
	}
}

// now is the head that the server has just given.
func (w *world) now(head string) proof { return proof{head, w.lineNow(), w.model.rev} }

// holds reports whether a head is of the history that the server has now.
func (w *world) holds(p proof) bool { return p.head == "" || p.rev <= w.lines[p.line] }

// changeRole makes somebody something else, takes them out, or lets them join again.
func (w *world) changeRole() {
	p := pick(w, "person", w.others...)
	athletes := idsOf(w.standing(), "athlete")
	to := who{role: pick(w, "role", "athlete", "coach", "analyst", "")}
	if to.role == "athlete" {
		if len(athletes) == 0 {
			return
		}
		to.athlete = pick(w, "athlete", athletes...)
	}
	now, k := w.model.member(p.id)
	switch {
	case now == to:
	case now.role == "":
		w.joinAgain(p, to)
	case to.role == "":
		rev := w.model.now(k).rev
		w.must(w.coach.call(w.ctx, http.MethodDelete, w.path("members", k.id), nil, nil, "If-Match", w.etag(rev)))
		w.model.write(k, version{rev: w.model.rev + 1})
	default:
		body := fields{"role": to.role}
		if to.athlete != "" {
			body["athlete_id"] = to.athlete
		}
		var member fields
		w.must(
			w.coach.call(
				w.ctx,
				http.MethodPut,
				w.path("members", k.id),
				body,
				&member,
				"If-Match",
				w.etag(w.model.now(k).rev),
			),
		)
		w.wrote(item{Kind: "member", ID: k.id, Record: member})
	}
}

func (w *world) joinAgain(p *person, as who) {
	member, err := w.coach.joins(w.ctx, w.squad, p, as.role, as.athlete)
	w.must(err)
	delete(member, "squad_id") // told to whoever joins, no part of the record
	w.wrote(item{Kind: "member", ID: member["id"].(string), Record: member})
}

// wrote takes in a record that was written by its address, which must have got the next revision.
func (w *world) wrote(it item) {
	w.Helper()
	if rev, _ := it.Record["rev"].(float64); int64(rev) != w.model.rev+1 {
		w.Fatalf("%s %s was given revision %v after %d", it.Kind, it.ID, it.Record["rev"], w.model.rev)
	}
	content := it.content()
	delete(content, "sentences") // told with a drill, no part of it
	w.model.write(it.key(), version{rev: w.model.rev + 1, is: content})
}

// standing is all that the squad holds.
func (w *world) standing() map[key]fields {
	all := make(map[key]fields)
	for k := range w.model.of {
		if is := w.model.now(k).is; is != nil {
			all[k] = is
		}
	}
	return all
}

func (w *world) path(many, id string) string {
	return fmt.Sprintf("/v1/squads/%s/%s/%s", w.squad, many, id)
}

func (w *world) etag(rev int64) string {
	w.Helper()
	tag, err := w.coach.etag(w.ctx, w.squad, rev)
	w.must(err)
	return tag
}

// changeByAddress changes or deletes a record by its own address, as the pages and the command line
// do.
func (w *world) changeByAddress() {
	view := w.standing()
	k, ok := w.someRecord(view)
	if !ok {
		return
	}
	now := w.model.now(k)
	address, match := w.path(k.kind+"s", k.id), w.etag(now.rev)
	if pick(w, "change", "edit", "edit", "delete") == "delete" {
		err := w.coach.call(w.ctx, http.MethodDelete, address, nil, nil, "If-Match", match)
		if w.model.used(k) {
			if statusOf(err) != http.StatusConflict {
				w.Fatalf("deleting %v, which others refer to: %v, want 409", k, err)
			}
			return
		}
		w.must(err)
		w.model.write(k, version{rev: w.model.rev + 1})
		return
	}
	is, ok := w.edited(view, k, now.is)
	if !ok || owner(k, is) != owner(k, now.is) {
		return
	}
	if fmt.Sprint(is) == fmt.Sprint(now.is) {
		return
	}
	var record fields
	err := w.coach.call(w.ctx, http.MethodPut, address, is, &record, "If-Match", match)
	if k.kind == "shot" && w.model.foreign(k, is, nil) {
		if statusOf(err) != http.StatusBadRequest {
			w.Fatalf("%v was put with what is not its athlete's: %v, want 400", k, err)
		}
		return
	}
	w.must(err)
	w.wrote(item{Kind: k.kind, ID: k.id, Record: record})
	if got := w.model.now(k).is; fmt.Sprint(got) != fmt.Sprint(is) {
		w.Fatalf("%s was put as %v and is %v", strings.Join([]string{k.kind, k.id}, " "), is, got)
	}
}
