package synctest

import (
	"cmp"
	"fmt"
	"maps"
	"reflect"
	"slices"
)

// device is a phone or a laptop: what it knows of the server's records, its queue of changes that
// were not answered, and its place in the feed. It knows the contract only.
type device struct {
	name string
	who  *person
	state
	saved *state // a backup of the device
}

type state struct {
	held   map[key]held // what the feed gave
	told   map[key]held // what the answers to pushes said, until the feed gets there: only the feed says what goes out of sight
	queue  []change
	aside  []conflict // for the person to decide
	cursor string
	given  proof  // the history of the cursor
	seen   proof  // the newest head that the device was given, which it shows; forgotten with the history it is of
	newest proof  // the history of what it holds
	at     int64  // the revision the cursor stands for
	scope  who    // what the person was when the cursor was given
	fresh  *state // a snapshot on its way, which takes the place of held when it is whole; its cursor is the next page
}

// held is a record as the server had it at a revision, and what proves that.
type held struct {
	rev int64
	is  fields
	by  proof
}

// proof is a head of the squad: which history it is of, and at which revision.
type proof struct {
	head string
	line int
	rev  int64
}

// change is one entry of the queue. base is the revision it is based on; follows when that of the
// entry before it, which is on its way.
type change struct {
	key  key
	base int64
	by   proof  // of base
	is   fields // nil to delete
	sent bool   // it may have reached the server, so it must be sent again as it is
}

const follows = -1

// conflict is a change that was not taken, beside what stands.
type conflict struct {
	key  key
	mine fields
	held // theirs
}

func (s *state) copy() *state {
	c := *s
	c.held, c.told, c.queue, c.aside = maps.Clone(
		s.held,
	), maps.Clone(
		s.told,
	), slices.Clone(
		s.queue,
	), slices.Clone(
		s.aside,
	)
	if s.fresh != nil {
		c.fresh = s.fresh.copy()
	}
	return &c
}

// sees returns the records as the person sees them: the held ones with the queue on top.
func (d *device) sees() map[key]fields {
	view := make(map[key]fields, len(d.held))
	for k, h := range d.held {
		view[k] = h.is
	}
	set := func(k key, is fields) {
		if is == nil {
			delete(view, k)
		} else {
			view[k] = is
		}
	}
	for k, h := range d.told {
		set(k, h.is)
	}
	for _, c := range d.queue {
		set(c.key, c.is)
	}
	return view
}

// known is the newest that the server said of a record.
func (d *device) known(k key) held {
	if told, ok := d.told[k]; ok && told.rev > d.held[k].rev {
		return told
	}
	return d.held[k]
}

// put queues a change that the person made; nil deletes.
func (d *device) put(k key, is fields) {
	last := d.lastOf(k)
	switch {
	case last < 0:
		d.queue = append(d.queue, change{key: k, base: d.known(k).rev, by: d.known(k).by, is: is})
	case d.queue[last].sent:
		d.queue = append(d.queue, change{key: k, base: follows, is: is})
	case is == nil && d.queue[last].base == 0:
		d.queue = slices.Delete(d.queue, last, last+1) // the server never heard of it
	default:
		d.queue[last].is = is
	}
}

func (d *device) lastOf(k key) int {
	for i := len(d.queue) - 1; i >= 0; i-- {
		if d.queue[i].key == k {
			return i
		}
	}
	return -1
}

func (d *device) firstOf(k key) int {
	return slices.IndexFunc(d.queue, func(c change) bool { return c.key == k })
}

// outgoing takes up to n changes to send, one of each record.
func (d *device) outgoing(n int) (items []item) {
	for i := range d.queue {
		if c := &d.queue[i]; len(items) < n && c.base != follows {
			c.sent = true
			items = append(items, c.item())
		}
	}
	return items
}

func (c change) item() item {
	it := item{Kind: c.key.kind, ID: c.key.id, Rev: c.base, by: c.by, Deleted: c.is == nil}
	if c.base > 0 {
		it.Version = fmt.Sprintf("%d.%s", c.base, c.by.head)
	}
	if c.is != nil {
		it.Record = maps.Clone(c.is)
		it.Record["id"] = c.key.id
	}
	return it
}

