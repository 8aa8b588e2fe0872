package drill

import (
	"time"

	"github.com/google/uuid"
)

// Span is when an athlete was asked to throw a drill: from the first day of an assignment to the
// last day due. The days are midnights in UTC.
type Span struct {
	From time.Time
	To   *time.Time // nil when an assignment has no such day
}

// Join returns the span of all the assignments before and one more; before is nil for none.
func Join(before *Span, from time.Time, to *time.Time) *Span {
	if before == nil {
		return &Span{From: from, To: to}
	}
	joined := *before
	if from.Before(joined.From) {
		joined.From = from
	}
	if joined.To != nil && (to == nil || to.After(*joined.To)) {
		joined.To = to
	}
	return &joined
}

// Counts reports whether a shot of a session on a day counts for a drill that an athlete was asked
// to throw in span, nil for never: in it the shots that name the drill or none, without it those
// that name the drill. thrownFor is the drill the shot names, nil for none.
func Counts(drill uuid.UUID, span *Span, thrownFor *uuid.UUID, day time.Time) bool {
	switch {
	case thrownFor != nil && *thrownFor != drill:
		return false
	case span == nil:
		return thrownFor != nil
	}
	return !day.Before(span.From) && (span.To == nil || !day.After(*span.To))
}
