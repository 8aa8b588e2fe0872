package web_test

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"laneward/service"
	"laneward/service/record"
)

const anotherPassword = "seven brass lamps at noon"

// TestAccountPage changes the password and looks at who stays signed in.
func TestAccountPage(t *testing.T) {
	w := newWorld(t)
	here, there := w.signedIn(coachEmail), w.signedIn(coachEmail)
	here.get("/account").wants(t, http.StatusOK, "Your account", coachEmail, "this one", "You have none.")
	here.post("/account/password", "current_password", "wrong", "new_password", anotherPassword).
		wants(t, http.StatusBadRequest, "Current password is wrong")
	here.post("/account/password", "current_password", password, "new_password", "123qweasdzxc").
		wants(t, http.StatusBadRequest, "among the first anyone would guess")
	if to := here.post("/account/password", "current_password", password, "new_password", anotherPassword).
		location(t); to != "/account?changed" {
		t.Errorf("leads to %s", to)
	}
	here.get("/account?changed").wants(t, http.StatusOK, "Your password is changed")
	if to := there.get("/account").location(t); !strings.HasPrefix(to, "/sign-in") {
		t.Errorf("the other browser is led to %s", to)
	}
	if to := w.visitor().post("/sign-in", "email", coachEmail, "password", anotherPassword).location(t); to != "/" {
		t.Errorf("the new password leads to %s", to)
	}
	for _, path := range []string{"password", "sign-ins/end", "recovery-codes", "delete"} {
		if to := here.get("/account/" + path).location(t); to != "/account" {
			t.Errorf("%s leads to %s", path, to)
		}
	}
}

// TestSignInReplaces: signing in again in one browser ends the sign-in before.
func TestSignInReplaces(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	before, err := w.svc.SignIns(t.Context(), w.coach)
	must(t, err)
	w.now = w.now.Add(time.Second)
	v.post("/sign-in", "email", coachEmail, "password", password).location(t)
	after, err := w.svc.SignIns(t.Context(), w.coach)
	must(t, err)
	if len(after) != len(before) || after[0].ID == before[0].ID {
		t.Errorf("%d sign-ins before, %d after", len(before), len(after))
	}
	v.get("/account").wants(t, http.StatusOK, "this one")
}

// TestSignOutElsewhere ends another browser's sign-in, and then all.
func TestSignOutElsewhere(t *testing.T) {
	w := newWorld(t)
	here, there := w.signedIn(coachEmail), w.signedIn(coachEmail)
	list, err := w.svc.SignIns(t.Context(), w.coach)
	must(t, err)
	if len(list) != 3 { // one is the world's own
		t.Fatalf("%d sign-ins", len(list))
	}
	page := here.get("/account").body
	for _, one := range list {
		end := "/account/sign-ins/" + one.ID.String() + "/end"
		if !strings.Contains(page, end) { // it is the one that looks
			continue
		}
		if to := here.post(end).location(t); to != "/account#devices" {
			t.Errorf("ending one leads to %s", to)
		}
	}
	if to := there.get("/account").location(t); !strings.HasPrefix(to, "/sign-in") {
		t.Errorf("the other browser is led to %s", to)
	}
	here.get("/account").wants(t, http.StatusOK, "this one")
	here.post("/account/sign-ins/end")
	if to := here.get("/account").location(t); !strings.HasPrefix(to, "/sign-in") {
		t.Errorf("signed out everywhere leads to %s", to)
	}
}

var codeOnPage = regexp.MustCompile(`class="code">([A-Z2-9-]{20,})<`)

