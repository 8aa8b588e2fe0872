package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"strconv"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/routers"
	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"laneward/service"
	"laneward/service/record"
)

// turn does something when it is a user's turn to have it done.
type turn func(ctx context.Context, user uuid.UUID, do func() error) error

// checkBody refuses a body that does not fit the contract, and puts it back with the contract's
// defaults filled in.
func checkBody(request *http.Request, route *routers.Route, large turn) error {
	wanted := route.Operation.RequestBody
	if wanted == nil || readByHandler(route) {
		return nil
	}
	data, err := io.ReadAll(request.Body)
	if err != nil {
		return unreadable(err)
	}
	if len(data) == 0 {
		if wanted.Value.Required {
			return unreadable(errNoBody)
		}
		return nil
	}
	if len(data) <= largeBody {
		return checkData(request, route, data)
	}
	ctx := request.Context()
	return large(ctx, userOf(ctx), func() error { return checkData(request, route, data) })
}

// largeBody is longer than a body of people's own is: one that takes a moment to be looked at.
const largeBody = 16 << 10

// checkData is [checkBody] for a body that has been read.
func checkData(request *http.Request, route *routers.Route, data []byte) error {
	wanted := route.Operation.RequestBody
	if values := countValues(data); values > maxValues {
		return &service.Error{
			Code:   service.TooLarge,
			Detail: fmt.Sprintf("the body has %d values, and no operation takes more than %d: send less", values, maxValues),
		}
	}
	value, err := readJSON(data)
	if err != nil {
		return unreadable(err)
	}
	media := wanted.Value.Content.Get(request.Header.Get(echo.HeaderContentType))
	check := bodyCheck{}
	check.visit(media.Schema.Value, value, nil)
	if len(check.faults) == 0 {
		check.faults = record.CheckJSON(data)
	}
	if len(check.faults) > 0 {
		return misfit(check.faults, check.more)
	}
	if check.filled {
		if data, err = json.Marshal(value); err != nil {
			return err
		}
	}
	request.Body, request.ContentLength = io.NopCloser(bytes.NewReader(data)), int64(len(data))
	return nil
}

var (
	errNoBody = errors.New("it is empty; send what the contract asks for")
	errMore   = errors.New("more follows after the object: send one JSON object")
)

// maxValues is more than any body needs. A value of two bytes takes a hundred in memory.
const maxValues = 100_000

// countValues counts the values of JSON, roughly and without reading them.
func countValues(data []byte) int {
	values, text := 1, false
	for i := 0; i < len(data); i++ {
		switch c := data[i]; {
		case c == '"':
			text = !text
		case c == '\\':
			i++
		case !text && (c == ',' || c == '[' || c == '{'):
			values++
		}
	}
	return values
}

// readJSON reads one JSON value, numbers as they are written.
func readJSON(data []byte) (value any, err error) {
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.UseNumber()
	if err := decoder.Decode(&value); err != nil {
		return nil, err
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, errMore
	}
	return value, nil
}

// unreadable says why a body cannot be read as JSON at all.
func unreadable(err error) error {
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return errTooLarge(tooLarge.Limit)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		err = errors.New("it ends in the middle; send it whole")
	}
	return &service.Error{
		Code:   service.Invalid,
		Detail: "the body cannot be read: " + err.Error(),
		Faults: []record.Fault{{Code: "format", Detail: "the body cannot be read: " + err.Error()}},
	}
}

// bodyCheck compares a body with its schema. The validator's own walk either ends at the first
// fault or looks at everything and keeps every fault; this one looks at sizes before it looks
// inside, keeps the first [record.MaxFaults] faults and counts the rest.
type bodyCheck struct {
	faults []record.Fault
	more   int
	filled bool // defaults were filled in
	looked int  // values looked at: what the work grows with
}

func (b *bodyCheck) add(fault record.Fault) {
	if len(b.faults) == record.MaxFaults {
		b.more++
		return
	}
	b.faults = append(b.faults, fault)
}

func (b *bodyCheck) visit(schema *openapi3.Schema, value any, path []string) {
	b.looked++
	composed := len(schema.AllOf)+len(schema.AnyOf)+len(schema.OneOf) > 0 || schema.Not != nil
	object, isObject := value.(map[string]any)
	list, isList := value.([]any)
	closed := schema.AdditionalProperties.Has != nil && !*schema.AdditionalProperties.Has
	switch {
	case isObject && closed && !composed:
		b.object(schema, object, path)
	case isList && schema.Type.Is(openapi3.TypeArray) && !schema.UniqueItems && !composed:
		b.list(schema, list, path)
	default:
		b.leaf(schema, value, path)
	}
}

// leaf leaves a value to the validator, which ends at the first fault.
func (b *bodyCheck) leaf(schema *openapi3.Schema, value any, path []string) {
	var fault *openapi3.SchemaError
	err := schema.VisitJSON(value, openapi3.VisitAsRequest(), openapi3.EnableFormatValidation())
	switch {
	case errors.As(err, &fault):
		found := schemaFault(fault)
		found.Pointer = pointer(path) + found.Pointer
		b.add(found)
	case err != nil:
		b.add(record.Fault{Pointer: pointer(path), Code: "format", Detail: err.Error()})
	case schema.Format == "uuid" && value == uuid.Nil.String():
		b.add(record.Fault{
			Pointer: pointer(path), Code: "format",
			Detail: "is the id of nothing: leave it out, or give a real one, for example " + exampleID,
		})
	}
}

func (b *bodyCheck) list(schema *openapi3.Schema, list []any, path []string) {
	size := uint64(len(list))
	field := ""
	switch {
	case schema.MaxItems != nil && size > *schema.MaxItems:
		field = "maxItems"
	case size < schema.MinItems:
		field = "minItems"
	}
	if field != "" {
		b.add(record.Fault{Pointer: pointer(path), Code: field, Detail: limitWords(field, schema)})
		return
	}
	if schema.Items == nil {
		return
	}
	for i, item := range list {
		b.visit(schema.Items.Value, item, append(path[:len(path):len(path)], strconv.Itoa(i)))
	}
}

func (b *bodyCheck) object(schema *openapi3.Schema, object map[string]any, path []string) {
	at := pointer(path)
	for _, name := range schema.Required {
		if _, ok := object[name]; !ok {
			b.add(record.Fault{Pointer: at + pointer([]string{name}), Code: "required", Detail: wordsMissing})
		}
	}
	for _, name := range slices.Sorted(maps.Keys(schema.Properties)) {
		property := schema.Properties[name].Value
		value, ok := object[name]
		switch {
		case ok:
			b.visit(property, value, append(path[:len(path):len(path)], name))
		case property.Default != nil:
			object[name], b.filled = property.Default, true
		}
	}
	b.unknown(schema, object, at)
}

// unknown adds the fields that the schema does not have.
func (b *bodyCheck) unknown(schema *openapi3.Schema, object map[string]any, at string) {
	var names []string
	for name := range object {
		if schema.Properties[name] == nil {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		b.add(record.Fault{Pointer: at + pointer([]string{name}), Code: "properties", Detail: wordsUnknown})
	}
}
