package api

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"

	"laneward/service"
	"laneward/service/record"
	"laneward/service/shot"
)

// mediaTables is a push whose shots may come as tables.
const mediaTables = "application/vnd.laneward.tables+json"

// piece is what is stored in one go: some items, and why some of them, by their place, cannot be
// read. err is the answer once they are stored.
type piece struct {
	items  []service.PushItem
	unread map[int][]record.Fault
	last   bool
	err    error
}

func (p *piece) full() bool { return len(p.items) >= service.PushPiece }

// add reads an item. One that cannot be read is refused alone; nil is one that was too long.
func (p *piece) add(data []byte) {
	var item service.PushItem
	var faults []record.Fault
	if data == nil {
		faults = []record.Fault{{
			Code: "length",
			Detail: fmt.Sprintf(
				"the line is longer than %d bytes: send one item a line, with a shorter note or track",
				maxLine,
			),
		}}
	} else {
		item, faults = service.ReadPushItem(data)
	}
	p.put(item, faults)
}

func (p *piece) put(item service.PushItem, faults []record.Fault) {
	if len(faults) > 0 {
		if p.unread == nil {
			p.unread = make(map[int][]record.Fault)
		}
		p.unread[len(p.items)] = faults
	}
	p.items = append(p.items, item)
}

// pushItems are the items of a push that came as one JSON document: count of them, for a table has
// many.
type pushItems struct {
	entries []pushEntry
	count   int
	rest    *piece // of a table that did not fit into the piece before
}

type pushEntry struct {
	data  json.RawMessage
	table *shot.PushTable // in place of data
}

// next reads the next piece.
func (s *pushItems) next() *piece {
	one := s.rest
	s.rest = &piece{}
	for !one.full() && len(s.entries) > 0 {
		entry := s.entries[0]
		s.entries = s.entries[1:]
		if entry.table == nil {
			one.add(entry.data)
			continue
		}
		items, faults := service.ReadPushTable(entry.table)
		for i, item := range items {
			if one.full() {
				s.rest.put(item, faults[i])
			} else {
				one.put(item, faults[i])
			}
		}
	}
	one.last = len(s.entries) == 0 && len(s.rest.items) == 0
	return one
}

// errNotItems: a push is one object with one array.
var errNotItems = errors.New(`it is not an object with an array items, for example {"items":[]}`)

// readItems reads the items of a push, and no more than limit of them.
func readItems(decoder *json.Decoder, tables bool, limit int) (*pushItems, error) {
	items := &pushItems{rest: &piece{}}
	for _, want := range []json.Token{json.Delim('{'), "items", json.Delim('[')} {
		got, err := decoder.Token()
		if err != nil {
			return nil, err
		}
		if got != want {
			return nil, errNotItems
		}
	}
	for decoder.More() {
		var item json.RawMessage
		if err := decoder.Decode(&item); err != nil {
			return nil, err
		}
		if err := items.add(item, tables); err != nil {
			return nil, err
		}
		if items.count > limit {
			return nil, tooManyItems(limit)
		}
	}
	for _, want := range []json.Token{json.Delim(']'), json.Delim('}')} {
		got, err := decoder.Token()
		if err != nil {
			return nil, err
		}
		if got != want {
			return nil, errNotItems
		}
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("more follows after the push: send one JSON object, or NDJSON")
	}
	return items, nil
}

// add adds an item, or a table of many.
func (s *pushItems) add(item json.RawMessage, tables bool) error {
	entry, count := pushEntry{data: item}, 1
	if tables {
		table, err := shot.ReadPushTable(item)
		if err != nil {
			return fmt.Errorf("the table at /items/%d is not whole: %w", len(s.entries), err)
		}
		if table != nil {
			entry, count = pushEntry{table: table}, table.Count
		}
	}
	s.entries = append(s.entries, entry)
	s.count += count
	return nil
}

func tooManyItems(limit int) error {
	return &service.Error{
		Code:   service.TooLarge,
		Detail: fmt.Sprintf("a push has at most %d items: send it in parts", limit),
	}
}

// bodyError says why a body cannot be read. One that is too large has an error of its own.
func bodyError(err error) error {
	var known *service.Error
	var tooLarge *http.MaxBytesError
	var network net.Error
	switch {
	case errors.As(err, &known), errors.As(err, &tooLarge):
		return err
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.As(err, &network):
		return &service.Error{
			Code:   service.Invalid,
			Detail: "the push ends in the middle: nothing was stored; send it again",
		}
	}
	return &service.Error{Code: service.Invalid, Detail: "the push cannot be read: " + err.Error()}
}

// maxLine is the longest line of NDJSON: a film map fits.
const maxLine = 256 << 10

// lineSource reads the items of a push from lines.
type lineSource struct {
	reader *bufio.Reader
	read   int // lines
}

// next reads the next piece, and of a body that was cut off the whole lines.
func (s *lineSource) next() *piece {
	one := &piece{}
	for !one.full() && !one.last {
		line, tooLong, err := nextLine(s.reader)
		ended := errors.Is(err, io.EOF)
		cut := err != nil && !ended
		one.last = err != nil
		if (tooLong || len(line) > 0) && !cut { // the line at the cut may be half a line
			if s.read++; s.read > service.MaxPushItems {
				return &piece{last: true, err: tooManyItems(service.MaxPushItems)}
			}
			one.add(line)
		}
		if cut {
			one.err = cutError(err, s.read)
		}
	}
	return one
}

// cutError says that a push of lines was cut off after so many whole ones.
func cutError(err error, stored int) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return err
	}
	return &service.Error{
		Code: service.Invalid,
		Detail: fmt.Sprintf(
			"the push is cut off or damaged after %d whole lines, which are stored as far as they are valid: send it again, "+
				"nothing is stored twice",
			stored,
		),
	}
}

// nextLine reads a line without its end and the white space around it. One that is longer than
// maxLine is skipped; nil takes its place.
func nextLine(reader *bufio.Reader) (line []byte, tooLong bool, err error) {
	for {
		part, err := reader.ReadSlice('\n')
		switch {
		case tooLong || len(line)+len(part) > maxLine:
			line, tooLong = nil, true
		default:
			line = append(line, part...)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return bytes.TrimSpace(line), tooLong, err
		}
	}
}
