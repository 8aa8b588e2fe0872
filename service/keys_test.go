package service

import (
	"crypto/ed25519"
	"crypto/hmac"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
)

// vector is one token of testdata/security/jws.json, whose README names the sources.
type vector struct{ Seed, Public, Secret, Payload, Token string }

func jwsVectors(t testing.TB) map[string]vector {
	t.Helper()
	vectors := make(map[string]vector)
	readSecurityData(t, "jws.json", &vectors)
	return vectors
}

func readSecurityData(t testing.TB, name string, value any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("../testdata/security", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, value); err != nil {
		t.Fatal(err)
	}
}

func decode64(t testing.TB, text string) []byte {
	t.Helper()
	data, err := base64.RawURLEncoding.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// TestRFCTokensAreRefused takes the published tokens: each is what it is said to be by the standard
// library, and none is ours.
func TestRFCTokensAreRefused(t *testing.T) {
	t.Parallel()
	vectors := jwsVectors(t)
	seed := decode64(t, vectors["rfc8037-a4"].Seed)
	// Even the holder of the very key refuses them: none is an access token.
	keys := newKeys([]ed25519.PrivateKey{ed25519.NewKeyFromSeed(seed)})
	for name, v := range vectors {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			parts := strings.Split(v.Token, ".")
			if got := string(decode64(t, parts[1])); got != v.Payload {
				t.Errorf("payload %q, want %q", got, v.Payload)
			}
			signed, signature := []byte(parts[0]+"."+parts[1]), decode64(t, parts[2])
			switch {
			case v.Seed != "":
				if !ed25519.Verify(decode64(t, v.Public), signed, signature) {
					t.Error("the vector's signature is wrong")
				}
			case v.Secret != "":
				mac := hmac.New(sha256.New, decode64(t, v.Secret))
				mac.Write(signed)
				if !hmac.Equal(mac.Sum(nil), signature) {
					t.Error("the vector's signature is wrong")
				}
			case len(signature) > 0:
				t.Error("an unsecured token has no signature")
			}
			if user, err := keys.check(v.Token, time.Unix(1300819379, 0)); err == nil {
				t.Errorf("taken for %s", user)
			} else {
				wantCode(t, err, Unauthenticated)
			}
		})
	}
}

// TestPublicKey is RFC 8037, appendix A.2, but for kid, alg and use.
func TestPublicKey(t *testing.T) {
	t.Parallel()
	v := jwsVectors(t)["rfc8037-a4"]
	keys := newKeys([]ed25519.PrivateKey{ed25519.NewKeyFromSeed(decode64(t, v.Seed))})
	want := PublicKey{KeyType: "OKP", Curve: "Ed25519", X: v.Public, ID: keys.signing.id, Alg: "EdDSA", Use: "sig"}
	if diff := cmp.Diff([]PublicKey{want}, keys.Public()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	written, err := json.Marshal(keys.Public()[0])
	if err != nil {
		t.Fatal(err)
	}
	if private := base64.RawURLEncoding.EncodeToString(
		decode64(t, v.Seed),
	); strings.Contains(string(written), private) ||
		strings.Contains(string(written), `"d"`) {
		t.Errorf("the private key is told: %s", written)
	}
}

// TestAccessToken reads what is signed with nothing but the standard library.
func TestAccessToken(t *testing.T) {
	t.Parallel()
	keys, err := NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	user, now := Identity{User: newID(), SignIn: newID()}, time.Unix(1_773_511_200, 0)
	token, err := keys.sign(user, now)
	if err != nil {
		t.Fatal(err)
	}
	parts := strings.Split(token, ".")
	public := decode64(t, keys.Public()[0].X)
	if len(parts) != 3 || !ed25519.Verify(public, []byte(parts[0]+"."+parts[1]), decode64(t, parts[2])) {
		t.Fatalf("token %q is not signed as RFC 8037 says", token)
	}
	var header, claims map[string]any
	for i, into := range []*map[string]any{&header, &claims} {
		if err := json.Unmarshal(decode64(t, parts[i]), into); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(
		map[string]any{"alg": "EdDSA", "kid": keys.Public()[0].ID, "typ": "at+jwt"},
		header,
	); diff != "" {
		t.Errorf("header (-want +got):\n%s", diff)
	}
	if _, err := uuid.Parse(claims["jti"].(string)); err != nil {
		t.Error(err)
	}
	delete(claims, "jti")
	want := map[string]any{
		"iss": "laneward",
		"aud": []any{"laneward-api"},
		"sub": user.User.String(),
		"sid": user.SignIn.String(),
		"iat": float64(now.Unix()),
		"exp": float64(now.Unix() + 900),
	}
	if diff := cmp.Diff(want, claims); diff != "" {
		t.Errorf("claims (-want +got):\n%s", diff)
	}
	for name, tc := range map[string]struct {
		after time.Duration
		good  bool
	}{
		"at once":                     {0, true},
		"by a clock 30 s behind":      {-30 * time.Second, true},
		"by a clock two minutes back": {-2 * time.Minute, false},
		"within its life":             {14 * time.Minute, true},
		"within the leeway":           {15*time.Minute + 29*time.Second, true},
		"after it":                    {15*time.Minute + 31*time.Second, false},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := keys.check(token, now.Add(tc.after))
			if (err == nil) != tc.good || tc.good && got != user {
				t.Errorf("user %s, error %v", got, err)
			}
		})
	}
	for i := range token { // every letter counts
		changed := token[:i] + "x" + token[i+1:]
		if changed == token {
			changed = token[:i] + "y" + token[i+1:]
		}
		if got, err := keys.check(
			changed,
			now,
		); err == nil &&
			i < len(token)-1 { // the last letter of 64 bytes has four bits to spare
			t.Fatalf("letter %d changed: taken for %s", i, got)
		}
	}
}

