package service

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"laneward/service/record"

	"github.com/google/uuid"
)

func (f *fixture) invite(t testing.TB, squad, coach uuid.UUID, role record.Role, athlete *uuid.UUID) Invitation {
	t.Helper()
	made, err := f.Invite(t.Context(), coach, squad, role, athlete)
	if err != nil {
		t.Fatal(err)
	}
	return made
}

func (f *fixture) join(
	t testing.TB,
	squad, coach uuid.UUID,
	role record.Role,
	athlete *uuid.UUID,
) (who uuid.UUID, joined *record.Member) {
	t.Helper()
	who = f.person(t)
	_, joined, err := f.Join(t.Context(), who, f.invite(t, squad, coach, role, athlete).Code)
	if err != nil {
		t.Fatal(err)
	}
	return who, joined
}

func TestInvitations(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	athlete := newAthlete("Ansa Brightwater")
	f.store(t, squad, coach, athlete)
	refused := func(t *testing.T, who uuid.UUID, code string) {
		t.Helper()
		_, _, err := f.Join(t.Context(), who, code)
		if known := wantCode(t, err, NotFound); known.Detail != errCode.Detail {
			t.Errorf("detail %q", known.Detail)
		}
	}
	t.Run("as it is read out", func(t *testing.T) {
		code := f.invite(t, squad, coach, record.RoleAthlete, &athlete.ID).Code
		spoken := " " + strings.ToLower(code[:8]) + "-" + code[8:20] + " " + code[20:] + " "
		who := f.person(t)
		got, joined, err := f.Join(t.Context(), who, spoken)
		if err != nil || got != squad || joined.Role != record.RoleAthlete || *joined.AthleteID != athlete.ID ||
			joined.UserID != who {
			t.Errorf("joined %+v, %v", joined, err)
		}
		if strings.ContainsAny(code, "IO01") || len(code) != 32 {
			t.Errorf("code %q is hard to read out, or too short", code)
		}
		refused(t, f.person(t), code) // once
	})
	t.Run("too old", func(t *testing.T) {
		code := f.invite(t, squad, coach, record.RoleAnalyst, nil).Code
		f.clock.move(7*24*time.Hour + time.Second)
		refused(t, f.person(t), code)
	})
	t.Run("withdrawn", func(t *testing.T) {
		made := f.invite(t, squad, coach, record.RoleAnalyst, nil)
		if err := f.Withdraw(t.Context(), coach, squad, made.ID); err != nil {
			t.Fatal(err)
		}
		refused(t, f.person(t), made.Code)
		wantCode(t, f.Withdraw(t.Context(), coach, squad, made.ID), NotFound)
	})
	t.Run("nonsense", func(t *testing.T) {
		for _, code := range []string{"", "AAAAAAAAAA", strings.Repeat("A", 32), "\x00"} {
			refused(t, f.person(t), code)
		}
	})
	t.Run("by a member, it is not used up", func(t *testing.T) {
		code := f.invite(t, squad, coach, record.RoleAnalyst, nil).Code
		_, _, err := f.Join(t.Context(), coach, code)
		wantCode(t, err, Conflict)
		if _, _, err := f.Join(t.Context(), f.person(t), code); err != nil {
			t.Error(err)
		}
	})
	t.Run("by many at once", func(t *testing.T) {
		code := f.invite(t, squad, coach, record.RoleCoach, nil).Code
		people := make([]uuid.UUID, 8)
		for i := range people {
			people[i] = f.person(t)
		}
		var mu sync.Mutex
		joined := 0
		var wg sync.WaitGroup
		for _, who := range people {
			wg.Go(func() {
				_, _, err := f.Join(t.Context(), who, code)
				mu.Lock()
				defer mu.Unlock()
				var known *Error
				switch {
				case err == nil:
					joined++
				case !errors.As(err, &known) || known.Code != NotFound:
					t.Error(err)
				}
			})
		}
		wg.Wait()
		if joined != 1 {
			t.Errorf("%d joined by one code", joined)
		}
	})
	t.Run("for an athlete of another squad", func(t *testing.T) {
		elsewhere, other := f.squad(t)
		stranger := newAthlete("Bero Quill")
		f.store(t, elsewhere, other, stranger)
		_, err := f.Invite(t.Context(), coach, squad, record.RoleAthlete, &stranger.ID)
		wantCode(t, err, Invalid)
		_, err = f.Invite(t.Context(), coach, squad, record.RoleAthlete, nil)
		wantCode(t, err, Invalid)
		_, err = f.Invite(t.Context(), coach, squad, record.RoleAnalyst, &athlete.ID)
		wantCode(t, err, Invalid)
	})
}

