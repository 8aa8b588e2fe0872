package api

import (
	"fmt"
	"strings"

	"laneward/service/record"

	"github.com/getkin/kin-openapi/openapi3"
)

// schemaFault says in a person's words what does not fit a schema, and how to fix it. The
// validator's own wording speaks of regular expressions and schema files.
func schemaFault(err *openapi3.SchemaError) record.Fault {
	fault := record.Fault{Pointer: pointer(err.JSONPointer()), Code: err.SchemaField, Detail: err.Reason}
	schema := err.Schema
	if schema == nil {
		return fault
	}
	switch err.SchemaField {
	case "properties", "additionalProperties":
		if name, ok := named(err.Reason, "property %q is unsupported"); ok {
			fault.Pointer += pointer([]string{name})
			fault.Detail = wordsUnknown
		}
	case "required":
		if name, ok := named(err.Reason, "property %q is missing"); ok {
			if !strings.HasSuffix(fault.Pointer, pointer([]string{name})) {
				fault.Pointer += pointer([]string{name})
			}
			fault.Detail = wordsMissing
		}
	default:
		if words := limitWords(err.SchemaField, schema); words != "" {
			fault.Detail = words
		}
	}
	return fault
}

// named reads the field that the validator's reason names; it points at the object, and a person
// wants the field.
func named(reason, form string) (name string, ok bool) {
	_, err := fmt.Sscanf(reason, form, &name)
	return name, err == nil
}

// limitWords says which limit of the schema a value breaks, "" when there are no words for
// it.
func limitWords(field string, schema *openapi3.Schema) string {
	switch field {
	case "minLength":
		if schema.MinLength == 1 {
			return "is empty: write something"
		}
		return fmt.Sprintf("is too short: write at least %d characters", schema.MinLength)
	case "maxLength":
		return fmt.Sprintf("is too long: write at most %d characters", *schema.MaxLength)
	case "minItems":
		return fmt.Sprintf("has too few: give at least %d", schema.MinItems)
	case "maxItems":
		return fmt.Sprintf("has too many: give at most %d", *schema.MaxItems)
	case "minimum":
		return fmt.Sprintf("is too small: write %g or more", *schema.Min)
	case "maximum":
		return fmt.Sprintf("is too large: write %g or less", *schema.Max)
	case "enum":
		allowed := make([]string, len(schema.Enum))
		for i, value := range schema.Enum {
			allowed[i] = fmt.Sprint(value)
		}
		return "is not one of " + strings.Join(allowed, ", ")
	case "pattern":
		if schema.Description != "" {
			return "is not " + schema.Description
		}
	case "format":
		return formatWords[schema.Format]
	case "nullable":
		return "is null: leave it out, or give it a value"
	case "type":
		return typeWords(schema)
	}
	return ""
}

var formatWords = map[string]string{
	"date":      "is not a day: write YYYY-MM-DD, such as 2026-03-14",
	"date-time": "is not a time: write date, T, time of day and offset, such as 2026-03-14T18:05:00Z",
	"uuid":      wordsForID,
}

const (
	exampleID    = "0190b2c4-7d1e-7c3a-9f00-1a2b3c4d5e6f"
	wordsForID   = "is not an id: an id looks like " + exampleID
	wordsMissing = "is missing: give it"
	wordsUnknown = "is not a field here: check its spelling, or leave it out"
)

func typeWords(schema *openapi3.Schema) string {
	switch {
	case schema.Type.Is(openapi3.TypeNumber):
		return "is not a number: write it without quotes, with a point, such as 10.5"
	case schema.Type.Is(openapi3.TypeInteger):
		return "is not a whole number: write it without quotes, such as 10"
	case schema.Type.Is(openapi3.TypeString):
		return "is not text: write it in quotes"
	case schema.Type.Is(openapi3.TypeArray):
		return "is not a list: write it in square brackets"
	case schema.Type.Is(openapi3.TypeObject):
		return "is not an object: write it in braces"
	case schema.Type.Is(openapi3.TypeBoolean):
		return "is neither true nor false"
	}
	return ""
}
