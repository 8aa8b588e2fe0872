package synctest

import (
	"context"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strings"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/db/dbtest"
)

// cast are the people of all histories: signing up is slow on purpose. The coach founds the squads;
// the others change their roles.
type cast struct {
	coach  *person
	others []*person
	db     *dbtest.DB // of the server, to be backed up and restored
}

// world is one history: a squad with its people, their devices, the network between, and the model
// of what ought to be.
type world struct {
	*rapid.T
	cast
	ctx      context.Context
	squad    string
	model    *model
	devices  []*device
	network  []letter // pushes that are on their way still
	answered []letter // pushes with what the server has acknowledged of each
	made     uint64
	refusals int
	// Each restore of the server begins another line of history. lines are those that the server's
	// present history is of, up to which revision of each.
	restores    bool
	saved       *saved
	line, begun int
	parent      int   // the line that the present one goes on from
	start       int64 // the revision where it does
	lines       map[int]int64
}

// saved is a backup of the server, and the model as it was.
type saved struct {
	*dbtest.Backup
	model    *model
	line     int
	lines    map[int]int64
	answered int
}

// letter is a push on its way.
type letter struct {
	from  *person
	seen  proof
	items []item
}

func (w *world) must(err error) {
	w.Helper()
	if err != nil {
		w.Fatal(err)
	}
}

// newWorld founds a squad with two athletes and a record of each kind. The first two devices are
// the coach's, the others have one each.
func newWorld(ctx context.Context, t *rapid.T, c cast) *world {
	w := &world{T: t, cast: c, ctx: ctx, model: &model{of: map[key][]version{}}, lines: map[int]int64{0: math.MaxInt64}}
	w.restores = pick(w, "restores", false, false, true)
	var err error
	w.squad, err = c.coach.newSquad(ctx, "Invented squad")
	w.must(err)
	athletes := []string{w.newID(), w.newID()}
	pattern, session, drill := w.newID(), w.newID(), w.newID()
	_, err = c.coach.push(ctx, w.squad, []item{
		{Kind: "athlete", Record: fields{"id": athletes[0], "name": "Ada", "side": "right"}},
		{Kind: "athlete", Record: fields{"id": athletes[1], "name": "Bo", "side": "left"}},
		{Kind: "pattern", Record: fields{"id": pattern, "name": "Long", "length_ft": 44}},
		{Kind: "session", Record: fields{"id": session, "kind": "practice", "name": "Practice", "date": "2026-03-14"}},
		{Kind: "drill", Record: drillFields(drill)},
		{
			Kind:   "assignment",
			Record: fields{"id": w.newID(), "drill_id": drill, "athlete_id": athletes[0], "assigned_on": "2026-03-01"},
		},
	})
	w.must(err)
	for i, who := range c.others {
		_, err := c.coach.joins(ctx, w.squad, who, "athlete", athletes[i])
		w.must(err)
	}
	w.learn()
	for i, who := range append([]*person{c.coach, c.coach}, c.others...) {
		d := &device{name: fmt.Sprintf("%s's device %d", who.name, i), who: who}
		d.forget()
		w.devices = append(w.devices, d)
	}
	return w
}

// learn takes what the server holds now as the model's beginning.
func (w *world) learn() {
	got, err := w.coach.feed(w.ctx, w.squad, "", 1000)
	w.must(err)
	for _, it := range got.Items {
		w.model.write(it.key(), version{rev: it.Rev, is: it.content()})
	}
	if w.model.rev != got.Rev || int(got.Rev) != len(got.Items) || got.Items[0].Kind != "squad" {
		w.Fatalf(
			"%d records at revision %d, the first a %s: revisions are dense and begin with the squad",
			len(got.Items),
			got.Rev,
			got.Items[0].Kind,
		)
	}
}

// newID counts up: a history that is tried again has the same ids, but for the squad's and the
// members'. The form is RFC 9562's version 7.
func (w *world) newID() string {
	w.made++
	var id uuid.UUID
	binary.BigEndian.PutUint64(id[:8], 0x0195_9000_0000_0000+w.made<<16)
	id[6], id[8] = 0x70, 0x80
	id[15] = byte(w.made)
	return id.String()
}

// is tells what the person is in the squad now.
func (w *world) is(p *person) who {
	is, _ := w.model.member(p.id)
	return is
}

