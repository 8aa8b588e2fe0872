package service

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"

	"github.com/google/uuid"

	"laneward/service/record"
)

// The wire schemas of records that are understood.
const (
	Schema       = record.Schema
	OldestSchema = record.OldestSchema
)

// cursor is a place in a squad's feed. It holds for one squad, one scope and one client schema, and
// for the history that had come to its head when it was given, at or after its place. It is signed,
// so that it works for no other user and no other purpose.
type cursor struct {
	head   head
	squad  uuid.UUID
	scope  uint64
	schema uint16
	rev    int64
	// A snapshot's place: the kind being read and the revision within it. Zero in the feed.
	kind   uint8
	within int64
	span   span
	// In a snapshot of a span also: the session whose shots are being read, and from which day on
	// the copy that it is added to holds sessions, 0 when it is not.
	session uuid.UUID
	held    int32
}

const (
	cursorVersion = 2
	cursorBytes   = 1 + 16 + 8 + headBytes + 8 + 2 + 8 + 1 + 8
	cursorMAC     = 12
	// spanBytes are more of a cursor that has a span.
	spanBytes = 4 + 16 + 16 + 4
	// firstCursorBytes is how long cursors were that had no head.
	firstCursorBytes = 72
)

// scope digests what a member may see. A change of it changes what a device has to hold.
func (m member) scope() uint64 {
	seen := "all"
	if m.athlete != nil {
		seen = m.athlete.String()
	}
	sum := sha256.Sum256([]byte(seen))
	return binary.BigEndian.Uint64(sum[:])
}

// spanned reports whether the copy holds less than everything, or is being added to.
func (c cursor) spanned() bool { return c.span != (span{}) || c.held != 0 }

// cursorMAC signs a word for a squad.
func (s *Service) cursorMAC(body []byte, squad uuid.UUID) []byte {
	mac := hmac.New(sha256.New, s.cursorKey)
	mac.Write(body)
	mac.Write(squad[:])
	return mac.Sum(nil)[:cursorMAC]
}

// writeCursor writes a cursor as one opaque word.
func (s *Service) writeCursor(c cursor) string {
	b := make([]byte, 0, cursorBytes+spanBytes+cursorMAC)
	b = append(b, cursorVersion)
	b = append(b, c.squad[:]...)
	b = appendHead(b, c.head)
	b = binary.BigEndian.AppendUint64(b, c.scope)
	b = binary.BigEndian.AppendUint16(b, c.schema)
	b = binary.BigEndian.AppendUint64(b, uint64(c.rev)) //nolint:gosec // never negative
	b = append(b, c.kind)
	b = binary.BigEndian.AppendUint64(b, uint64(c.within)) //nolint:gosec // never negative
	if c.spanned() {
		b = binary.BigEndian.AppendUint32(b, uint32(c.span.since)) //nolint:gosec // bits, not a number
		b = append(b, c.span.athlete[:]...)
		b = append(b, c.session[:]...)
		b = binary.BigEndian.AppendUint32(b, uint32(c.held)) //nolint:gosec // as above
	}
	return base64.RawURLEncoding.EncodeToString(append(b, s.cursorMAC(b, c.squad)...))
}

var errCursor = fail(
	Invalid,
	"the cursor is not one of ours: begin with a snapshot, and send cursors as they were given",
)

// readCursor reads a cursor that [Service.writeCursor] wrote; a tampered one is Invalid.
func (s *Service) readCursor(word string) (c cursor, err error) {
	b, err := base64.RawURLEncoding.Strict().DecodeString(word)
	if err == nil && len(b) == firstCursorBytes && b[0] == 1 {
		return c, beginAgain(GoneSchema, "the cursor is of a time when cursors did not say which history they are of")
	}
	size := len(b) - cursorMAC
	if err != nil || size != cursorBytes && size != cursorBytes+spanBytes || b[0] != cursorVersion {
		return c, errCursor
	}
	body, mac := b[:size], b[size:]
	copy(c.squad[:], body[1:])
	if !hmac.Equal(mac, s.cursorMAC(body, c.squad)) {
		return c, errCursor
	}
	c.head, body = readHeadBytes(body[17:]), body[17+8+headBytes:]
	c.scope = binary.BigEndian.Uint64(body)
	c.schema = binary.BigEndian.Uint16(body[8:])
	c.rev = int64(binary.BigEndian.Uint64(body[10:])) //nolint:gosec // as written
	c.kind = body[18]
	c.within = int64(binary.BigEndian.Uint64(body[19:])) //nolint:gosec // as written
	if body = body[27:]; len(body) > 0 {
		c.span.since = int32(binary.BigEndian.Uint32(body)) //nolint:gosec // as written
		copy(c.span.athlete[:], body[4:])
		copy(c.session[:], body[20:])
		c.held = int32(binary.BigEndian.Uint32(body[36:])) //nolint:gosec // as written
	}
	return c, nil
}
