package shot

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strconv"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"
)

// The limits of a table that is pushed: its shots, its columns, and the bytes of the members that
// all shots have alike, which are written out with every one.
const (
	MaxTableShots   = 1_000
	maxTableColumns = 64
	maxAlikeBytes   = 1_024
)

// PushTable is shots as a device pushes them, in columns: the contract's PushTable.
type PushTable struct {
	Count  int
	ids    []byte
	orders []int64
	times  []int64 // microseconds since 1970
	alike  []byte  // the members that all shots have alike, as an object
	cells  []cells
	// What belongs to the push's item and not to the shot.
	version, schema cells
}

// cells is a column: the array, and where its next value is.
type cells struct {
	name  string
	array []byte
	next  int
}

// ReadPushTable reads the table of a push's item, which is valid JSON: {"kind":"shot","table":{...}}.
// It is nil when the item has none. It fails when the table is not whole, with words for whoever
// sent it; what is wrong with a value shows in its row.
func ReadPushTable(item []byte) (*PushTable, error) {
	if item[0] != '{' {
		return nil, nil //nolint:nilnil // an item that is no table is not a failure
	}
	var table []byte
	var extra error
	kind := ""
	eachMember(item, func(key, value []byte) {
		switch {
		case string(key) == "kind":
			kind = string(value)
		case string(key) == "table" && table == nil:
			table = value
		default:
			extra = fmt.Errorf("it has %s beside kind and table: leave that out", quoted(string(key)))
		}
	})
	switch {
	case table == nil:
		return nil, nil //nolint:nilnil // as above
	case extra != nil:
		return nil, extra
	case kind != `"shot"`:
		return nil, errors.New(`its kind is not "shot": only shots come as tables`)
	}
	return readPushTable(table)
}

func readPushTable(text []byte) (*PushTable, error) {
	if text[0] != '{' {
		return nil, fmt.Errorf("it is %s: write an object of columns", kindOf(text))
	}
	t := &PushTable{}
	seen := make(map[string]bool)
	var failed error
	eachMember(text, func(key, value []byte) {
		name := string(key)
		switch {
		case failed != nil:
		case seen[name]:
			failed = fmt.Errorf("%s comes twice", quoted(name))
		case len(seen) == maxTableColumns:
			failed = fmt.Errorf("it has more than %d columns", maxTableColumns)
		default:
			seen[name] = true
			if err := t.read(name, value); err != nil {
				failed = fmt.Errorf("%s: %w", quoted(name), err)
			}
		}
	})
	if failed != nil {
		return nil, failed
	}
	return t, t.whole(seen)
}

func (t *PushTable) read(name string, value []byte) (err error) {
	switch name {
	case "count":
		t.Count, err = strconv.Atoi(string(value))
	case "id":
		err = json.Unmarshal(value, &t.ids)
	case "order":
		t.orders, err = sums(value)
	case "time":
		t.times, err = sums(value)
	case "all":
		switch {
		case value[0] != '{':
			return wrongKind(value, "an object of the members that all shots have alike")
		case len(value) > maxAlikeBytes:
			return fmt.Errorf("has more than %d bytes: give what is long in a column", maxAlikeBytes)
		}
		t.alike = value
	case "rev":
		return fmt.Errorf("is set by the server: give what a change is based on as version")
	case "version":
		t.version, err = cellsOf(name, value)
	case "schema":
		t.schema, err = cellsOf(name, value)
	default:
		var one cells
		one, err = cellsOf(name, value)
		t.cells = append(t.cells, one)
	}
	return err
}

func cellsOf(name string, value []byte) (cells, error) {
	if value[0] != '[' {
		return cells{}, wrongKind(value, "an array with a value a shot")
	}
	return cells{name: name, array: value, next: skipSpace(value, 1)}, nil
}

// sums reads whole numbers written as the first and then the differences.
func sums(value []byte) (numbers []int64, err error) {
	if err := json.Unmarshal(value, &numbers); err != nil || bytes.IndexByte(value, 'n') >= 0 {
		return nil, fmt.Errorf("is not an array of whole numbers")
	}
	for i := 1; i < len(numbers); i++ {
		numbers[i] += numbers[i-1]
	}
	return numbers, nil
}

// whole fails unless the table has as many values in each column as it has shots.
func (t *PushTable) whole(seen map[string]bool) error {
	for _, name := range []string{"count", "id", "order", "time"} {
		if !seen[name] {
			return fmt.Errorf("it has no %s", name)
		}
	}
	if t.Count < 1 || t.Count > MaxTableShots {
		return fmt.Errorf("a table has 1 to %d shots, and this says %d", MaxTableShots, t.Count)
	}
	type length struct {
		name   string
		values int
	}
	lengths := []length{{"id", len(t.ids) / 16}, {"order", len(t.orders)}, {"time", len(t.times)}}
	for _, one := range append(t.cells, t.version, t.schema) {
		if one.array != nil {
			values := 0
			eachElement(one.array, func([]byte) { values++ })
			lengths = append(lengths, length{one.name, values})
		}
	}
	for _, column := range lengths {
		if column.values != t.Count {
			return fmt.Errorf("%s has %d values for %d shots", quoted(column.name), column.values, t.Count)
		}
	}
	if len(t.ids)%16 != 0 {
		return fmt.Errorf(`"id" has a part of an id more than %d`, t.Count)
	}
	var twice error
	if t.alike != nil {
		eachMember(t.alike, func(key, _ []byte) {
			if seen[string(key)] {
				twice = fmt.Errorf(`%s is a column and in "all" too`, quoted(string(key)))
			}
		})
	}
	return twice
}

