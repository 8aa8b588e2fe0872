package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/api/web/dates"
	"laneward/service"
	"laneward/service/picture"
	"laneward/service/record"
)

// homePage is where a visit starts: the sign-in, the one squad there is, or the list of them.
func homePage(v *visit) error {
	switch {
	case v.me == nil && v.Header.Get("Sec-Fetch-Site") == "cross-site":
		return v.toSignIn()
	case v.me == nil:
		return v.showSignIn(http.StatusOK, signInForm("/"))
	case len(v.me.Squads) == 1:
		return v.goTo("/squads/" + v.me.Squads[0].ID.String())
	}
	return squadsPage(v)
}

// squadsView is the data of the list of squads.
type squadsView struct {
	Squads     []service.OwnSquad
	Make, Join *form
}

func makeForm() *form {
	return &form{
		Action: "/squads", Submit: "Create squad",
		Inputs: []*input{{Name: "name", Label: "Squad name", Autocomplete: "off", Required: true, Max: "200"}},
	}
}

func joinForm() *form {
	return &form{
		Action: "/join", Submit: "Join",
		Inputs: []*input{
			{
				Name:         "code",
				Label:        "Code from your coach",
				Hint:         "32 letters and digits. Spaces, hyphens and case don’t matter.",
				Autocomplete: "off",
				Required:     true,
				Max:          "100",
			},
		},
	}
}

func squadsPage(v *visit) error { return v.showSquads(http.StatusOK, makeForm(), joinForm()) }

func (v *visit) showSquads(status int, making, joining *form) error {
	return v.show(status, "squads", frame{Title: "Your squads", Page: squadsView{v.me.Squads, making, joining}})
}

func makeSquad(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := makeForm()
	show := func(status int, f *form) error { return v.showSquads(status, f, joinForm()) }
	if f.read(v.PostForm); f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	made, _, err := v.site.svc.CreateSquad(v.Context(), v.me.ID, &record.Squad{Name: f.value("name")})
	if err != nil {
		return v.retry(f, err, show)
	}
	return v.goTo("/squads/" + made.ID.String())
}

func joinSquad(v *visit) error {
	if err := v.form(); err != nil {
		return err
	}
	f := joinForm()
	show := func(status int, f *form) error { return v.showSquads(status, makeForm(), f) }
	if f.read(v.PostForm); f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	squad, _, err := v.site.svc.Join(v.Context(), v.me.ID, f.value("code"))
	if service.AsError(err).Code == service.NotFound && err != nil {
		f.blame("code", service.AsError(err).Detail)
		return show(http.StatusNotFound, f)
	}
	if err != nil {
		return v.retry(f, err, show)
	}
	return v.goTo("/squads/" + squad.String())
}

// all reads every record of a kind that the visitor may see.
func all[R record.Record](ctx context.Context, v *visit, squad uuid.UUID, kind record.Kind) ([]R, error) {
	const pageLimit = 1000
	var list []R
	for after := int64(0); ; {
		page, err := v.site.svc.List(ctx, v.me.ID, squad, kind, after, pageLimit)
		if err != nil {
			return nil, err
		}
		for _, record := range page.Records {
			list = append(list, record.(R))
		}
		if page.Next == 0 {
			return list, nil
		}
		after = page.Next
	}
}

// roster is a squad's records, each kind in the order a person looks for them.
type roster struct {
	Squad    *record.Squad
	Own      service.OwnSquad
	Today    string // YYYY-MM-DD
	Dates    dates.Form
	Athletes []*record.Athlete
	Patterns []*record.Pattern
	Sessions []*record.Session
	Drills   []*record.Drill
}

// Coach reports whether the visitor runs the squad.
func (r *roster) Coach() bool { return r.Own.Role == record.RoleCoach }

// CanLog reports whether the visitor may bring shots in.
func (r *roster) CanLog() bool { return r.Own.Role != record.RoleAnalyst }

// Address is the squad's page.
func (r *roster) Address() string { return "/squads/" + r.Own.ID.String() }

// Athlete is the name of an athlete, empty when there is none.
func (r *roster) Athlete(id *uuid.UUID) string {
	for _, a := range r.Athletes {
		if id != nil && a.ID == *id {
			return a.Name
		}
	}
	return ""
}

