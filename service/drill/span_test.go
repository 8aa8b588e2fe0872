package drill

import (
	"testing"
	"time"

	"github.com/google/uuid"
)

func TestCounts(t *testing.T) {
	t.Parallel()
	day := func(n int) time.Time { return time.Date(2026, time.November, n, 0, 0, 0, 0, time.UTC) }
	until := func(n int) *time.Time { last := day(n); return &last }
	asked, other := uuid.New(), uuid.New()
	open := Join(nil, day(10), nil)
	due := Join(nil, day(10), until(20))
	cases := map[string]struct {
		span      *Span
		thrownFor *uuid.UUID
		day       int
		want      bool
	}{
		"on the first day":                  {due, nil, 10, true},
		"before it":                         {due, nil, 9, false},
		"before it, for the drill":          {due, &asked, 9, false},
		"on the last day":                   {due, &asked, 20, true},
		"after it":                          {due, nil, 21, false},
		"without a last day":                {open, nil, 30, true},
		"for another drill":                 {open, &other, 15, false},
		"not assigned, for the drill":       {nil, &asked, 1, true},
		"not assigned, for none":            {nil, nil, 1, false},
		"an earlier assignment joins":       {Join(due, day(5), until(7)), nil, 6, true},
		"and what lies between":             {Join(due, day(5), until(7)), nil, 8, true},
		"a later one ends later":            {Join(due, day(12), until(25)), nil, 24, true},
		"one without an end has none":       {Join(due, day(12), nil), nil, 30, true},
		"an end after an open one is moot":  {Join(open, day(12), until(25)), nil, 30, true},
		"the first day stays the earliest":  {Join(due, day(12), nil), nil, 10, true},
		"the last day stays the latest one": {Join(due, day(5), until(7)), nil, 20, true},
	}
	for name, c := range cases {
		if got := Counts(asked, c.span, c.thrownFor, day(c.day)); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}
