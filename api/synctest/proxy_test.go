package synctest

import (
	"errors"
	"io"
	"net"
	"sync"
	"testing"
)

// proxy is a network that can be cut, in front of a server that may move.
type proxy struct {
	listener net.Listener
	target   func() string
	mu       sync.Mutex
	next     *cut // for the next connection
	cuts     int
}

// cut breaks a connection in both directions after so many bytes have passed one way; negative
// never. A cut after 0 bytes of the answer comes when the answer has begun on the server's side and
// nothing of it has reached the client.
type cut struct{ afterRequest, afterAnswer int64 }

func newProxy(t *testing.T, target func() string) *proxy {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{listener: listener, target: target}
	var open sync.WaitGroup
	open.Go(func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return // closed
			}
			open.Go(func() { p.serve(conn) })
		}
	})
	t.Cleanup(func() {
		if err := listener.Close(); err != nil {
			t.Error(err)
		}
		open.Wait()
	})
	return p
}

func (p *proxy) address() string { return p.listener.Addr().String() }

// cutNext sets how the next connection is to break.
func (p *proxy) cutNext(c cut) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.next = &c
}

// count is how many connections were cut.
func (p *proxy) count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.cuts
}

func (p *proxy) take() cut {
	p.mu.Lock()
	defer p.mu.Unlock()
	c := cut{-1, -1}
	if p.next != nil {
		c, p.next = *p.next, nil
	}
	return c
}

func (p *proxy) serve(client net.Conn) {
	defer client.Close()
	server, err := net.Dial("tcp", p.target())
	if err != nil {
		return // the server is away
	}
	defer server.Close()
	how := p.take()
	var ways sync.WaitGroup
	ways.Go(func() { p.pass(server, client, how.afterRequest) })
	ways.Go(func() { p.pass(client, server, how.afterAnswer) })
	ways.Wait()
}

// pass carries bytes one way until either end closes, or the cut.
func (p *proxy) pass(to, from net.Conn, most int64) {
	defer to.Close()
	defer from.Close()
	if most < 0 {
		_, _ = io.Copy(to, from) // whatever ends it
		return
	}
	_, err := io.CopyN(to, from, most)
	if err == nil {
		_, err = io.ReadFull(from, make([]byte, 1)) // what would have been next
	}
	if err == nil || !errors.Is(err, io.EOF) {
		p.mu.Lock()
		p.cuts++
		p.mu.Unlock()
	}
}