// Pattern is the name of a pattern, empty when there is none.
func (r *roster) Pattern(id *uuid.UUID) string {
	for _, p := range r.Patterns {
		if id != nil && p.ID == *id {
			return p.Name
		}
	}
	return ""
}

// roster reads the squad's own record, and all its records of the kinds that a page needs.
func (v *visit) roster(own service.OwnSquad, kinds ...record.Kind) (*roster, error) {
	r := &roster{Own: own, Dates: v.dates, Today: v.site.svc.Now().UTC().Format(time.DateOnly)}
	ctx := v.Context()
	found, err := v.site.svc.Get(ctx, v.me.ID, own.ID, record.KindSquad, own.ID)
	if err != nil {
		return nil, err
	}
	r.Squad = found.(*record.Squad)
	for _, kind := range kinds {
		switch kind {
		case record.KindAthlete:
			r.Athletes, err = all[*record.Athlete](ctx, v, own.ID, kind)
		case record.KindPattern:
			r.Patterns, err = all[*record.Pattern](ctx, v, own.ID, kind)
		case record.KindSession:
			r.Sessions, err = all[*record.Session](ctx, v, own.ID, kind)
		case record.KindDrill:
			r.Drills, err = all[*record.Drill](ctx, v, own.ID, kind)
		default:
			err = fmt.Errorf("a roster has no list of kind %q", kind)
		}
		if err != nil {
			return nil, err
		}
	}
	slices.SortFunc(r.Athletes, func(a, b *record.Athlete) int { return strings.Compare(a.Name, b.Name) })
	slices.SortFunc(r.Patterns, func(a, b *record.Pattern) int { return strings.Compare(a.Name, b.Name) })
	slices.SortStableFunc(r.Sessions, func(a, b *record.Session) int {
		if byDay := b.Date.Compare(a.Date.Time); byDay != 0 {
			return byDay // the latest first
		}
		return strings.Compare(a.Name, b.Name)
	})
	slices.Reverse(r.Drills) // the one changed last first
	return r, nil
}

// asCoach reads the squad of the address for a page that only its coaches have.
func (v *visit) asCoach(kinds ...record.Kind) (*roster, error) {
	return v.as(
		func(own service.OwnSquad) bool { return own.Role == record.RoleCoach },
		"only coaches of this squad can do this: ask one", kinds...,
	)
}

// asLogger reads the squad of the address for a page of those who bring shots in.
func (v *visit) asLogger(kinds ...record.Kind) (*roster, error) {
	return v.as(
		func(own service.OwnSquad) bool { return own.Role != record.RoleAnalyst },
		"analysts can read but not log shots: ask a coach", kinds...,
	)
}

func (v *visit) as(may func(own service.OwnSquad) bool, detail string, kinds ...record.Kind) (*roster, error) {
	own, err := v.squad()
	if err != nil {
		return nil, err
	}
	if !may(own) {
		return nil, &service.Error{Code: service.Forbidden, Detail: detail}
	}
	return v.roster(own, kinds...)
}

func (v *visit) crumbs(r *roster, more ...crumb) []crumb {
	trail := []crumb{{"Your squads", "/squads"}}
	if r != nil {
		trail = append(trail, crumb{r.Squad.Name, r.Address()})
	}
	return append(trail, more...)
}

// drillView is one drill on the squad's page: the bars of all its athletes, and their lanes when it
// is the chosen one.
type drillView struct {
	Drill  *record.Drill
	Chosen bool
	Scores []scoreView
	Bars   template.HTML
}

// scoreView is one athlete's score, with their lane where it is shown.
type scoreView struct {
	service.Score
	Address string // of the athlete's part of the drill's page
	Lane    template.HTML
}

type squadView struct {
	*roster
	Usage  service.Usage
	Views  []drillView
	Recent []*record.Session
	Older  []*record.Session
}

// recentSessions is how many sessions the squad's page shows before the rest is folded away.
const recentSessions = 8

