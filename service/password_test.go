package service

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// hasher is a service that only hashes.
func hasher() *Service { return New(Config{Keys: newTestKeys()}) }

func newTestKeys() *Keys {
	keys, err := NewKeys()
	if err != nil {
		panic(err)
	}
	return keys
}

// TestArgon2id takes the answers of testdata/security/argon2id.json, whose README says where they
// come from and why not from RFC 9106.
func TestArgon2id(t *testing.T) {
	t.Parallel()
	var answers []struct {
		Password, Salt, Tag string
		Passes              uint32
		MemoryKiB           uint32 `json:"memory_kib"`
		Lanes               uint8
	}
	readSecurityData(t, "argon2id.json", &answers)
	if len(answers) == 0 {
		t.Fatal("no answers")
	}
	s := hasher()
	for _, a := range answers {
		cost := argonParams{memoryKiB: a.MemoryKiB, passes: a.Passes, lanes: a.Lanes}
		t.Run(fmt.Sprintf("%+v", cost), func(t *testing.T) {
			tag, err := s.argon(t.Context(), a.Password, []byte(a.Salt), cost)
			if got := hex.EncodeToString(tag); got != a.Tag || err != nil {
				t.Errorf("tag %s, want %s (%v)", got, a.Tag, err)
			}
			encode := base64.RawStdEncoding.EncodeToString
			want, err := hex.DecodeString(a.Tag)
			if err != nil {
				t.Fatal(err)
			}
			phc := fmt.Sprintf(
				"$argon2id$v=19$m=%d,t=%d,p=%d$%s$%s",
				a.MemoryKiB,
				a.Passes,
				a.Lanes,
				encode([]byte(a.Salt)),
				encode(want),
			)
			for password, good := range map[string]bool{a.Password: true, a.Password + " ": false, strings.ToUpper(a.Password): false, "": false} {
				ok, outdated, err := s.checkPassword(t.Context(), phc, password)
				if ok != good || outdated != (cost != passwordCost) || err != nil {
					t.Errorf("%q: ok %v, outdated %v, %v", password, ok, outdated, err)
				}
			}
		})
	}
}

// TestHashPassword writes hashes and checks them.
func TestHashPassword(t *testing.T) {
	t.Parallel()
	s := hasher()
	first, err := s.hashPassword(t.Context(), "umber lantern nine kites")
	if err != nil {
		t.Fatal(err)
	}
	second, err := s.hashPassword(t.Context(), "umber lantern nine kites")
	if err != nil {
		t.Fatal(err)
	}
	if first == second {
		t.Error("two hashes of one password are alike: the salt is not fresh")
	}
	// The least of the OWASP password storage cheat sheet: 19 MiB, 2 passes, 1 lane.
	if !strings.HasPrefix(first, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("hash %s", first)
	}
	if cost, salt, tag, err := parseHash(
		first,
	); err != nil || cost != passwordCost || len(salt) != 16 ||
		len(tag) != 32 {
		t.Errorf("%v, salt of %d, tag of %d, %v", cost, len(salt), len(tag), err)
	}
	if ok, outdated, err := s.checkPassword(
		t.Context(),
		first,
		"umber lantern nine kites",
	); !ok || outdated ||
		err != nil {
		t.Errorf("ok %v, outdated %v, %v", ok, outdated, err)
	}
	if _, _, tag, err := parseHash(dummyHash); err != nil || bytes.Equal(tag, nil) {
		t.Errorf("the hash for unknown accounts cannot be read: %v", err)
	}
	if cost, _, _, _ := parseHash(dummyHash); cost != passwordCost {
		t.Errorf("an unknown account takes another time: %v", cost)
	}
}

func TestBrokenHashes(t *testing.T) {
	t.Parallel()
	s := hasher()
	good, err := s.hashPassword(t.Context(), "umber lantern nine kites")
	if err != nil {
		t.Fatal(err)
	}
	for name, hash := range map[string]string{
		"empty": "", "another algorithm": strings.Replace(good, "argon2id", "argon2i", 1), "another version": strings.Replace(good, "v=19", "v=16", 1),
		"no passes": strings.Replace(good, "t=2", "t=0", 1), "no lanes": strings.Replace(good, "p=1", "p=0", 1), "no memory": strings.Replace(good, "m=19456", "m=", 1),
		"cut": good[:len(good)-5], "longer": good + "$x", "not base64": good[:len(good)-1] + "!",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if ok, _, err := s.checkPassword(t.Context(), hash, "umber lantern nine kites"); ok || err == nil {
				t.Errorf("ok %v, error %v", ok, err)
			} else if strings.Contains(err.Error(), "$") {
				t.Errorf("the error tells the hash: %v", err)
			}
		})
	}
}

// TestHashesWaitTheirTurn: no more are made at once than there are places, and who gives up waiting
// is told so.
func TestHashesWaitTheirTurn(t *testing.T) {
	t.Parallel()
	s := hasher()
	for range cap(s.hashes.places) {
		s.hashes.places <- struct{}{}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.hashPassword(ctx, "umber lantern nine kites"); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	<-s.hashes.places
	if _, err := s.hashPassword(t.Context(), "umber lantern nine kites"); err != nil {
		t.Error(err)
	}
	if len(s.hashes.places) != cap(s.hashes.places)-1 {
		t.Errorf("%d places taken: one was not given back", len(s.hashes.places))
	}
}

func TestGuessablePasswords(t *testing.T) {
	t.Parallel()
	for password, refused := range map[string]bool{
		"Password1234": true, "aaaaaaaaaaaaaa": true, "ansa@invented.example!": true, "BowlingBowling": true,
		"umber lantern nine kites": false, "aaaaaaaaaaaaab": false, "пароль из слов": false, "correct horse 7-10": false,
	} {
		if detail := passwordFault(password, "ansa@invented.example"); (detail != "") != refused {
			t.Errorf("%q: %q", password, detail)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		letter := rapid.Rune().Draw(t, "letter")
		passwordFault(strings.Repeat(string(letter), 12), "a@b") // must not panic, whatever the letter
	})
}
