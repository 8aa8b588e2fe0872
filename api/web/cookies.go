package web

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"time"
)

// The cookies of a sign-in. Neither is for scripts, and the browser sends them with no request that
// another site started.
const (
	accessCookie  = "laneward_access"
	refreshCookie = "laneward_refresh"
	refreshAge    = 90 * 24 * time.Hour
	// markCookie stays when the sign-in ends: others' guesses do not hold up the next one here.
	markCookie = "laneward_device"
	markAge    = 400 * 24 * time.Hour
	// hostPrefix has the browser see to it that a cookie is of this very host, and came over TLS
	// (RFC 6265bis, section 4.1.3.2).
	hostPrefix = "__Host-"
)

type clientKey struct{}

// Client is where a request comes from, where that is not the connection's: behind a proxy that the
// edge trusts.
type Client struct {
	From netip.Addr
	TLS  bool // between the browser and the proxy
}

// WithClient passes the pages where a request comes from.
func WithClient(ctx context.Context, client Client) context.Context {
	return context.WithValue(ctx, clientKey{}, client)
}

func (v *visit) client() Client {
	client, _ := v.Context().Value(clientKey{}).(Client)
	client.TLS = client.TLS || v.TLS != nil
	return client
}

// from is the address the request comes from; the zero address when it is not known.
func (v *visit) from() netip.Addr {
	if client := v.client(); client.From.IsValid() {
		return client.From
	}
	connection, err := netip.ParseAddrPort(v.RemoteAddr)
	if err != nil {
		return netip.Addr{} // counted with all the others that are not known
	}
	return connection.Addr()
}

// secure reports whether cookies are for TLS alone. They are, unless the browser has come without
// it to this very machine, or the server's public address says that there is none. A browser that
// has come over TLS to a proxy nobody told us of shows it by the cookies it keeps and by the origin
// of its forms.
func (v *visit) secure() bool {
	switch {
	case v.client().TLS:
		return true
	case v.site.public != nil:
		return v.site.public.Scheme != "http"
	case strings.HasPrefix(v.Header.Get("Origin"), "https://"), v.sends(hostPrefix + refreshCookie):
		return true
	case v.Header.Get("X-Forwarded-For") != "", v.Header.Get("Forwarded") != "":
		return true
	}
	return !isLoopback(v.Host)
}

func (v *visit) sends(cookie string) bool {
	_, err := v.Cookie(cookie)
	return err == nil
}

// isLoopback reports whether a host, with its port or without, is the browser's own machine.
func isLoopback(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
	if address, err := netip.ParseAddr(host); err == nil {
		return address.IsLoopback()
	}
	return host == "localhost" || strings.HasSuffix(host, ".localhost")
}

// losesCookies reports whether the browser says that it came without TLS, so that it will not keep
// cookies that are for TLS alone.
func (v *visit) losesCookies() bool {
	origin, err := url.Parse(v.Header.Get("Origin"))
	return err == nil && origin.Scheme == "http" && v.secure() && !isLoopback(origin.Host)
}

// kept is the value of a cookie, "" for none. Versions before the prefix gave out the sign-in under
// the plain name: it is taken, and replaced with the next answer that sets it.
func (v *visit) kept(name string) string {
	for _, full := range []string{hostPrefix + name, name} {
		if cookie, err := v.Cookie(full); err == nil && cookie.Value != "" {
			return cookie.Value
		}
	}
	return ""
}

// setCookie sets a cookie that lives for a time; a negative one deletes it.
func (v *visit) setCookie(name, value string, age time.Duration) {
	seconds := int(age.Seconds())
	if age < 0 {
		seconds = -1
	}
	cookie := http.Cookie{ //nolint:gosec // Secure but on the browser's own machine
		Name:     name,
		Value:    value,
		Path:     "/",
		MaxAge:   seconds,
		HttpOnly: true,
		Secure:   v.secure(),
		SameSite: http.SameSiteStrictMode,
	}
	if cookie.Secure {
		if v.sends(name) { // of a version before the prefix
			old := cookie //nolint:gosec // it only clears one, with the attributes of the new one
			old.Value, old.MaxAge = "", -1
			http.SetCookie(v.w, &old)
		}
		cookie.Name = hostPrefix + name
	}
	http.SetCookie(v.w, &cookie)
}

// local is an address of ours; any other becomes the start. A browser drops tabs and line ends
// from an address, takes a backslash for a slash, and two slashes for another host.
func local(next string) string {
	if strings.ContainsFunc(next, func(r rune) bool { return r <= ' ' || r == '\\' || r >= 0x7f && r <= 0xa0 }) {
		return "/"
	}
	address, err := url.Parse(next)
	if err != nil || address.Scheme != "" || address.Host != "" || address.User != nil || address.Opaque != "" ||
		!strings.HasPrefix(address.Path, "/") || strings.HasPrefix(address.Path, "//") ||
		strings.ContainsFunc(address.Path, func(r rune) bool { return r < ' ' || r == '\\' }) {
		return "/"
	}
	return address.String()
}