func squadPage(v *visit) error {
	own, err := v.squad()
	if err != nil {
		return err
	}
	r, err := v.roster(own, record.KindAthlete, record.KindPattern, record.KindSession, record.KindDrill)
	if err != nil {
		return err
	}
	view := squadView{roster: r, Recent: r.Sessions}
	if view.Usage, err = v.site.svc.Usage(v.Context(), v.me.ID, own.ID); err != nil {
		return err
	}
	if len(r.Sessions) > recentSessions {
		view.Recent, view.Older = r.Sessions[:recentSessions], r.Sessions[recentSessions:]
	}
	chosen := v.chosenDrill(r)
	for _, d := range r.Drills {
		one, err := v.drillView(r, d, d.ID == chosen)
		if err != nil {
			return err
		}
		view.Views = append(view.Views, one)
	}
	slices.SortStableFunc(view.Views, func(a, b drillView) int {
		if a.Chosen == b.Chosen {
			return 0
		} else if a.Chosen {
			return -1
		}
		return 1
	})
	return v.show(http.StatusOK, "squad", frame{Title: r.Squad.Name, Squad: r.Squad, Crumbs: v.crumbs(nil), Page: view})
}

// chosenDrill is the drill the address asks for, else the latest whose lanes have a corridor, else
// the latest.
func (v *visit) chosenDrill(r *roster) uuid.UUID {
	asked, err := uuid.Parse(v.URL.Query().Get("drill"))
	if err == nil && slices.ContainsFunc(r.Drills, func(d *record.Drill) bool { return d.ID == asked }) {
		return asked
	}
	if len(r.Drills) == 0 {
		return uuid.Nil
	}
	if at := slices.IndexFunc(r.Drills, onBoards); at >= 0 {
		return r.Drills[at].ID
	}
	return r.Drills[0].ID
}

// The widths pictures are laid out for, in px: bars and a lane shown alone fill a phone held
// upright, lanes side by side fit three or more abreast.
const (
	barsPx     = 358
	lanePx     = 390
	laneManyPx = 340
)

func (v *visit) drillView(r *roster, d *record.Drill, chosen bool) (drillView, error) {
	view := drillView{Drill: d, Chosen: chosen}
	_, found, err := v.site.svc.DrillLanes(v.Context(), v.me.ID, r.Own.ID, service.DrillQuery{Drill: d.ID})
	if err != nil {
		return view, err
	}
	for _, one := range found {
		score := scoreView{Score: one.Score, Address: drillAddress(r, d.ID) + "#" + one.Athlete.ID.String()}
		if chosen {
			one.Lane.WidthPx = laneManyPx
			if score.Lane, err = laneOf(one, d.Name); err != nil {
				return view, err
			}
		}
		view.Scores = append(view.Scores, score)
	}
	if len(found) > 0 {
		view.Bars, err = barsOf(found, d)
	}
	return view, err
}

func drillAddress(r *roster, id uuid.UUID) string { return r.Address() + "/drills/" + id.String() }

// laneOf draws an athlete's lane without a heading, which the page has, and names it for users who
// cannot see it.
func laneOf(one service.LaneScore, drill string) (template.HTML, error) {
	one.Lane.Caption = ""
	scene, err := one.Lane.Scene()
	if err != nil {
		return "", err
	}
	scene.Title = one.Athlete.Name + ": " + drill
	return svg(scene), nil
}

// maxBars is how many rows one picture of bars holds.
const maxBars = 100

func barsOf(scores []service.LaneScore, d *record.Drill) (template.HTML, error) {
	bars := picture.Adherence{WidthPx: barsPx}
	for _, one := range scores[:min(len(scores), maxBars)] {
		a := one.Adherence
		bars.Rows = append(bars.Rows, picture.AdherenceRow{
			Label:     one.Athlete.Name,
			Kept:      a.Kept,
			Judged:    a.Judged,
			Shots:     a.Shots,
			Share:     a.TrueShare.Share,
			LowShare:  a.TrueShare.Interval.Low,
			HighShare: a.TrueShare.Interval.High,
			PassShare: d.PassShare,
			Verdict:   string(a.Verdict),
		})
	}
	scene, err := bars.Scene()
	if err != nil {
		return "", err
	}
	scene.Title = d.Name + ": share of the measured shots that kept the drill"
	return svg(scene), nil
}
