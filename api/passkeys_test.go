package api_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"laneward/openapi"
)

// authenticator is a passkey on a device: a key on the curve P-256 that answers as W3C Web
// Authentication, level 3, sections 6.1 and 7, asks. What it signs is built here byte by byte, with
// nothing of the library that checks it.
type authenticator struct {
	origin  string
	key     *ecdsa.PrivateKey
	id      []byte
	user    []byte
	counter uint32
}

func newAuthenticator(t testing.TB) *authenticator {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	id := make([]byte, 16)
	if _, err := rand.Read(id); err != nil {
		t.Fatal(err)
	}
	return &authenticator{origin: publicURL, key: key, id: id}
}

var base64url = base64.RawURLEncoding.EncodeToString

// The flags of authenticator data: the person was there, was verified, and a new key follows.
const (
	present, verified, attested = 0x01, 0x04, 0x40
)

// data is the authenticator data (section 6.1), with the new key for a registration.
func (a *authenticator) data(t testing.TB, party string, flags byte) []byte {
	t.Helper()
	hash := sha256.Sum256([]byte(party))
	a.counter++
	data := append(hash[:], flags)
	data = binary.BigEndian.AppendUint32(data, a.counter)
	if flags&attested == 0 {
		return data
	}
	point, err := a.key.PublicKey.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	data = append(data, make([]byte, 16)...) // no model is named
	data = binary.BigEndian.AppendUint16(data, uint16(len(a.id)))
	data = append(data, a.id...)
	// A COSE key of RFC 9053, section 7.1.1: EC2, ES256, P-256, x and y.
	data = append(data, 0xa5, 0x01, 0x02, 0x03, 0x26, 0x20, 0x01, 0x21, 0x58, 0x20)
	data = append(data, point[1:33]...)
	data = append(data, 0x22, 0x58, 0x20)
	return append(data, point[33:]...)
}

