package api_test

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"github.com/google/uuid"
)

// access is an access token as the server makes it, for a test to spoil.
type access struct {
	method jwt.SigningMethod
	key    any
	header map[string]any
	claims jwt.MapClaims
}

func (s *server) access(t testing.TB, who person) access {
	t.Helper()
	now := s.clock.now()
	return access{
		method: jwt.SigningMethodEdDSA, key: s.key,
		header: map[string]any{"kid": s.publicKeys()[0]["kid"], "typ": "at+jwt"},
		claims: jwt.MapClaims{
			"iss": "laneward",
			"aud": "laneward-api",
			"sub": who.id.String(),
			"sid": signInOf(t, who),
			"iat": now.Unix(),
			"exp": now.Add(15 * time.Minute).Unix(),
		},
	}
}

// signInOf is the sign-in that a person's own token names.
func signInOf(t testing.TB, who person) string {
	t.Helper()
	var claims jwt.MapClaims
	if _, _, err := jwt.NewParser().ParseUnverified(who.token, &claims); err != nil {
		t.Fatal(err)
	}
	return claims["sid"].(string)
}

func (a access) signed(t testing.TB) string {
	t.Helper()
	token := jwt.NewWithClaims(a.method, a.claims)
	for name, value := range a.header {
		if token.Header[name] = value; value == nil {
			delete(token.Header, name)
		}
	}
	text, err := token.SignedString(a.key)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// publicKeys are the keys as anybody can read them.
func (s *server) publicKeys() []map[string]string {
	var set struct{ Keys []map[string]string }
	s.do(s.t, call{method: http.MethodGet, path: "/.well-known/jwks.json"}).want(http.StatusOK).into(&set)
	return set.Keys
}

// forgeries are tokens for a user that must not be taken for that user's (RFC 8725; RFC 7519,
// section 6.1).
func (s *server) forgeries(t testing.TB, who person) map[string]string {
	t.Helper()
	now := s.clock.now()
	make := func(spoil func(*access)) string {
		a := s.access(t, who)
		spoil(&a)
		return a.signed(t)
	}
	public := s.key.Public().(ed25519.PublicKey)
	encoded := base64.RawURLEncoding.EncodeToString(public)
	jwk, err := json.Marshal(s.publicKeys()[0])
	if err != nil {
		t.Fatal(err)
	}
	_, stranger, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	hs256 := func(secret []byte) func(*access) {
		return func(a *access) { a.method, a.key = jwt.SigningMethodHS256, secret }
	}
	return map[string]string{
		"garbage":           "garbage",
		"refresh token":     who.refresh,
		"signature cut off": cutSignature(who.token),
		"alg none": make(
			func(a *access) { a.method, a.key = jwt.SigningMethodNone, jwt.UnsafeAllowNoneSignatureType },
		),
		"alg None": make(func(a *access) {
			a.method, a.key, a.header["alg"] = jwt.SigningMethodNone, jwt.UnsafeAllowNoneSignatureType, "None"
		}),
		"HS256 with the public key":   make(hs256(public)),
		"HS256 with the encoded key":  make(hs256([]byte(encoded))),
		"HS256 with the JWK":          make(hs256(jwk)),
		"another's key under our kid": make(func(a *access) { a.key = stranger }),
		"unknown kid":                 make(func(a *access) { a.header["kid"] = "AAAAAAAAAAAA" }),
		"no kid":                      make(func(a *access) { a.header["kid"] = nil }),
		"a kid that is no string":     make(func(a *access) { a.header["kid"] = 1 }),
		"typ JWT":                     make(func(a *access) { a.header["typ"] = "JWT" }),
		"no typ":                      make(func(a *access) { a.header["typ"] = nil }),
		"another issuer":              make(func(a *access) { a.claims["iss"] = "somebody" }),
		"no issuer":                   make(func(a *access) { delete(a.claims, "iss") }),
		"another audience":            make(func(a *access) { a.claims["aud"] = "another-api" }),
		"no audience":                 make(func(a *access) { delete(a.claims, "aud") }),
		"expired":                     make(func(a *access) { a.claims["exp"] = now.Add(-time.Minute).Unix() }),
		"expired by a day, iat before": make(func(a *access) {
			a.claims["iat"], a.claims["exp"] = now.Add(-25*time.Hour).Unix(), now.Add(-24*time.Hour).Unix()
		}),
		"no expiry":               make(func(a *access) { delete(a.claims, "exp") }),
		"issued in the future":    make(func(a *access) { a.claims["iat"] = now.Add(time.Hour).Unix() }),
		"not yet valid":           make(func(a *access) { a.claims["nbf"] = now.Add(time.Hour).Unix() }),
		"subject no id":           make(func(a *access) { a.claims["sub"] = "coach" }),
		"no subject":              make(func(a *access) { delete(a.claims, "sub") }),
		"no sign-in":              make(func(a *access) { delete(a.claims, "sid") }),
		"a sign-in nobody began":  make(func(a *access) { a.claims["sid"] = uuid.NewString() }),
		"sign-in no id":           make(func(a *access) { a.claims["sid"] = "phone" }),
		"another's subject":       make(func(a *access) { a.claims["sub"] = uuid.NewString() }),
		"unknown critical header": make(func(a *access) { a.header["crit"] = []string{"laneward-unknown"} }),
	}
}

func cutSignature(token string) string {
	return token[:slices.Index([]byte(token), '.')+1] + "e30."
}

// TestGoodTokenIsTaken is the control of the forgeries: what they spoil is good.
func TestGoodTokenIsTaken(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	who := s.signUp(t, "Ansa Brightwater")
	s.do(t, call{method: http.MethodGet, path: "/v1/me", token: s.access(t, who).signed(t)}).
		want(http.StatusOK)
	for name, token := range s.forgeries(t, who) {
		t.Run(name, func(t *testing.T) {
			s.do(t, call{method: http.MethodGet, path: "/v1/me", token: token}).want(http.StatusUnauthorized)
		})
	}
}

func TestAuthorizationHeader(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	who := s.signUp(t, "Ansa Brightwater")
	for name, tc := range map[string]struct {
		header string
		want   int
	}{
		"scheme in another case": {"bearer " + who.token, http.StatusOK},
		"two blanks":             {"Bearer  " + who.token, http.StatusOK},
		"no scheme":              {who.token, http.StatusUnauthorized},
		"scheme only":            {"Bearer", http.StatusUnauthorized},
		"Basic":                  {"Basic " + who.token, http.StatusUnauthorized},
		"something after it":     {"Bearer " + who.token + " more", http.StatusUnauthorized},
	} {
		t.Run(name, func(t *testing.T) {
			a := s.do(t, call{method: http.MethodGet, path: "/v1/me", header: map[string]string{"Authorization": tc.header}}).
				want(tc.want)
			if tc.want == http.StatusUnauthorized && a.header.Get("WWW-Authenticate") == "" {
				t.Error("401 without WWW-Authenticate (RFC 9110, section 11.6.1)")
			}
		})
	}
	t.Run("token in the query", func(t *testing.T) {
		a := s.do(t, call{method: http.MethodGet, path: "/v1/me?access_token=" + who.token})
		a.want(http.StatusUnauthorized)
	})
}

// TestTokenRunsOut moves the clock past the token's life and its leeway.
func TestTokenRunsOut(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	who := s.signUp(t, "Ansa Brightwater")
	me := call{method: http.MethodGet, path: "/v1/me", token: who.token}
	s.clock.move(15 * time.Minute)
	s.do(t, me).want(http.StatusOK) // within the leeway for clocks that differ
	s.clock.move(time.Minute)
	s.do(t, me).want(http.StatusUnauthorized)
}
