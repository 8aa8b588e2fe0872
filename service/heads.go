package service

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// headBytes is how much of a head is kept: 128 bits tell two histories apart.
const headBytes = 16

// head is what a squad's history came to with the commit that reached a revision: a hash over the
// head before it, the revision and what was written. A restored backup goes on with other heads.
type head struct {
	rev int64
	sum [headBytes]byte
}

func headOf(rev int64, sum []byte) (h head) {
	h.rev = rev
	copy(h.sum[:], sum)
	return h
}

// clock is a squad's counter: the head it has reached, the newest deletion that has been forgotten,
// up to where heads have been, and how many records it has come to.
type clock struct {
	head
	floor      int64
	headsFloor int64
	records    int64
	counted    bool   // records is right
	quota      *int64 // the squad's own; nil for the server's
}

func clockOf(row db.LockClockRow) clock {
	return clock{
		head:       headOf(row.Rev, row.Head),
		floor:      row.Floor,
		headsFloor: row.HeadsFloor,
		records:    row.Records,
		counted:    row.Counted == row.Rev,
		quota:      row.Quota,
	}
}

// clock reads the squad's counter.
func (w *work) clock(ctx context.Context) (clock, error) {
	row, err := w.Clock(ctx, db.ClockParams{SquadID: w.squad})
	return clockOf(db.LockClockRow(row)), db.Translate(err)
}

// lock makes the transaction the squad's only writer, and returns the counter as it stands.
func (w *work) lock(ctx context.Context) (clock, error) {
	if w.locked != nil {
		return *w.locked, nil
	}
	row, err := w.LockClock(ctx, db.LockClockParams{SquadID: w.squad})
	if err != nil {
		return clock{}, err
	}
	locked := clockOf(row)
	if err := w.count(ctx, &locked); err != nil {
		return clock{}, err
	}
	w.locked = &locked
	return locked, nil
}

// advance gives the next revisions, under the lock, and joins the digest of what was written to the
// head.
func (w *work) advance(ctx context.Context, rows int64, digest []byte) (clock, error) {
	now, err := w.lock(ctx)
	if err != nil || rows == 0 {
		return now, err
	}
	moved, err := w.AdvanceClock(ctx, db.AdvanceClockParams{
		SquadID: w.squad,
		ByRows:  rows,
		Records: now.records,
		Digest:  digest,
		MadeAt:  w.now,
	})
	if err != nil {
		return now, err
	}
	w.locked.head = headOf(moved.Rev, moved.Head)
	w.wrote = true
	return *w.locked, nil
}

// standing is how a head that a client shows relates to the squad's history.
type standing int

const (
	stands standing = iota // it is of this history
	lost                   // it is of another one, which a restored backup has ended
	faded                  // it is older than the heads that are kept
)

// standingOf looks a head up in the history that has come to now.
func (w *work) standingOf(ctx context.Context, now clock, shown head) (standing, error) {
	known := now.sum[:]
	switch {
	case shown.rev > now.rev:
		return lost, nil
	case shown.rev < now.rev && shown.rev <= now.headsFloor:
		return faded, nil
	case shown.rev < now.rev:
		var err error
		known, err = w.Head(ctx, db.HeadParams{SquadID: w.squad, Rev: shown.rev})
		if err = db.Translate(err); errors.Is(err, db.ErrNotFound) {
			return lost, nil
		}
		if err != nil {
			return lost, err
		}
	}
	if !hmac.Equal(known, shown.sum[:]) {
		return lost, nil
	}
	return stands, nil
}

const (
	headVersion   = 3
	headWordBytes = 1 + 8 + headBytes
)

// writeHead writes a head of a squad as one opaque, signed word.
func (s *Service) writeHead(squad uuid.UUID, h head) string {
	b := appendHead([]byte{headVersion}, h)
	return base64.RawURLEncoding.EncodeToString(append(b, s.cursorMAC(b, squad)...))
}

func appendHead(b []byte, h head) []byte {
	b = binary.BigEndian.AppendUint64(b, uint64(h.rev)) //nolint:gosec // never negative
	return append(b, h.sum[:]...)
}

func readHeadBytes(b []byte) head {
	return headOf(int64(binary.BigEndian.Uint64(b)), b[8:8+headBytes]) //nolint:gosec // as written
}

var errHead = fail(
	Invalid,
	"the head is not one that this server gave for this squad: send heads as they were given, or leave it out",
)

// readHead reads a head that [Service.writeHead] wrote for the squad, or the one in a cursor; any
// other word is Invalid.
func (s *Service) readHead(squad uuid.UUID, word string) (head, error) {
	b, err := base64.RawURLEncoding.Strict().DecodeString(word)
	if err != nil || len(b) != headWordBytes+cursorMAC || b[0] != headVersion {
		place, err := s.readCursor(word)
		if err != nil || place.squad != squad {
			return head{}, errHead
		}
		return place.head, nil
	}
	body, mac := b[:headWordBytes], b[headWordBytes:]
	if !hmac.Equal(mac, s.cursorMAC(body, squad)) {
		return head{}, errHead
	}
	return readHeadBytes(body[1:]), nil
}