// TestLastCoach: a squad keeps a coach, also when its two coaches leave, or step down, at once.
func TestLastCoach(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 8)
	for name, leave := range map[string]func(squad, who, member uuid.UUID, base Version) error{
		"leaving": func(squad, who, member uuid.UUID, base Version) error {
			return f.RemoveMember(t.Context(), who, squad, member, base)
		},
		"stepping down": func(squad, who, member uuid.UUID, base Version) error {
			_, err := f.SetRole(t.Context(), who, squad, member, base, record.RoleAnalyst, nil)
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			for range 8 {
				squad, first := f.squad(t)
				second, joined := f.join(t, squad, first, record.RoleCoach, nil)
				page, err := f.List(t.Context(), first, squad, record.KindMember, 0, 10)
				if err != nil {
					t.Fatal(err)
				}
				own := page.Records[0].(*record.Member)
				var wg sync.WaitGroup
				var errs [2]error
				wg.Go(func() { errs[0] = leave(squad, first, own.ID, f.version(t, squad, own.Rev)) })
				wg.Go(func() { errs[1] = leave(squad, second, joined.ID, f.version(t, squad, joined.Rev)) })
				wg.Wait()
				if (errs[0] == nil) == (errs[1] == nil) {
					t.Fatalf("both left, or neither: %v, %v", errs[0], errs[1])
				}
				wantCode(t, errors.Join(errs[:]...), Conflict)
			}
		})
	}
}

// TestRoleTakesHoldAtOnce: a change of role holds for the next request, whatever token it comes
// with.
func TestRoleTakesHoldAtOnce(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	second, member := f.join(t, squad, coach, record.RoleCoach, nil)
	if _, _, err := f.Create(t.Context(), second, squad, newPattern("as a coach")); err != nil {
		t.Fatal(err)
	}
	changed, err := f.SetRole(t.Context(), coach, squad, member.ID, f.version(t, squad, member.Rev), record.RoleAnalyst, nil)
	if err != nil {
		t.Fatal(err)
	}
	_, _, err = f.Create(t.Context(), second, squad, newPattern("as an analyst"))
	wantCode(t, err, Forbidden)
	if _, err := f.List(t.Context(), second, squad, record.KindPattern, 0, 10); err != nil {
		t.Error(err)
	}
	if err := f.RemoveMember(
		t.Context(),
		second,
		squad,
		changed.ID,
		VersionOf(changed),
	); err != nil { // leaving is everybody's right
		t.Fatal(err)
	}
	_, err = f.List(t.Context(), second, squad, record.KindPattern, 0, 10)
	wantCode(t, err, NotFound)
}

// TestSquadOfATakenID: whoever asks for a squad under an id that is taken learns only that it
// cannot be used, and changes nothing.
func TestSquadOfATakenID(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 4)
	squad, coach := f.squad(t)
	thief := f.person(t)
	_, _, err := f.CreateSquad(t.Context(), thief, &record.Squad{Head: record.Head{ID: squad}, Name: "Stolen"})
	wantCode(t, err, Conflict)
	rec, err := f.Get(t.Context(), coach, squad, record.KindSquad, squad)
	if err != nil || rec.(*record.Squad).Name != "Quillfen" || rec.Revision() != 1 {
		t.Errorf("the squad is %+v, %v", rec, err)
	}
	_, err = f.Get(t.Context(), thief, squad, record.KindSquad, squad)
	wantCode(t, err, NotFound)
	again, created, err := f.CreateSquad(t.Context(), coach, &record.Squad{Head: record.Head{ID: squad}, Name: "Quillfen"})
	if err != nil || created || again.Rev != 1 {
		t.Errorf("made again by its coach: %+v, created %v, %v", again, created, err)
	}
}
