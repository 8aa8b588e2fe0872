package client

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
)

// Find returns the one record of a kind that a person means by an id or a name. Case is ignored
// unless two names differ in nothing else. The beginning of a name is enough when no other name
// begins with it, its first words before its first letters. A session can also be given by its day,
// or by its name and day. It fails with [NotFound], naming those there are, or with [Ambiguous],
// listing the ids to choose from.
func (c *Client) Find(ctx context.Context, squad uuid.UUID, kind Kind, text string) (Record, error) {
	if id, err := uuid.Parse(text); err == nil {
		return c.Get(ctx, squad, kind, id)
	}
	all, err := c.All(ctx, squad, kind)
	if err != nil {
		return Record{}, err
	}
	return Pick(all, kind, text)
}

// Pick is [Client.Find] among given records.
func Pick(all []Record, kind Kind, text string) (Record, error) {
	text = strings.Join(strings.Fields(text), " ")
	if id, err := uuid.Parse(text); err == nil {
		if at := slices.IndexFunc(all, func(r Record) bool { return r.ID == id }); at >= 0 {
			return all[at], nil
		}
	}
	for _, same := range []func(called, text string) bool{equal, strings.EqualFold, beginsWithWords, beginsWith} {
		var found []Record
		for _, record := range all {
			if slices.ContainsFunc(callings(record), func(called string) bool { return same(called, text) }) {
				found = append(found, record)
			}
		}
		switch {
		case len(found) == 1:
			return found[0], nil
		case len(found) > 1:
			return Record{}, ambiguous(kind, text, found)
		}
	}
	return Record{}, unknown(all, kind, text)
}

func equal(called, text string) bool { return called == text }

// beginsWithWords reports whether text is the first words of a name.
func beginsWithWords(called, text string) bool {
	return beginsWith(called, text) && called[len(text)] == ' '
}

// beginsWith reports whether text is the first letters of a longer name.
func beginsWith(called, text string) bool {
	return text != "" && len(called) > len(text) && strings.EqualFold(called[:len(text)], text)
}

type named struct {
	Name string `json:"name"`
	Date string `json:"date"`
}

func nameOf(record Record) named {
	var known named
	if err := json.Unmarshal(record.JSON, &known); err != nil {
		return named{} // it has no name to find it by
	}
	known.Name = strings.Join(strings.Fields(known.Name), " ")
	return known
}

// callings are the names a record can be found by.
func callings(record Record) []string {
	known := nameOf(record)
	if known.Date == "" {
		return []string{known.Name}
	}
	return []string{known.Name, known.Date, known.Name + " " + known.Date, known.Date + " " + known.Name}
}

func ambiguous(kind Kind, text string, found []Record) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%d %s match %q: use an id", len(found), kind.Plural(), text)
	for i, record := range found {
		if i == fewNames {
			fmt.Fprintf(&b, "\n  and %d more", len(found)-fewNames)
			break
		}
		known := nameOf(record)
		fmt.Fprintf(&b, "\n  %s  %s", record.ID, strings.TrimSpace(known.Name+"  "+known.Date))
	}
	return &Error{Code: Ambiguous, Detail: b.String()}
}

// fewNames is how many names are listed for a user who missed one.
const fewNames = 12

func unknown(all []Record, kind Kind, text string) error {
	if kind == Assignment {
		return fail(NotFound, "there is no assignment %q: an assignment is named by its id", text)
	}
	var names []string
	for _, record := range all {
		if name := nameOf(record).Name; !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	switch n := len(names); {
	case n == 0:
		return fail(NotFound, "there is no %s %q: there are none yet", kind, text)
	case n == 1:
		return fail(NotFound, "there is no %s %q; there is only %s", kind, text, names[0])
	case n > fewNames:
		return fail(
			NotFound,
			"there is no %s %q: there are %s and %d more",
			kind,
			text,
			strings.Join(names[:fewNames], ", "),
			n-fewNames,
		)
	default:
		return fail(
			NotFound,
			"there is no %s %q: there are %s and %s",
			kind,
			text,
			strings.Join(names[:n-1], ", "),
			names[n-1],
		)
	}
}
