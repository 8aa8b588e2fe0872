package client

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"

	"github.com/google/uuid"
)

// asTables asks for pages with shots as tables: packed, half the size.
func asTables(_ context.Context, request *http.Request) error {
	request.Header.Set("Accept", "application/json;shots=table")
	return nil
}

// unfold puts the shots of tables in the tables' places.
func unfold(items []Item) ([]Item, error) {
	all := make([]Item, 0, len(items))
	for _, item := range items {
		if item.Table == nil {
			all = append(all, item)
			continue
		}
		var t shotTable
		err := json.Unmarshal(item.Table, &t)
		if err == nil {
			all, err = t.append(all)
		}
		if err != nil {
			return nil, fail(
				NotOurs,
				"a table of shots cannot be read (%s): it was damaged on the way, or the server is of another version",
				err,
			)
		}
	}
	return all, nil
}

// shotTable is the contract's ShotTable.
type shotTable struct {
	count      int
	ids        []byte
	rev, order []int64
	columns    map[string][]json.RawMessage // all others, a value or null a shot
}

func (t *shotTable) UnmarshalJSON(text []byte) error {
	var columns map[string]json.RawMessage
	if err := json.Unmarshal(text, &columns); err != nil {
		return err
	}
	t.columns = make(map[string][]json.RawMessage, len(columns))
	for name, text := range columns {
		var err error
		switch name {
		case "count":
			err = json.Unmarshal(text, &t.count)
		case "id":
			err = json.Unmarshal(text, &t.ids)
		case "rev":
			t.rev, err = readDifferences(text)
		case "order":
			t.order, err = readDifferences(text)
		default:
			var values []json.RawMessage
			err = json.Unmarshal(text, &values)
			t.columns[name] = values
		}
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	for name, values := range t.columns {
		if len(values) != t.count {
			return fmt.Errorf("%s has %d values for %d shots", name, len(values), t.count)
		}
	}
	if len(t.ids) != 16*t.count || len(t.rev) != t.count || len(t.order) != t.count {
		return fmt.Errorf("the ids, revisions and orders are not those of %d shots", t.count)
	}
	return nil
}

// readDifferences reads whole numbers written as the first and then each one's difference to the
// one before.
func readDifferences(text []byte) ([]int64, error) {
	var numbers []int64
	if err := json.Unmarshal(text, &numbers); err != nil {
		return nil, err
	}
	for i := 1; i < len(numbers); i++ {
		numbers[i] += numbers[i-1]
	}
	return numbers, nil
}

func (t *shotTable) append(items []Item) ([]Item, error) {
	names := slices.Sorted(maps.Keys(t.columns))
	members := make([][]byte, len(names))
	for i, name := range names {
		text, err := json.Marshal(name)
		if err != nil {
			return nil, err
		}
		members[i] = append(append([]byte{','}, text...), ':')
	}
	for i := range t.count {
		id, err := uuid.FromBytes(t.ids[16*i : 16*i+16])
		if err != nil {
			return nil, err
		}
		record := append(append([]byte(`{"id":"`), id.String()...), '"')
		for column, name := range names {
			if value := t.columns[name][i]; !bytes.Equal(value, []byte("null")) {
				record = append(append(record, members[column]...), value...)
			}
		}
		record = strconv.AppendInt(append(record, `,"order":`...), t.order[i], 10)
		record = strconv.AppendInt(append(record, `,"rev":`...), t.rev[i], 10)
		items = append(items, Item{Kind: Shot, ID: id, Rev: t.rev[i], Record: append(record, '}')})
	}
	return items, nil
}
