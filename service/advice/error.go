package advice

import "fmt"

// Error says why there is no advice: because of what is stored when Conflict is set, else because
// of the request.
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