// Version says which version of a record a change is based on: its revision, and a head at or after
// it, which proves that the revision is of the server's history. Without a head it proves nothing.
type Version struct {
	Rev  int64
	Head string
}

// VersionOf returns the version of a record that was read to be changed.
func VersionOf(rec record.Record) Version { return Version{rec.Revision(), rec.Proof()} }

// String is the version as one word: the revision, a dot and the head.
func (v Version) String() string {
	if v.Head == "" {
		return strconv.FormatInt(v.Rev, 10)
	}
	return strconv.FormatInt(v.Rev, 10) + "." + v.Head
}

// ParseVersion reads a version as [Version.String] writes it. ok is false for any other word.
func ParseVersion(word string) (v Version, ok bool) {
	digits, shown, _ := strings.Cut(word, ".")
	rev, err := strconv.ParseInt(digits, 10, 64)
	v = Version{rev, shown}
	return v, err == nil && rev > 0 && v.String() == word
}

// Basis says what is known of the revision that a change is based on.
type Basis int

// A revision is Held when it is of the server's history: new records and what the server itself has
// just read are. It is Lost when it is of a history that a restored backup has ended, and Unproven
// when the client does not show a head with it.
const (
	Held Basis = iota
	Lost
	Unproven
)

// basisOf looks up versions against the squad's history as it stands under the lock. It remembers
// what it has found: a push shows the same few heads with all its changes.
func (s *Service) basisOf(ctx context.Context, w *work) func(Version) (Basis, error) {
	type found struct {
		head
		standing
	}
	known := make(map[string]found)
	return func(v Version) (Basis, error) {
		if v.Rev == 0 {
			return Held, nil
		}
		if v.Head == "" {
			return Unproven, nil
		}
		it, seen := known[v.Head]
		if !seen {
			now, err := w.lock(ctx)
			if err != nil {
				return Lost, err
			}
			shown, wrong := s.readHead(w.squad, v.Head)
			it = found{shown, lost} // what this server has not signed proves nothing
			if wrong == nil {
				if it.standing, err = w.standingOf(ctx, now, shown); err != nil {
					return Lost, err
				}
			}
			known[v.Head] = it
		}
		if it.standing != stands || v.Rev > it.rev {
			return Lost, nil
		}
		return Held, nil
	}
}

// prove gives a record that is handed out what its version is proven by. It is the head of the
// commit that wrote the record, so that the same version of it is always proven by the same head.
func (s *Service) prove(ctx context.Context, w *work, rec record.Record) error {
	row, err := w.HeadAt(ctx, db.HeadAtParams{SquadID: w.squad, Rev: rec.Revision()})
	at := headOf(row.Rev, row.Head)
	if err = db.Translate(err); errors.Is(err, db.ErrNotFound) { // faded
		var now clock
		now, err = w.clock(ctx)
		at = now.head
	}
	if err == nil {
		rec.Prove(s.writeHead(w.squad, at))
	}
	return err
}

// The reasons why a reader has to begin again.
const (
	GoneRestored  = "restored"
	GoneScope     = "scope"
	GoneSchema    = "schema"
	GoneForgotten = "forgotten"
)

// beginAgain is the failure of a reader who cannot go on from where they are.
func beginAgain(reason, why string) *Error {
	return &Error{
		Code:   Gone,
		Reason: reason,
		Detail: why + ": read a snapshot and go on from there; what you have not sent yet stays yours",
	}
}

// mustStand fails with Gone when a head that a client shows is not of the squad's history.
func (w *work) mustStand(ctx context.Context, now clock, shown head) error {
	is, err := w.standingOf(ctx, now, shown)
	switch {
	case err != nil:
		return err
	case is == lost:
		return beginAgain(GoneRestored, "the server's data was restored since, and it has lost some of what you hold")
	case is == faded:
		return beginAgain(GoneForgotten, "the cursor is older than the changes still remembered")
	}
	return nil
}

// mustHaveSeen fails with Gone when the newest head that a client was ever given, "" when it does
// not say, is not of the squad's history.
func (s *Service) mustHaveSeen(ctx context.Context, w *work, now clock, seen string) error {
	if seen == "" {
		return nil
	}
	shown, err := s.readHead(w.squad, seen)
	if err != nil {
		return err
	}
	return w.mustStand(ctx, now, shown)
}

// digestParts joins the parts of a commit: who wrote, when, and what.
func (w *work) digestParts(parts ...[]byte) []byte {
	sum := sha256.New()
	sum.Write(w.user[:])
	sum.Write(binary.BigEndian.AppendUint64(nil, uint64(w.now.UnixMicro())))
	for _, part := range parts {
		sum.Write(part)
	}
	return sum.Sum(nil)
}
