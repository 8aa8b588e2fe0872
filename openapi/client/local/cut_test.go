package local_test

import (
	"context"
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"sync/atomic"
	"testing"
)

// dialTo dials an address whatever is asked for.
func dialTo(address string) func(context.Context, string, string) (net.Conn, error) {
	return func(ctx context.Context, network, _ string) (net.Conn, error) {
		var dialer net.Dialer
		return dialer.DialContext(ctx, network, address)
	}
}

// cutter is a proxy that cuts connections in the middle, in either direction.
type cutter struct {
	listener net.Listener
	target   string
	mu       sync.Mutex
	random   *rand.Rand
	whole    atomic.Bool // cuts nothing any more
	cuts     atomic.Int64
	within   int64 // bytes a direction may carry before it is cut, at most
}

func newCutter(t testing.TB, target string, seed uint64, within int64) *cutter {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cutter{
		listener: listener,
		target:   target,
		random:   rand.New(rand.NewPCG(seed, 1)),
		within:   within,
	}
	t.Cleanup(func() { _ = listener.Close() })
	go func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return // closed
			}
			go c.carry(conn)
		}
	}()
	return c
}

func (c *cutter) address() string { return c.listener.Addr().String() }

// limits says after how many bytes each direction of a connection is cut; -1 for never.
func (c *cutter) limits() (up, down int64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	up, down = -1, -1
	if c.whole.Load() {
		return up, down
	}
	switch c.random.IntN(3) {
	case 0:
		up = c.random.Int64N(c.within)
	case 1:
		down = c.random.Int64N(c.within)
	}
	return up, down
}

func (c *cutter) carry(near net.Conn) {
	far, err := net.Dial("tcp", c.target)
	if err != nil {
		_ = near.Close()
		return
	}
	var once sync.Once
	end := func() {
		once.Do(func() {
			_ = near.Close()
			_ = far.Close()
		})
	}
	up, down := c.limits()
	go c.copy(far, near, up, end)
	c.copy(near, far, down, end)
}

// copy carries one direction and ends both when it ends, or has carried its limit.
func (c *cutter) copy(to, from net.Conn, limit int64, end func()) {
	defer end()
	if limit < 0 {
		_, _ = io.Copy(to, from)
		return
	}
	if n, _ := io.CopyN(to, from, limit); n == limit {
		c.cuts.Add(1)
	}
}
