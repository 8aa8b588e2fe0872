package advice

import "fmt"

// Error says why there is no advice: what is stored does not allow it when Conflict is set,
// else what was asked.
type Error struct {
	Conflict bool
	Detail   string
	cause    error
}

func (e *Error) Error() string { return e.Detail }

func (e *Error) Unwrap() error { return e.cause }

func conflict(format string, values ...any) error {
	return &Error{Conflict: true, Detail: fmt.Sprintf(format, values...)}
}