// answered takes in what became of a change that was sent.
func (d *device) answered(o outcome) {
	k := o.item().key()
	at := d.firstOf(k)
	if at < 0 {
		return // answered before
	}
	sent := d.queue[at]
	stands := held{o.Rev, sent.is, d.seen}
	if o.Deleted {
		stands.is = nil
	} else if o.Record != nil {
		stands.is = o.item().content()
	}
	switch o.Outcome {
	case "waiting":
		d.queue[at].sent = false
		return
	case "stored", "same":
		d.told[k] = stands
		d.queue = slices.Delete(d.queue, at, at+1)
		d.rebase(k, sent.is, stands)
	case "conflict":
		d.told[k] = stands
		d.setAside(k, stands)
	case "refused":
		d.setAside(k, d.known(k))
	}
}

// rebase lays the change that waited for another one on top of what has become of that.
func (d *device) rebase(k key, sent fields, stands held) {
	at := d.firstOf(k)
	if at < 0 {
		return
	}
	next := &d.queue[at]
	next.base, next.by = stands.rev, stands.by
	if next.is == nil {
		return
	}
	merged, ok := mergeFields(sent, next.is, stands.is)
	if stands.is == nil || !ok {
		d.setAside(k, stands)
		return
	}
	next.is = merged
	if reflect.DeepEqual(merged, stands.is) {
		d.queue = slices.Delete(d.queue, at, at+1)
	}
}

// setAside takes a record's changes out of the queue, for the person to decide.
func (d *device) setAside(k key, theirs held) {
	mine := d.queue[d.lastOf(k)].is
	d.queue = slices.DeleteFunc(d.queue, func(c change) bool { return c.key == k })
	d.aside = append(d.aside, conflict{k, mine, theirs})
}

// take takes in an item of the feed or a snapshot.
func (s *state) take(it item) {
	switch {
	case it.Scope == "removed":
		delete(s.held, it.key())
	case it.Rev < s.held[it.key()].rev:
	case it.Record == nil:
		delete(s.held, it.key())
	default:
		s.held[it.key()] = held{it.Rev, it.content(), s.newest}
	}
}

// reach moves the device's place in the feed: what it was told up to there it holds by now, or it
// is out of sight.
func (d *device) reach(cursor string, by proof, rev int64, as who) {
	d.cursor, d.given, d.at, d.scope = cursor, by, rev, as
	maps.DeleteFunc(d.told, func(_ key, h held) bool { return h.rev <= rev })
}

// forget drops what the server gave; the queue is the person's own and stays.
func (d *device) forget() {
	d.held, d.told, d.cursor, d.at, d.fresh = map[key]held{}, map[key]held{}, "", 0, nil
	d.given, d.seen, d.newest = proof{}, proof{}, proof{}
}

// digests counts the device's own records by kind.
func (d *device) digests() map[string]digest {
	sums := make(map[string]*sum)
	for _, kind := range kinds {
		sums[kind] = &sum{}
	}
	for k, h := range d.held {
		sums[k.kind].add(k.id, h.rev)
	}
	all := make(map[string]digest, len(sums))
	for kind, s := range sums {
		all[kind] = s.digest()
	}
	return all
}

// look takes in the newest head that the server gave.
func (d *device) look(by proof) {
	d.seen, d.newest = by, by
}

// restored begins a new copy, because the server's history is another one now. What was said of the
// old one is forgotten; the old copy stays until the new one is whole, and the queue stays.
func (d *device) restored() {
	d.told, d.seen = map[key]held{}, proof{}
	d.beginSnapshot()
}

// sendAgain queues what the copy before had and the new one has not, of a kind that a push takes.
func (d *device) sendAgain(before map[key]held) {
	for _, k := range slices.SortedFunc(maps.Keys(before), func(a, b key) int {
		return cmp.Or(cmp.Compare(a.kind, b.kind), cmp.Compare(a.id, b.id))
	}) {
		if _, there := d.held[k]; !there && d.firstOf(k) < 0 && k.kind != "squad" && k.kind != "member" {
			d.queue = append(d.queue, change{key: k, is: before[k].is})
		}
	}
}
