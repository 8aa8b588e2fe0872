package line

import (
	"errors"
	"fmt"
	"strings"

	"laneward/service/motion"
)

// Fault is one thing wrong with the request: where, as a JSON Pointer (RFC 6901) such as
// /pocket/board_low, and what to do about it.
type Fault struct {
	Pointer string
	Code    string
	Detail  string
}

// Faults is everything wrong with the request, as an error when there is any.
type Faults []Fault

func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		place := strings.ReplaceAll(strings.TrimPrefix(fault.Pointer, "/"), "/", ": ")
		lines[i] = strings.TrimSpace(place + " " + fault.Detail)
	}
	return strings.Join(lines, "\n")
}

func (f *Faults) add(wrong bool, pointer, format string, values ...any) {
	if wrong {
		*f = append(*f, Fault{Pointer: pointer, Code: "range", Detail: fmt.Sprintf(format, values...)})
	}
}

// take adds the faults that a validation of the part at a pointer found.
func (f *Faults) take(pointer string, err error) {
	var out *motion.RangeError
	switch joined, many := err.(interface{ Unwrap() []error }); {
	case err == nil:
	case many:
		for _, one := range joined.Unwrap() {
			f.take(pointer, one)
		}
	case errors.As(err, &out):
		f.add(true, pointer+"/"+out.Name, "%s", out.Detail())
	default:
		f.add(true, pointer, "%v", err)
	}
}

// err is nil when there is no fault.
func (f Faults) err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}
