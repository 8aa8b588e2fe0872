package service

import (
	"crypto/ed25519"
	"testing"
	"time"

	"laneward/db"
)

// beside is another service on the fixture's database, with keys of its own, and the same clock.
func (f *fixture) beside(t *testing.T, keys *Keys) *fixture {
	t.Helper()
	opened, err := db.Open(t.Context(), f.database.ServiceURL, db.Options{MaxConns: 2, Wait: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(opened.Close)
	svc := New(Config{DB: opened, Keys: keys, Now: f.clock.now, Patience: time.Hour})
	t.Cleanup(svc.Close)
	if err := svc.Share(t.Context()); err != nil {
		t.Fatal(err)
	}
	return &fixture{svc, f.database, f.clock}
}

func freshKeys(t *testing.T) *Keys {
	t.Helper()
	keys, err := NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	return keys
}

// TestServersTakeEachOthersTokens changes the key of one of two servers: a token signed by the new
// one is taken by the other at once, one by the old for as long as its key is kept, and none by a key
// whose server has not been heard of for long.
func TestServersTakeEachOthersTokens(t *testing.T) {
	t.Parallel()
	first := newFixture(t, 2)
	if err := first.Share(t.Context()); err != nil {
		t.Fatal(err)
	}
	second := first.beside(t, freshKeys(t))
	signed := first.signUp(t, "ansa@invented.example")
	who, err := second.Authenticate(t.Context(), signed.Access)
	if err != nil {
		t.Fatalf("a token of the other server: %v", err)
	}
	token := func(from *fixture) string {
		t.Helper()
		text, err := from.keys.sign(who, from.Service.clock())
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	takes := func(at, from *fixture, want bool) {
		t.Helper()
		if _, err := at.Authenticate(t.Context(), token(from)); (err == nil) != want {
			t.Errorf("taken: %v, want %v (%v)", err == nil, want, err)
		}
	}
	takes(first, second, true)
	stranger := &fixture{New(Config{DB: first.db, Keys: freshKeys(t), Now: first.clock.now}), first.database, first.clock}
	takes(second, stranger, false) // it has not been shared

	old := first.keys.signing.private
	changed := first.beside(t, newKeys([]ed25519.PrivateKey{freshKeys(t).signing.private, old}))
	takes(second, changed, true)
	takes(second, first, true)
	takes(changed, first, true)
	if got := len(second.PublicKeys()); got != 3 {
		t.Errorf("%d keys are public, want one's own and two of the other server", got)
	}

	first.Close() // nobody vouches for its key from now on but the one that has it as its second
	last := first.beside(t, newKeys([]ed25519.PrivateKey{changed.keys.signing.private}))
	changed.Close()
	first.clock.move(keyTrust + time.Second)
	for _, server := range []*fixture{second, last} {
		if err := server.shareKeys(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	takes(second, last, true)
	takes(second, first, false)
	takes(last, first, false)
}

// TestServersTakeEachOthersCursors reads on at one server where another has left off.
func TestServersTakeEachOthersCursors(t *testing.T) {
	t.Parallel()
	first := newFixture(t, 2)
	if err := first.Share(t.Context()); err != nil {
		t.Fatal(err)
	}
	second := first.beside(t, freshKeys(t))
	squad, coach := first.squad(t)
	page, err := first.Snapshot(t.Context(), coach, squad, SnapshotQuery{Limit: 100, Schema: Schema})
	if err != nil {
		t.Fatal(err)
	}
	second.store(t, squad, coach, newAthlete("Rhea"))
	news, err := second.Feed(t.Context(), coach, squad, FeedQuery{After: page.Cursor, Limit: 100, Schema: Schema})
	if err != nil || len(news.Items) != 1 {
		t.Fatal(news.Items, err)
	}
}

// TestServersCountTogether guesses a password at two servers in turn.
func TestServersCountTogether(t *testing.T) {
	t.Parallel()
	first := newFixture(t, 2)
	second := first.beside(t, freshKeys(t))
	first.signUp(t, "ansa@invented.example")
	servers := []*fixture{first, second}
	for i := range freeFailures {
		if got := servers[i%2].signInFails(t, "ansa@invented.example", "wrong", home); got.Code != Unauthenticated {
			t.Fatalf("failure %d: %+v", i+1, got)
		}
	}
	for _, server := range servers {
		if got := server.signInFails(t, "ansa@invented.example", "wrong", home); got.Code != Unauthenticated && got.Code != TooMany {
			t.Fatalf("%+v", got)
		}
	}
	for _, server := range servers {
		if got := server.signInFails(t, "ansa@invented.example", "wrong", home); got.Code != TooMany {
			t.Errorf("after %d failures at two servers: %+v", freeFailures, got)
		}
	}
}

func TestUnknownKeysAreLookedUpSeldom(t *testing.T) {
	t.Parallel()
	var l lookUps
	now := time.Date(2026, 3, 14, 18, 0, 0, 0, time.UTC)
	for second := range 3 {
		allowed := 0
		for range 100 {
			if l.allow(now.Add(time.Duration(second) * time.Second)) {
				allowed++
			}
		}
		if allowed != keyLookUps {
			t.Errorf("second %d: %d look-ups, want %d", second, allowed, keyLookUps)
		}
	}
}