// said is the client data (section 5.8.1) of an answer to the challenge of some options.
func (a *authenticator) said(t testing.TB, kind string, options map[string]any) []byte {
	t.Helper()
	data, err := json.Marshal(map[string]any{
		"type": kind, "challenge": options["challenge"], "origin": a.origin, "crossOrigin": false,
	})
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// register answers the options of a registration.
func (a *authenticator) register(t testing.TB, begun openapi.PasskeyCeremony) string {
	t.Helper()
	options := begun.Options["publicKey"].(map[string]any)
	user, err := base64.RawURLEncoding.DecodeString(options["user"].(map[string]any)["id"].(string))
	if err != nil {
		t.Fatal(err)
	}
	a.user = user
	party := options["rp"].(map[string]any)["id"].(string)
	data := a.data(t, party, present|verified|attested)
	// The attestation object of section 6.5.4 in CBOR, with no attestation.
	object := append([]byte{0xa3, 0x63}, "fmt"...)
	object = append(append(object, 0x64), "none"...)
	object = append(append(object, 0x67), "attStmt"...)
	object = append(append(object, 0xa0, 0x68), "authData"...)
	object = append(append(object, 0x58, byte(len(data))), data...)
	return a.credential(t, map[string]any{
		"clientDataJSON":    base64url(a.said(t, "webauthn.create", options)),
		"attestationObject": base64url(object),
	})
}

// signIn answers the options of a sign-in.
func (a *authenticator) signIn(t testing.TB, begun openapi.PasskeyCeremony, flags byte) string {
	t.Helper()
	options := begun.Options["publicKey"].(map[string]any)
	data := a.data(t, options["rpId"].(string), flags)
	said := a.said(t, "webauthn.get", options)
	hash := sha256.Sum256(said)
	digest := sha256.Sum256(append(data[:len(data):len(data)], hash[:]...))
	signature, err := ecdsa.SignASN1(rand.Reader, a.key, digest[:])
	if err != nil {
		t.Fatal(err)
	}
	return a.credential(t, map[string]any{
		"clientDataJSON": base64url(said), "authenticatorData": base64url(data), "signature": base64url(signature),
		"userHandle": base64url(a.user),
	})
}

func (a *authenticator) credential(t testing.TB, response map[string]any) string {
	t.Helper()
	text, err := json.Marshal(map[string]any{
		"id": base64url(a.id), "rawId": base64url(a.id), "type": "public-key", "response": response,
		"clientExtensionResults": map[string]any{},
	})
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func (s *server) beginPasskey(t testing.TB, who person) (begun openapi.PasskeyCeremony) {
	t.Helper()
	s.as(t, who, http.MethodPost, "/v1/me/passkeys/challenge", map[string]any{"password": goodPassword}).
		want(http.StatusOK).into(&begun)
	return begun
}

func (s *server) addPasskey(t testing.TB, who person, begun openapi.PasskeyCeremony, credential any) *answer {
	t.Helper()
	return s.as(t, who, http.MethodPost, "/v1/me/passkeys", map[string]any{
		"ceremony": begun.Ceremony, "name": "My phone", "credential": credential,
	})
}

func (s *server) beginPasskeySignIn(t testing.TB) (begun openapi.PasskeyCeremony) {
	t.Helper()
	s.do(t, call{method: http.MethodPost, path: "/v1/tokens/passkey/challenge"}).want(http.StatusOK).into(&begun)
	return begun
}

func (s *server) signInWithPasskey(t testing.TB, begun openapi.PasskeyCeremony, credential any) *answer {
	t.Helper()
	return s.do(t, call{method: http.MethodPost, path: "/v1/tokens/passkey", body: map[string]any{
		"ceremony": begun.Ceremony, "credential": credential, "device": "phone",
	}})
}

// TestPasskeys adds one, signs in with it, and removes it; and refuses what a stranger, a copy or
// another site could send.
func TestPasskeys(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	who, other := s.signUp(t, "Ansa Brightwater"), s.signUp(t, "Bram Stillwell")
	s.as(t, who, http.MethodPost, "/v1/me/passkeys/challenge", map[string]any{"password": "wrong"}).want(http.StatusBadRequest)
	phone := newAuthenticator(t)

	elsewhere := newAuthenticator(t)
	elsewhere.origin = "https://lanes.invented.example.evil.example"
	begun := s.beginPasskey(t, who)
	s.addPasskey(t, who, begun, elsewhere.register(t, begun)).want(http.StatusBadRequest)
	begun = s.beginPasskey(t, who)
	s.addPasskey(t, other, begun, phone.register(t, begun)).want(http.StatusBadRequest)
	var added openapi.Passkey
	s.addPasskey(t, who, begun, phone.register(t, begun)).want(http.StatusCreated).into(&added)
	s.addPasskey(t, who, begun, phone.register(t, begun)).want(http.StatusBadRequest) // spent
	again := s.beginPasskey(t, other)
	s.addPasskey(t, other, again, phone.register(t, again)).want(http.StatusConflict)
	phone.user = who.id[:]
	late := s.beginPasskey(t, who)
	s.clock.move(6 * time.Minute)
	s.addPasskey(t, who, late, newAuthenticator(t).register(t, late)).want(http.StatusBadRequest)

	login := s.beginPasskeySignIn(t)
	answer := phone.signIn(t, login, present|verified)
	var tokens openapi.Tokens
	s.signInWithPasskey(t, login, answer).want(http.StatusCreated).into(&tokens)
	if tokens.UserID != who.id {
		t.Errorf("signed in as %s", tokens.UserID)
	}
	s.signInWithPasskey(t, login, answer).want(http.StatusUnauthorized) // spent
	for name, spoil := range map[string]func(a *authenticator) byte{
		"nobody verified":  func(*authenticator) byte { return present },
		"another key":      func(a *authenticator) byte { a.key = newAuthenticator(t).key; return present | verified },
		"another site":     func(a *authenticator) byte { a.origin = "https://evil.example"; return present | verified },
		"another user":     func(a *authenticator) byte { a.user = other.id[:]; return present | verified },
		"nobody's":         func(a *authenticator) byte { a.user = make([]byte, 16); return present | verified },
		"an older counter": func(a *authenticator) byte { a.counter = 0; return present | verified },
	} {
		t.Run(name, func(t *testing.T) {
			spoiled := *phone
			flags := spoil(&spoiled)
			login := s.beginPasskeySignIn(t)
			s.signInWithPasskey(t, login, spoiled.signIn(t, login, flags)).want(http.StatusUnauthorized)
		})
	}
	var list openapi.PasskeyList
	s.as(t, who, http.MethodGet, "/v1/me/passkeys", nil).want(http.StatusOK).into(&list)
	if len(list.Items) != 1 || list.Items[0].Name != "My phone" || list.Items[0].LastUsedAt == nil {
		t.Errorf("passkeys %+v", list)
	}
	path := "/v1/me/passkeys/" + added.ID.String()
	s.as(t, other, http.MethodDelete, path, nil).want(http.StatusNotFound)
	s.as(t, who, http.MethodDelete, path, nil).want(http.StatusNoContent)
	login = s.beginPasskeySignIn(t)
	s.signInWithPasskey(t, login, phone.signIn(t, login, present|verified)).want(http.StatusUnauthorized)
}

// TestResetRemovesPasskeys: a code that somebody else made leaves no other way in.
func TestResetRemovesPasskeys(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	who, phone := s.signUp(t, "Ansa Brightwater"), newAuthenticator(t)
	begun := s.beginPasskey(t, who)
	s.addPasskey(t, who, begun, phone.register(t, begun)).want(http.StatusCreated)
	made, err := s.service.MakeOperatorsResetCode(t.Context(), who.email)
	if err != nil {
		t.Fatal(err)
	}
	s.reset(t, who.email, made.Code).want(http.StatusCreated)
	login := s.beginPasskeySignIn(t)
	s.signInWithPasskey(t, login, phone.signIn(t, login, present|verified)).want(http.StatusUnauthorized)
}

// TestPasskeysOff: without a public name there are passkeys at localhost only.
func TestPasskeysOff(t *testing.T) {
	t.Parallel()
	s := newServer(t, func(how *setUp) { how.public = "" })
	who := s.signUp(t, "Ansa Brightwater")
	calls := map[string]call{
		"/v1/me/passkeys/challenge":    {token: who.token, body: map[string]any{"password": goodPassword}},
		"/v1/me/passkeys":              {token: who.token, body: accessRows["addPasskey"].body(nil, 0)},
		"/v1/tokens/passkey/challenge": {},
		"/v1/tokens/passkey":           {body: accessRows["signInWithPasskey"].body(nil, 0)},
	}
	for path, c := range calls {
		c.method, c.path = http.MethodPost, path
		if p := s.do(t, c).want(http.StatusConflict).problem(); !strings.Contains(p.Detail, "passkeys are off here") {
			t.Errorf("%s: %s", path, p.Detail)
		}
	}
	if err := s.service.PasskeysOff("http://localhost:8080"); err != nil {
		t.Errorf("at localhost: %v", err)
	}
	if err := s.service.PasskeysOff("http://localhost.evil.example"); err == nil {
		t.Error("there are passkeys at a name that begins with localhost")
	}
}

// TestPasskeyThrottles: neither the challenges of a network nor the guesses at a password are free.
func TestPasskeyThrottles(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	who := s.signUp(t, "Ansa Brightwater")
	s.beginPasskeySignIn(t)
	s.asOwner(t, "UPDATE sign_in_failures SET failures = 1000 WHERE subject LIKE 'passkey:%'")
	s.do(t, call{method: http.MethodPost, path: "/v1/tokens/passkey/challenge"}).want(http.StatusTooManyRequests)
	for range 5 {
		s.as(t, who, http.MethodPost, "/v1/me/passkeys/challenge", map[string]any{"password": "wrong"}).want(http.StatusBadRequest)
	}
	s.as(t, who, http.MethodPost, "/v1/me/passkeys/challenge", map[string]any{"password": goodPassword}).
		want(http.StatusTooManyRequests)
}
