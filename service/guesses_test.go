package service

import (
	"context"
	"fmt"
	"net/netip"
	"sync"
	"testing"
	"time"
)

// guessAtOnce makes guesses in parallel and returns how many of each answer there were; one that is
// answered with Unauthenticated was looked at.
func (f *fixture) guessAtOnce(t *testing.T, n int, of func(i int) Attempt) map[Code]int {
	t.Helper()
	var mu sync.Mutex
	var wg sync.WaitGroup
	answers := make(map[Code]int)
	for i := range n {
		wg.Go(func() {
			_, err := f.SignIn(t.Context(), of(i))
			mu.Lock()
			defer mu.Unlock()
			if err == nil {
				answers["signed in"]++
				return
			}
			answers[AsError(err).Code]++
		})
	}
	wg.Wait()
	return answers
}

// TestGuessesAtOnceAreCounted: of many guesses at one account at once no more are looked at than of
// guesses one after the other.
func TestGuessesAtOnceAreCounted(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 16)
	f.signUp(t, "ansa@invented.example")
	answers := f.guessAtOnce(t, 45, func(i int) Attempt {
		return Attempt{Email: "ansa@invented.example", Password: fmt.Sprint("guess ", i), Device: phone, From: home}
	})
	if answers[Unauthenticated] != freeFailures || answers[TooMany] != 45-freeFailures {
		t.Errorf("answers %v: want %d looked at", answers, freeFailures)
	}
}

// TestSprayAtOnce tries one password on 400 accounts from one network at once: few are looked at,
// and honest people sign in right after it.
func TestSprayAtOnce(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 16)
	device := f.signUp(t, "ansa@invented.example")
	answers := f.guessAtOnce(t, 400, func(i int) Attempt {
		return Attempt{Email: fmt.Sprintf("n%d@invented.example", i), Password: "one for all", Device: phone, From: home}
	})
	if answers[Unauthenticated] > freeNetworkFailures || answers[Unauthenticated]+answers[TooMany]+answers[Unavailable] != 400 {
		t.Errorf("answers %v: want at most %d looked at", answers, freeNetworkFailures)
	}
	honest := Attempt{Email: "ansa@invented.example", Password: testPassword, Device: phone, From: home}
	f.signsIn(t, "from another network", honest, func(a *Attempt) { a.From = netip.MustParseAddr("198.51.100.1") })
	f.signsIn(t, "on a known device", honest, func(a *Attempt) { a.Mark = device.Mark })
	f.clock.move(maxNetworkWait)
	f.signsIn(t, "from the same network after the longest wait", honest, func(*Attempt) {})
}

func (f *fixture) signsIn(t *testing.T, name string, attempt Attempt, change func(*Attempt)) {
	t.Helper()
	change(&attempt)
	if _, err := f.SignIn(t.Context(), attempt); err != nil {
		t.Errorf("%s: %v", name, err)
	}
}

// TestSharedAddress: somebody's many mistakes at one account do not lock the others of a centre
// that shares an address.
func TestSharedAddress(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	f.signUp(t, "ansa@invented.example")
	f.signUp(t, "bram@invented.example")
	for range freeNetworkFailures + 5 { // an hour of patient guessing at one account
		err := f.countGuess(t.Context(), guessOf("ansa@invented.example", home, ""), f.Service.clock())
		if err != nil {
			t.Fatal(err)
		}
		f.clock.move(maxWait)
	}
	f.signsIn(t, "another account", Attempt{
		Email: "bram@invented.example", Password: testPassword, Device: phone, From: home,
	}, func(*Attempt) {})
}

// TestKnownDevice: strangers who guess from everywhere hold up everybody but a device that shows the
// account's mark.
func TestKnownDevice(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	ansa, bram := f.signUp(t, "ansa@invented.example"), f.signUp(t, "bram@invented.example")
	attempt := Attempt{Email: "ansa@invented.example", Password: testPassword, Device: phone, From: home}
	for i := range freeAccountFailures + 1 {
		from := netip.AddrFrom4([4]byte{198, 51, 100, byte(i)})
		err := f.countGuess(t.Context(), guessOf(attempt.Email, from, ""), f.Service.clock())
		if (err != nil) != (i == freeAccountFailures) {
			t.Fatalf("guess %d: %v", i, err)
		}
	}
	for name, mark := range map[string]string{
		"no mark": "", "another account's": bram.Mark, "garbage": "garbage", "cut": ansa.Mark[:40],
		"changed": ansa.Mark[:len(ansa.Mark)-2] + "xx",
	} {
		with := attempt
		with.Mark = mark
		_, err := f.SignIn(t.Context(), with)
		if AsError(err).Code != TooMany {
			t.Errorf("%s: %v, want too many", name, err)
		}
	}
	attempt.Mark = ansa.Mark
	wrong := attempt
	wrong.Password = "wrong"
	for range freeFailures {
		_, err := f.SignIn(t.Context(), wrong)
		wantCode(t, err, Unauthenticated)
	}
	_, err := f.SignIn(t.Context(), attempt)
	wantCode(t, err, TooMany) // a stolen device has no more guesses than another
	f.clock.move(time.Second)
	f.signsIn(t, "the owner's device", attempt, func(*Attempt) {})
	if f.markFor(ansa.User, ansa.Mark, f.clock.now().Add(markTTL+time.Hour)) != "" {
		t.Error("a mark is good for ever")
	}
}

