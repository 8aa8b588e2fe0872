package client

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"
)

// mediaTables is a push whose shots may come as tables.
const mediaTables = "application/vnd.laneward.tables+json"

// The limits of the contract's PushTable, and how many shots are worth one.
const (
	maxTableShots   = 1_000
	maxTableColumns = 64
	maxAlikeBytes   = 1_024
	fewestFolded    = 3
)

// writeTables writes changes as the contract's PushTables: shots that follow one another as tables.
func writeTables(changes []Change) ([]byte, error) {
	body := []byte(`{"items":[`)
	add := func(item []byte) {
		if body[len(body)-1] != '[' {
			body = append(body, ',')
		}
		body = append(body, item...)
	}
	for len(changes) > 0 {
		shots := foldable(changes[:min(maxTableShots, len(changes))])
		if len(shots) >= fewestFolded {
			add(fold(shots))
			changes = changes[len(shots):]
			continue
		}
		one, err := json.Marshal(changes[0])
		if err != nil {
			return nil, fmt.Errorf("write %s %s: %w", changes[0].Kind, changes[0].ID, err)
		}
		add(one)
		changes = changes[1:]
	}
	return append(body, ']', '}'), nil
}

// folded is a shot on its way into a table.
type folded struct {
	id            uuid.UUID
	order, micros int64
	cells         map[string]json.RawMessage // and the item's version and schema
}

// foldable are the first changes, as far as they can be rows of one table. What is out of the
// ordinary goes as an item of its own, as it is.
func foldable(changes []Change) []folded {
	var rows []folded
	columns := make(map[string]bool)
	for _, change := range changes {
		row, ok := foldOne(change)
		if !ok {
			break
		}
		for name := range row.cells {
			columns[name] = true
		}
		if len(columns)+5 > maxTableColumns { // with count, id, order, time and all
			break
		}
		rows = append(rows, row)
	}
	return rows
}

func foldOne(change Change) (row folded, ok bool) {
	if change.Kind != Shot || change.Deleted || change.ID == uuid.Nil || len(change.Record) == 0 {
		return row, false
	}
	var text bytes.Buffer
	if json.Compact(&text, change.Record) != nil || json.Unmarshal(text.Bytes(), &row.cells) != nil {
		return row, false
	}
	row.id = change.ID
	if own, given := row.cells["id"]; given && string(own) != strconv.Quote(change.ID.String()) {
		return row, false
	}
	for _, name := range []string{"rev", "version", "schema", "count", "all"} { // which a table has otherwise
		if _, given := row.cells[name]; given {
			return row, false
		}
	}
	var at time.Time
	order, err := strconv.ParseInt(string(row.cells["order"]), 10, 32)
	if err != nil || json.Unmarshal(row.cells["time"], &at) != nil || at.IsZero() {
		return row, false
	}
	row.order, row.micros = order, at.UnixMicro()
	maps.DeleteFunc(row.cells, func(name string, value json.RawMessage) bool {
		return name == "id" || name == "order" || name == "time" || string(value) == "null"
	})
	if change.Version != "" {
		row.cells["version"] = quoted(change.Version)
	}
	if change.Schema != 0 {
		row.cells["schema"] = strconv.AppendInt(nil, int64(change.Schema), 10)
	}
	return row, true
}

func quoted(text string) []byte {
	written, _ := json.Marshal(text) //nolint:errchkjson // any text can be written
	return written
}

// fold writes shots as the contract's PushTableItem.
func fold(rows []folded) []byte {
	ids := make([]byte, 0, 16*len(rows))
	for at := range 16 {
		for i := range rows {
			ids = append(ids, rows[i].id[at])
		}
	}
	b := strconv.AppendInt([]byte(`{"kind":"shot","table":{"count":`), int64(len(rows)), 10)
	b = append(base64.StdEncoding.AppendEncode(append(b, `,"id":"`...), ids), '"')
	b = appendDifferences(append(b, `,"order":`...), rows, func(r *folded) int64 { return r.order })
	b = appendDifferences(append(b, `,"time":`...), rows, func(r *folded) int64 { return r.micros })
	names := make(map[string]bool)
	for _, row := range rows {
		for name := range row.cells {
			names[name] = true
		}
	}
	alike := []byte{'{'}
	for _, name := range slices.Sorted(maps.Keys(names)) {
		member := append(quoted(name), ':')
		if value := sameInAll(rows, name); value != nil && len(alike)+len(member)+len(value) < maxAlikeBytes-1 {
			alike = append(append(append(alike, member...), value...), ',')
			continue
		}
		b = append(append(append(b, ','), member...), '[')
		for i := range rows {
			value := rows[i].cells[name]
			if value == nil {
				value = []byte("null")
			}
			b = append(append(b, value...), ',')
		}
		b[len(b)-1] = ']'
	}
	if len(alike) > 1 {
		alike[len(alike)-1] = '}'
		b = append(append(b, `,"all":`...), alike...)
	}
	return append(b, '}', '}')
}

// sameInAll is the value of a shot's member that is the same in all rows, nil when it is not.
func sameInAll(rows []folded, name string) json.RawMessage {
	first := rows[0].cells[name]
	if name == "version" || name == "schema" { // are the items', not the shots'
		return nil
	}
	for i := range rows {
		if !bytes.Equal(rows[i].cells[name], first) {
			return nil
		}
	}
	return first
}

// appendDifferences appends an array of the first value, and then each one's difference to the one
// before.
func appendDifferences(b []byte, rows []folded, value func(*folded) int64) []byte {
	b = append(b, '[')
	before := int64(0)
	for i := range rows {
		now := value(&rows[i])
		b = append(strconv.AppendInt(b, now-before, 10), ',')
		before = now
	}
	b[len(b)-1] = ']'
	return b
}
