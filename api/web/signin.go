package web

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/google/uuid"

	"laneward/service"
)

// device is what the pages call themselves when they sign in: a browser sends no name of its
// own.
const device = "web pages"

// plainHTTP is the answer to a sign-in that the browser would forget at once.
const plainHTTP = "This page came over http, without encryption, and a browser keeps a sign-in only over https: open " +
	"the https address of this server. Whoever runs it can allow http with --public-url, for example " +
	"--public-url http://lanes.local:8080"

var errSignedOut = &service.Error{
	Code:   service.Unauthenticated,
	Detail: "your sign-in ended: sign in to continue",
}

// user is the signed-in user. When the access token has run out a new one is fetched with the
// refresh token, and the browser is given both.
func (v *visit) user() (uuid.UUID, error) {
	if access := v.kept(accessCookie); access != "" {
		if who, err := v.site.svc.Authenticate(v.Context(), access); err == nil {
			v.signIn = who.SignIn
			return who.User, nil
		}
	}
	refresh := v.kept(refreshCookie)
	if refresh == "" {
		return uuid.Nil, errSignedOut
	}
	tokens, err := v.site.svc.Refresh(v.Context(), refresh, device)
	if err != nil {
		if signedOut(err) {
			v.forgetTokens()
			return uuid.Nil, errSignedOut
		}
		return uuid.Nil, err
	}
	v.keepTokens(tokens)
	v.signIn = tokens.SignIn
	return tokens.User, nil
}

// begin begins a sign-in in this browser, and ends the one that it replaces.
func (v *visit) begin(tokens service.Tokens) error {
	if cookie, err := v.Cookie(refreshCookie); err == nil {
		if err := v.site.svc.SignOut(v.Context(), cookie.Value); err != nil {
			return err
		}
	}
	v.keepTokens(tokens)
	return nil
}

func (v *visit) keepTokens(tokens service.Tokens) {
	v.setCookie(accessCookie, tokens.Access, service.AccessTTL)
	v.setCookie(refreshCookie, tokens.Refresh, refreshAge)
	v.setCookie(markCookie, tokens.Mark, markAge)
}

func (v *visit) forgetTokens() {
	v.setCookie(accessCookie, "", -1)
	v.setCookie(refreshCookie, "", -1)
}

// toSignIn asks the user to sign in and come back. A request that follows a link on another site
// carries no cookies, though the user may well be signed in, so the browser is made to ask once
// more, from here.
func (v *visit) toSignIn() error {
	if v.Header.Get("Sec-Fetch-Site") == "cross-site" {
		return v.show(http.StatusOK, "again", frame{Title: "One moment", Page: v.URL.RequestURI()})
	}
	return v.goTo("/sign-in?" + url.Values{"next": {v.URL.RequestURI()}}.Encode())
}

// keepEntries asks a user whose sign-in ended while they filled in a form to sign in, and keeps
// their entries in that page.
func (v *visit) keepEntries() error {
	if err := v.form(); err != nil {
		return err
	}
	f := signInForm("/")
	f.keep(v.URL.RequestURI(), v.PostForm.Encode())
	f.Fault = "Your sign-in ended. Sign in to continue; your entries are kept"
	return v.showSignIn(http.StatusUnauthorized, f)
}

// keep carries what was entered in another form, and where that goes, along with the sign-in.
func (f *form) keep(action, entries string) {
	f.Hidden["action"], f.Hidden["entries"] = action, entries
}

// showEntries offers to send what was entered before the sign-in ended.
func (v *visit) showEntries(action string) error {
	entries, err := url.ParseQuery(v.PostFormValue("entries"))
	if err != nil {
		return &service.Error{Code: service.Invalid, Detail: "the entries did not arrive complete: fill " +
			"in the form again"}
	}
	return v.show(http.StatusOK, "entries", frame{Title: "Signed in", Page: entriesView{action, entries}})
}

// entriesView is the data of the page that sends kept entries.
type entriesView struct {
	Action  string
	Entries url.Values
}

// next is the page to go to after signing in: always one of ours, whatever the address says.
func (v *visit) next() string { return local(v.FormValue("next")) }