// TestHashQueueEnds: when the queue is full a guess is answered at once, and is not counted.
func TestHashQueueEnds(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	f.signUp(t, "ansa@invented.example")
	for range hashQueued {
		f.hashes.queue <- struct{}{}
	}
	for range freeFailures + 3 {
		_, err := f.SignIn(t.Context(), Attempt{Email: "ansa@invented.example", Password: "x", Device: phone, From: home})
		if known := wantCode(t, err, Unavailable); known.RetryAfter <= 0 {
			t.Error("no time to try again")
		}
	}
	<-f.hashes.queue
	f.signsIn(t, "then", Attempt{Email: "ansa@invented.example", Password: testPassword, Device: phone, From: home}, func(*Attempt) {})
}

// TestOneGuessInFlight: while a guess at an account is looked at another waits, and one of a known
// device does not.
func TestOneGuessInFlight(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	mark := f.signUp(t, "ansa@invented.example").Mark
	const turn = "account:ansa@invented.example"
	done, err := f.guesses.take(t.Context(), turn)
	if err != nil {
		t.Fatal(err)
	}
	attempt := Attempt{Email: "ansa@invented.example", Password: testPassword, Device: phone, From: home}
	ctx, giveUp := context.WithCancel(t.Context())
	waiting := make(chan error)
	go func() {
		_, err := f.SignIn(ctx, attempt)
		waiting <- err
	}()
	for f.waitingFor(turn) < 2 {
		time.Sleep(time.Millisecond)
	}
	f.signsIn(t, "a known device", attempt, func(a *Attempt) { a.Mark = mark })
	giveUp()
	if err := <-waiting; err == nil {
		t.Error("a second guess was looked at")
	}
	done()
	f.signsIn(t, "its turn has come", attempt, func(*Attempt) {})
}

func (f *fixture) waitingFor(turn string) int {
	f.guesses.mu.Lock()
	defer f.guesses.mu.Unlock()
	if one := f.guesses.queues[turn]; one != nil {
		return one.users
	}
	return 0
}

// TestEndedSignIn: the access token of an ended sign-in is refused at once where it was ended, and
// by another server of the same database when the trust in it has run out.
func TestEndedSignIn(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	other := New(Config{DB: f.db, Keys: f.keys, Now: f.clock.now})
	t.Cleanup(other.Close)
	tokens := f.signUp(t, "ansa@invented.example")
	for _, server := range []*Service{f.Service, other} {
		if who, err := server.Authenticate(t.Context(), tokens.Access); err != nil || who.User != tokens.User {
			t.Fatal(who, err)
		}
	}
	stream, leave := f.WhileSignedIn(t.Context(), tokens.SignIn)
	defer leave()
	if err := f.SignOut(t.Context(), tokens.Refresh); err != nil {
		t.Fatal(err)
	}
	_, err := f.Authenticate(t.Context(), tokens.Access)
	wantCode(t, err, Unauthenticated)
	if stream.Err() == nil {
		t.Error("a stream of the sign-in goes on")
	}
	f.clock.move(signInTrust)
	_, err = other.Authenticate(t.Context(), tokens.Access)
	wantCode(t, err, Unauthenticated)
}

// TestCommonPasswordsAreRefused holds what the list is: 3,000, all long enough, in lower case.
func TestCommonPasswordsAreRefused(t *testing.T) {
	t.Parallel()
	list := commonPasswords()
	if want := 3000 + len(bowlersPasswords); len(list) != want {
		t.Errorf("%d passwords, want %d", len(list), want)
	}
	for password := range list {
		if len([]rune(password)) < 12 || passwordFault(password, "ansa@invented.example") == "" {
			t.Errorf("%q is in the list", password)
		}
	}
	for _, one := range []string{"123qweasdzxc", "QwertyQwerty", "LeaveMeAlone"} {
		if passwordFault(one, "ansa@invented.example") == "" {
			t.Errorf("%q is taken", one)
		}
	}
}
