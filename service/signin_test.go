package service

import (
	"encoding/base64"
	"errors"
	"net/netip"
	"strings"
	"sync"
	"testing"
	"time"

	"laneward/service/record"

	"github.com/google/go-cmp/cmp"
)

const (
	testPassword = "umber lantern nine kites"
	phone        = "phone"
)

var home = netip.MustParseAddr("192.0.2.7")

func (f *fixture) signUp(t testing.TB, email string) Tokens {
	t.Helper()
	tokens, err := f.SignUp(
		t.Context(),
		NewUser{Email: email, Name: "Ansa Brightwater", Password: testPassword, Device: phone},
	)
	if err != nil {
		t.Fatal(err)
	}
	return tokens
}

func (f *fixture) refresh(t testing.TB, token, device string) Tokens {
	t.Helper()
	tokens, err := f.Refresh(t.Context(), token, device)
	if err != nil {
		t.Fatal(err)
	}
	return tokens
}

func (f *fixture) refused(t testing.TB, token, device string) {
	t.Helper()
	tokens, err := f.Refresh(t.Context(), token, device)
	if known := wantCode(
		t,
		err,
		Unauthenticated,
	); tokens != (Tokens{}) ||
		!strings.Contains(known.Detail, "sign in again") {
		t.Errorf("tokens %v, %q", tokens, known.Detail)
	}
}

// TestRefresh goes through what a device, a bad network and a thief may do with refresh tokens.
func TestRefresh(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	start := func(t *testing.T) Tokens {
		return f.signUp(t, strings.ToLower(strings.ReplaceAll(t.Name(), "/", "_"))+"@invented.example")
	}
	t.Run("each is used once", func(t *testing.T) {
		first := start(t)
		second := f.refresh(t, first.Refresh, phone)
		third := f.refresh(t, second.Refresh, phone)
		if first.Refresh == second.Refresh || second.Refresh == third.Refresh || third.User != first.User {
			t.Error("the token was not changed")
		}
		if who, err := f.Authenticate(t.Context(), third.Access); err != nil || who.User != first.User {
			t.Errorf("the new access token: %v, %v", who, err)
		}
	})
	t.Run("a lost answer is given again", func(t *testing.T) {
		first := start(t)
		lost := f.refresh(t, first.Refresh, phone)
		for range 3 {
			f.clock.move(3 * time.Minute)
			if again := f.refresh(t, first.Refresh, phone); again.Refresh != lost.Refresh {
				t.Error("another successor")
			}
		}
		f.refresh(t, lost.Refresh, phone) // and it is good
	})
	t.Run("a lost answer long ago is not", func(t *testing.T) {
		first := start(t)
		lost := f.refresh(t, first.Refresh, phone)
		f.clock.move(10*time.Minute + time.Second)
		f.refused(t, first.Refresh, phone)
		f.refused(t, lost.Refresh, phone) // the whole sign-in has ended
	})
	t.Run("another device that sends a spent one ends it", func(t *testing.T) {
		first := start(t)
		second := f.refresh(t, first.Refresh, phone)
		f.refused(t, first.Refresh, "thief")
		f.refused(t, second.Refresh, phone)
	})
	t.Run("a spent one whose successor was used ends it", func(t *testing.T) {
		first := start(t)
		second := f.refresh(t, first.Refresh, phone)
		third := f.refresh(t, second.Refresh, phone)
		f.refused(t, first.Refresh, phone)
		f.refused(t, third.Refresh, phone)
	})
	t.Run("another sign-in goes on", func(t *testing.T) {
		first := start(t)
		second := f.refresh(t, first.Refresh, phone)
		other, err := f.SignIn(t.Context(), Attempt{
			Email:    strings.ToLower(strings.ReplaceAll(t.Name(), "/", "_")) + "@invented.example",
			Password: testPassword, Device: "tablet", From: home,
		})
		if err != nil {
			t.Fatal(err)
		}
		f.refused(t, first.Refresh, "thief")
		f.refused(t, second.Refresh, phone)
		f.refresh(t, other.Refresh, "tablet")
	})
	t.Run("signing out", func(t *testing.T) {
		first := start(t)
		second := f.refresh(t, first.Refresh, phone)
		if err := f.SignOut(t.Context(), first.Refresh); err != nil { // any token of the sign-in will do
			t.Fatal(err)
		}
		f.refused(t, second.Refresh, phone)
		if err := f.SignOut(t.Context(), second.Refresh); err != nil {
			t.Errorf("signing out twice: %v", err)
		}
	})
	t.Run("it runs out in the end", func(t *testing.T) {
		first := start(t)
		f.clock.move(89 * 24 * time.Hour)
		second := f.refresh(t, first.Refresh, phone)
		f.clock.move(25 * time.Hour)
		f.refused(t, second.Refresh, phone)
	})
	t.Run("unknown", func(t *testing.T) {
		for _, token := range []string{"", "garbage", "not base64!", base64.RawURLEncoding.EncodeToString(make([]byte, 32)), start(t).Access} {
			f.refused(t, token, phone)
			if err := f.SignOut(t.Context(), token); err != nil {
				t.Errorf("signing out %q: %v", token, err)
			}
		}
	})
}