// deliver brings a push to the server and holds its answer against the model. Nobody may have
// waited for the answer.
func (w *world) deliver(l letter) (outcomes []outcome, now proof, err error) {
	w.Helper()
	by := w.is(l.from)
	for i := range l.items {
		l.items[i].lost = l.items[i].Rev > 0 && !w.holds(l.items[i].by)
	}
	sent := slices.Clone(l.items)
	for i := range sent {
		sent[i].Rev = 0 // the version says it
	}
	result, err := l.from.pushSeen(w.ctx, w.squad, l.seen.head, sent)
	status := 0
	switch {
	case by.role == "":
		status = http.StatusNotFound
	case !w.holds(l.seen):
		status = http.StatusGone
	}
	if statusOf(err) != status {
		w.Fatalf("a push by somebody who is %+v and has seen %+v: %v, want %d", by, l.seen, err, status)
	}
	if status != 0 {
		return nil, now, err
	}
	w.must(err)
	if len(result.Outcomes) != len(l.items) {
		w.Fatalf("%d outcomes for %d items", len(result.Outcomes), len(l.items))
	}
	before := w.model.rev
	given := make([]int64, len(l.items))
	var fresh []int64
	for i, o := range result.Outcomes {
		given[i] = o.Rev
		if o.Outcome == "stored" {
			fresh = append(fresh, o.Rev)
		}
	}
	slices.Sort(fresh)
	for i, rev := range fresh {
		if rev != before+int64(i)+1 {
			w.Fatalf("from revision %d on were given %v: not dense", before, fresh)
		}
	}
	want := w.model.push(by, l.items, given)
	acknowledged := letter{from: l.from, seen: l.seen}
	for i, o := range result.Outcomes {
		w.checkOutcome(l.items[i], o, want[i])
		if o.Outcome == "stored" || o.Outcome == "same" {
			acknowledged.items = append(acknowledged.items, l.items[i])
		}
	}
	if result.Rev != w.model.rev {
		w.Fatalf("the push says that the squad reached revision %d, want %d", result.Rev, w.model.rev)
	}
	if len(acknowledged.items) > 0 {
		w.answered = append(w.answered, acknowledged)
	}
	return result.Outcomes, w.now(result.Head), nil
}

// checkOutcome holds one outcome against the model, and that a device which believes it holds what
// the server does.
func (w *world) checkOutcome(sent item, o outcome, want string) {
	w.Helper()
	if o.Outcome != want || o.item().key() != sent.key() {
		w.Fatalf("pushed %+v: outcome %+v, want %s", sent, o, want)
	}
	now := w.model.now(sent.key())
	switch {
	case o.Outcome == "refused" || o.Outcome == "waiting":
		if len(o.Errors) == 0 || o.Errors[0].Detail == "" {
			w.Fatalf("%s without a reason: %+v", o.Outcome, o)
		}
		w.refusals++
	case o.Rev != now.rev || o.Deleted != (now.is == nil):
		w.Fatalf("pushed %+v: outcome %+v, but what stands is %+v", sent, o, now)
	case o.Deleted:
	case o.Record != nil && !reflect.DeepEqual(o.item().content(), now.is):
		w.Fatalf("pushed %+v: outcome %+v shows something else than what stands: %+v", sent, o, now)
	case o.Record == nil && !reflect.DeepEqual(sent.content(), now.is):
		w.Fatalf(
			"pushed %+v: outcome %+v lets the device believe that this stands at revision %d, but it is %+v",
			sent,
			o,
			o.Rev,
			now,
		)
	}
}

// checkHeld holds that what a device has of a record at a revision is what the record said then.
func (w *world) checkHeld(d *device) {
	w.Helper()
	if !w.holds(d.newest) {
		return // it is of another history, and the device learns that when it asks
	}
	all := maps.Clone(d.held)
	maps.Copy(all, d.told)
	for k, h := range all {
		if is, ok := w.model.at(k, h.rev); !ok || !reflect.DeepEqual(is, h.is) {
			w.Fatalf("%s holds %v at revision %d as %v; it said %v (%t)", d.name, k, h.rev, h.is, is, ok)
		}
	}
}

