package service

import (
	"context"
	"errors"
	"net/netip"
	"time"

	"laneward/db"
)

// The throttle. Each guess is counted, by one statement for each counter, before the password is
// looked at, and given back when it was right: guesses made at once are counted like guesses made
// one after the other. After the free ones each further one doubles the wait, up to a longest; an
// hour without one forgets them. The counters are
//
//   - the account as guessed from one network: neither can strangers lock the owner out, nor do one
//     person's mistakes lock the others of a centre that shares an address;
//   - the account from wherever it is guessed, which only many networks together reach;
//   - the network, by how many accounts it has failed at: one password is not tried everywhere. Its
//     longest wait is short, because a whole centre may share an address;
//   - a device that has been signed in to the account before, by its mark, in place of the other
//     three: guesses of others do not hold it up;
//   - sign-ups by network: a whole club may sign up in one evening, but a program must not fill the
//     database or probe which addresses are known.
const (
	freeFailures        = 5
	freeAccountFailures = 100
	freeNetworkFailures = 50
	freeSignUps         = 100
	maxWait             = 15 * time.Minute
	maxNetworkWait      = 30 * time.Second
	forgetAfter         = time.Hour
)

// counter is one count of guesses.
type counter struct {
	subject string
	free    int
	maxWait time.Duration
}

func signUpCounter(from netip.Addr) counter {
	return counter{"sign-up:" + network(from), freeSignUps, maxWait}
}

// network is the part of an address that one subscriber has: all of IPv4, the first 64 bits of
// IPv6.
func network(from netip.Addr) string {
	bits := 64
	if from = from.Unmap(); from.Is4() {
		bits = 32
	}
	prefix, err := from.Prefix(bits)
	if err != nil {
		return "unknown"
	}
	return prefix.String()
}

// guess is a guess of a password that has been counted.
type guess struct {
	own    counter   // forgotten when the guess was right
	shared []counter // given one back then
}

// guessOf are the counters of a guess at an account: by where it comes from, or by the mark of a
// device that the account knows.
func guessOf(account string, from netip.Addr, mark string) guess {
	if mark != "" {
		return guess{own: counter{"device:" + mark, freeFailures, maxWait}}
	}
	where := network(from)
	return guess{
		own: counter{"account:" + account + "@" + where, freeFailures, maxWait},
		shared: []counter{
			{"account:" + account, freeAccountFailures, maxWait},
			{"network:" + where, freeNetworkFailures, maxNetworkWait},
		},
	}
}

// countGuess counts a guess, or refuses it with TooMany. A network is counted once for each account
// it fails at.
func (s *Service) countGuess(ctx context.Context, g guess, now time.Time) error {
	const what = "failed sign-ins"
	return s.db.Global(ctx, func(tx *db.Tx) error {
		before, err := countOne(ctx, tx, now, what, g.own)
		if err != nil || len(g.shared) == 0 {
			return err
		}
		if _, err = countOne(ctx, tx, now, what, g.shared[0]); err == nil && before == 1 {
			_, err = countOne(ctx, tx, now, what, g.shared[1])
		}
		return err
	})
}

// giveBack takes a right guess off the counters.
func giveBack(ctx context.Context, tx *db.Tx, g guess) error {
	err := tx.ForgetSignInFailures(ctx, db.ForgetSignInFailuresParams{Subject: g.own.subject})
	for _, one := range g.shared {
		if err == nil {
			err = tx.GiveBackGuess(ctx, db.GiveBackGuessParams{Subject: one.subject})
		}
	}
	return err
}

// uncount takes a guess off the counters that was never looked at.
func (s *Service) uncount(ctx context.Context, g guess) error {
	return s.db.Global(ctx, func(tx *db.Tx) error {
		for _, one := range append([]counter{g.own}, g.shared...) {
			if err := tx.GiveBackGuess(ctx, db.GiveBackGuessParams{Subject: one.subject}); err != nil {
				return err
			}
		}
		return nil
	})
}

// count counts one try, or refuses it with TooMany.
func (s *Service) count(ctx context.Context, now time.Time, what string, one counter) error {
	return s.db.Global(ctx, func(tx *db.Tx) error {
		_, err := countOne(ctx, tx, now, what, one)
		return err
	})
}

// countOne returns how many tries there are now, this one among them.
func countOne(ctx context.Context, tx *db.Tx, now time.Time, what string, one counter) (int32, error) {
	tries, err := tx.CountGuess(ctx, db.CountGuessParams{
		Subject:        one.subject,
		GuessedAt:      now,
		ForgetBefore:   now.Add(-forgetAfter),
		Free:           int32(one.free), //nolint:gosec // one of the constants above
		MaxWaitSeconds: int32(one.maxWait.Seconds()),
	})
	if err = db.Translate(err); !errors.Is(err, db.ErrNotFound) {
		return tries, err
	}
	row, err := tx.SignInFailures(ctx, db.SignInFailuresParams{Subject: one.subject})
	if err != nil {
		return 0, err
	}
	failure := fail(TooMany, "too many %s: wait, then try again", what)
	until := row.LastFailedAt.Add(waitAfter(int(row.Failures)-one.free, one.maxWait))
	failure.RetryAfter = max(0, until.Sub(now).Round(time.Second)) + time.Second
	return 0, failure
}

// waitAfter is how long to wait after so many failures beyond the free ones. The statement that
// counts them has the same rule.
func waitAfter(extra int, longest time.Duration) time.Duration {
	if extra < 0 {
		return 0
	}
	return min(longest, time.Second<<min(extra, 20))
}
