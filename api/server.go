// Package api is the HTTP edge: it reads requests, calls the service, and writes answers. It
// contains no domain rules.
package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"laneward/api/web"
	"laneward/openapi"
	"laneward/service"
)

// Config is what the HTTP edge is built from.
type Config struct {
	Service *service.Service
	Log     *slog.Logger
	Version string
	// TrustedProxies are the networks whose X-Forwarded-For is trusted.
	TrustedProxies []*net.IPNet
	// PublicURL is where people reach the server; nil when that is not known. Its scheme says
	// whether cookies are for TLS alone.
	PublicURL *url.URL
}

// Handler is the whole HTTP surface: the contract's operations and the pages.
type Handler struct {
	http.Handler
	leave, drain func()
}

// Leave has the readiness check say that no more requests should be sent here. They are still
// answered.
func (h *Handler) Leave() { h.leave() }

// Drain ends the endless streams so that Shutdown can finish.
func (h *Handler) Drain() { h.drain() }

// NewHandler returns the whole HTTP surface.
func NewHandler(config Config) (*Handler, error) {
	contract, err := loadContract(openapi.Contract)
	if err != nil {
		return nil, err
	}
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = func(err error, c echo.Context) { writeError(config.Log, err, c) }
	e.IPExtractor = echo.ExtractIPDirect()
	if len(config.TrustedProxies) > 0 {
		options := []echo.TrustOption{
			echo.TrustLoopback(false),
			echo.TrustLinkLocal(false),
			echo.TrustPrivateNet(false),
		}
		for _, network := range config.TrustedProxies {
			options = append(options, echo.TrustIPRange(network))
		}
		e.IPExtractor = echo.ExtractIPFromXFFHeader(options...)
	}
	e.Use(requestID, accessLog(config.Log), recoverPanics(config.Log), securityHeaders)
	e.Use(
		middleware.GzipWithConfig(
			middleware.GzipConfig{MinLength: 1024, Skipper: func(c echo.Context) bool { return isLive(c.Path()) }},
		),
	)

	h := &handlers{
		service:  config.Service,
		version:  config.Version,
		contract: contract,
		leaving:  make(chan struct{}),
		draining: make(chan struct{}),
	}
	operations := e.Group("", limitBody(contract), h.authenticate, contract.check(h.service.Check))
	openapi.RegisterHandlers(operations, openapi.NewStrictHandler(h, nil))
	pages, err := web.New(config.Service, config.Log, config.PublicURL)
	if err != nil {
		return nil, err
	}
	rest := func(c echo.Context) error {
		if err := contract.unknown(c); err != nil {
			return err
		}
		client := web.Client{TLS: config.forwardedTLS(c.Request())}
		if from, err := netip.ParseAddr(c.RealIP()); err == nil {
			client.From = from
		}
		c.SetRequest(c.Request().WithContext(web.WithClient(c.Request().Context(), client)))
		return echo.WrapHandler(pages)(c)
	}
	e.Any("/", rest) // separately: the group above answers the empty path with not found
	e.Any("/*", rest)
	return &Handler{
		Handler: headAsGet(e),
		leave:   sync.OnceFunc(func() { close(h.leaving) }),
		drain:   sync.OnceFunc(func() { close(h.draining) }),
	}, nil
}

// forwardedTLS reports whether a trusted proxy says that the request came to it over TLS.
func (c Config) forwardedTLS(r *http.Request) bool {
	protocols := strings.Split(r.Header.Get("X-Forwarded-Proto"), ",")
	if !strings.EqualFold(strings.TrimSpace(protocols[len(protocols)-1]), "https") {
		return false
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return false
	}
	from := net.ParseIP(host)
	return slices.ContainsFunc(c.TrustedProxies, func(network *net.IPNet) bool { return network.Contains(from) })
}

// isLive reports whether a path is that of a stream of events: it never ends, and each event has to
// go out at once and is too small to compress.
func isLive(path string) bool { return strings.HasSuffix(path, "/live") }

// The limits of one connection. Writing waits long enough for a large log to be stored and
// answered.
const (
	readHeaderTimeout = 10 * time.Second
	readTimeout       = 2 * time.Minute
	writeTimeout      = 3 * time.Minute
	idleTimeout       = 2 * time.Minute
	maxHeaderBytes    = 64 << 10
	drainTime         = 20 * time.Second
)

// Ending is how a server ends.
type Ending struct {
	// Delay is how long requests are still answered while the readiness check says 503, so that
	// whoever spreads them over several servers sends them elsewhere.
	Delay time.Duration
	// Now ends the delay early when something can be received; nil: never.
	Now <-chan struct{}
}

// wait returns when the delay is over.
func (e Ending) wait() {
	timer := time.NewTimer(e.Delay)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-e.Now:
	}
}

// Serve answers requests on listener until ctx ends. Then it leaves in order: the readiness check
// says so for a while, the listener closes, the live streams end with an event that says to come
// back, and running requests finish. It returns nil after a clean end.
func Serve(ctx context.Context, listener net.Listener, handler *Handler, ending Ending, log *slog.Logger) error {
	server := &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: readHeaderTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      writeTimeout,
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    maxHeaderBytes,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	server.RegisterOnShutdown(handler.Drain)
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(listener) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	handler.Leave()
	ending.wait()
	drain, cancel := context.WithTimeout(context.WithoutCancel(ctx), drainTime)
	defer cancel()
	if err := server.Shutdown(drain); err != nil {
		return errors.Join(fmt.Errorf("requests were still running after %s: %w", drainTime, err), server.Close())
	}
	if err := <-failed; !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve: %w", err)
	}
	return nil
}
