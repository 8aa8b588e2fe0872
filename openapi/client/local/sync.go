package local

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"time"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/openapi/client"
)

// Sync synchronises the copy of one squad with the server. Several processes may do so at once.
type Sync struct {
	Client *client.Client
	Store  *Store
	Squad  uuid.UUID
	// Told, when set, is called with how far a pass has got.
	Told func(Progress)
}

// Progress is how far a pass has got.
type Progress struct {
	Sent, ToSend int
	Received     int
	Copying      bool // a first copy, or a new one, is being read
}

// Result is what a pass did. What waits, was refused or conflicts is in [Store.Status].
type Result struct {
	Sent     int // changes that the server has
	Received int // records that were added, changed or removed
	Copied   bool
	Restored bool // the server's data was restored since the last pass: what it has lost is in [Store.Lost]
	// Usage is the squad's when something was sent and it is near its quota.
	Usage *openapi.Usage
}

func (y *Sync) told(p Progress) {
	if y.Told != nil {
		y.Told(p)
	}
}

// Once sends everything that can be sent and fetches everything that is new. Whatever it fails
// with, nothing is lost and it is safe to run again. It fails with [client.NotFound] when the
// person is no longer a member, and with [client.TooOld] when this program is too old for the
// server; the queue is kept.
func (y *Sync) Once(ctx context.Context) (Result, error) {
	var result Result
	err := y.pass(ctx, &result)
	var told *client.Error
	if errors.As(err, &told) && told.Code == client.NotFound &&
		told.Title != "" { // a Laneward server said so, not something on the way
		err = errors.Join(err, y.Store.Leave(context.WithoutCancel(ctx), y.Squad))
	}
	return result, err
}

func (y *Sync) pass(ctx context.Context, result *Result) error {
	if err := y.reachUnsent(ctx); err != nil {
		return err
	}
	// Nothing is sent on top of another history: the feed answers the same, and a new copy comes first.
	if err := y.push(ctx, result); err != nil && !beginsAgain(err) {
		return err
	}
	if err := y.pull(ctx, result); err != nil {
		return err
	}
	if err := y.compare(ctx, result); err != nil {
		return err
	}
	// The parent of a waiting change may have come.
	err := y.push(ctx, result)
	if !beginsAgain(err) {
		return err
	}
	if err := y.pull(ctx, result); err != nil { // a backup was put back since the feed was read
		return err
	}
	return y.push(ctx, result)
}

// beginsAgain reports whether a failure is that the device's place or head leads nowhere any more.
// Invalid is one that this server has not signed: its keys have changed.
func beginsAgain(err error) bool {
	code := client.CodeOf(err)
	return code == client.Gone || code == client.Invalid
}

// reasonOf is why a copy has to be read anew. A server whose keys have changed may have lost
// anything.
func reasonOf(err error) string {
	var told *client.Error
	if errors.As(err, &told) && told.Code == client.Gone {
		return told.Reason
	}
	return differs
}

// compareEvery is how often a pass compares the whole copy with the server's records by itself: the
// heads prove the history, this that the copy is as the history has it.
const compareEvery = 7 * 24 * time.Hour

// compare compares the copy, when it has not been for long, and reads it anew when it differs.
func (y *Sync) compare(ctx context.Context, result *Result) error {
	due, err := y.Store.compareDue(ctx, y.Squad, compareEvery)
	if err != nil || !due {
		return err
	}
	differing, _, moved, err := y.differences(ctx)
	if err != nil || moved { // the next pass compares
		return err
	}
	if len(differing) == 0 {
		return y.Store.compared(ctx, y.Squad)
	}
	if err := y.beginCopy(ctx, differs); err != nil && !errors.Is(err, errMoved) {
		return err
	}
	return y.pull(ctx, result)
}

// push sends the queue, round after round while that makes progress: a waiting change is sent again
// after what it waits for.
func (y *Sync) push(ctx context.Context, result *Result) error {
	for progress := true; progress; {
		progress = false
		todo, err := y.Store.queued(ctx, y.Squad)
		if err != nil {
			return err
		}
		sent := 0
		for after := int64(0); ; {
			batch, err := y.Store.take(ctx, y.Squad, after)
			if err != nil {
				return err
			}
			if len(batch) == 0 {
				break
			}
			after = batch[len(batch)-1].seq
			settled, err := y.send(ctx, batch, result)
			if err != nil {
				return err
			}
			progress = progress || settled
			sent += len(batch)
			y.told(Progress{Sent: min(sent, todo), ToSend: todo, Received: result.Received})
		}
	}
	return nil
}

// send sends a batch and writes down what became of it. settled reports whether any change did
// something other than wait.
func (y *Sync) send(ctx context.Context, batch []outgoing, result *Result) (settled bool, err error) {
	changes := make([]client.Change, len(batch))
	for i, one := range batch {
		changes[i] = one.change()
	}
	at, err := y.Store.place(ctx, y.Squad)
	if err != nil {
		return false, err
	}
	answer, err := y.Client.Send(ctx, y.Squad, at.head, changes)
	if err != nil {
		return false, err
	}
	// The server has decided: that is recorded even when the person has quit meanwhile.
	if err := y.Store.settle(context.WithoutCancel(ctx), y.Squad, batch, answer); err != nil {
		return false, err
	}
	result.Usage = answer.Usage
	for _, o := range answer.Outcomes {
		settled = settled || o.Outcome != client.Waiting
		if o.Outcome == client.Stored || o.Outcome == client.Same {
			result.Sent++
		}
	}
	return settled, nil
}

// restarts bounds how often a copy is begun anew in one pass.
const restarts = 3