// checkPage holds a page of the feed against what the model owes the reader after `from`: exactly
// that; beside it only what has to come along, a parent that changed again later and the drill that
// an assignment moves in or out of sight. It returns the revision that the page reaches.
func (w *world) checkPage(d *device, got page, limit int) (to int64) {
	w.Helper()
	by := w.is(d.who)
	owed := w.model.changes(by, d.at)
	to = w.model.rev
	if len(owed) > limit || len(owed) == limit && got.More {
		owed = owed[:limit]
		to = owed[limit-1].Rev
	}
	if got.Rev != w.model.rev || !got.More && len(w.model.changes(by, to)) > 0 || got.More && to == w.model.rev {
		w.Fatalf(
			"%s: a page at revision %d, more %t; want %d and %d items to come",
			d.name,
			got.Rev,
			got.More,
			w.model.rev,
			len(w.model.changes(by, to)),
		)
	}
	var regular []item
	for _, it := range got.Items {
		if it.Rev <= to && (it.Scope == "" || it.Kind == "member") {
			regular = append(
				regular,
				item{Kind: it.Kind, ID: it.ID, Rev: it.Rev, Record: it.content(), Deleted: it.Deleted, Scope: it.Scope},
			)
		} else {
			w.checkExtra(d, by, it)
		}
	}
	slices.SortFunc(regular, func(a, b item) int { return int(a.Rev - b.Rev) }) // parents come first
	if !reflect.DeepEqual(regular, owed) {
		w.Fatalf("%s at revision %d as %+v was given\n%+v\nand is owed\n%+v", d.name, d.at, by, regular, owed)
	}
	w.checkDigest(got)
	return to
}

func (w *world) checkExtra(d *device, by who, it item) {
	w.Helper()
	now := w.model.now(it.key())
	switch {
	case it.Scope == "removed" && it.Record == nil && it.Kind == "drill" && !w.model.sees(by, it.key()):
	case it.Scope != "removed" && it.Rev == now.rev && w.model.sees(by, it.key()) && reflect.DeepEqual(it.content(), now.is):
	default:
		w.Fatalf("%s as %+v was given %+v; what stands is %+v", d.name, by, it, now)
	}
}

func (w *world) checkDigest(got page) {
	w.Helper()
	if want := sumOf(got.Items).digest(); got.Digest != want {
		w.Fatalf("the page's digest is %+v, want %+v", got.Digest, want)
	}
}

// takeIn puts a page's items into a store, and holds that each comes after its parents, as far as
// the reader sees those.
func (w *world) takeIn(d *device, into *state, items []item) {
	w.Helper()
	by := w.is(d.who)
	for _, it := range items {
		for _, p := range parents(it.content()) {
			if _, there := into.held[p]; !there && w.model.sees(by, p) {
				w.Fatalf("%s is given %+v before its parent %v", d.name, it, p)
			}
		}
		into.take(it)
	}
}

// pull reads up to n pages of the feed. lost loses the answers.
func (w *world) pull(d *device, limit, pages int, lost bool) {
	w.Helper()
	for range pages {
		got, err := d.who.feedSeen(w.ctx, w.squad, d.cursor, d.seen.head, limit)
		if lost || w.lostSight(d, &d.state, err) {
			return
		}
		to := w.checkPage(d, got, limit)
		d.look(w.now(got.Head))
		w.takeIn(d, &d.state, got.Items)
		d.reach(got.Cursor, d.seen, to, w.is(d.who))
		if !got.More {
			return
		}
	}
}

// lostSight deals with a reader who cannot go on: who is no member any more drops everything but
// the queue, and whose role has changed begins a snapshot.
func (w *world) lostSight(d *device, from *state, err error) bool {
	w.Helper()
	by := w.is(d.who)
	want, why := 0, ""
	switch {
	case by.role == "":
		want = http.StatusNotFound
	case from.cursor != "" && !w.holds(from.given), from == &d.state && !w.holds(d.seen):
		want, why = http.StatusGone, "restored"
	case from.cursor != "" && scopeOf(from.scope) != scopeOf(by):
		want, why = http.StatusGone, "scope"
	}
	if statusOf(err) != want || want == 0 && err != nil {
		w.Fatalf("%s as %+v (was %+v) reads: %v, want status %d", d.name, by, from.scope, err, want)
	}
	switch want {
	case http.StatusNotFound:
		d.forget()
	case http.StatusGone:
		told := err.(*problem)
		if told.Snapshot != "/v1/squads/"+w.squad+"/snapshot" || told.Reason != why {
			w.Fatalf("the snapshot's address is %q, the reason %q; want %q", told.Snapshot, told.Reason, why)
		}
		if why == "restored" {
			d.restored()
		} else {
			d.beginSnapshot()
		}
	}
	return want != 0
}

// scopeOf is what decides what somebody sees.
func scopeOf(by who) string {
	if by.role == "athlete" {
		return by.athlete
	}
	return "all"
}

func (d *device) beginSnapshot() { d.fresh = &state{held: map[key]held{}} }

