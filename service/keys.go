package service

import (
	"crypto/ed25519"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"github.com/google/uuid"
)

// Access tokens. Source of the choices: RFC 8725 (one pinned algorithm, issuer and audience
// checked), RFC 8037 (EdDSA), RFC 9068 (typ).
const (
	tokenIssuer   = "laneward"
	tokenAudience = "laneward-api"
	tokenType     = "at+jwt"
	AccessTTL     = 15 * time.Minute
	tokenLeeway   = 30 * time.Second
)

// Keys sign and check access tokens. The first key signs; all of them check, so that a key can be
// changed without signing anyone out. Those of other servers on the same database only check.
type Keys struct {
	signing key
	all     map[string]key
	order   []string
	mu      sync.RWMutex
	others  map[string]otherKey
}

// otherKey is a key of another server, which was there when it was last heard of.
type otherKey struct {
	public ed25519.PublicKey
	seenAt time.Time
}

type key struct {
	id      string
	private ed25519.PrivateKey
}

func (k key) public() ed25519.PublicKey { return k.private.Public().(ed25519.PublicKey) }

// PublicKey is a key for checking, as RFC 7517 writes it.
type PublicKey struct {
	KeyType string `json:"kty"`
	Curve   string `json:"crv"`
	X       string `json:"x"`
	ID      string `json:"kid"`
	Alg     string `json:"alg"`
	Use     string `json:"use"`
}

// NewKeys makes a set of one fresh key.
func NewKeys() (*Keys, error) {
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("make a signing key: %w", err)
	}
	return newKeys([]ed25519.PrivateKey{private}), nil
}

func newKeys(private []ed25519.PrivateKey) *Keys {
	k := &Keys{all: make(map[string]key, len(private))}
	for _, p := range private {
		one := key{private: p}
		one.id = keyID(one.public())
		k.all[one.id] = one
		k.order = append(k.order, one.id)
	}
	k.signing = k.all[k.order[0]]
	return k
}

// keyID names a key by its public half.
func keyID(public ed25519.PublicKey) string {
	sum := sha256.Sum256(public)
	return base64.RawURLEncoding.EncodeToString(sum[:9])
}

// LoadKeys reads the PEM file of Ed25519 keys (PKCS #8) at path, or makes it, readable by its owner
// only, with one fresh key. To change the key, put a new block in front and keep the old one for as
// long as a token lives.
func LoadKeys(path string) (*Keys, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return makeKeyFile(path)
	}
	if err != nil {
		return nil, fmt.Errorf("read the signing keys: %w", err)
	}
	var private []ed25519.PrivateKey
	for block, rest := pem.Decode(data); block != nil; block, rest = pem.Decode(rest) {
		parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
		one, ok := parsed.(ed25519.PrivateKey)
		if err != nil || !ok {
			return nil, fmt.Errorf("signing keys in %s: each block must be an Ed25519 private key in PKCS #8", path)
		}
		private = append(private, one)
	}
	if len(private) == 0 {
		return nil, fmt.Errorf(
			"signing keys in %s: there is no PEM block; move the file away to have a new key made",
			path,
		)
	}
	return newKeys(private), nil
}

func makeKeyFile(path string) (*Keys, error) {
	keys, err := NewKeys()
	if err != nil {
		return nil, err
	}
	der, err := x509.MarshalPKCS8PrivateKey(keys.signing.private)
	if err != nil {
		return nil, fmt.Errorf("write the signing key: %w", err)
	}
	// The folder also holds the private Postgres, whose own account has to pass through it.
	if err := os.MkdirAll(filepath.Dir(path), 0o711); err != nil { //nolint:gosec // passed through, not read
		return nil, fmt.Errorf("write the signing key: %w", err)
	}
	err = publishFile(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}))
	if errors.Is(err, fs.ErrExist) {
		return LoadKeys(path) // another process was faster
	}
	if err != nil {
		return nil, fmt.Errorf("write the signing key: %w", err)
	}
	return keys, nil
}

// publishFile makes a file that only its owner may read, complete from the moment it has its name:
// no reader sees half a key, and no crash leaves one. It fails with [fs.ErrExist] when the file
// already exists.
func publishFile(path string, content []byte) error {
	file, err := os.CreateTemp(filepath.Dir(path), ".new-*")
	if err != nil {
		return err
	}
	defer os.Remove(file.Name()) //nolint:errcheck // gone already when it was published
	_, err = file.Write(content)
	if err := errors.Join(err, file.Sync(), file.Close()); err != nil {
		return err
	}
	return os.Link(file.Name(), path)
}

