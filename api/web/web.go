// Package web serves the pages a person looks at, from the same use cases as the API.
//
// A page needs no script: the one there is only makes forms quicker.
// Styles and scripts are files of our own, as the edge's content security policy asks.
package web

import (
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"path"
	"strings"
	"sync"

	"github.com/google/uuid"

	"laneward/api/web/dates"
	"laneward/api/web/logger"
	"laneward/openapi"
	"laneward/service"
)

// site is the pages over one service.
type site struct {
	svc    *service.Service
	log    *slog.Logger
	assets assets
	docs   *docs
	public *url.URL // where people reach the server; nil when that is not known

	loading sync.Mutex
	pages   map[string]pages // by the language that days are written in
}

// New returns the pages as one handler, mounted at the root below everything of the contract.
// public is where people reach the server, nil when that is not known.
func New(svc *service.Service, log *slog.Logger, public *url.URL) (http.Handler, error) {
	files, err := loadAssets()
	if err != nil {
		return nil, err
	}
	contract, err := newDocs(openapi.Contract)
	if err != nil {
		return nil, err
	}
	s := &site{svc: svc, log: log, assets: files, docs: contract, public: public, pages: make(map[string]pages)}
	if _, err := s.pagesFor(dates.For("")); err != nil {
		return nil, err
	}
	sameOrigin := http.NewCrossOriginProtection()
	sameOrigin.SetDenyHandler(s.open(func(*visit) error { return errForeignForm }))
	return sameOrigin.Handler(s.routes()), nil
}

var errForeignForm = &service.Error{
	Code:   service.Forbidden,
	Detail: "this form was sent from another site, so nothing was changed: open the page here and send it again",
}

func (s *site) routes() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /static/{file}", s.assets)
	offline := logger.Handler()
	mux.Handle("GET "+logger.Root, offline)
	mux.Handle("GET "+strings.TrimSuffix(logger.Root, "/"), offline)
	mux.Handle("GET /favicon.ico", s.assets) // requested beside a picture that is shown alone
	for pattern, page := range map[string]page{
		"GET /docs":      docsPage,
		"GET /problems":  problemsPage,
		"GET /sign-in":   signInPage,
		"POST /sign-in":  signIn,
		"GET /sign-up":   signUpPage,
		"POST /sign-up":  signUp,
		"POST /sign-out": signOut,
		"GET /reset":     resetPage,

		"POST /sign-in/passkey":         passkeySignIn,
		"POST /sign-in/passkey/options": forScript(beginPasskeySignIn),
		"POST /reset":                   resetPassword,
		"/":                             func(*visit) error { return errNoPage },
	} {
		mux.Handle(pattern, s.open(page))
	}
	mux.Handle("GET /{$}", s.open(homePage))
	for _, pages := range []map[string]page{accountPages, passkeyPages, squadPages, linePages} {
		for pattern, page := range pages {
			mux.Handle(pattern, s.signedIn(page))
		}
	}
	for _, pattern := range accountForms {
		mux.Handle("GET /account/"+pattern, s.signedIn(func(v *visit) error { return v.goTo("/account") }))
	}
	for pattern, page := range reopened {
		mux.Handle("GET /squads/{squad}/"+pattern, s.signedIn(back(page)))
	}
	for where, kind := range editables() {
		mux.Handle("GET /squads/{squad}/"+where+"/delete", s.signedIn(back("edit")))
		mux.Handle("GET /squads/{squad}/"+where+"/edit", s.signedIn(kind.show))
		mux.Handle("POST /squads/{squad}/"+where+"/edit", s.signedIn(kind.save))
		mux.Handle("POST /squads/{squad}/"+where+"/delete", s.signedIn(kind.delete))
	}
	return mux
}

