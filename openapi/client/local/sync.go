package local

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"

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
	if err := y.push(ctx, result); err != nil {
		return err
	}
	if err := y.pull(ctx, result); err != nil {
		return err
	}
	// The parent of a waiting change may have come.
	return y.push(ctx, result)
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
		if changes[i], err = one.change(); err != nil {
			return false, err
		}
	}
	outcomes, err := y.Client.Send(ctx, y.Squad, changes)
	if err != nil {
		return false, err
	}
	// The server has decided: that is recorded even when the person has quit meanwhile.
	if err := y.Store.settle(context.WithoutCancel(ctx), y.Squad, batch, outcomes); err != nil {
		return false, err
	}
	for _, o := range outcomes {
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
		switch code := client.CodeOf(err); {
		case errors.Is(err, errMoved):
			continue
		case code != client.Gone && code != client.Invalid || again >= restarts:
			return err
		}
		// Invalid is a cursor that this server has not signed: its keys have changed.
		if err := y.beginCopy(ctx); err != nil && !errors.Is(err, errMoved) {
			return err
		}
	}
}

// beginCopy leaves the place in the feed or in a snapshot, for a new snapshot to be read. The old
// copy stays until the new one is whole.
func (y *Sync) beginCopy(ctx context.Context) error {
	at, err := y.Store.place(ctx, y.Squad)
	if err != nil {
		return err
	}
	_, err = y.Store.advance(ctx, y.Squad, at, place{copied: at.copied + 1}, nil, nothing)
	return err
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
		page, err := y.Client.Feed(ctx, y.Squad, at.cursor)
		if err != nil {
			return err
		}
		next := place{cursor: page.Cursor, copied: at.copied}
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
	page, err := y.Client.Snapshot(ctx, y.Squad, at.page)
	if err != nil {
		return at, err
	}
	next := place{cursor: page.Cursor, page: page.Page, copied: at.copied}
	then := nothing
	if page.Cursor != "" {
		then, result.Copied = sweep(ctx, y.Squad, at.copied), true
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
		there, rev, err := y.Client.Digests(ctx, y.Squad)
		if err != nil {
			return nil, 0, err
		}
		here, at, err := y.Store.digestsAt(ctx, y.Squad)
		if err != nil {
			return nil, 0, err
		}
		if at != rev {
			continue
		}
		for _, kind := range client.SyncedKinds {
			if here[kind] != there[kind] {
				differing = append(differing, Difference{kind, here[kind], there[kind]})
			}
		}
		return differing, rev, nil
	}
	return nil, 0, fmt.Errorf("the squad changes too fast to be compared: try again in a while")
}

// Anew makes the next pass read a new copy. The queue is kept.
func (y *Sync) Anew(ctx context.Context) error { return y.beginCopy(ctx) }