// Public returns the keys for checking, the signing one first and those of other servers last.
func (k *Keys) Public() []PublicKey {
	list := make([]PublicKey, 0, len(k.order))
	for _, id := range k.order {
		list = append(list, writeKey(id, k.all[id].public()))
	}
	k.mu.RLock()
	defer k.mu.RUnlock()
	for _, id := range slices.Sorted(maps.Keys(k.others)) {
		list = append(list, writeKey(id, k.others[id].public))
	}
	return list
}

func writeKey(id string, public ed25519.PublicKey) PublicKey {
	return PublicKey{
		KeyType: "OKP",
		Curve:   "Ed25519",
		X:       base64.RawURLEncoding.EncodeToString(public),
		ID:      id,
		Alg:     "EdDSA",
		Use:     "sig",
	}
}

// secret derives a key for another purpose from the last key of the set, the one that stays longest
// when keys change.
func (k *Keys) secret(purpose string) []byte {
	last := k.all[k.order[len(k.order)-1]]
	derived, err := hkdf.Key(sha256.New, last.private.Seed(), nil, "laneward "+purpose, 32)
	if err != nil {
		panic(err) // HKDF over SHA-256 always has 32 bytes of output
	}
	return derived
}

// Identity is whom an access token was issued for, and at which sign-in.
type Identity struct {
	User, SignIn uuid.UUID
}

// claims are what an access token says. The sign-in's name is that of the registry of claims.
type claims struct {
	jwt.RegisteredClaims
	SignIn string `json:"sid"`
}

// sign makes an access token.
func (k *Keys) sign(who Identity, now time.Time) (string, error) {
	token := jwt.NewWithClaims(jwt.SigningMethodEdDSA, claims{
		RegisteredClaims: jwt.RegisteredClaims{
			Issuer:    tokenIssuer,
			Audience:  jwt.ClaimStrings{tokenAudience},
			Subject:   who.User.String(),
			ID:        newID().String(),
			IssuedAt:  jwt.NewNumericDate(now),
			ExpiresAt: jwt.NewNumericDate(now.Add(AccessTTL)),
		},
		SignIn: who.SignIn.String(),
	})
	token.Header["kid"] = k.signing.id
	token.Header["typ"] = tokenType
	signed, err := token.SignedString(k.signing.private)
	if err != nil {
		return "", fmt.Errorf("sign an access token: %w", err)
	}
	return signed, nil
}

// check returns whom an access token was issued for. It gives the caller the same answer
// whatever the reason to refuse.
func (k *Keys) check(text string, now time.Time) (Identity, error) {
	parser := jwt.NewParser(
		jwt.WithValidMethods(
			[]string{jwt.SigningMethodEdDSA.Alg()},
		),
		jwt.WithIssuer(tokenIssuer),
		jwt.WithAudience(tokenAudience),
		jwt.WithExpirationRequired(),
		jwt.WithIssuedAt(),
		jwt.WithLeeway(tokenLeeway),
		jwt.WithTimeFunc(func() time.Time { return now }),
	)
	var said claims
	_, err := parser.ParseWithClaims(text, &said, func(token *jwt.Token) (any, error) {
		if token.Header["typ"] != tokenType {
			return nil, errors.New("not an access token")
		}
		if _, ok := token.Header["crit"]; ok {
			return nil, errors.New("a critical extension nobody here understands") // RFC 7515, section 4.1.11
		}
		id, _ := token.Header["kid"].(string)
		public := k.public(id, now)
		if public == nil {
			return nil, errUnknownKey
		}
		return public, nil
	})
	if err != nil {
		return Identity{}, &Error{
			Code:   Unauthenticated,
			Detail: "the access token is not valid or has run out: refresh it or sign in again",
			cause:  err,
		}
	}
	user, err := uuid.Parse(said.Subject)
	signIn, errSignIn := uuid.Parse(said.SignIn)
	if err = errors.Join(err, errSignIn); err != nil {
		return Identity{}, &Error{
			Code:   Unauthenticated,
			Detail: "the access token does not name a user and a sign-in: refresh it or sign in again",
			cause:  err,
		}
	}
	return Identity{User: user, SignIn: signIn}, nil
}
