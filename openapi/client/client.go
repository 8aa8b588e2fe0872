package client

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync/atomic"
	"time"

	"laneward/openapi"
)

// Config is what a client needs.
type Config struct {
	Server string // such as https://example.org or http://127.0.0.1:8080
	Store  *Store // where the sign-in is kept
	Agent  string // the program's name and version, for the server's log
	// Notify, when set, is called for each failed attempt that is tried again after a wait.
	Notify func(err error, wait time.Duration)
	HTTP   *http.Client     // nil for one with time limits
	Now    func() time.Time // the time of day; nil for the machine's
	// Sleep waits before an attempt that follows a failed one; nil for time's own.
	Sleep func(ctx context.Context, wait time.Duration) error
}

// Client talks to one server on behalf of the user who is signed in to it. It may be used by
// several goroutines at once.
type Client struct {
	server string
	store  *Store
	clock  clock
	keeper *keeper
	open   *openapi.ClientWithResponses // for requests that need no sign-in
	api    *openapi.ClientWithResponses
	signed *transport  // the transport of api
	rows   atomic.Bool // whether the server takes no tables
	// streams sends requests whose answer does not end.
	streams *openapi.Client
}

// New returns a client of one server. It fails when the address is invalid.
func New(config Config) (*Client, error) {
	server, err := Address(config.Server)
	if err != nil {
		return nil, err
	}
	if config.HTTP == nil {
		config.HTTP = limitedHTTP()
	}
	c := &Client{server: server, store: config.Store, clock: systemClock}
	if config.Now != nil {
		c.clock.now = config.Now
	}
	if config.Sleep != nil {
		c.clock.sleep = config.Sleep
	}
	c.keeper = &keeper{server: server, store: config.Store, clock: c.clock}
	unsigned := &transport{
		server: server,
		http:   config.HTTP,
		clock:  c.clock,
		notify: config.Notify,
		agent:  config.Agent,
	}
	signed := *unsigned
	signed.signIn = c.keeper
	c.signed = &signed
	if c.open, err = openapi.NewClientWithResponses(server, openapi.WithHTTPClient(unsigned)); err != nil {
		return nil, fmt.Errorf("the server's address %q: %w", server, err)
	}
	if c.api, err = openapi.NewClientWithResponses(server, openapi.WithHTTPClient(&signed)); err != nil {
		return nil, fmt.Errorf("the server's address %q: %w", server, err)
	}
	endless := signed
	endless.http = withoutLimit(config.HTTP)
	if c.streams, err = openapi.NewClient(server, openapi.WithHTTPClient(streamTransport{&endless})); err != nil {
		return nil, fmt.Errorf("the server's address %q: %w", server, err)
	}
	c.keeper.open = c.open
	return c, nil
}

// Server is the address the client talks to.
func (c *Client) Server() string { return c.server }

// Address returns a server's address in the one form under which its sign-in is kept: scheme, host
// and port. A host alone is taken as https, one on this computer as http.
func Address(text string) (string, error) {
	const example = "write it as https://example.org or http://127.0.0.1:8080"
	full := strings.TrimSpace(text)
	if strings.Contains(full, "@") { // it may hold a password, which no message must show
		return "", fail(Invalid, "the server's address has a name or a password in it: %s", example)
	}
	if !strings.Contains(full, "://") {
		scheme := "https://"
		if host, _, _ := strings.Cut(full, ":"); local(host) {
			scheme = "http://"
		}
		full = scheme + full
	}
	address, err := url.Parse(full)
	if err != nil || address.Host == "" || (address.Scheme != "http" && address.Scheme != "https") ||
		address.RawQuery != "" ||
		address.Fragment != "" {
		return "", fail(Invalid, "%q is not the address of a server: %s", text, example)
	}
	return address.Scheme + "://" + strings.ToLower(address.Host) + strings.TrimRight(address.Path, "/"), nil
}

// Private reports whether no one on the way can read what is sent: it is encrypted, or never leaves
// this computer.
func (c *Client) Private() bool {
	address, err := url.Parse(c.server)
	return err == nil && (address.Scheme == "https" || local(address.Hostname()))
}

func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func limitedHTTP() *http.Client {
	return &http.Client{
		Timeout: answerTimeout,
		// Tokens go to the address the person named and to no other.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{
			Proxy:               http.ProxyFromEnvironment,
			DialContext:         (&net.Dialer{Timeout: 10 * time.Second, Control: shallow}).DialContext,
			TLSHandshakeTimeout: 10 * time.Second,
			ForceAttemptHTTP2:   true,
			MaxIdleConnsPerHost: 4,
			IdleConnTimeout:     time.Minute,
		},
	}
}

// withoutLimit returns the same client without a limit on the time of a whole answer.
func withoutLimit(limited *http.Client) *http.Client {
	endless := *limited
	endless.Timeout = 0
	return &endless
}

// Ready reports whether the server answers and can work.
func (c *Client) Ready(ctx context.Context) error {
	_, err := c.open.GetReadyWithResponse(ctx)
	return err
}
