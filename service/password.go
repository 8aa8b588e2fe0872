package service

import (
	"context"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"

	"golang.org/x/crypto/argon2"
)

// argonParams are the costs of one hash.
type argonParams struct {
	memoryKiB uint32
	passes    uint32
	lanes     uint8
}

// passwordCost is the least the OWASP password storage cheat sheet recommends for Argon2id: 19 MiB,
// 2 passes, 1 lane. A stored hash of other costs is made anew at the next sign-in.
var passwordCost = argonParams{memoryKiB: 19 * 1024, passes: 2, lanes: 1}

const (
	saltLength = 16 // bytes; RFC 9106, section 4
	tagLength  = 32
)

// hashPassword returns the Argon2id hash of a password with a fresh salt, as a PHC string.
func (s *Service) hashPassword(ctx context.Context, password string) (string, error) {
	salt := make([]byte, saltLength)
	if _, err := io.ReadFull(s.random, salt); err != nil {
		return "", fmt.Errorf("make a salt: %w", err)
	}
	tag, err := s.argon(ctx, password, salt, passwordCost)
	if err != nil {
		return "", err
	}
	encode := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf(
		"$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s",
		argon2.Version,
		passwordCost.memoryKiB,
		passwordCost.passes,
		passwordCost.lanes,
		encode(salt),
		encode(tag),
	), nil
}

// argon waits for one of the few places, because each hash takes its memory.
func (s *Service) argon(ctx context.Context, password string, salt []byte, cost argonParams) ([]byte, error) {
	select {
	case s.hashes <- struct{}{}:
		defer func() { <-s.hashes }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	return argon2.IDKey([]byte(password), salt, cost.passes, cost.memoryKiB, cost.lanes, tagLength), nil
}

// checkPassword reports whether the password is the hashed one, and whether the hash is of other
// costs than today's.
func (s *Service) checkPassword(ctx context.Context, hash, password string) (ok, outdated bool, err error) {
	cost, salt, tag, err := parseHash(hash)
	if err != nil {
		return false, false, err
	}
	got, err := s.argon(ctx, password, salt, cost)
	if err != nil {
		return false, false, err
	}
	return subtle.ConstantTimeCompare(got, tag) == 1, cost != passwordCost, nil
}

func parseHash(hash string) (cost argonParams, salt, tag []byte, err error) {
	bad := errors.New("the stored password hash cannot be read")
	parts := strings.Split(hash, "$")
	if len(parts) != 6 || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return cost, nil, nil, bad
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &cost.memoryKiB, &cost.passes, &cost.lanes); err != nil {
		return cost, nil, nil, bad
	}
	salt, errSalt := base64.RawStdEncoding.DecodeString(parts[4])
	tag, errTag := base64.RawStdEncoding.DecodeString(parts[5])
	if errSalt != nil || errTag != nil || len(tag) != tagLength || cost.passes == 0 || cost.lanes == 0 {
		return cost, nil, nil, bad
	}
	return cost, salt, tag, nil
}

// commonPasswords are refused although long enough: the first any guesser tries.
var commonPasswords = map[string]bool{
	"123456789012":     true,
	"1234567890123":    true,
	"12345678901234":   true,
	"123456789012345":  true,
	"password1234":     true,
	"passwordpassword": true,
	"qwertyuiop12":     true,
	"qwertyuiopasdf":   true,
	"letmeinletmein":   true,
	"iloveyouiloveyou": true,
	"administrator":    true,
	"administrator1":   true,
	"welcomewelcome":   true,
	"bowlingbowling":   true,
	"strikestrike":     true,
}

func passwordFault(password, email string) string {
	lower := strings.ToLower(password)
	switch {
	case password == "":
		return "is empty: take several unrelated words"
	case commonPasswords[lower], strings.Count(lower, lower[:1]) == len(lower):
		return "is among the first anyone would guess: take several unrelated words"
	case strings.Contains(lower, email):
		return "holds your address: take several unrelated words"
	}
	return ""
}
