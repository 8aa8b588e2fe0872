package client

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"mime"
	"net"
	"net/http"
	"time"
)

// How a request that failed for the moment is sent again: after a random wait between nothing and a
// bound that doubles ("full jitter"), so that clients which failed together do not come back
// together.
const (
	attempts      = 5
	firstWait     = 250 * time.Millisecond
	longestWait   = 8 * time.Second
	patience      = 30 * time.Second // a server that asks for a longer wait is not waited for
	maxAnswer     = 64 << 20         // bytes of one answer, unpacked
	answerTimeout = 4 * time.Minute  // a large log takes its time to be stored
)

// clock is the time and the waiting; tests have their own.
type clock struct {
	now    func() time.Time
	sleep  func(ctx context.Context, d time.Duration) error
	random func(bound time.Duration) time.Duration // uniform from 0 to bound
}

var systemClock = clock{
	now: time.Now,
	sleep: func(ctx context.Context, d time.Duration) error {
		timer := time.NewTimer(d)
		defer timer.Stop()
		select {
		case <-timer.C:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	},
	random: func(bound time.Duration) time.Duration { return time.Duration(rand.Int64N(int64(bound) + 1)) }, //nolint:gosec // no secret
}

// wait is how long to wait before another attempt, 0 being the first again.
func (c clock) wait(attempt int, asked time.Duration) time.Duration {
	bound := min(longestWait, firstWait<<attempt)
	return asked + c.random(bound)
}

// transport sends requests for the generated client. Any answer but success becomes an [*Error].
type transport struct {
	server string
	http   *http.Client
	clock  clock
	notify func(err error, wait time.Duration)
	agent  string
	signIn *keeper // signs the requests; nil for those that need no token
}

// resendable marks requests that may be sent again although an earlier one may have been carried
// out: the server then returns the same answer.
type resendable struct{}

func resend(ctx context.Context) context.Context { return context.WithValue(ctx, resendable{}, true) }

// listening marks requests whose answer is read as it comes.
type listening struct{}

func listen(ctx context.Context, listener io.Writer) context.Context {
	return context.WithValue(ctx, listening{}, listener)
}

func listenerOf(ctx context.Context) io.Writer {
	listener, _ := ctx.Value(listening{}).(io.Writer)
	return listener
}

func mayResend(request *http.Request) bool {
	return request.Method == http.MethodGet || request.Method == http.MethodHead ||
		request.Context().Value(resendable{}) != nil
}

// Do sends a request, and sends it again where that is safe and may help.
func (t *transport) Do(request *http.Request) (*http.Response, error) {
	request.Header.Set("User-Agent", t.agent)
	token, err := "", error(nil)
	if t.signIn != nil {
		if token, err = t.signIn.token(request.Context()); err != nil {
			return nil, err
		}
	}
	renewed := false
	for attempt := 0; ; attempt++ {
		response, err := t.once(request, token)
		if err == nil {
			return response, nil
		}
		if ended := request.Context().Err(); ended != nil {
			return nil, ended
		}
		var failure *Error
		if !errors.As(err, &failure) {
			return nil, err
		}
		if failure.Code == Unauthenticated && t.signIn != nil && !renewed {
			// The token ran out by the server's clock; a request that was refused for it has done
			// nothing.
			if token, err = t.signIn.renew(request.Context(), token); err != nil {
				return nil, err
			}
			renewed = true
			continue
		}
		if attempt+1 >= attempts || !t.worthwhile(request, failure) {
			return nil, err
		}
		wait := t.clock.wait(attempt, failure.RetryAfter)
		if t.notify != nil {
			t.notify(err, wait)
		}
		if err := t.clock.sleep(request.Context(), wait); err != nil {
			return nil, err
		}
	}
}

// worthwhile reports whether sending again is safe and may help.
func (t *transport) worthwhile(request *http.Request, failure *Error) bool {
	if request.Body != nil && request.GetBody == nil || failure.RetryAfter > patience {
		return false
	}
	switch failure.Code {
	case Unreachable:
		var network *net.OpError
		neverSent := errors.As(failure.cause, &network) && network.Op == "dial"
		return neverSent || mayResend(request)
	case Unavailable, TooMany:
		return mayResend(request)
	}
	return false
}

// once sends a request once and reads the whole answer, so that an answer cut short counts as lost.
func (t *transport) once(request *http.Request, token string) (*http.Response, error) {
	sent := request.Clone(request.Context())
	if request.GetBody != nil {
		body, err := request.GetBody()
		if err != nil {
			return nil, fmt.Errorf("send the request: %w", err)
		}
		sent.Body = body
	}
	if token != "" {
		sent.Header.Set("Authorization", "Bearer "+token)
	}
	response, err := t.http.Do(sent)
	if err != nil {
		return nil, t.unreachable(err)
	}
	defer response.Body.Close() //nolint:errcheck // it has been read to its end, or failed before
	var answer io.Reader = response.Body
	if listener := listenerOf(request.Context()); listener != nil && response.StatusCode < http.StatusMultipleChoices {
		answer = io.TeeReader(answer, listener)
	}
	body, err := io.ReadAll(io.LimitReader(answer, maxAnswer+1))
	if err != nil {
		return nil, t.unreachable(err)
	}
	if len(body) > maxAnswer {
		return nil, fail(
			NotOurs,
			"the answer of %s is larger than %d MB: is this a Laneward server?",
			t.server,
			maxAnswer>>20,
		)
	}
	if response.StatusCode >= http.StatusBadRequest {
		return nil, problemOf(response, body)
	}
	if err := t.ours(response); err != nil {
		return nil, err
	}
	response.Body = io.NopCloser(bytes.NewReader(body))
	return response, nil
}

func (t *transport) unreachable(err error) error {
	return &Error{Code: Unreachable, Detail: fmt.Sprintf("no answer from %s: %s", t.server, plainly(err)), cause: err}
}

// plainly removes the address and the method from a network error.
func plainly(err error) string {
	var network *net.OpError
	var lookup *net.DNSError
	switch {
	case errors.As(err, &lookup):
		return fmt.Sprintf("the name %s is not known on this network", lookup.Name)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return "the connection was cut"
	case errors.As(err, &network):
		return network.Err.Error()
	}
	return err.Error()
}

// ours refuses an answer no Laneward server gives: networks that want a sign-in of their own answer
// everything with a page.
func (t *transport) ours(response *http.Response) error {
	if response.StatusCode == http.StatusNoContent || response.StatusCode == http.StatusNotModified {
		return nil
	}
	if elsewhere, err := response.Location(); err == nil && response.StatusCode >= http.StatusMultipleChoices {
		return fail(
			NotOurs,
			"%s sends you on to %s://%s: if you know that address, use it instead",
			t.server,
			elsewhere.Scheme,
			elsewhere.Host,
		)
	}
	media, _, _ := mime.ParseMediaType(response.Header.Get("Content-Type"))
	switch media {
	case "application/json", string(NDJSON), SVG, PNG, zipped:
		return nil
	}
	return fail(
		NotOurs,
		"%s answered, but not as a Laneward server does (%s, %q): check the address, and whether the network wants you to sign in to it first",
		t.server,
		response.Status,
		media,
	)
}