// take returns the column's next value, nil for null and where there is no such column.
func (c *cells) take() []byte {
	if c.array == nil {
		return nil
	}
	end := valueEnd(c.array, c.next)
	value := c.array[c.next:end]
	c.next = skipComma(c.array, end)
	if value[0] == 'n' {
		return nil
	}
	return value
}

// TableRow is a shot of a table. Version and Schema are its item's, as JSON; nil for none.
type TableRow struct {
	ID              uuid.UUID
	Version, Schema []byte
	// Read reports whether every value could be taken as it is: Shot is then what the row's JSON
	// means, not validated. Otherwise the JSON is to be read, which shows what is wrong.
	Read bool
	Shot Shot

	table  *PushTable
	at     int
	values [][]byte
}

// Rows yields the shots in their order, once.
func (t *PushTable) Rows() iter.Seq[*TableRow] {
	return func(yield func(*TableRow) bool) {
		in := newIntake(Options{}, jsonName)
		alike, alikeRead := in.readAlike(t.alike)
		readers := make([]cellReader, len(t.cells))
		for i := range t.cells {
			readers[i] = readerOf(t.cells[i].name)
		}
		row := TableRow{table: t, values: make([][]byte, len(t.cells))}
		for row.at = range t.Count {
			row.Version, row.Schema = t.version.take(), t.schema.take()
			for i := range 16 {
				row.ID[i] = t.ids[i*t.Count+row.at]
			}
			into := Row{Shot: alike}
			row.Read = alikeRead
			in.values = nil
			for i := range t.cells {
				row.values[i] = t.cells[i].take()
				if row.values[i] != nil {
					row.Read = row.Read && readers[i].read(in, &into, row.values[i])
				}
			}
			row.Shot = into.Shot
			row.Shot.ID, row.Shot.Order = row.ID, int(t.orders[row.at])
			row.Shot.Time = time.UnixMicro(t.times[row.at]).UTC()
			if !yield(&row) {
				return
			}
		}
	}
}

// cellReader reads values of one name. It has no member for what a shot does not have, or what the
// table has in another form.
type cellReader struct {
	member *member
	whole  bool // the values are whole numbers
}

func readerOf(name string) cellReader {
	switch name {
	case "id", "order", "time", "rev":
		return cellReader{}
	}
	place := findKey(shotKeys, []byte(name), 0)
	if place < 0 {
		return cellReader{}
	}
	whole := slices.ContainsFunc(measures, func(m Measure) bool { return m.Field == name && m.Whole != nil })
	return cellReader{&shotKeys[place], whole}
}

// read reads a value into a row, if it can be taken as it is: whatever needs a closer look is left
// to the one reader of a record's JSON, which has the words for what is wrong.
func (c cellReader) read(in *intake, row *Row, value []byte) bool {
	if c.member == nil || bytes.IndexByte(value, '\\') >= 0 || !utf8.Valid(value) ||
		c.whole && bytes.ContainsAny(value, ".eE") {
		return false
	}
	c.member.read(in, row, c.member.field, value)
	return len(row.Faults) == 0
}

// readAlike reads what all shots have alike, and reports whether it could be taken as it is.
func (in *intake) readAlike(object []byte) (alike Shot, read bool) {
	if object == nil {
		return alike, true
	}
	row, read := Row{}, true
	seen := make(map[string]bool)
	eachMember(object, func(key, value []byte) {
		name := string(key)
		reader := readerOf(name)
		read = read && !seen[name] && reader.member != nil && (value[0] == 'n' || reader.read(in, &row, value))
		seen[name] = true
	})
	return row.Shot, read
}

// AppendItem appends the row as an item of a push.
func (row *TableRow) AppendItem(b []byte) []byte {
	t := row.table
	b = appendID(append(b, `{"kind":"shot","id":`...), row.ID)
	if row.Version != nil {
		b = append(append(b, `,"version":`...), row.Version...)
	}
	if row.Schema != nil {
		b = append(append(b, `,"schema":`...), row.Schema...)
	}
	b = strconv.AppendInt(append(b, `,"record":{"order":`...), t.orders[row.at], 10)
	b = append(b, `,"time":"`...)
	b = append(time.UnixMicro(t.times[row.at]).UTC().AppendFormat(b, time.RFC3339Nano), '"')
	if inside := bytes.TrimSpace(t.alike[min(1, len(t.alike)):max(0, len(t.alike)-1)]); len(inside) > 0 {
		b = append(append(b, ','), inside...)
	}
	for i := range t.cells {
		if row.values[i] != nil {
			b = appendMarshalled(append(b, ','), t.cells[i].name)
			b = append(append(b, ':'), row.values[i]...)
		}
	}
	return append(b, '}', '}')
}
