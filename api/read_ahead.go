package api

import (
	"context"
	"fmt"
	"iter"
	"runtime/debug"
)

// readAhead yields a page and all that follow it. While one is being processed, the next is read.
// more reports whether a page is followed by another, and next reads that. It ends with the first
// error.
func readAhead[P any](
	ctx context.Context,
	page P,
	more func(P) bool,
	next func(context.Context, P) (P, error),
) iter.Seq2[P, error] {
	type reading struct {
		page     P
		err      error
		panicked any
	}
	return func(yield func(P, error) bool) {
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		for more(page) {
			ahead := make(chan reading, 1)
			go func(after P) {
				var r reading
				defer func() {
					if what := recover(); what != nil { // the request's own goroutine reports it
						r.panicked = fmt.Sprintf("%v\n%s", what, debug.Stack())
					}
					ahead <- r
				}()
				r.page, r.err = next(ctx, after)
			}(page)
			wanted := yield(page, nil)
			if !wanted {
				cancel()
			}
			r := <-ahead
			switch {
			case r.panicked != nil:
				panic(r.panicked)
			case !wanted:
				return
			case r.err != nil:
				yield(page, r.err)
				return
			}
			page = r.page
		}
		yield(page, nil)
	}
}
