package client

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
)

// The framing of server-sent events (HTML Living Standard, section 9.2).
func TestEventLines(t *testing.T) {
	t.Parallel()
	for name, one := range map[string]struct {
		stream string
		want   []string
	}{
		"LF":                         {"a\nb\n\nc\n", []string{"a", "b", "", "c"}},
		"CR LF":                      {"a\r\nb\r\n\r\n", []string{"a", "b", ""}},
		"CR":                         {"a\rb\r\rc\r", []string{"a", "b", "", "c"}},
		"all three":                  {"a\r\nb\nc\r\n", []string{"a", "b", "c"}},
		"a last line that is no end": {"a\nhalf", []string{"a"}},
		"nothing":                    {"", nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for _, size := range []int{1, 2, 3, 100} { // however the stream comes in
				lines := bufio.NewScanner(&slowly{[]byte(one.stream), size})
				lines.Split(eventLines)
				var got []string
				for lines.Scan() {
					got = append(got, lines.Text())
				}
				if diff := cmp.Diff(one.want, got); diff != "" || lines.Err() != nil {
					t.Errorf("%d bytes at a time: %v\n%s", size, lines.Err(), diff)
				}
			}
		})
	}
}

// slowly hands out a few bytes at a time.
type slowly struct {
	rest []byte
	size int
}

func (s *slowly) Read(p []byte) (int, error) {
	if len(s.rest) == 0 {
		return 0, io.EOF
	}
	n := copy(p[:min(len(p), s.size)], s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

func TestLive(t *testing.T) {
	t.Parallel()
	const item = `{"kind":"shot","id":"01890a5d-ac96-774b-bcce-b302099a8057","rev":7,"record":{"order":1}}`
	asked := make(chan *http.Request, 10)
	events := ": hello\nretry: 1500\n\nid: c1\nevent: item\ndata: " + item + "\n\nevent: item\n\nid:c2\nevent: at\ndata: {\"rev\":9}\n\nid: c3\nevent: news\ndata: x\ndata: y\n\n: alive\n\nid: c4\ndata: half"
	c, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked <- r
		answer(w, http.StatusOK, "text/event-stream", events)
	}), signedIn())
	tail, err := c.Live(t.Context(), uuid.MustParse(someSquad), "c0", "")
	if err != nil {
		t.Fatal(err)
	}
	defer tail.Close()
	var got []string
	for {
		event, err := tail.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		text := event.Cursor
		if event.Item != nil {
			text += fmt.Sprint(" ", event.Item.Kind, event.Item.Rev)
		}
		got = append(got, text)
	}
	if diff := cmp.Diff([]string{"c1 shot7", "c2", "c3"}, got); diff != "" {
		t.Error(diff)
	}
	if tail.Retry() != 1500*time.Millisecond {
		t.Errorf("retry after %s", tail.Retry())
	}
	request := <-asked
	if request.Header.Get("Last-Event-ID") != "c0" || request.Header.Get("Authorization") != "Bearer access-0" ||
		request.Header.Get("Accept") != "text/event-stream" {
		t.Errorf("asked with %v", request.Header)
	}
}

func TestLiveFails(t *testing.T) {
	t.Parallel()
	for name, one := range map[string]struct {
		handle http.HandlerFunc
		want   Code
	}{
		"the cursor is gone": {func(w http.ResponseWriter, _ *http.Request) {
			answer(w, http.StatusGone, "application/problem+json", problem("gone", http.StatusGone))
		}, Gone},
		"a page of somebody else's": {func(w http.ResponseWriter, _ *http.Request) {
			answer(w, http.StatusOK, "text/html", "<p>Sign in to this network")
		}, NotOurs},
		"no answer": {func(w http.ResponseWriter, _ *http.Request) { cut(w) }, Unreachable},
		"cut in the middle": {func(w http.ResponseWriter, _ *http.Request) {
			answer(w, http.StatusOK, "text/event-stream", "id: c1\n")
			_ = http.NewResponseController(w).Flush()
			cut(w)
		}, Unreachable},
		"an event that does not end": {func(w http.ResponseWriter, _ *http.Request) {
			answer(w, http.StatusOK, "text/event-stream", "data: "+strings.Repeat("x", maxEvent))
		}, NotOurs},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c, _ := newClient(t, one.handle, signedIn())
			tail, err := c.Live(t.Context(), uuid.MustParse(someSquad), "c0", "")
			if err == nil {
				_, err = tail.Next()
				_ = tail.Close()
			}
			if CodeOf(err) != one.want {
				t.Errorf("fails with %q, %v; want %q", CodeOf(err), err, one.want)
			}
		})
	}
}

func TestLiveIsStopped(t *testing.T) {
	t.Parallel()
	c, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		answer(w, http.StatusOK, "text/event-stream", ": hello\n\n")
		_ = http.NewResponseController(w).Flush()
		<-r.Context().Done()
	}), signedIn())
	ctx, stop := context.WithCancel(t.Context())
	tail, err := c.Live(ctx, uuid.MustParse(someSquad), "c0", "")
	if err != nil {
		t.Fatal(err)
	}
	stop()
	if _, err := tail.Next(); !errors.Is(err, context.Canceled) {
		t.Errorf("ends with %v", err)
	}
	if err := tail.Close(); err != nil {
		t.Error(err)
	}
}
