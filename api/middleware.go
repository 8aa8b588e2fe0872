package api

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"regexp"
	"runtime/debug"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"laneward/service"
)

var goodRequestID = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// requestID gives every request an id, the client's own when it is a plain one.
func requestID(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		id := c.Request().Header.Get(echo.HeaderXRequestID)
		if !goodRequestID.MatchString(id) {
			id = uuid.Must(uuid.NewV7()).String()
		}
		c.Response().Header().Set(echo.HeaderXRequestID, id)
		return next(c)
	}
}

// headAsGet has HEAD answered as GET is (RFC 9110, section 9.3.2): net/http drops the body. A
// stream of events, which would never end, has none.
func headAsGet(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead && !isLive(r.URL.Path) {
			r = r.WithContext(r.Context())
			r.Method = http.MethodGet
		}
		next.ServeHTTP(w, r)
	})
}

// accessLog writes one line a request, with the route and not the address: ids of people and other
// squads are not logged, only that of the request's squad.
func accessLog(log *slog.Logger) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			start := time.Now()
			if err := next(c); err != nil {
				c.Error(err)
			}
			log.InfoContext(
				c.Request().Context(),
				"request",
				"request_id",
				c.Response().Header().Get(echo.HeaderXRequestID),
				"method",
				c.Request().Method,
				"route",
				c.Path(),
				"squad",
				c.Param("squad_id"),
				"status",
				c.Response().Status,
				"bytes",
				c.Response().Size,
				"duration_ms",
				float64(time.Since(start).Microseconds())/1000,
			)
			return nil
		}
	}
}

// errPanic is the error of a panic, which has been logged with its stack.
var errPanic = errors.New("panic")

func recoverPanics(log *slog.Logger) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) (err error) {
			defer func() {
				if r := recover(); r != nil {
					if r == http.ErrAbortHandler { //nolint:errorlint // the value itself is the signal
						panic(r)
					}
					log.ErrorContext(
						c.Request().Context(),
						"panic",
						"request_id",
						c.Response().Header().Get(echo.HeaderXRequestID),
						"route",
						c.Path(),
						"panic",
						fmt.Sprint(r),
						"stack",
						string(debug.Stack()),
					)
					err = errPanic
				}
			}()
			return next(c)
		}
	}
}

func securityHeaders(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		header := c.Response().Header()
		header.Set("X-Content-Type-Options", "nosniff")
		header.Set("Referrer-Policy", "no-referrer")
		header.Set("X-Frame-Options", "DENY")
		header.Set(
			"Content-Security-Policy",
			"default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
		)
		if header.Get(echo.HeaderCacheControl) == "" {
			header.Set(echo.HeaderCacheControl, "private, no-cache")
		}
		return next(c)
	}
}

// The largest bodies, as they come and unpacked. Where nobody is signed in, none is longer than a
// sign-up.
const (
	maxBody       = 2 << 20
	maxPublicBody = 16 << 10
	maxLogBody    = service.MaxLogBytes + 1<<20
)

// limitBody caps a body before and after unpacking, so that a small one cannot unpack to a huge
// one. An operation that takes no body has none: a body that is sent anyway is not read.
func limitBody(contract *contract) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			limit, request := int64(maxBody), c.Request()
			switch route := contract.route(c); {
			case route == nil:
			case route.Operation.RequestBody == nil:
				bodiless := *request // the server still has to skip what was sent
				bodiless.Body, bodiless.ContentLength = http.NoBody, 0
				c.SetRequest(&bodiless)
				return next(c)
			case readByHandler(route):
				limit = maxLogBody
			case public(route):
				limit = maxPublicBody
			}
			if request.ContentLength > limit {
				return errTooLarge(limit)
			}
			request.Body = http.MaxBytesReader(c.Response(), request.Body, limit)
			switch encoding := strings.ToLower(request.Header.Get(echo.HeaderContentEncoding)); encoding {
			case "", "identity":
			case "gzip":
				unpacked, err := gzip.NewReader(request.Body)
				if err != nil {
					return &service.Error{
						Code:   service.Invalid,
						Detail: "the body is said to be gzip and is not: send it plain, or pack it again",
					}
				}
				request.Body = http.MaxBytesReader(c.Response(), io.NopCloser(unpacked), limit)
				request.Header.Del(echo.HeaderContentEncoding)
				request.ContentLength = -1
			default:
				return echo.NewHTTPError(
					http.StatusUnsupportedMediaType,
					fmt.Sprintf("Content-Encoding %q is not read: send gzip or plain", encoding),
				)
			}
			return next(c)
		}
	}
}

type userKey struct{}

// authenticate finds out whose request it is, unless the operation is open to all.
func (h *handlers) authenticate(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		route := h.contract.route(c)
		if route == nil || public(route) {
			return h.withClient(next, c, service.Identity{})
		}
		scheme, token, _ := strings.Cut(c.Request().Header.Get(echo.HeaderAuthorization), " ")
		if !strings.EqualFold(scheme, "Bearer") || token == "" {
			return &service.Error{
				Code:   service.Unauthenticated,
				Detail: "send the header Authorization: Bearer with an access token; POST /v1/tokens gives one",
			}
		}
		who, err := h.service.Authenticate(c.Request().Context(), strings.TrimSpace(token))
		if err != nil {
			return err
		}
		return h.withClient(next, c, who)
	}
}

// client is who sent a request, and from where.
type client struct {
	service.Identity
	ip     string
	origin string // of the address that the request was sent to
	accept string // the media type asked for
}

func (h *handlers) withClient(next echo.HandlerFunc, c echo.Context, who service.Identity) error {
	ctx := context.WithValue(
		c.Request().Context(),
		userKey{},
		client{
			Identity: who,
			ip:       c.RealIP(),
			origin:   c.Scheme() + "://" + c.Request().Host,
			accept:   c.Request().Header.Get(echo.HeaderAccept),
		},
	)
	c.SetRequest(c.Request().WithContext(ctx))
	return next(c)
}

func clientOf(ctx context.Context) client {
	found, _ := ctx.Value(userKey{}).(client)
	return found
}

func userOf(ctx context.Context) uuid.UUID { return clientOf(ctx).User }
