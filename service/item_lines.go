package service

import (
	"laneward/service/record"
	"laneward/service/shot"
)

// AppendItems appends items as JSON, each with the byte end after it. With tables, shots that stand
// one after the other share an item of kind shot with a `table` ([shot.AppendTable]) in place of a
// record.
func AppendItems(b []byte, items []Item, tables bool, end byte) ([]byte, error) {
	for len(items) > 0 {
		run := 0
		if tables {
			run = shotRun(items)
		}
		if run > 1 {
			b = append(appendShotTable(b, items[:run]), end)
			items = items[run:]
			continue
		}
		var err error
		if b, err = items[0].AppendJSON(b); err != nil {
			return b, err
		}
		b = append(b, end)
		items = items[1:]
	}
	return b, nil
}

// shotRun is how many items from the first on are shots that exist.
func shotRun(items []Item) int {
	for i := range items {
		if _, ok := items[i].Record.(*record.Shot); !ok || items[i].Deleted || items[i].Scope != "" {
			return i
		}
	}
	return len(items)
}

func appendShotTable(b []byte, items []Item) []byte {
	shots, revs := make([]*shot.Shot, len(items)), make([]int64, len(items))
	for i := range items {
		shots[i], revs[i] = &items[i].Record.(*record.Shot).Shot, items[i].Rev
	}
	return append(shot.AppendTable(append(b, `{"kind":"shot","table":`...), shots, revs), '}')
}
