package shot

import (
	"fmt"

	"github.com/google/uuid"
)

// names finds ids by the names in a log, looking up each name once. The zero value with what set
// accepts ids only.
type names struct {
	what   string // for the sentence of a fault
	byName func(name string) (uuid.UUID, error)
	found  map[string]lookup
}

type lookup struct {
	id  uuid.UUID
	err error
}

// find takes a text as an id, or else as a name. It never returns the nil UUID without an error.
func (n *names) find(text string) (uuid.UUID, error) {
	found, ok := n.found[text]
	if !ok {
		found.id, found.err = n.ask(text)
		if n.found == nil {
			n.found = map[string]lookup{}
		}
		n.found[text] = found
	}
	return found.id, found.err
}

func (n *names) ask(text string) (uuid.UUID, error) {
	id, err := parseID(text)
	if err == nil {
		return id, nil
	}
	if n.byName == nil {
		return uuid.Nil, fmt.Errorf("names are not known here: %w", err)
	}
	if id, err = n.byName(text); err == nil && id == uuid.Nil {
		err = fmt.Errorf("there is no %s %s: check the name, or write the id", n.what, quoted(text))
	}
	return id, err
}
