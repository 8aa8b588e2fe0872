package oil

import (
	"fmt"
	"strings"
)

// Fault is one thing wrong with a load table or a film: Row counts from 1 (a load, or a board of a
// film; 0 is the whole), Column is the field in the words of the file.
type Fault struct {
	Row    int    `json:"row"`
	Column string `json:"column"`
	Reason string `json:"reason"`
}

func (f Fault) String() string {
	if f.Row == 0 {
		return fmt.Sprintf("%s: %s", f.Column, f.Reason)
	}
	return fmt.Sprintf("row %d, %s: %s", f.Row, f.Column, f.Reason)
}

// Faults is every fault found, as one error; find it with errors.As.
type Faults []Fault

// Error lists all faults, one a line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = fault.String()
	}
	return strings.Join(lines, "\n")
}

func (f Faults) orNil() error {
	if len(f) == 0 {
		return nil
	}
	return f
}
