package web

import (
	"crypto/tls"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
)

func TestLocal(t *testing.T) {
	for next, want := range map[string]string{
		"/squads?x=1&y=%2F":            "/squads?x=1&y=%2F",
		"/squads/7/drills#top":         "/squads/7/drills#top",
		"/a/%2f/b":                     "/a/%2f/b",
		"/athletes?name=%C3%A9 x":      "/",
		"/":                            "/",
		"":                             "/",
		"squads":                       "/",
		"https://evil.example/":        "/",
		"//evil.example":               "/",
		"///evil.example":              "/",
		"/\t/evil.example":             "/",
		"/%09/evil.example":            "/",
		"\t//evil.example":             "/",
		"/\n/evil.example":             "/",
		"/\r\nSet-Cookie: a=b":         "/",
		"/%0d%0aSet-Cookie: a=b":       "/",
		`/\evil.example`:               "/",
		"/%5cevil.example":             "/",
		`\/evil.example`:               "/",
		"/\u0085/evil.example":         "/",
		"/\u00a0/evil.example":         "/",
		"javascript:alert(1)":          "/",
		"//user@evil.example/":         "/",
		"http:evil.example":            "/",
		"/%zz":                         "/",
		"?next=//evil.example":         "/",
		"/sign-in?next=//evil.example": "/sign-in?next=//evil.example",
	} {
		if got := local(next); got != want {
			t.Errorf("%q leads to %q, want %q", next, got, want)
		}
	}
}

func TestIsLoopback(t *testing.T) {
	for host, want := range map[string]bool{
		"localhost": true, "localhost:8080": true, "LOCALHOST.": true, "demo.localhost:80": true,
		"127.0.0.1": true, "127.8.9.1:8080": true, "[::1]:8080": true, "[::1]": true,
		"localhost.evil.example": false, "127.0.0.1.evil.example": false, "192.168.1.5:8080": false, "": false,
		"lanes.example": false, "0.0.0.0": false, "notlocalhost": false,
	} {
		if got := isLoopback(host); got != want {
			t.Errorf("%q: %t, want %t", host, got, want)
		}
	}
}

// Where the cookies of a sign-in go by TLS alone, under a name that only this host can have set.
func TestCookiesAreSecure(t *testing.T) {
	for name, tc := range map[string]struct {
		host, public string
		header       http.Header
		overTLS      bool // to us
		proxyTLS     bool // to a trusted proxy
		cookie       string
		want         bool
	}{
		"the demo":                         {host: "localhost:8080", want: false},
		"an address of the machine":        {host: "127.0.0.1:8080", want: false},
		"TLS":                              {host: "lanes.example", overTLS: true, want: true},
		"TLS on this machine":              {host: "localhost", overTLS: true, want: true},
		"a trusted proxy says so":          {host: "127.0.0.1:8080", proxyTLS: true, want: true},
		"behind a proxy that keeps quiet":  {host: "lanes.example", want: true},
		"behind one that changes the host": {host: "127.0.0.1:8080", header: http.Header{"X-Forwarded-For": {"192.0.2.1"}}, want: true},
		"a form over TLS to such a one":    {host: "127.0.0.1:8080", header: http.Header{"Origin": {"https://lanes.example"}}, want: true},
		"cookies of TLS before":            {host: "127.0.0.1:8080", cookie: "__Host-laneward_refresh", want: true},
		"a public address":                 {host: "127.0.0.1:8080", public: "https://lanes.example", want: true},
		"a public address without TLS":     {host: "lanes.local:8080", public: "http://lanes.local:8080", want: false},
		"the lanes' own network":           {host: "192.168.1.5:8080", want: true},
	} {
		t.Run(name, func(t *testing.T) {
			request := httptest.NewRequest(http.MethodGet, "http://x/", nil)
			request.Host = tc.host
			if tc.header != nil {
				request.Header = tc.header
			}
			if tc.overTLS {
				request.TLS = &tls.ConnectionState{}
			}
			if tc.cookie != "" {
				request.AddCookie(&http.Cookie{Name: tc.cookie, Value: "x"})
			}
			site := &site{}
			if tc.public != "" {
				public, err := url.Parse(tc.public)
				if err != nil {
					t.Fatal(err)
				}
				site.public = public
			}
			request = request.WithContext(WithClient(t.Context(), Client{TLS: tc.proxyTLS}))
			answer := httptest.NewRecorder()
			v := &visit{Request: request, w: answer, site: site}
			v.setCookie(refreshCookie, "token", time.Hour)
			set := answer.Header().Get("Set-Cookie")
			prefixed, secure := strings.HasPrefix(set, "__Host-laneward_refresh=token"), strings.Contains(set, "; Secure")
			if prefixed != tc.want || secure != tc.want || strings.Contains(set, "Domain") {
				t.Errorf("%q, want it for TLS alone: %t", set, tc.want)
			}
		})
	}
}

// A sign-in of a version before the prefix goes on, and its cookie goes away.
func TestOldCookies(t *testing.T) {
	request := httptest.NewRequest(http.MethodGet, "https://lanes.example/", nil)
	request.AddCookie(&http.Cookie{Name: refreshCookie, Value: "old"})
	answer := httptest.NewRecorder()
	v := &visit{Request: request, w: answer, site: &site{}}
	if got := v.kept(refreshCookie); got != "old" {
		t.Errorf("the old cookie reads %q", got)
	}
	v.setCookie(refreshCookie, "new", time.Hour)
	set := answer.Header().Values("Set-Cookie")
	if len(set) != 2 || !strings.HasPrefix(set[0], "laneward_refresh=;") || !strings.Contains(set[0], "Max-Age=0") ||
		!strings.HasPrefix(set[1], "__Host-laneward_refresh=new;") {
		t.Errorf("%q", set)
	}
	request.AddCookie(&http.Cookie{Name: hostPrefix + refreshCookie, Value: "new"})
	if got := v.kept(refreshCookie); got != "new" {
		t.Errorf("beside the new one, %q is read", got)
	}
}
