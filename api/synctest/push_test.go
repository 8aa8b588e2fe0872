package synctest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"testing"
	"time"
)

// lines writes items as NDJSON.
func lines(t testing.TB, items []item) []byte {
	t.Helper()
	var body bytes.Buffer
	encoder := json.NewEncoder(&body)
	for _, one := range items {
		if err := encoder.Encode(one); err != nil {
			t.Fatal(err)
		}
	}
	return body.Bytes()
}

// newWire starts a server on a socket, and returns a coach with a squad ready for shots.
func newWire(t testing.TB) (*server, *person, base) {
	t.Helper()
	s := newServer(t, 8)
	coach := signUp(t, &client{http: http.DefaultClient, base: s.listen(t)}, "Coach")
	return s, coach, coach.newBase(t)
}

func TestPushOfManyPieces(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	const n = 4_500
	body := lines(t, b.shots(n, 1))
	for _, want := range []string{"stored", "same"} {
		next := 0
		_, err := coach.pushLines(t.Context(), b.squad, bytes.NewReader(body), func(o outcome) {
			if o.Index != next || o.Outcome != want {
				t.Errorf("outcome %d is %+v, want %s", next, o, want)
			}
			next++
		})
		if err != nil {
			t.Error(err)
		}
		if next != n {
			t.Errorf("%d outcomes, want %d", next, n)
		}
	}
}

// TestPushStreams sends a piece and keeps the body open: the piece is stored and answered without waiting for the rest, so that a long push
// over a slow line gets on, and takes no more memory than a piece.
func TestPushStreams(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	const pieces, piece = 3, 1_000
	answered := make(chan int, pieces*piece)
	body, send := io.Pipe()
	pushed := make(chan error, 1)
	go func() {
		_, err := coach.pushLines(ctx, b.squad, body, func(o outcome) { answered <- o.Index })
		pushed <- err
	}()
	for p := range pieces {
		if _, err := send.Write(lines(t, b.shots(piece, 1+p*piece))); err != nil {
			t.Fatal(err)
		}
		for i := range piece {
			select {
			case got := <-answered:
				if want := p*piece + i; got != want {
					t.Fatalf("outcome of item %d, want %d", got, want)
				}
			case <-ctx.Done():
				t.Fatalf("piece %d is not answered before the body ends", p)
			}
		}
	}
	if err := send.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-pushed; err != nil {
		t.Error(err)
	}
}
