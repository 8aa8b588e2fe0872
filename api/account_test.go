package api_test

import (
	"fmt"
	"maps"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"laneward/openapi"
)

const newPassword = "seven brass lamps at noon"

// as makes a call as somebody.
func (s *server) as(t testing.TB, who person, method, path string, body any) *answer {
	t.Helper()
	return s.do(t, call{method: method, path: path, token: who.token, body: body})
}

// signInAs signs somebody in on a device and returns them with its tokens.
func (s *server) signInAs(t testing.TB, who person, password, device string) person {
	t.Helper()
	var tokens openapi.Tokens
	s.do(t, call{method: http.MethodPost, path: "/v1/tokens", body: map[string]any{
		"email": who.email, "password": password, "device": device,
	}}).want(http.StatusCreated).into(&tokens)
	return person{tokens.UserID, who.email, tokens.AccessToken, tokens.RefreshToken}
}

// signedIn holds whether somebody's tokens are good.
func (s *server) signedIn(t testing.TB, who person, want bool) {
	t.Helper()
	status := http.StatusUnauthorized
	if want {
		status = http.StatusOK
	}
	s.as(t, who, http.MethodGet, "/v1/me", nil).want(status)
	if !want {
		s.do(t, call{method: http.MethodPost, path: "/v1/tokens/refresh", body: map[string]any{
			"refresh_token": who.refresh, "device": "phone",
		}}).want(http.StatusUnauthorized)
	}
}