// pull reads the feed to its end. Where the feed cannot be resumed from its place, it reads a
// snapshot first.
func (y *Sync) pull(ctx context.Context, result *Result) error {
	for again := 0; ; again++ {
		err := y.read(ctx, result)
		switch {
		case errors.Is(err, errMoved):
			continue
		case !beginsAgain(err) || again >= restarts:
			return err
		}
		if err := y.beginCopy(ctx, reasonOf(err)); err != nil && !errors.Is(err, errMoved) {
			return err
		}
	}
}

// beginCopy leaves the place in the feed or in a snapshot, for a new snapshot to be read. The old
// copy stays until the new one is whole. A restore stays the reason until then, whatever else makes
// it begin again.
func (y *Sync) beginCopy(ctx context.Context, why string) error {
	at, err := y.Store.place(ctx, y.Squad)
	if err != nil {
		return err
	}
	next := place{copied: at.copied + 1, why: why, span: at.span}
	switch {
	case at.restored():
		next.why, next.common = at.why, at.common
	case next.restored():
		if next.common, err = y.commonWith(ctx); err != nil {
			return err
		}
	}
	_, err = y.Store.advance(ctx, y.Squad, at, next, nil, nothing)
	return err
}

// commonWith looks for the newest head that is of the server's history too, and returns its
// revision: what the copy has up to there the server has had.
func (y *Sync) commonWith(ctx context.Context) (rev int64, err error) {
	heads, err := y.Store.headsOf(ctx, y.Squad)
	if err != nil {
		return 0, err
	}
	var failed error
	gone := sort.Search(len(heads), func(i int) bool {
		if failed != nil {
			return true
		}
		stands, err := y.Client.Stands(ctx, y.Squad, heads[i].head)
		failed = err
		return !stands
	})
	if failed != nil || gone == 0 {
		return 0, failed
	}
	return heads[gone-1].rev, nil
}

func (y *Sync) read(ctx context.Context, result *Result) error {
	at, err := y.Store.place(ctx, y.Squad)
	if err != nil {
		return err
	}
	for at.cursor == "" {
		if at, err = y.readSnapshot(ctx, at, result); err != nil {
			return err
		}
	}
	for more := true; more; {
		page, err := y.Client.Feed(ctx, y.Squad, at.cursor, at.head)
		if err != nil {
			return err
		}
		next := place{cursor: page.Cursor, copied: at.copied, seen: seen{page.Head, page.Rev}, span: at.span}
		then := nothing
		if !page.More {
			then = reached(ctx, y.Squad, page.Rev, y.Store.now().UnixMilli())
		}
		received, err := y.Store.advance(ctx, y.Squad, at, next, page.Items, then)
		if err != nil {
			return err
		}
		result.Received += received
		y.told(Progress{Received: result.Received})
		at, more = next, page.More
	}
	return nil
}

// readSnapshot reads one page of a snapshot.
func (y *Sync) readSnapshot(ctx context.Context, at place, result *Result) (place, error) {
	page, err := y.Client.Snapshot(ctx, y.Squad, client.SnapshotQuery{
		Page:    at.page,
		Since:   at.since,
		Athlete: at.athlete,
	})
	if err != nil {
		return at, err
	}
	next := place{
		cursor: page.Cursor,
		page:   page.Page,
		copied: at.copied,
		why:    at.why,
		common: at.common,
		seen:   seen{page.Head, page.Rev},
		span:   span{page.Since, at.athlete}, // an older server knows no spans, and sends all
	}
	then := nothing
	switch {
	case page.Cursor != "" && at.why == older:
		next.why = "" // what the copy had stays
	case page.Cursor != "":
		next.why, next.common = "", 0
		then, result.Copied = sweep(ctx, y.Squad, at, next.seen, y.Store.now().UnixMilli()), true
		result.Restored = result.Restored || at.restored()
	}
	received, err := y.Store.advance(ctx, y.Squad, at, next, page.Items, then)
	if err != nil {
		return at, err
	}
	result.Received += received
	y.told(Progress{Received: result.Received, Copying: page.Cursor == ""})
	return next, nil
}

// Difference is a kind of record of which the device and the server hold different versions.
type Difference struct {
	Kind        client.Kind
	Here, There client.Digest
}

// Verify checks that the copy holds what the server does, record by record and version by version,
// and returns where it does not. It syncs first, and again while the squad is changing under it.
func (y *Sync) Verify(ctx context.Context) (differing []Difference, rev int64, err error) {
	for range 10 {
		if _, err := y.Once(ctx); err != nil {
			return nil, 0, err
		}
		differing, rev, moved, err := y.differences(ctx)
		if err != nil || !moved {
			return differing, rev, err
		}
	}
	return nil, 0, fmt.Errorf("the squad changes too fast to be compared: try again in a while")
}

// differences compares the copy with what the server has now. moved reports that the squad has
// changed since the copy was read, so that they cannot be compared.
func (y *Sync) differences(ctx context.Context) (differing []Difference, rev int64, moved bool, err error) {
	place, err := y.Store.place(ctx, y.Squad)
	if err != nil {
		return nil, 0, false, err
	}
	there, rev, err := y.Client.Digests(ctx, y.Squad, place.cursor)
	if err != nil {
		return nil, 0, false, err
	}
	here, at, err := y.Store.digestsAt(ctx, y.Squad)
	if err != nil || at != rev {
		return nil, 0, true, err
	}
	for _, kind := range client.SyncedKinds {
		if here[kind] != there[kind] {
			differing = append(differing, Difference{kind, here[kind], there[kind]})
		}
	}
	return differing, rev, false, nil
}

// Anew makes the next pass read a new copy, because the present one is not what the server has. The
// queue is kept, and what the server has not is set aside as lost.
func (y *Sync) Anew(ctx context.Context) error { return y.beginCopy(ctx, differs) }