func emailInput() *input {
	return &input{
		Name:         "email",
		Label:        "Email address",
		Type:         "email",
		Autocomplete: "username",
		Required:     true,
		Max:          "254",
	}
}

func signInForm(next string) *form {
	return &form{
		Action: "/sign-in", Submit: "Sign in", Hidden: map[string]string{"next": next},
		Inputs: []*input{
			emailInput(),
			{
				Name:         "password",
				Label:        "Password",
				Type:         "password",
				Autocomplete: "current-password",
				Required:     true,
				Max:          "128",
			},
		},
	}
}

func signUpForm(next string) *form {
	return &form{
		Action: "/sign-up", Submit: "Sign up", Hidden: map[string]string{"next": next},
		Inputs: []*input{
			{
				Name:         "name",
				Label:        "Your name",
				Hint:         "As the squad should see it.",
				Autocomplete: "name",
				Required:     true,
				Max:          "200",
			},
			emailInput(),
			{
				Name:         "password",
				Label:        "Password",
				Hint:         "12 characters or more. Several unrelated words are best.",
				Type:         "password",
				Autocomplete: "new-password",
				Required:     true,
				Min:          "12",
				Max:          "128",
			},
		},
	}
}

func signInPage(v *visit) error {
	if v.me != nil {
		return v.goTo(v.next())
	}
	return v.showSignIn(http.StatusOK, signInForm(v.next()))
}

func (v *visit) showSignIn(status int, f *form) error {
	return v.show(status, "signin", frame{Title: "Sign in", Page: f, Passkeys: v.passkeysOff() == ""})
}

func signIn(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := signInForm(v.next())
	action := local(v.PostFormValue("action"))
	if action != "/" {
		f.keep(action, v.PostFormValue("entries"))
	}
	f.read(v.PostForm)
	if f.Fault == "" && v.losesCookies() {
		f.Fault = plainHTTP
	}
	if f.faulty() {
		return v.showSignIn(http.StatusBadRequest, f)
	}
	tokens, err := v.site.svc.SignIn(v.Context(), service.Attempt{
		Email: f.value(
			"email",
		), Password: f.value("password"), Device: device, Mark: v.kept(markCookie), From: v.from(),
	})
	if err != nil {
		return v.retry(f, err, v.showSignIn)
	}
	if err := v.begin(tokens); err != nil {
		return err
	}
	if action != "/" {
		return v.showEntries(action)
	}
	return v.goTo(v.next())
}

func signUpPage(v *visit) error {
	if v.me != nil {
		return v.goTo(v.next())
	}
	return v.showSignUp(http.StatusOK, signUpForm(v.next()))
}

func (v *visit) showSignUp(status int, f *form) error {
	return v.show(status, "signup", frame{Title: "Sign up", Page: f})
}

func signUp(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := signUpForm(v.next())
	f.read(v.PostForm)
	if local, domain, ok := strings.Cut(
		f.value("email"),
		"@",
	); f.value("email") != "" &&
		(!ok || local == "" || domain == "") {
		f.blame("email", "is not an email address; write it as name@example.org")
	}
	if f.Fault == "" && v.losesCookies() {
		f.Fault = plainHTTP
	}
	if f.faulty() {
		return v.showSignUp(http.StatusBadRequest, f)
	}
	tokens, err := v.site.svc.SignUp(v.Context(), service.NewUser{
		Email: f.value("email"), Name: f.value("name"), Password: f.value("password"), Device: device, From: v.from(),
	})
	if err != nil {
		return v.retry(f, err, v.showSignUp)
	}
	if err := v.begin(tokens); err != nil {
		return err
	}
	return v.goTo(v.next())
}

// signOut ends the sign-in. It works for a user who is already signed out.
func signOut(v *visit) error {
	if refresh := v.kept(refreshCookie); refresh != "" {
		if err := v.site.svc.SignOut(v.Context(), refresh); err != nil {
			return err
		}
	}
	v.forgetTokens()
	return v.goTo("/sign-in")
}