// snapshot reads up to n pages of a snapshot that the device is at, or of a new one.
func (w *world) snapshot(d *device, limit, pages int) {
	w.Helper()
	if d.fresh == nil {
		d.beginSnapshot()
	}
	for range pages {
		got, err := d.who.snapshot(w.ctx, w.squad, d.fresh.cursor, limit)
		if w.lostSight(d, d.fresh, err) {
			return
		}
		if d.fresh.cursor == "" {
			d.fresh.at, d.fresh.scope = got.Rev, w.is(d.who)
		}
		if got.Rev != d.fresh.at {
			w.Fatalf("%s: a page at revision %d in a snapshot of revision %d", d.name, got.Rev, d.fresh.at)
		}
		w.checkDigest(got)
		d.fresh.newest = w.now(got.Head)
		w.takeIn(d, d.fresh, got.Items)
		d.fresh.cursor, d.fresh.given = got.Page, d.fresh.newest
		if got.Page == "" {
			before, was := d.held, d.newest
			d.held = d.fresh.held
			d.reach(got.Cursor, d.fresh.given, got.Rev, d.fresh.scope)
			maps.DeleteFunc(d.told, func(_ key, h held) bool { return !w.holds(h.by) }) // a lost history's
			d.look(d.fresh.newest)
			d.fresh = nil
			if !w.holds(was) {
				d.sendAgain(before)
			}
			return
		}
	}
}

// settle brings everything home: the network delivers, every device sends and reads until nothing
// is left, and then all is compared.
func (w *world) settle() {
	w.Helper()
	for _, l := range w.network {
		_, _, _ = w.deliver(l) // held against the model there
	}
	w.network = nil
	for range 2 {
		for _, d := range w.devices {
			w.flush(d)
		}
	}
	for _, d := range w.devices {
		w.flush(d)
		w.checkSettled(d)
	}
	w.replay()
}

// flush sends the whole queue and reads to the end. What still waits for a parent after that is set
// aside: the parent is gone for good.
func (w *world) flush(d *device) {
	w.Helper()
	for tries := 0; len(d.queue) > 0; tries++ {
		waiting := 0
		outcomes, by, err := w.deliver(letter{d.who, d.seen, d.outgoing(1000)})
		if statusOf(err) == http.StatusGone {
			d.restored()
			w.snapshot(d, 1000, 100)
			continue
		}
		if err != nil {
			break // no member: the queue stays
		}
		w.looks(d, by)
		for _, o := range outcomes {
			d.answered(o)
			if o.Outcome == "waiting" {
				waiting++
				if tries > 3 {
					d.setAside(o.item().key(), held{})
				}
			}
		}
		if tries > 10 {
			w.Fatalf("%s does not get rid of %+v (%d wait)", d.name, d.queue, waiting)
		}
	}
	for range 3 { // a cursor that is gone, a snapshot, the feed
		if d.fresh != nil {
			w.snapshot(d, 1000, 100)
		}
		w.pull(d, 1000, 100, false)
	}
	w.checkHeld(d)
}

// checkSettled holds that a device has exactly what its person may see, and that it can prove it by
// the digest.
func (w *world) checkSettled(d *device) {
	w.Helper()
	by := w.is(d.who)
	want := make(map[key]held)
	for k := range w.model.of {
		if w.model.sees(by, k) {
			now := w.model.now(k)
			want[k] = held{rev: now.rev, is: now.is}
		}
	}
	holds := make(map[key]held, len(d.held))
	for k, h := range d.held {
		holds[k] = held{rev: h.rev, is: h.is}
	}
	if !reflect.DeepEqual(holds, want) {
		w.Fatalf("%s as %+v holds\n%s\nwant\n%s", d.name, by, show(d.held), show(want))
	}
	kinds, rev, err := d.who.digests(w.ctx, w.squad)
	if by.role == "" {
		if statusOf(err) != http.StatusNotFound {
			w.Fatalf("a digest for somebody who is no member: %v", err)
		}
		return
	}
	w.must(err)
	if own := d.digests(); rev != w.model.rev || !reflect.DeepEqual(kinds, own) {
		w.Fatalf("%s: the server's digest at revision %d is %v, the device's %v", d.name, rev, kinds, own)
	}
}

// replay sends everything again that was ever acknowledged: it must change nothing.
func (w *world) replay() {
	w.Helper()
	rev := w.model.rev
	for _, l := range w.answered {
		_, _, _ = w.deliver(l) // held against the model there
	}
	if w.model.rev != rev {
		w.Fatalf("sending again what was acknowledged has changed something: revision %d after %d", w.model.rev, rev)
	}
}

func show(all map[key]held) string {
	var b strings.Builder
	var list []string
	for k, h := range all {
		list = append(list, fmt.Sprintf("  %s %s at %d: %v\n", k.kind, k.id, h.rev, h.is))
	}
	slices.Sort(list)
	for _, line := range list {
		b.WriteString(line)
	}
	return b.String()
}