// TestRefreshAtOnce: uses of one token at once, as by two tabs, give one and the same successor.
func TestRefreshAtOnce(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 16)
	token := f.signUp(t, "ansa@invented.example").Refresh
	for range 5 {
		var wg sync.WaitGroup
		answers := make([]Tokens, 16)
		for i := range answers {
			wg.Go(func() {
				var err error
				if answers[i], err = f.Refresh(t.Context(), token, phone); err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		for _, a := range answers {
			if a.Refresh != answers[0].Refresh || a.Refresh == token {
				t.Fatal("the answers differ")
			}
		}
		token = answers[0].Refresh
	}
}

// TestTokensAreStoredAsHashes reads every text and every byte string of the tables of people: no
// token, code or password is among them.
func TestTokensAreStoredAsHashes(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	tokens := f.signUp(t, "ansa@invented.example")
	next := f.refresh(t, tokens.Refresh, phone)
	squad, _, err := f.CreateSquad(t.Context(), tokens.User, &record.Squad{Name: "Quillfen"})
	if err != nil {
		t.Fatal(err)
	}
	invitation, err := f.Invite(t.Context(), tokens.User, squad.ID, record.RoleAnalyst, nil)
	if err != nil {
		t.Fatal(err)
	}
	var dump string
	err = f.owner(t).
		QueryRow(t.Context(), `SELECT (SELECT string_agg(u::text, '') FROM users u) || (SELECT string_agg(r::text, '') FROM refresh_tokens r)
		|| (SELECT string_agg(f::text, '') FROM refresh_families f) || (SELECT string_agg(i::text, '') FROM invitations i)`).
		Scan(&dump)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(dump, "ansa@invented.example") || !strings.Contains(dump, "$argon2id$") {
		t.Fatalf("the dump is not what it should be: %.200s", dump)
	}
	secrets := map[string]string{"password": testPassword, "code": invitation.Code, "access token": tokens.Access}
	for name, token := range map[string]string{"first": tokens.Refresh, "next": next.Refresh} {
		secrets[name+" refresh token"] = token
		secrets[name+" refresh token's bytes"] = hexOf(t, token)
	}
	for name, secret := range secrets {
		if strings.Contains(dump, secret) {
			t.Errorf("the %s is stored as it is", name)
		}
	}
}

func hexOf(t testing.TB, token string) string {
	t.Helper()
	const digits = "0123456789abcdef"
	var b strings.Builder
	for _, one := range decode64(t, token) {
		b.WriteByte(digits[one>>4])
		b.WriteByte(digits[one&15])
	}
	return b.String()
}

// failure is an error as a person sees it.
type failure struct {
	Code       Code
	Detail     string
	RetryAfter time.Duration
}

func (f *fixture) signInFails(t testing.TB, email, password string, from netip.Addr) failure {
	t.Helper()
	_, err := f.SignIn(t.Context(), Attempt{Email: email, Password: password, Device: phone, From: from})
	var known *Error
	if !errors.As(err, &known) {
		t.Fatalf("error %v", err)
	}
	return failure{known.Code, known.Detail, known.RetryAfter}
}

// TestThrottle counts failures by account, on a clock that only the test moves.
func TestThrottle(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	f.signUp(t, "ansa@invented.example")
	// What is answered for a known account and for an unknown one must be the same, at every step.
	both := func() failure {
		t.Helper()
		known := f.signInFails(t, "ansa@invented.example", "wrong", home)
		unknown := f.signInFails(t, "nobody@invented.example", "wrong", home)
		if diff := cmp.Diff(known, unknown); diff != "" {
			t.Errorf("a known account is told from an unknown one (-known +unknown):\n%s", diff)
		}
		return known
	}
	wrong := failure{Code: Unauthenticated, Detail: "the address or the password is wrong"}
	for i := range freeFailures {
		if got := both(); got != wrong {
			t.Fatalf("failure %d: %+v", i+1, got)
		}
	}
	wait := time.Second
	for range 12 {
		got := both()
		if got.Code != TooMany || got.RetryAfter < wait || got.RetryAfter > wait+2*time.Second {
			t.Fatalf("after a wait of %s was due: %+v", wait, got)
		}
		_, err := f.SignIn(t.Context(), Attempt{Email: "ansa@invented.example", Password: testPassword, Device: phone, From: home})
		wantCode(t, err, TooMany) // the right password waits too
		f.clock.move(wait)
		if got := both(); got != wrong {
			t.Fatalf("after waiting %s: %+v", wait, got)
		}
		wait = min(wait*2, maxWait)
	}
	f.clock.move(maxWait)
	if _, err := f.SignIn(t.Context(), Attempt{Email: " Ansa@Invented.EXAMPLE ", Password: testPassword, Device: phone, From: home}); err != nil {
		t.Fatalf("the right password after the wait: %v", err)
	}
	for range freeFailures { // a success forgets the failures
		if got := f.signInFails(t, "ansa@invented.example", "wrong", home); got != wrong {
			t.Fatalf("after a success: %+v", got)
		}
	}
	f.clock.move(forgetAfter + time.Second)
	for range freeFailures { // so does an hour
		if got := f.signInFails(t, "ansa@invented.example", "wrong", home); got != wrong {
			t.Fatalf("after an hour: %+v", got)
		}
	}
}

// TestThrottleByNetwork tries one password on many accounts from one network; others are not held
// up.
func TestThrottleByNetwork(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct{ from, same, another string }{
		"IPv4":           {"192.0.2.7", "::ffff:192.0.2.7", "192.0.2.8"},
		"IPv6 by the 64": {"2001:db8:1:2::1", "2001:db8:1:2:ffff::9", "2001:db8:1:3::1"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFixture(t, 2)
			f.signUp(t, "ansa@invented.example")
			conn := f.owner(t)
			f.signInFails(t, "first@invented.example", "wrong", netip.MustParseAddr(tc.from))
			// The next failures from the network are written down as if they had been made: each
			// takes a password hash otherwise.
			if _, err := conn.Exec(
				t.Context(),
				"UPDATE sign_in_failures SET failures = $1 WHERE subject LIKE 'network:%'",
				freeNetworkFailures-1,
			); err != nil {
				t.Fatal(err)
			}
			f.signInFails(t, "second@invented.example", "wrong", netip.MustParseAddr(tc.same))
			if got := f.signInFails(
				t,
				"third@invented.example",
				"wrong",
				netip.MustParseAddr(tc.same),
			); got.Code != TooMany {
				t.Errorf("another address of the network: %+v", got)
			}
			if _, err := f.SignIn(t.Context(), Attempt{Email: "ansa@invented.example", Password: testPassword, Device: phone, From: netip.MustParseAddr(tc.another)}); err != nil {
				t.Errorf("another network: %v", err)
			}
		})
	}
}

// TestOutdatedHashIsRenewed signs in with a hash of lower costs.
func TestOutdatedHashIsRenewed(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	f.signUp(t, "ansa@invented.example")
	conn := f.owner(t)
	// Argon2id of the password with 8 MiB and one pass, computed with the reference
	// implementation's command line (Debian package argon2): printf 'umber lantern nine kites' |
	// argon2 0123456789abcdef -id -t 1 -k 8192 -p 1 -l 32 -e
	const cheap = "$argon2id$v=19$m=8192,t=1,p=1$MDEyMzQ1Njc4OWFiY2RlZg$6qi8jAieiu4X27JXoowE5WElRcv5ClXx1eG6giKYZfI"
	if _, err := conn.Exec(t.Context(), "UPDATE users SET password_hash = $1", cheap); err != nil {
		t.Fatal(err)
	}
	if got := f.signInFails(t, "ansa@invented.example", "wrong", home); got.Code != Unauthenticated {
		t.Errorf("%+v", got)
	}
	for range 2 {
		if _, err := f.SignIn(t.Context(), Attempt{Email: "ansa@invented.example", Password: testPassword, Device: phone, From: home}); err != nil {
			t.Fatal(err)
		}
	}
	var hash string
	if err := conn.QueryRow(t.Context(), "SELECT password_hash FROM users").
		Scan(&hash); err != nil ||
		!strings.HasPrefix(hash, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("hash %s (%v)", hash, err)
	}
}

func TestSignUpTwice(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	f.signUp(t, "ansa@invented.example")
	_, err := f.SignUp(
		t.Context(),
		NewUser{Email: "ANSA@invented.example", Name: "Another", Password: testPassword, Device: phone},
	)
	wantCode(t, err, Conflict)
}

// TestWait is the rule in figures: five for nothing, then doubling to a quarter of an hour.
func TestWait(t *testing.T) {
	t.Parallel()
	for extra, want := range map[int]time.Duration{
		-5: 0, -1: 0, 0: time.Second, 1: 2 * time.Second, 9: 512 * time.Second, 10: 15 * time.Minute, 63: 15 * time.Minute, 1 << 30: 15 * time.Minute,
	} {
		if got := waitAfter(extra, maxWait); got != want {
			t.Errorf("after %d more: %s, want %s", extra, got, want)
		}
	}
}

// Sign-ups of one network are throttled, whatever they come to; other networks are not, and waiting
// helps.
func TestSignUpThrottle(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	from := netip.MustParseAddr("192.0.2.7")
	taken := NewUser{
		Email:    "first@invented.example",
		Name:     "First",
		Password: "guessed guessed guessed",
		Device:   "phone",
		From:     from,
	}
	if _, err := f.SignUp(t.Context(), taken); err != nil {
		t.Fatal(err)
	}
	for range freeSignUps - 1 { // counted as they come, and without the slow hashing
		if err := f.count(t.Context(), f.clock.now(), "sign-ups", signUpCounter(from)); err != nil {
			t.Fatal(err)
		}
	}
	next := taken
	next.Email = "second@invented.example"
	_, err := f.SignUp(t.Context(), next)
	wantCode(t, err, TooMany)
	next.From = netip.MustParseAddr("192.0.2.8")
	if _, err := f.SignUp(t.Context(), next); err != nil {
		t.Errorf("from another network: %v", err)
	}
	f.clock.move(2 * time.Second)
	next.Email, next.From = "third@invented.example", from
	if _, err := f.SignUp(t.Context(), next); err != nil {
		t.Errorf("after the wait: %v", err)
	}
}
