package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html/template"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"

	"laneward/api/problem"
)

// docs is the contract as a page shows it.
type docs struct {
	Version string
	Intro   template.HTML
	Groups  []docGroup
	Schemas []docSchema
}

// docGroup is a tag with its operations.
type docGroup struct {
	Name       string
	Text       template.HTML
	Operations []docOperation
}

// docOperation is one operation of the contract.
type docOperation struct {
	ID, Method, Path, Summary string
	Text                      template.HTML
	Public                    bool // needs no token
	Parameters                []docField
	Bodies, Answers, Failures []docAnswer
	Example                   string // of a request, for a shell
}

// docAnswer is a body in one media type, or a status with what comes with it.
type docAnswer struct {
	Status string
	Text   template.HTML
	Media  string
	Schema docType
	Code   string // the type of problem, which /problems explains
}

// docType is the name of a type, and of the schema that describes it, if one does.
type docType struct{ Name, Schema string }

// docField is a parameter or a field of a schema.
type docField struct {
	Name, In string
	Type     docType
	Required bool
	Text     template.HTML
	Limits   string
}

// docSchema is a named schema.
type docSchema struct {
	Name   string
	Text   template.HTML
	Type   docType
	Fields []docField
}

// newDocs reads the contract for its page.
func newDocs(contract []byte) (*docs, error) {
	document, err := openapi3.NewLoader().LoadFromData(contract)
	if err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	d := &docs{Version: document.Info.Version, Intro: prose(document.Info.Description)}
	operations := make(map[string][]docOperation)
	for _, path := range document.Paths.InMatchingOrder() {
		item := document.Paths.Value(path)
		for _, method := range slices.Sorted(maps.Keys(item.Operations())) {
			operation := item.Operations()[method]
			operations[operation.Tags[0]] = append(
				operations[operation.Tags[0]],
				docOperationOf(method, path, item, operation),
			)
		}
	}
	for _, tag := range document.Tags {
		group := docGroup{Name: tag.Name, Text: prose(tag.Description), Operations: operations[tag.Name]}
		slices.SortStableFunc(group.Operations, func(a, b docOperation) int { return strings.Compare(a.Path, b.Path) })
		d.Groups = append(d.Groups, group)
	}
	for _, name := range slices.Sorted(maps.Keys(document.Components.Schemas)) {
		schema := document.Components.Schemas[name].Value
		d.Schemas = append(d.Schemas, docSchema{
			Name:   name,
			Text:   prose(schema.Description),
			Type:   typeOf(&openapi3.SchemaRef{Value: schema}),
			Fields: fieldsOf(schema),
		})
	}
	return d, nil
}

func docOperationOf(method, path string, item *openapi3.PathItem, o *openapi3.Operation) docOperation {
	doc := docOperation{
		ID:      o.OperationID,
		Method:  method,
		Path:    path,
		Summary: o.Summary,
		Text:    prose(o.Description),
		Public:  o.Security != nil && len(*o.Security) == 0,
	}
	for _, parameter := range slices.Concat(item.Parameters, o.Parameters) {
		p := parameter.Value
		doc.Parameters = append(doc.Parameters, docField{
			Name: p.Name, In: p.In, Type: typeOf(p.Schema), Required: p.Required,
			Text: prose(p.Description), Limits: limitsOf(p.Schema.Value),
		})
	}
	if o.RequestBody != nil {
		doc.Bodies = contentsOf("", "", o.RequestBody.Value.Content)
	}
	for _, status := range slices.Sorted(maps.Keys(o.Responses.Map())) {
		response := o.Responses.Value(status).Value
		answers := contentsOf(status, *response.Description, response.Content)
		if status < "400" {
			doc.Answers = append(doc.Answers, answers...)
			continue
		}
		for _, answer := range answers {
			answer.Code = codeOfStatus(status)
			doc.Failures = append(doc.Failures, answer)
		}
	}
	doc.Example = exampleOf(doc, o)
	return doc
}

// contentsOf describes what comes in each media type; one entry when nothing does.
func contentsOf(status, text string, content openapi3.Content) (found []docAnswer) {
	for _, media := range slices.Sorted(maps.Keys(content)) {
		found = append(found, docAnswer{
			Status: status, Text: prose(text), Media: media, Schema: typeOf(content[media].Schema),
		})
	}
	if len(found) == 0 {
		found = []docAnswer{{Status: status, Text: prose(text)}}
	}
	return found
}

// codeOfStatus is the type of problem that a status comes with.
func codeOfStatus(status string) string {
	for _, p := range problem.Kinds() {
		if strconv.Itoa(p.Status) == status {
			return string(p.Code)
		}
	}
	return ""
}

func typeOf(ref *openapi3.SchemaRef) docType {
	if ref == nil || ref.Value == nil {
		return docType{Name: "anything"}
	}
	if name, ok := strings.CutPrefix(ref.Ref, "#/components/schemas/"); ok {
		return docType{Name: name, Schema: name}
	}
	s := ref.Value
	switch {
	case s.Type == nil && len(s.OneOf)+len(s.AnyOf) > 0:
		return typeOf(slices.Concat(s.OneOf, s.AnyOf)[0])
	case s.Type == nil && len(s.AllOf) > 0:
		return typeOf(s.AllOf[0])
	case s.Type == nil:
		return docType{Name: "anything"}
	case s.Type.Includes("array"):
		of := typeOf(s.Items)
		return docType{Name: "list of " + of.Name, Schema: of.Schema}
	}
	name := strings.Join(s.Type.Slice(), " or ")
	if s.Format != "" && s.Format != "double" && s.Format != "int64" && s.Format != "int32" {
		name += ", " + s.Format
	}
	return docType{Name: name}
}

