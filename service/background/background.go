// Package background has what takes a processor for long give way to everything else: to requests
// that are answered in milliseconds, and to the database beside them.
//
// Go shares its processors among goroutines in turns of ten milliseconds, so that a request which
// wakes up twenty times, once an answer of the database, waits twenty turns behind a computation. Here a
// computation has a thread of its own that the system serves after all others, and there are more
// threads at work than processors, so that one for a short request is always free.
package background

import (
	"context"
	"runtime"
	"sync"
)

// processors is how many there are, before [Prepare].
var processors = sync.OnceValue(func() int { return runtime.GOMAXPROCS(0) })

// Processors returns how many processors there are to compute with.
func Processors() int { return processors() }

// Prepare lets so many computations run in the background beside the processors' other work. It is
// called once, when a server starts.
func Prepare(computations int) { runtime.GOMAXPROCS(Processors() + computations) }

// Run does a computation in the background and returns when it has ended. What it panics with it
// panics with here.
func Run(do func()) {
	ended := make(chan any, 1)
	go func() {
		defer func() { ended <- recover() }()
		runtime.LockOSThread() // never unlocked: the thread ends with its work, and is nobody's after it
		giveWay()
		do()
	}()
	if panicked := <-ended; panicked != nil {
		panic(panicked)
	}
}

type key struct{}

// With returns a context whose computations [In] does in the background.
func With(ctx context.Context) context.Context { return context.WithValue(ctx, key{}, true) }

// In does a computation, in the background when the context says so.
func In(ctx context.Context, do func()) {
	if ctx.Value(key{}) == nil {
		do()
		return
	}
	Run(do)
}
