package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	"laneward/api/problem"
	"laneward/service"
	"laneward/service/record"
)

// form is a form as it is shown: empty, or with what was sent and its faults.
type form struct {
	Action, Submit string
	Hidden         map[string]string
	Inputs         []*input
	User           string // whose password is asked for, so that a browser can fill it in
	Fault          string // what is wrong with the form as a whole
}

// input is one labelled field of a form.
type input struct {
	Name, Label, Hint  string
	Type               string // of an <input>; "area" for several lines; "text" when empty; ignored with Options
	Value, Fault       string
	Autocomplete, Mode string
	Min, Max, Step     string // for text: the shortest and longest in characters
	Required           bool
	Options            []option
	Folded             bool   // shown with other rarely used inputs, behind a summary
	Row                string // the row of a table it is in, to distinguish it from the others of its label
}

type option struct{ Value, Label string }

// Kind is the input's type.
func (in *input) Kind() string {
	if in.Type == "" {
		return "text"
	}
	return in.Type
}

// DescribedBy names the elements that explain the input, for a screen reader.
func (in *input) DescribedBy() string {
	var ids []string
	if in.Fault != "" {
		ids = append(ids, in.Name+"-fault")
	}
	if in.Hint != "" {
		ids = append(ids, in.Name+"-hint")
	}
	return strings.Join(ids, " ")
}

// Complaint is what is wrong with the input, as a sentence. A fault goes on from the label
// ("is required") unless it begins with a capital: then it is a sentence of its own.
func (in *input) Complaint() string {
	if first, _ := utf8.DecodeRuneInString(in.Fault); unicode.IsUpper(first) {
		return sentence(in.Fault)
	}
	return sentence(in.Label + " " + in.Fault)
}

// Faulty lists the inputs with something to fix.
func (f *form) Faulty() []*input {
	var list []*input
	for _, in := range f.Inputs {
		if in.Fault != "" {
			list = append(list, in)
		}
	}
	return list
}

func (f *form) faulty() bool { return f.Fault != "" || len(f.Faulty()) > 0 }

// asError returns the faults of a form that no page shows again, such as the query of a picture;
// nil when there are none.
func (f *form) asError() error {
	if !f.faulty() {
		return nil
	}
	detail := f.Fault
	for _, in := range f.Faulty() {
		detail = in.Complaint()
	}
	return &service.Error{Code: service.Invalid, Detail: detail}
}

func (f *form) input(name string) *input {
	for _, in := range f.Inputs {
		if in.Name == name {
			return in
		}
	}
	return nil
}

// In is the input of that name, for a page that places each by hand.
func (f *form) In(name string) (*input, error) {
	if in := f.input(name); in != nil {
		return in, nil
	}
	return nil, fmt.Errorf("the form has no input %q", name)
}

func (f *form) value(name string) string {
	if in := f.input(name); in != nil {
		return in.Value
	}
	return ""
}

// blame sets the fault of one input; the first one stays. Without such an input it is a fault of
// the form.
func (f *form) blame(name, detail string) {
	in := f.input(name)
	switch {
	case in == nil && f.Fault == "":
		f.Fault = detail
	case in != nil && in.Fault == "":
		in.Fault = detail
	}
}

// read takes over what was sent, and checks what the browser checks too: required, length, one of
// the options.
func (f *form) read(sent url.Values) {
	for _, in := range f.Inputs {
		in.Value = sent.Get(in.Name)
		if in.Type != "password" {
			in.Value = strings.TrimSpace(in.Value)
		}
		if !utf8.ValidString(in.Value) || strings.ContainsRune(in.Value, 0) {
			in.Value = strings.ReplaceAll(strings.ToValidUTF8(in.Value, "\uFFFD"), "\x00", "\uFFFD")
			in.Fault = "contains characters that are not text; type it again"
			continue
		}
		in.check()
	}
}

func (in *input) check() {
	length := utf8.RuneCountInString(in.Value)
	switch {
	case in.Value == "":
		if in.Required {
			in.Fault = "is required"
		}
	case len(in.Options) > 0:
		if !in.offered(in.Value) {
			in.Fault = "is not one of the choices; choose again"
		}
	case in.Type == "number" || in.Type == "date":
	case in.Min != "" && length < number(in.Min):
		in.Fault = fmt.Sprintf("has %d characters; use %s or more", length, in.Min)
	case in.Max != "" && length > number(in.Max):
		in.Fault = fmt.Sprintf("has %d characters; use %s or fewer", length, in.Max)
	}
}

func (in *input) offered(value string) bool {
	for _, o := range in.Options {
		if o.Value == value {
			return true
		}
	}
	return false
}

// number reads a limit of our own.
func number(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil {
		panic(fmt.Sprintf("web: limit %q: %v", text, err))
	}
	return n
}

// number reads a decimal; an empty one is nil.
func (f *form) number(name string) *float64 {
	text := f.value(name)
	if text == "" {
		return nil
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		f.blame(name, fmt.Sprintf("%q is not a number; write it with a point, such as 16.5", text))
		return nil
	}
	return &value
}

// whole reads a whole number; 0 when there is none.
func (f *form) whole(name string) int32 {
	text := f.value(name)
	value, err := strconv.ParseInt(text, 10, 32)
	if err != nil && text != "" {
		f.blame(name, fmt.Sprintf("%q is not a whole number", text))
	}
	return int32(value)
}

// day reads a day; an empty one is nil.
func (f *form) day(name string) *record.Day {
	text := f.value(name)
	if text == "" {
		return nil
	}
	day, err := record.ParseDay(text)
	if err != nil {
		f.blame(name, err.Error())
		return nil
	}
	return &day
}

// id reads a chosen id; nil when nothing was chosen.
func (f *form) id(name string) *uuid.UUID {
	text := f.value(name)
	if text == "" {
		return nil
	}
	id, err := uuid.Parse(text)
	if err != nil {
		f.blame(name, "is not one of the choices; choose again")
		return nil
	}
	return &id
}

// retry shows a form again with the service's faults. fields names inputs whose pointer differs
// from their name.
func (v *visit) retry(f *form, err error, show func(status int, f *form) error, fields ...string) error {
	known := service.AsError(err)
	switch known.Code {
	case service.Internal, service.Unavailable, service.NotFound, service.Gone:
		return err
	case service.Unauthenticated:
		if v.me != nil {
			return err
		}
	}
	renamed := make(map[string]string)
	for i := 0; i+1 < len(fields); i += 2 {
		renamed[fields[i]] = fields[i+1]
	}
	for _, fault := range known.Faults {
		name := strings.TrimPrefix(fault.Pointer, "/")
		if other, ok := renamed[name]; ok {
			name = other
		}
		detail := fault.Detail
		if f.input(name) == nil && name != "" {
			detail = name + " " + detail
		}
		f.blame(name, detail)
	}
	if !f.faulty() {
		f.Fault = known.Detail
		if known.RetryAfter > 0 {
			f.Fault += " (" + count(retrySeconds(known), "second") + ")"
		}
	}
	setRetryAfter(v.w, known)
	return show(problem.Of(known.Code).Status, f)
}

func setRetryAfter(w http.ResponseWriter, known *service.Error) {
	if known.RetryAfter > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(retrySeconds(known)))
	}
}

func retrySeconds(known *service.Error) int { return int(math.Ceil(known.RetryAfter.Seconds())) }