func fieldsOf(s *openapi3.Schema) (fields []docField) {
	for _, part := range s.AllOf {
		fields = append(fields, fieldsOf(part.Value)...)
	}
	for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
		property := s.Properties[name]
		fields = append(fields, docField{
			Name: name, Type: typeOf(property), Required: slices.Contains(s.Required, name),
			Text: prose(property.Value.Description), Limits: limitsOf(property.Value),
		})
	}
	return fields
}

// limitsOf says in words what a value may be.
func limitsOf(s *openapi3.Schema) string {
	var limits []string
	add := func(format string, values ...any) { limits = append(limits, fmt.Sprintf(format, values...)) }
	if len(s.Enum) > 0 {
		words := make([]string, len(s.Enum))
		for i, value := range s.Enum {
			words[i] = fmt.Sprint(value)
		}
		add("one of %s", strings.Join(words, ", "))
	}
	if s.Min != nil {
		add("at least %v", *s.Min)
	}
	if s.Max != nil {
		add("at most %v", *s.Max)
	}
	if s.MinLength > 0 {
		add("at least %d characters", s.MinLength)
	}
	if s.MaxLength != nil {
		add("at most %d characters", *s.MaxLength)
	}
	if s.MaxItems != nil {
		add("at most %d items", *s.MaxItems)
	}
	if s.Default != nil {
		add("%v when absent", s.Default)
	}
	return strings.Join(limits, "; ")
}

// exampleOf is a request that fits the contract, for a shell; its ids are variables.
func exampleOf(doc docOperation, o *openapi3.Operation) string {
	place := strings.NewReplacer("{", "$", "}", "").Replace(doc.Path)
	place = regexp.MustCompile(`\$\w+`).ReplaceAllStringFunc(place, strings.ToUpper)
	parts := []string{`curl "$BASE` + place + `"`}
	if doc.Method != http.MethodGet && (doc.Method != http.MethodPost || o.RequestBody == nil) {
		parts[0] = "curl -X " + doc.Method + ` "$BASE` + place + `"`
	}
	if !doc.Public {
		parts = append(parts, `-H "Authorization: Bearer $TOKEN"`)
	}
	for _, p := range doc.Parameters {
		if p.Name == "If-Match" {
			parts = append(parts, `-H "If-Match: $ETAG"`)
		}
	}
	if o.RequestBody != nil {
		content := o.RequestBody.Value.Content
		if log := content["text/csv"]; log != nil {
			parts = append(parts, `-H "Content-Type: text/csv"`, "--data-binary @log.csv")
		} else if media := content["application/json"]; media != nil {
			parts = append(parts, `-H "Content-Type: application/json"`, "-d '"+exampleJSON(media)+"'")
		}
	}
	return strings.Join(parts, " \\\n  ")
}

// exampleJSON is the body that the contract gives as an example, or the smallest that fits it.
func exampleJSON(media *openapi3.MediaType) string {
	value := media.Example
	if value == nil {
		value = exampleValue(media.Schema.Value)
	}
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(value); err != nil {
		return "{}" // what was read as JSON can be written as JSON
	}
	return strings.TrimSpace(text.String())
}

func exampleValue(s *openapi3.Schema) any {
	switch {
	case s.Example != nil:
		return s.Example
	case len(s.Enum) > 0:
		return s.Enum[0]
	case s.Type == nil && len(s.OneOf)+len(s.AnyOf) > 0:
		return exampleValue(slices.Concat(s.OneOf, s.AnyOf)[0].Value)
	case s.Type.Includes("array"):
		return []any{exampleValue(s.Items.Value)}
	case s.Type.Includes("object") || len(s.AllOf) > 0:
		value := make(map[string]any)
		for _, part := range s.AllOf {
			if fields, ok := exampleValue(part.Value).(map[string]any); ok {
				maps.Copy(value, fields)
			}
		}
		for _, name := range s.Required {
			if property := s.Properties[name]; property != nil && !property.Value.ReadOnly {
				value[name] = exampleValue(property.Value)
			}
		}
		return value
	case s.Type.Includes("string"):
		return exampleText(s)
	case s.Type.Includes("boolean"):
		return true
	case s.Min != nil:
		return *s.Min
	}
	return 1
}

func exampleText(s *openapi3.Schema) string {
	switch s.Format {
	case "uuid":
		return "0193a1b2-7c00-7000-8000-000000000001"
	case "date":
		return "2026-11-29"
	case "date-time":
		return "2026-11-29T18:05:00+01:00"
	}
	return strings.Repeat("example ", int(s.MinLength)/8) + "example" //nolint:gosec // a length of some characters
}

var (
	codeWord   = regexp.MustCompile("`([^`]+)`")
	strongWord = regexp.MustCompile(`\*\*([^*]+)\*\*`)
)

// prose is a text of the contract as HTML: paragraphs, words of code and strong words.
func prose(text string) template.HTML {
	var b strings.Builder
	for paragraph := range strings.SplitSeq(strings.TrimSpace(text), "\n\n") {
		if paragraph == "" {
			continue
		}
		paragraph = template.HTMLEscapeString(paragraph)
		paragraph = codeWord.ReplaceAllString(paragraph, "<code>$1</code>")
		b.WriteString("<p>" + strongWord.ReplaceAllString(paragraph, "<strong>$1</strong>") + "</p>")
	}
	return template.HTML(b.String()) //nolint:gosec // escaped above, but for the words marked there
}

// docTable is a table of parameters or fields with its name.
type docTable struct {
	Label  string
	Fields []docField
}

func docFields(label string, fields []docField) docTable { return docTable{label, fields} }

func docsPage(v *visit) error {
	return v.show(http.StatusOK, "docs", frame{Title: "The API", Page: v.site.docs})
}