func pemOf(t testing.TB, key any) []byte {
	t.Helper()
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})
}

// TestChangeOfKeys puts a new key in front of the file, and later takes the old one out.
func TestChangeOfKeys(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "deep", "keys.pem")
	load := func() *Keys {
		t.Helper()
		keys, err := LoadKeys(path)
		if err != nil {
			t.Fatal(err)
		}
		return keys
	}
	before := load()
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file of keys: %v, %v", info.Mode(), err)
	}
	old, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	now, user := time.Now(), Identity{User: newID(), SignIn: newID()}
	token, err := before.sign(user, now)
	if err != nil {
		t.Fatal(err)
	}
	_, fresh, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, append(pemOf(t, fresh), old...), 0o600); err != nil {
		t.Fatal(err)
	}
	both := load()
	if got, err := both.check(token, now); err != nil || got != user {
		t.Errorf("a token of the old key: %v, %v", got, err)
	}
	if len(both.Public()) != 2 || both.Public()[1] != before.Public()[0] {
		t.Errorf("public keys %v", both.Public())
	}
	newer, err := both.sign(user, now)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := before.check(newer, now); err == nil {
		t.Error("the new key does not sign")
	}
	if string(both.secret("cursors")) != string(before.secret("cursors")) {
		t.Error("what was signed for another purpose is lost with the new key")
	}
	if string(both.secret("cursors")) == string(both.secret("other")) {
		t.Error("two purposes have one key")
	}
	if err := os.WriteFile(path, pemOf(t, fresh), 0o600); err != nil {
		t.Fatal(err)
	}
	after := load()
	if _, err := after.check(token, now); err == nil {
		t.Error("a token of a key that was taken out is still good")
	}
	if got, err := after.check(newer, now); err != nil || got != user {
		t.Errorf("a token of the new key: %v, %v", got, err)
	}
}

// TestKeyFileMadeOnce lets several processes begin at once.
func TestKeyFileMadeOnce(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "keys.pem")
	var wg sync.WaitGroup
	ids := make([]string, 8)
	for i := range ids {
		wg.Go(func() {
			keys, err := LoadKeys(path)
			if err != nil {
				t.Error(err)
				return
			}
			ids[i] = keys.signing.id
		})
	}
	wg.Wait()
	for _, id := range ids {
		if id != ids[0] {
			t.Fatalf("different keys: %v", ids)
		}
	}
	left, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(left) != 1 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestKeyFileLeavesItsFolderPassable makes the folders of a first start: run by root, the private
// Postgres beside the key has an account of its own, which must get through to its cluster.
func TestKeyFileLeavesItsFolderPassable(t *testing.T) {
	t.Parallel()
	state := filepath.Join(t.TempDir(), "laneward")
	if _, err := LoadKeys(filepath.Join(state, "demo", "keys.pem")); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{state, filepath.Join(state, "demo")} {
		info, err := os.Stat(dir)
		if err != nil {
			t.Fatal(err)
		}
		if mode := info.Mode().Perm(); mode != 0o711 {
			t.Errorf("%s has mode %o: others must pass through it, and not list it", dir, mode)
		}
	}
}

func TestBadKeyFiles(t *testing.T) {
	t.Parallel()
	weak, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{
		"empty": nil, "no PEM": []byte("hunter2"), "another kind of key": pemOf(t, weak),
		"a broken block": pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: []byte("hunter2secret")}),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "keys.pem")
			if err := os.WriteFile(path, content, 0o600); err != nil {
				t.Fatal(err)
			}
			_, err := LoadKeys(path)
			if err == nil || !strings.Contains(err.Error(), path) || strings.Contains(err.Error(), "hunter2") {
				t.Errorf("error %v", err)
			}
			if kept, err := os.ReadFile(path); err != nil || string(kept) != string(content) {
				t.Error("the file was changed")
			}
		})
	}
}