// ownersCount counts rows as the database's owner.
func (s *server) ownersCount(t testing.TB, query string, args ...any) (n int) {
	t.Helper()
	if err := s.keeper(t).conn.QueryRow(t.Context(), query, args...).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// TestChangePassword: the current one is needed, the other sign-ins end, and the one that asked goes
// on.
func TestChangePassword(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	here := s.signUp(t, "Ansa Brightwater")
	there := s.signInAs(t, here, goodPassword, "phone")
	change := func(current, wanted string) *answer {
		return s.as(t, here, http.MethodPut, "/v1/me/password", map[string]any{
			"current_password": current, "new_password": wanted,
		})
	}
	if p := change("wrong", newPassword).want(http.StatusBadRequest).problem(); (*p.Errors)[0].Pointer != "/current_password" {
		t.Errorf("problem %+v", p)
	}
	change(goodPassword, "short").want(http.StatusBadRequest)
	if p := change(goodPassword, "123qweasdzxc").want(http.StatusBadRequest).problem(); (*p.Errors)[0].Pointer != "/new_password" {
		t.Errorf("problem %+v", p)
	}
	s.signedIn(t, there, true)
	change(goodPassword, newPassword).want(http.StatusNoContent)
	s.signedIn(t, here, true)
	s.signedIn(t, there, false)
	s.do(t, call{method: http.MethodPost, path: "/v1/tokens", body: map[string]any{
		"email": here.email, "password": goodPassword, "device": "phone",
	}}).want(http.StatusUnauthorized)
	s.signInAs(t, here, newPassword, "phone")
	for range 5 {
		change("wrong", goodPassword).want(http.StatusBadRequest)
	}
	if a := change(newPassword, goodPassword).want(http.StatusTooManyRequests); a.header.Get("Retry-After") == "" {
		t.Error("no Retry-After")
	}
}

// TestSignIns lists the devices of an account and ends one, and then all.
func TestSignIns(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	here := s.signUp(t, "Ansa Brightwater")
	s.clock.move(time.Minute)
	tablet := s.signInAs(t, here, goodPassword, "tablet")
	stranger := s.signUp(t, "Bram Stillwell")
	var list openapi.SignInList
	s.as(t, here, http.MethodGet, "/v1/me/sign-ins", nil).want(http.StatusOK).into(&list)
	var got []string
	for _, one := range list.Items {
		got = append(got, fmt.Sprint(one.Device, " ", one.Current, " ", one.SignedInAt.Equal(one.LastUsedAt)))
	}
	if diff := cmp.Diff([]string{"tablet false true", "phone true true"}, got); diff != "" {
		t.Errorf("sign-ins (-want +got):\n%s", diff)
	}
	path := "/v1/me/sign-ins/" + list.Items[0].ID.String()
	s.as(t, stranger, http.MethodDelete, path, nil).want(http.StatusNotFound)
	s.signedIn(t, tablet, true)
	s.as(t, here, http.MethodDelete, path, nil).want(http.StatusNoContent)
	s.signedIn(t, tablet, false)
	s.signedIn(t, here, true)
	tablet = s.signInAs(t, here, goodPassword, "tablet")
	s.as(t, here, http.MethodDelete, "/v1/me/sign-ins", nil).want(http.StatusNoContent)
	s.signedIn(t, here, false)
	s.signedIn(t, tablet, false)
	s.signedIn(t, stranger, true)
}

// reset sets a new password with a code.
func (s *server) reset(t testing.TB, email, code string) *answer {
	t.Helper()
	return s.do(t, call{method: http.MethodPost, path: "/v1/password-reset", body: map[string]any{
		"email": email, "code": code, "new_password": newPassword, "device": "phone",
	}})
}

// TestRecoveryCodes makes ten, uses one once, and makes ten others in their place.
func TestRecoveryCodes(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	who := s.signUp(t, "Ansa Brightwater")
	other := s.signUp(t, "Bram Stillwell")
	codes := func(password string, status int) (made openapi.RecoveryCodes) {
		a := s.as(t, who, http.MethodPost, "/v1/me/recovery-codes", map[string]any{"password": password}).want(status)
		if status == http.StatusCreated {
			a.into(&made)
		}
		return made
	}
	left := func(want int) {
		t.Helper()
		var found openapi.RecoveryCodesLeft
		s.as(t, who, http.MethodGet, "/v1/me/recovery-codes", nil).want(http.StatusOK).into(&found)
		if found.Left != want || (found.CreatedAt != nil) != (want > 0) {
			t.Errorf("left %+v, want %d", found, want)
		}
	}
	left(0)
	codes("wrong", http.StatusBadRequest)
	first := codes(goodPassword, http.StatusCreated).Codes
	left(10)
	s.reset(t, other.email, first[0]).want(http.StatusNotFound)
	s.reset(t, who.email, strings.ToLower(first[0])).want(http.StatusCreated)
	s.reset(t, who.email, first[0]).want(http.StatusNotFound)
	s.signedIn(t, who, false)
	who = s.signInAs(t, who, newPassword, "phone")
	left(9)
	second := codes(newPassword, http.StatusCreated).Codes
	s.reset(t, who.email, first[1]).want(http.StatusNotFound)
	s.reset(t, who.email, second[0]).want(http.StatusCreated)
	for range 5 {
		s.reset(t, who.email, "WRONGWRONGWRONG")
	}
	s.reset(t, who.email, second[1]).want(http.StatusTooManyRequests)
	who = s.signInAs(t, who, newPassword, "phone")
	for range 5 {
		codes("wrong", http.StatusBadRequest)
	}
	codes(newPassword, http.StatusTooManyRequests)
}

// TestResetCode: a coach's code lets a member in, once, ends their sign-ins and stands in the log;
// it cannot be made for anybody whose account another squad relies on.
func TestResetCode(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	q, foreign := s.newSquad(t, "Quillfen"), s.newSquad(t, "Harrowgate")
	athlete := q.athletes[0]
	path := func(member string) string { return q.path("members/" + member + "/reset-code") }
	codeFor := func(member string) string {
		t.Helper()
		var made openapi.ResetCode
		s.as(t, q.coach, http.MethodPost, path(member), nil).want(http.StatusCreated).into(&made)
		return made.Code
	}
	s.as(t, q.coach, http.MethodPost, path(memberOf(t, q, q.coach)), nil).want(http.StatusConflict)
	older, code := codeFor(q.of[0]["member_id"]), codeFor(q.of[0]["member_id"])
	s.reset(t, athlete.email, older).want(http.StatusNotFound)
	s.reset(t, q.analyst.email, code).want(http.StatusNotFound)
	s.signedIn(t, athlete, true)
	s.reset(t, athlete.email, code).want(http.StatusCreated)
	s.reset(t, athlete.email, code).want(http.StatusNotFound)
	s.signedIn(t, athlete, false)

	late := codeFor(q.of[0]["member_id"])
	s.clock.move(7*24*time.Hour + time.Minute)
	q.signIn(t)
	foreign.signIn(t)
	s.reset(t, athlete.email, late).want(http.StatusNotFound)

	// A member of two squads is out of reach, also with a code from before.
	before := codeFor(q.of[0]["member_id"])
	athlete = s.signInAs(t, athlete, newPassword, "phone")
	_, invitation := foreign.invite(t, "analyst", "")
	s.as(t, athlete, http.MethodPost, "/v1/invitations/accept", map[string]any{"code": invitation}).want(http.StatusCreated)
	s.as(t, q.coach, http.MethodPost, path(q.of[0]["member_id"]), nil).want(http.StatusConflict)
	s.reset(t, athlete.email, before).want(http.StatusNotFound)
	s.signedIn(t, athlete, true)
}

// auditLines are a squad's log as its coach reads it, the newest first.
func (q *squad) auditLines(t testing.TB) (lines []string) {
	t.Helper()
	var page openapi.AuditPage
	q.server.as(t, q.coach, http.MethodGet, q.path("audit?limit=1000"), nil).want(http.StatusOK).into(&page)
	word := func(text *string) string {
		if text == nil {
			return "-"
		}
		return *text
	}
	for _, one := range page.Items {
		lines = append(lines, fmt.Sprintf("%s: %s, %s, %s", one.Action, word(one.ByName), word(one.SubjectName), word(one.Detail)))
	}
	return lines
}

// TestAuditLog does everything that is logged, and reads it as the coach, a page at a time too.
func TestAuditLog(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	before := len(q.auditLines(t))
	athlete, member := q.join(t, "athlete", q.of[0]["athlete_id"])
	role := call{
		method: http.MethodPut, path: q.path("members/" + member), token: q.coach.token, body: map[string]any{"role": "coach"},
		header: map[string]string{"If-Match": "*"},
	}
	s.do(t, role).want(http.StatusOK)
	s.do(t, role).want(http.StatusOK) // no change, and no line
	s.as(t, q.coach, http.MethodPost, q.path("members/"+member+"/reset-code"), nil).want(http.StatusCreated)
	s.as(t, q.coach, http.MethodGet, q.path("athletes/"+q.of[0]["athlete_id"]+"/export"), nil).want(http.StatusOK)
	if _, err := s.service.MakeOperatorsResetCode(t.Context(), athlete.email); err != nil {
		t.Fatal(err)
	}
	erased := q.add(t, "athletes", map[string]any{"name": "Erased", "side": "right"})
	s.as(t, q.coach, http.MethodPost, q.path("athletes/"+erased+"/erase"), map[string]any{"confirm": "Erased"}).want(http.StatusOK)
	s.as(t, athlete, http.MethodPost, "/v1/me/deletion", map[string]any{"password": goodPassword}).want(http.StatusNoContent)
	s.do(t, call{
		method: http.MethodDelete, path: q.path("members/" + memberOf(t, q, q.analyst)), token: q.coach.token,
		header: map[string]string{"If-Match": "*"},
	}).want(http.StatusNoContent)
	lines := q.auditLines(t)
	want := []string{
		"member-removed: Quillfen coach, -, -",
		"account-deleted: -, -, -",
		"erased: Quillfen coach, -, -",
		"reset-code: -, -, -",
		"exported: Quillfen coach, Quillfen athlete 1, -",
		"reset-code: Quillfen coach, -, -",
		"role-changed: Quillfen coach, -, athlete to coach",
		"joined: Quillfen coach, -, as athlete",
	}
	if diff := cmp.Diff(want, lines[:len(lines)-before]); diff != "" {
		t.Errorf("log (-want +got):\n%s", diff)
	}
	var first, second openapi.AuditPage
	s.as(t, q.coach, http.MethodGet, q.path("audit?limit=3"), nil).want(http.StatusOK).into(&first)
	s.as(t, q.coach, http.MethodGet, q.path("audit?limit=3&cursor="+*first.Next), nil).want(http.StatusOK).into(&second)
	if first.Items[2].ID == second.Items[0].ID || !second.Items[0].At.Before(first.Items[0].At.Add(time.Nanosecond)) {
		t.Errorf("pages %v and %v", first, second)
	}
}

// TestDeleteAccount: what a user wrote stays without their name, and nothing else of theirs does.
func TestDeleteAccount(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	del := func(who person, password string) *answer {
		return s.as(t, who, http.MethodPost, "/v1/me/deletion", map[string]any{"password": password})
	}
	if p := del(q.coach, goodPassword).want(http.StatusConflict).problem(); !strings.Contains(p.Detail, "Quillfen") ||
		!strings.Contains(p.Detail, "make another member a coach") {
		t.Errorf("the only coach is told %q", p.Detail)
	}
	del(q.analyst, "wrong").want(http.StatusBadRequest)
	second, _ := q.join(t, "coach", "")
	note := q.shotBody(0)
	maps.Copy(note, map[string]any{"order": 77})
	s.as(t, second, http.MethodPost, q.path("sessions/"+q.of[0]["session_id"]+"/shots"), []any{note}).want(http.StatusOK)
	del(second, goodPassword).want(http.StatusNoContent)
	s.signedIn(t, second, false)
	if got := s.ownersCount(t, "SELECT count(*) FROM shots WHERE shot_order = 77"); got != 1 {
		t.Errorf("%d of the shots are left", got)
	}
	for table, where := range map[string]string{
		"users": "id = $1", "refresh_families": "user_id = $1", "memberships": "user_id = $1", "history": "body ->> 'user_id' = $1::text",
	} {
		if got := s.ownersCount(t, "SELECT count(*) FROM "+table+" WHERE "+where, second.id); got != 0 {
			t.Errorf("%s: %d rows are left", table, got)
		}
	}
	again := map[string]any{"email": second.email, "name": "Another", "password": goodPassword, "device": "phone"}
	s.do(t, call{method: http.MethodPost, path: "/v1/users", body: again}).want(http.StatusCreated)

	alone := s.signUp(t, "Founder")
	s.create(t, alone, "/v1/squads", map[string]any{"name": "Nobody else"})
	del(alone, goodPassword).want(http.StatusNoContent)
	for range 5 {
		del(q.analyst, "wrong")
	}
	del(q.analyst, goodPassword).want(http.StatusTooManyRequests)
}
