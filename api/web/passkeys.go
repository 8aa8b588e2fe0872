package web

import (
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/google/uuid"

	"laneward/api/problem"
	"laneward/service"
)

// passkeyPages are those of a user's own passkeys.
var passkeyPages = map[string]page{
	"POST /account/passkeys":                  addPasskey,
	"POST /account/passkeys/options":          forScript(beginPasskey),
	"POST /account/passkeys/{passkey}/remove": removePasskey,
}

// origin is the address that the visitor's browser has open.
func (v *visit) origin() string {
	scheme := "http"
	if v.TLS != nil {
		scheme = "https"
	}
	return scheme + "://" + v.Host
}

// passkeysOff says why there are no passkeys here; "" when there are.
func (v *visit) passkeysOff() string {
	if err := v.site.svc.PasskeysOff(v.origin()); err != nil {
		return service.AsError(err).Detail
	}
	return ""
}

// forScript answers the script of the page, as JSON, also when it fails.
func forScript(begin func(v *visit) (service.Ceremony, error)) page {
	return func(v *visit) error {
		if err := v.form(); err != nil {
			return err
		}
		begun, err := begin(v)
		status, answer := http.StatusOK, map[string]any{"ceremony": begun.ID, "options": begun.Options}
		if err != nil {
			known := service.AsError(err)
			if known.Code == service.Internal {
				return err
			}
			setRetryAfter(v.w, known)
			status, answer = problem.Of(known.Code).Status, map[string]any{"detail": sentence(capital(known.Detail))}
		}
		body, err := json.Marshal(answer)
		if err != nil {
			return fmt.Errorf("write the answer to the script: %w", err)
		}
		v.send(status, "application/json", body)
		return nil
	}
}

func beginPasskey(v *visit) (service.Ceremony, error) {
	return v.site.svc.BeginPasskey(v.Context(), v.me.ID, v.PostFormValue("passkey_password"), v.origin())
}

func beginPasskeySignIn(v *visit) (service.Ceremony, error) {
	return v.site.svc.BeginPasskeySignIn(v.Context(), v.origin(), v.from())
}

// addPasskeyForm is completed by the page's script; without one it says so.
func addPasskeyForm() *form {
	return &form{
		Action: "/account/passkeys", Submit: "Add a passkey",
		Hidden: map[string]string{"ceremony": "", "credential": ""},
		Inputs: []*input{
			{
				Name:         "passkey_name",
				Label:        "A name for it",
				Hint:         "Such as the phone or the key that it is on.",
				Autocomplete: "off",
				Required:     true,
				Max:          "100",
			},
			passwordInput("passkey_password", "Your password", ""),
		},
	}
}

// credential reads the browser's answer from a form.
func (v *visit) credential() (ceremony uuid.UUID, credential []byte, err error) {
	ceremony, err = uuid.Parse(v.PostFormValue("ceremony"))
	credential = []byte(v.PostFormValue("credential"))
	if err != nil || len(credential) == 0 {
		return ceremony, nil, &service.Error{
			Code:   service.Invalid,
			Detail: "passkeys need JavaScript: switch it on for this site, or use your password",
		}
	}
	return ceremony, credential, nil
}

func addPasskey(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := addPasskeyForm()
	show := func(status int, f *form) error { return v.showAccount(status, accountView{AddPasskey: f}) }
	if f.read(v.PostForm); f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	ceremony, credential, err := v.credential()
	if err == nil {
		made := service.NewPasskey{Ceremony: ceremony, Name: f.value("passkey_name"), Credential: credential}
		_, err = v.site.svc.AddPasskey(v.Context(), v.me.ID, made, v.origin())
	}
	if err != nil {
		return v.retry(f, err, show, "name", "passkey_name")
	}
	return v.goTo("/account#passkeys")
}

func removePasskey(v *visit) error {
	id, err := v.id("passkey")
	if err != nil {
		return err
	}
	if err := v.site.svc.RemovePasskey(v.Context(), v.me.ID, id); err != nil {
		return err
	}
	return v.goTo("/account#passkeys")
}

// passkeySignIn signs in with the browser's answer.
func passkeySignIn(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := signInForm(v.next())
	ceremony, credential, err := v.credential()
	if err != nil {
		return v.retry(f, err, v.showSignIn)
	}
	tokens, err := v.site.svc.SignInWithPasskey(v.Context(), ceremony, credential, device, v.origin())
	if err != nil {
		return v.retry(f, err, v.showSignIn)
	}
	if err := v.begin(tokens); err != nil {
		return err
	}
	return v.goTo(v.next())
}