// TestForgottenPassword sets a new one with a coach's code, and with a recovery code.
func TestForgottenPassword(t *testing.T) {
	w := newWorld(t)
	athlete := w.member("ansel@example.org", record.RoleAthlete, &w.people[0].ID)
	coach := w.signedIn(coachEmail)
	members, err := w.svc.List(t.Context(), w.coach, w.squad, record.KindMember, 0, 10)
	must(t, err)
	var member string
	for _, one := range members.Records {
		if one.(*record.Member).UserID == athlete {
			member = one.Key().String()
		}
	}
	edit := coach.get(w.at("/members/" + member + "/edit"))
	edit.wants(t, http.StatusOK, "They can’t sign in", "Make a code")
	shown := coach.post(w.at("/members/" + member + "/reset-code"))
	shown.wants(t, http.StatusOK, "Code for Member ansel@example.org", "It is not shown again")
	code := codeOnPage.FindStringSubmatch(shown.body)
	if code == nil {
		t.Fatal("no code is shown")
	}
	lost := w.visitor()
	lost.get("/sign-in").wants(t, http.StatusOK, "Forgot your password?")
	lost.get("/reset").wants(t, http.StatusOK, "Set a new password", "one of your recovery codes")
	lost.post("/reset", "email", coachEmail, "code", code[1], "new_password", anotherPassword).
		wants(t, http.StatusNotFound, "The code is wrong, used or too old")
	if to := lost.post("/reset", "email", "ansel@example.org", "code", code[1], "new_password", anotherPassword).location(t); to != "/" {
		t.Errorf("the code leads to %s", to)
	}
	lost.get("/account").wants(t, http.StatusOK, "ansel@example.org")
	coach.get(w.at("/audit")).wants(t, http.StatusOK, "Member ansel@example.org", "was given a code to set a new password",
		"set a new password: with a coach", "by Odalys Brackwater")

	coach.post("/account/recovery-codes", "codes_password", "wrong").wants(t, http.StatusBadRequest, "Your password is wrong")
	made := coach.post("/account/recovery-codes", "codes_password", password)
	made.wants(t, http.StatusOK, "Your recovery codes", "They are not shown again", "10 codes left")
	codes := codeOnPage.FindAllStringSubmatch(made.body, -1)
	if len(codes) != 10 {
		t.Fatalf("%d codes are shown", len(codes))
	}
	if to := w.visitor().post("/reset", "email", coachEmail, "code", codes[3][1], "new_password", anotherPassword).location(t); to != "/" {
		t.Errorf("a recovery code leads to %s", to)
	}
	w.signInWith(coachEmail, anotherPassword).get("/account").wants(t, http.StatusOK, "9 codes left")
}

// TestDeleteAccountOnThePage refuses the only coach, and deletes an athlete's account.
func TestDeleteAccountOnThePage(t *testing.T) {
	w := newWorld(t)
	w.member("ansel@example.org", record.RoleAthlete, &w.people[0].ID)
	w.signedIn(coachEmail).post("/account/delete", "delete_password", password).
		wants(t, http.StatusConflict, "You are the only coach of Thistle Row Lanes")
	athlete := w.signedIn("ansel@example.org")
	if to := athlete.post("/account/delete", "delete_password", password).location(t); to != "/sign-in" {
		t.Errorf("leads to %s", to)
	}
	athlete.post("/sign-in", "email", "ansel@example.org", "password", password).
		wants(t, http.StatusUnauthorized, "The address or the password is wrong")
	w.signedIn(coachEmail).get(w.at("/audit")).wants(t, http.StatusOK, "deleted their account")
}

// TestAccountInABrowser looks at the pages of an account at both widths.
func TestAccountInABrowser(t *testing.T) {
	w := newWorld(t)
	w.member("ansel@example.org", record.RoleAthlete, &w.people[0].ID)
	_, err := w.svc.MakeRecoveryCodes(t.Context(), w.coach, password)
	must(t, err)
	_, err = w.svc.SignIn(t.Context(), service.Attempt{Email: coachEmail, Password: password, Device: "Logger amber-lane"})
	must(t, err)
	b := newBrowser(t, w.server.URL)
	for _, width := range []int64{390, 1280} {
		b.screen(width, false)
		b.open("/reset")
		b.look("reset", width)
	}
	b.signIn()
	for _, width := range []int64{390, 1280} {
		b.screen(width, false)
		for name, path := range map[string]string{"account": "/account", "audit": w.at("/audit"), "people": w.at("/people")} {
			b.open(path)
			b.look(name, width)
		}
	}
}
