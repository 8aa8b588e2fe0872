package db

import (
	"context"
	"encoding/json"
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
)

// shotColumn is one column of shots: its name, its type in Postgres, and its values in many shots.
type shotColumn struct {
	name, sqlType string
	values        func(shots []Shot) any
}

// shotColumns are the columns that a shot brings with it, in the order of [Shot], whose generated
// tags name them. The squad's, which comes first there, is not among them.
var shotColumns = func() []shotColumn {
	model := reflect.TypeFor[Shot]()
	var list []shotColumn
	for i := 1; i < model.NumField(); i++ {
		field := model.Field(i)
		column, known := shotTypes[field.Type]
		if !known {
			panic(fmt.Sprintf("db: the shot's %s has the unknown type %s", field.Name, field.Type))
		}
		list = append(list, shotColumn{field.Tag.Get("db"), column.sqlType, column.values(i)})
	}
	return list
}()

// shotTypes are the types that a shot's columns have.
var shotTypes = map[reflect.Type]struct {
	sqlType string
	values  func(field int) func(shots []Shot) any
}{
	reflect.TypeFor[uuid.UUID]():       {"uuid", valuesOf[uuid.UUID]},
	reflect.TypeFor[*uuid.UUID]():      {"uuid", valuesOf[*uuid.UUID]},
	reflect.TypeFor[int64]():           {"bigint", valuesOf[int64]},
	reflect.TypeFor[int32]():           {"integer", valuesOf[int32]},
	reflect.TypeFor[*int16]():          {"smallint", valuesOf[*int16]},
	reflect.TypeFor[*float64]():        {"float8", valuesOf[*float64]},
	reflect.TypeFor[time.Time]():       {"timestamptz", valuesOf[time.Time]},
	reflect.TypeFor[json.RawMessage](): {"jsonb", valuesOf[json.RawMessage]},
	reflect.TypeFor[[]byte]():          {"bytea", valuesOf[[]byte]},
	reflect.TypeFor[string]():          {"text", valuesOf[string]},
}

func valuesOf[T any](field int) func(shots []Shot) any {
	return func(shots []Shot) any {
		values := make([]T, len(shots))
		for i := range shots {
			values[i] = *fieldOf[T](&shots[i], field)
		}
		return values
	}
}

func fieldOf[T any](s *Shot, field int) *T {
	return reflect.ValueOf(s).Elem().Field(field).Addr().Interface().(*T)
}

// ShotColumn returns where a shot keeps a column's value. The column must exist with this type: it
// panics otherwise.
func ShotColumn[T any](name string) func(*Shot) *T {
	for field := range reflect.TypeFor[Shot]().Fields() {
		if field.Tag.Get("db") == name && field.Type == reflect.TypeFor[T]() {
			return func(s *Shot) *T { return fieldOf[T](s, field.Index[0]) }
		}
	}
	panic(fmt.Sprintf("db: shots have no column %s of type %s", name, reflect.TypeFor[T]()))
}

// putShots writes a whole set in one statement; a generated statement cannot express arrays with
// NULLs in them.
var putShots = func() string {
	var names, arrays, updated, excluded []string
	for i, column := range shotColumns {
		names = append(names, column.name)
		arrays = append(arrays, "$"+strconv.Itoa(i+2)+"::"+column.sqlType+"[]")
		if column.name != "id" {
			updated = append(updated, column.name)
			excluded = append(excluded, "excluded."+column.name)
		}
	}
	list := func(items []string) string { return strings.Join(items, ", ") }
	return "INSERT INTO shots (squad_id, " + list(names) + ") SELECT $1, * FROM unnest(" + list(arrays) + ")" +
		" ON CONFLICT (squad_id, id) DO UPDATE SET (" + list(updated) + ") = (" + list(excluded) + ")"
}()

// PutShots inserts or replaces shots of one squad by id, in sets of at most 5,000. Ids must be
// distinct.
func (t *Tx) PutShots(ctx context.Context, squad uuid.UUID, shots []Shot) error {
	const most = 5000
	for len(shots) > 0 {
		set := shots[:min(most, len(shots))]
		values := []any{squad}
		for _, column := range shotColumns {
			values = append(values, column.values(set))
		}
		if _, err := t.tx.Exec(ctx, putShots, values...); err != nil {
			return Translate(err)
		}
		shots = shots[len(set):]
	}
	return nil
}
