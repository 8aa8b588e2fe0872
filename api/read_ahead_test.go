package api

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
)

// count reads the number after another, up to 4.
func count(_ context.Context, n int) (int, error) { return n + 1, nil }

func below4(n int) bool { return n < 4 }

func TestReadAhead(t *testing.T) {
	t.Parallel()
	errThird := errors.New("the third cannot be read")
	for name, tc := range map[string]struct {
		first int
		next  func(context.Context, int) (int, error)
		stop  int // after so many
		want  string
	}{
		"all in order": {1, count, 9, "1 2 3 4"},
		"only one":     {4, count, 9, "4"},
		"left early":   {1, count, 2, "1 2"},
		"one that fails": {1, func(_ context.Context, n int) (int, error) {
			if n == 2 {
				return 0, errThird
			}
			return n + 1, nil
		}, 9, "1 2 the third cannot be read"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var got []string
			for n, err := range readAhead(t.Context(), tc.first, below4, tc.next) {
				if err != nil {
					got = append(got, err.Error())
				} else {
					got = append(got, fmt.Sprint(n))
				}
				if len(got) == tc.stop {
					break
				}
			}
			if strings.Join(got, " ") != tc.want {
				t.Errorf("got %s, want %s", got, tc.want)
			}
		})
	}
}

// The next page is on its way while one is dealt with, and is given up when nobody wants it any
// more.
func TestReadAheadReadsAheadAndEnds(t *testing.T) {
	t.Parallel()
	begun, ended := make(chan struct{}), make(chan error, 1)
	for n := range readAhead(t.Context(), 1, below4, func(ctx context.Context, _ int) (int, error) {
		close(begun)
		<-ctx.Done()
		ended <- ctx.Err()
		return 0, ctx.Err()
	}) {
		if n != 1 {
			t.Fatalf("the first page is %d", n)
		}
		<-begun
		break
	}
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("the reading ended with %v", err)
	}
}

func TestReadAheadPassesAPanicOn(t *testing.T) {
	t.Parallel()
	defer func() {
		if what := fmt.Sprint(
			recover(),
		); !strings.HasPrefix(what, "boom") ||
			!strings.Contains(what, "read_ahead_test.go") {
			t.Errorf("panics with %s", what)
		}
	}()
	for range readAhead(t.Context(), 1, below4, func(context.Context, int) (int, error) { panic("boom") }) {
		continue
	}
}
