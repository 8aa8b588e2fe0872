package service

import (
	"strings"
	"testing"

	"github.com/google/uuid"
)

func TestPlaces(t *testing.T) {
	p := newPlaces("downloads", 4, 2)
	take := func(user uuid.UUID) func() {
		t.Helper()
		done, err := p.take(user)
		if err != nil {
			t.Fatal(err)
		}
		return done
	}
	full := func(user uuid.UUID, says string) {
		t.Helper()
		_, err := p.take(user)
		if known := wantCode(t, err, Unavailable); !strings.Contains(known.Detail, says) || known.RetryAfter == 0 {
			t.Errorf("%q after %s, want %q", known.Detail, known.RetryAfter, says)
		}
	}
	a, b, c := newID(), newID(), newID()
	first := take(a)
	take(a)
	full(a, "you have 2 downloads open")
	second := take(b)
	take(c)
	full(b, "the server has as many downloads open")
	first()
	first() // counts once
	take(b)
	full(c, "the server")
	second()
	take(a)
	full(a, "you have")
}
