package web

import (
	"net/http"
	"time"

	"github.com/google/uuid"

	"laneward/service"
)

// accountPages are the pages of a user's own account.
var accountPages = map[string]page{
	"GET /account":                         accountPage,
	"POST /account/password":               changePassword,
	"POST /account/sign-ins/end":           endAllSignIns,
	"POST /account/sign-ins/{sign_in}/end": endSignIn,
	"POST /account/recovery-codes":         makeRecoveryCodes,
	"POST /account/delete":                 deleteAccount,
}

// accountForms are the addresses that a refused form of the account's page is shown at.
var accountForms = []string{"password", "sign-ins/end", "recovery-codes", "delete", "passkeys"}

// accountView is the data of the page of one's own account.
type accountView struct {
	SignIns                 []service.SignedInDevice
	Current                 uuid.UUID
	Password, Codes, Delete *form
	AddPasskey              *form
	Passkeys                []service.Passkey
	PasskeysOff             string   // why there are none
	Changed                 bool     // the password, just now
	Made                    []string // recovery codes, just now; they are shown once
	CodesLeft               int
	CodesMade               time.Time
	HasCodes                bool
}

func passwordInput(name, label, hint string) *input {
	return &input{
		Name:         name,
		Label:        label,
		Hint:         hint,
		Type:         "password",
		Autocomplete: "current-password",
		Required:     true,
		Max:          "128",
	}
}

func newPasswordInput() *input {
	return &input{
		Name:         "new_password",
		Label:        "New password",
		Hint:         "12 characters or more. Several unrelated words are best.",
		Type:         "password",
		Autocomplete: "new-password",
		Required:     true,
		Min:          "12",
		Max:          "128",
	}
}

func changePasswordForm() *form {
	return &form{
		Action: "/account/password", Submit: "Change password",
		Inputs: []*input{passwordInput("current_password", "Current password", ""), newPasswordInput()},
	}
}

func recoveryCodesForm() *form {
	return &form{
		Action: "/account/recovery-codes", Submit: "Make ten codes",
		Inputs: []*input{passwordInput("codes_password", "Your password", "")},
	}
}

func deleteAccountForm() *form {
	return &form{
		Action: "/account/delete", Submit: "Delete my account",
		Inputs: []*input{passwordInput("delete_password", "Your password", "")},
	}
}

func accountPage(v *visit) error {
	return v.showAccount(http.StatusOK, accountView{Changed: v.URL.Query().Has("changed")})
}

func (v *visit) showAccount(status int, view accountView) (err error) {
	if view.Password == nil {
		view.Password = changePasswordForm()
	}
	if view.Codes == nil {
		view.Codes = recoveryCodesForm()
	}
	if view.Delete == nil {
		view.Delete = deleteAccountForm()
	}
	if view.AddPasskey == nil {
		view.AddPasskey = addPasskeyForm()
	}
	view.PasskeysOff = v.passkeysOff()
	if view.Passkeys, err = v.site.svc.Passkeys(v.Context(), v.me.ID); err != nil {
		return err
	}
	for _, f := range []*form{view.Password, view.Codes, view.AddPasskey, view.Delete} {
		f.User = v.me.Email
	}
	view.Current = v.signIn
	if view.SignIns, err = v.site.svc.SignIns(v.Context(), v.me.ID); err != nil {
		return err
	}
	if view.CodesLeft, view.CodesMade, err = v.site.svc.RecoveryCodesLeft(v.Context(), v.me.ID); err != nil {
		return err
	}
	view.HasCodes = view.CodesMade.Unix() > 0
	return v.show(status, "account", frame{Title: "Your account", Page: view})
}

func changePassword(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := changePasswordForm()
	show := func(status int, f *form) error { return v.showAccount(status, accountView{Password: f}) }
	if f.read(v.PostForm); f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	who := service.Identity{User: v.me.ID, SignIn: v.signIn}
	err := v.site.svc.ChangePassword(v.Context(), who, f.value("current_password"), f.value("new_password"))
	if err != nil {
		return v.retry(f, err, show)
	}
	return v.goTo("/account?changed")
}

func endSignIn(v *visit) error {
	id, err := v.id("sign_in")
	if err != nil {
		return err
	}
	if err := v.site.svc.EndSignIn(v.Context(), v.me.ID, id); err != nil {
		return err
	}
	return v.goTo("/account#devices")
}

func endAllSignIns(v *visit) error {
	if err := v.site.svc.EndAllSignIns(v.Context(), v.me.ID); err != nil {
		return err
	}
	v.forgetTokens()
	return v.goTo("/sign-in")
}

// makeRecoveryCodes makes the codes and shows them: they cannot be shown again.
func makeRecoveryCodes(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := recoveryCodesForm()
	show := func(status int, f *form) error { return v.showAccount(status, accountView{Codes: f}) }
	if f.read(v.PostForm); f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	codes, err := v.site.svc.MakeRecoveryCodes(v.Context(), v.me.ID, f.value("codes_password"))
	if err != nil {
		return v.retry(f, err, show, "password", "codes_password")
	}
	return v.showAccount(http.StatusOK, accountView{Made: codes})
}

func deleteAccount(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := deleteAccountForm()
	show := func(status int, f *form) error { return v.showAccount(status, accountView{Delete: f}) }
	if f.read(v.PostForm); f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	who := service.Identity{User: v.me.ID, SignIn: v.signIn}
	if err := v.site.svc.DeleteAccount(v.Context(), who, f.value("delete_password")); err != nil {
		return v.retry(f, err, show, "password", "delete_password")
	}
	v.forgetTokens()
	return v.goTo("/sign-in")
}

func resetForm() *form {
	return &form{
		Action: "/reset", Submit: "Set the password and sign in",
		Inputs: []*input{
			emailInput(),
			{
				Name:         "code",
				Label:        "Code",
				Hint:         "From your coach, or one of your recovery codes. Spaces, hyphens and case don’t matter.",
				Autocomplete: "one-time-code",
				Required:     true,
				Min:          "10",
				Max:          "100",
			},
			newPasswordInput(),
		},
	}
}

func resetPage(v *visit) error { return v.showReset(http.StatusOK, resetForm()) }

func (v *visit) showReset(status int, f *form) error {
	return v.show(status, "reset", frame{Title: "Set a new password", Page: f})
}

// resetPassword sets a new password with a code, and signs in.
func resetPassword(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := resetForm()
	if f.read(v.PostForm); f.faulty() {
		return v.showReset(http.StatusBadRequest, f)
	}
	tokens, err := v.site.svc.ResetPassword(v.Context(), service.Reset{
		Email: f.value(
			"email",
		), Code: f.value("code"), NewPassword: f.value("new_password"), Device: device, From: v.from(),
	})
	if err != nil && service.AsError(err).Code == service.NotFound {
		f.Fault = service.AsError(err).Detail
		return v.showReset(http.StatusNotFound, f)
	}
	if err != nil {
		return v.retry(f, err, v.showReset)
	}
	if err := v.begin(tokens); err != nil {
		return err
	}
	return v.goTo("/")
}