// squadPages are the pages of a squad's records.
var squadPages = map[string]page{
	"GET /squads":  squadsPage,
	"POST /squads": makeSquad,
	"POST /join":   joinSquad,

	"GET /squads/{squad}":                                    squadPage,
	"GET /squads/{squad}/people":                             peoplePage,
	"POST /squads/{squad}/athletes":                          addAthlete,
	"POST /squads/{squad}/invitations":                       invite,
	"POST /squads/{squad}/name":                              renameSquad,
	"POST /squads/{squad}/invitations/{invitation}/withdraw": withdrawInvitation,
	"POST /squads/{squad}/members/{member}/reset-code":       makeResetCode,
	"GET /squads/{squad}/audit":                              auditPage,

	"GET /squads/{squad}/athletes/{athlete}":          athletePage,
	"POST /squads/{squad}/athletes/{athlete}/balls":   addBall,
	"POST /squads/{squad}/athletes/{athlete}/erase":   eraseAthlete,
	"GET /squads/{squad}/athletes/{athlete}/data.zip": exportAthlete,

	"GET /squads/{squad}/drills/new":                                 newDrillPage,
	"POST /squads/{squad}/drills/new":                                newDrill,
	"POST /squads/{squad}/drills/reading":                            readingPart,
	"GET /squads/{squad}/drills/{drill}":                             drillPage,
	"POST /squads/{squad}/drills/{drill}/assignments":                assignDrill,
	"GET /squads/{squad}/drills/{drill}/athletes/{athlete}/lane.svg": svgPage(drillLane),
	"GET /squads/{squad}/drills/{drill}/athletes/{athlete}/lane.png": pngPage(drillLane),

	"GET /squads/{squad}/sessions/new":             newSessionPage,
	"POST /squads/{squad}/sessions/new":            newSession,
	"GET /squads/{squad}/sessions/{session}":       sessionPage,
	"POST /squads/{squad}/sessions/{session}/logs": uploadLog,

	"GET /squads/{squad}/patterns/new":       newPatternPage,
	"POST /squads/{squad}/patterns/new":      newPattern,
	"GET /squads/{squad}/patterns/{pattern}": patternPage,
}

// reopened are the addresses that a refused form is shown at, by the page that has the form: a tab
// that is restored, or a link that was shared, asks for them.
var reopened = map[string]string{
	"athletes":                    "people",
	"invitations":                 "people",
	"members/{member}/reset-code": "edit",
	"name":                        "people",
	"athletes/{athlete}/balls":    "",
	"athletes/{athlete}/erase":    "",
	"drills/{drill}/assignments":  "",
	"sessions/{session}/logs":     "",
}

// back leads from the address of a form to a page beside it, or to the one above.
func back(beside string) page {
	return func(v *visit) error { return v.goTo(path.Join(path.Dir(v.URL.Path), beside)) }
}

// linePages are the pages that plan lines.
var linePages = map[string]page{
	"GET /squads/{squad}/plan":              planPage,
	"GET /squads/{squad}/plan/lane.svg":     svgPage(planPicture),
	"GET /squads/{squad}/plan/lane.png":     pngPage(planPicture),
	"GET /squads/{squad}/plan/map.svg":      svgPage(missMapPicture),
	"GET /squads/{squad}/plan/map.png":      pngPage(missMapPicture),
	"GET /squads/{squad}/plan/line":         linePage,
	"POST /squads/{squad}/plan/line":        assignLine,
	"GET /squads/{squad}/plan/line.svg":     svgPage(linePicture),
	"GET /squads/{squad}/plan/line.png":     pngPage(linePicture),
	"GET /squads/{squad}/compare":           comparePage,
	"GET /squads/{squad}/compare/lanes.svg": svgPage(comparePicture),
	"GET /squads/{squad}/compare/lanes.png": pngPage(comparePicture),
}

var errNoPage = &service.Error{
	Code:   service.NotFound,
	Detail: "page not found: go to the home page",
}

// visit is one request for a page.
type visit struct {
	*http.Request
	w    http.ResponseWriter
	site *site
	me   *service.Person // nil when signed out
	// signIn is the one the visitor is signed in by.
	signIn uuid.UUID

	dates dates.Form // of the reader's language
}

