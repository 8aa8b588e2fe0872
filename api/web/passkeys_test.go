package web_test

import (
	"context"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// withAuthenticator gives the browser a device that holds passkeys and knows the person's finger.
func (b *browser) withAuthenticator() {
	b.t.Helper()
	b.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		if _, err := cdp.Call(ctx, target, webauthn.Enable, webauthn.EnableParams{}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, target, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{
			Options: &webauthn.VirtualAuthenticatorOptions{
				Protocol:                    webauthn.AuthenticatorProtocolCtap2,
				Transport:                   webauthn.AuthenticatorTransportInternal,
				HasResidentKey:              true,
				HasUserVerification:         true,
				IsUserVerified:              true,
				AutomaticPresenceSimulation: true,
			},
		})
		return err
	}))
}

// TestPasskeysInABrowser adds a passkey with the password, signs out, signs in with it alone, and
// removes it.
func TestPasskeysInABrowser(t *testing.T) {
	w := newWorld(t)
	b := newBrowser(t, strings.Replace(w.server.URL, "127.0.0.1", "localhost", 1))
	b.withAuthenticator()
	b.screen(390, false)
	b.signIn()
	b.open("/account")
	b.do(
		chromedp.SendKeys(chromedp.ID("passkey_name"), "My phone"),
		chromedp.SendKeys(chromedp.ID("passkey_password"), "wrong"),
	)
	b.refused.Store(true)
	b.do(chromedp.Focus(chromedp.CSS("#add-passkey button")), chromedp.KeyEvent(kb.Enter))
	const said = `document.querySelector("#add-passkey [role=alert]").textContent === "The password is wrong."`
	if _, err := chromedp.Run(b.ctx, chromedp.Poll[bool](said)); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.SetValue(chromedp.ID("passkey_password"), password))
	b.press("#add-passkey button")
	list, err := w.svc.Passkeys(t.Context(), w.coach)
	must(t, err)
	if len(list) != 1 || list[0].Name != "My phone" || list[0].LastUsed != nil {
		t.Fatalf("passkeys %+v", list)
	}
	for _, width := range []int64{390, 1280} {
		b.screen(width, false)
		b.open("/account")
		b.look("account-passkey", width)
	}
	b.press(`form[action="/sign-out"] button`)
	b.screen(390, false)
	b.look("sign-in-passkey", 390)
	b.press("#passkey-sign-in button")
	if at := evaluate[string](b, "location.pathname"); at != w.at() {
		t.Errorf("signed in at %s, want %s", at, w.at())
	}
	list, err = w.svc.Passkeys(t.Context(), w.coach)
	must(t, err)
	if list[0].LastUsed == nil {
		t.Error("the sign-in is not noted")
	}
	b.open("/account")
	b.press(`form[action$="/remove"] button`)
	if list, err = w.svc.Passkeys(t.Context(), w.coach); err != nil || len(list) != 0 {
		t.Errorf("passkeys %+v, %v", list, err)
	}
	b.press(`form[action="/sign-out"] button`)
	b.press("#passkey-sign-in button")
	if text := evaluate[string](b, `document.querySelector("[role=alert]").textContent`); !strings.Contains(text, "This passkey is not known here") {
		t.Errorf("a removed passkey is answered %q", text)
	}
}

// TestPasskeysNeedAName: at an address without a name the page says why there are none.
func TestPasskeysNeedAName(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	page := v.get("/account")
	page.wants(t, http.StatusOK, "Passkeys are off here: they belong to the name that the server is reached by")
	if strings.Contains(page.body, "passkeys.js") {
		t.Error("the page has the script all the same")
	}
	if sign := w.visitor().get("/sign-in"); strings.Contains(sign.body, "passkey") {
		t.Error("signing in with one is offered")
	}
	w.server.URL = strings.Replace(w.server.URL, "127.0.0.1", "localhost", 1)
	named := w.signedIn(coachEmail)
	named.post("/account/passkeys", "passkey_name", "x", "passkey_password", password).
		wants(t, http.StatusBadRequest, "Passkeys need JavaScript")
}
