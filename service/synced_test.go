package service

import (
	"maps"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// signInOf is a sign-in of a user's, as signing in makes it.
func (f *fixture) signInOf(t *testing.T, user uuid.UUID, device string) Identity {
	t.Helper()
	who := Identity{User: user, SignIn: uuid.Must(uuid.NewV7())}
	err := f.db.Global(t.Context(), func(tx *db.Tx) error {
		return tx.AddRefreshFamily(t.Context(), db.AddRefreshFamilyParams{
			ID:        who.SignIn,
			UserID:    user,
			Device:    device,
			CreatedAt: f.clock.now(),
			ExpiresAt: f.clock.now().Add(time.Hour),
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	return who
}

// TestDevicesSynced: it is written at most every few minutes that a device has synced, members see
// their own devices and coaches all, and a device goes with its sign-in.
func TestDevicesSynced(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	athlete := newAthlete("Rhea")
	f.store(t, squad, coach, athlete)
	member := f.person(t)
	made, err := f.Invite(t.Context(), coach, squad, record.RoleAthlete, &athlete.ID)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := f.Join(t.Context(), member, made.Code); err != nil {
		t.Fatal(err)
	}
	phone, laptop := f.signInOf(t, member, "Phone"), f.signInOf(t, coach, "Laptop")
	want := func(user uuid.UUID, of *uuid.UUID, revs map[string]int64) {
		t.Helper()
		var got map[string]int64
		for range 500 { // it is written after the answer
			list, _, err := f.DeviceSyncs(t.Context(), user, squad, of)
			if err != nil {
				t.Fatal(err)
			}
			got = make(map[string]int64)
			for _, one := range list {
				got[one.Device] = one.Rev
			}
			if maps.Equal(got, revs) {
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
		t.Fatalf("devices synced up to %v, want %v", got, revs)
	}
	want(coach, nil, nil)
	f.Synced(phone, squad, 3)
	f.Synced(laptop, squad, 4)
	want(coach, nil, map[string]int64{"Phone": 3, "Laptop": 4})
	f.Synced(phone, squad, 5) // a moment later
	want(coach, &athlete.ID, map[string]int64{"Phone": 3})
	f.clock.move(syncNotedEvery)
	f.Synced(phone, squad, 6)
	want(member, nil, map[string]int64{"Phone": 6})
	if err := f.EndSignIn(t.Context(), member, phone.SignIn); err != nil {
		t.Fatal(err)
	}
	want(coach, nil, map[string]int64{"Laptop": 4})
}