// page answers a visit, or fails with the service's error.
type page func(v *visit) error

// maxForm bounds a form; a log is bounded by [service.MaxLogBytes].
const maxForm = 1 << 20

// open serves a page to anyone, and passes it the user when they are signed in.
func (s *site) open(p page) http.Handler {
	return s.serve(func(v *visit) error {
		user, err := v.user()
		if err == nil {
			err = v.meet(user)
		}
		if err != nil && !signedOut(err) {
			return err
		}
		return p(v)
	})
}

// signedIn serves a page to signed-in users, and sends anyone else to sign in first.
func (s *site) signedIn(p page) http.Handler {
	return s.serve(func(v *visit) error {
		user, err := v.user()
		if err == nil {
			err = v.meet(user)
		}
		if err != nil && signedOut(err) && v.Method != http.MethodPost {
			return v.toSignIn()
		}
		if err != nil && signedOut(err) && !isLog(v.Request) {
			return v.keepEntries()
		}
		if err != nil {
			return err
		}
		return p(v)
	})
}

func (s *site) serve(p page) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		limit := int64(maxForm)
		if r.Method == http.MethodPost && isLog(r) {
			limit = service.MaxLogBytes + maxForm
		}
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		w.Header().Set("Cache-Control", "private, no-store")
		// A page without a referrer sends its own forms from nowhere (Origin: null), and over plain
		// HTTP a browser sends nothing else that says where a form comes from: it would be taken
		// for one from another site.
		w.Header().Set("Referrer-Policy", "same-origin")
		w.Header().Add("Vary", "Accept-Language")
		v := &visit{Request: r, w: w, site: s, dates: dates.For(r.Header.Get("Accept-Language"))}
		if err := p(v); err != nil {
			v.fail(err)
		}
	})
}

func signedOut(err error) bool { return service.AsError(err).Code == service.Unauthenticated }

// meet finds out who the user is. A user whose account is gone is signed out.
func (v *visit) meet(user uuid.UUID) error {
	me, err := v.site.svc.Me(v.Context(), user)
	if err != nil {
		if service.AsError(err).Code == service.NotFound {
			v.forgetTokens()
			return errSignedOut
		}
		return err
	}
	v.me = &me
	return nil
}

// id reads an id of the address; anything else is not found.
func (v *visit) id(name string) (uuid.UUID, error) {
	id, err := uuid.Parse(v.PathValue(name))
	if err != nil {
		return uuid.Nil, errNoPage
	}
	return id, nil
}

// squad is the squad of the address as the visitor sees it.
func (v *visit) squad() (service.OwnSquad, error) {
	id, err := v.id("squad")
	if err != nil {
		return service.OwnSquad{}, err
	}
	for _, own := range v.me.Squads {
		if own.ID == id {
			return own, nil
		}
	}
	return service.OwnSquad{}, &service.Error{
		Code:   service.NotFound,
		Detail: "this squad doesn't exist, or you aren't in it",
	}
}

// squadAnd reads the squad of the address and one more id.
func (v *visit) squadAnd(name string) (own service.OwnSquad, id uuid.UUID, err error) {
	if own, err = v.squad(); err == nil {
		id, err = v.id(name)
	}
	return own, id, err
}

// form reads a posted form; one that is cut off or too large is the sender's to fix.
func (v *visit) form() error {
	err := v.ParseForm()
	var large *http.MaxBytesError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &large):
		return &service.Error{
			Code:   service.TooLarge,
			Detail: fmt.Sprintf("the form is larger than %d bytes: send less at once", large.Limit),
		}
	}
	return &service.Error{Code: service.Invalid, Detail: "the form did not arrive complete: send it again"}
}

// goTo answers an accepted form: the browser requests the page again, so that reloading it sends
// nothing twice.
func (v *visit) goTo(address string) error {
	http.Redirect(v.w, v.Request, address, http.StatusSeeOther)
	return nil
}
