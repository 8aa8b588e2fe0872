package web

import (
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/record"
	"laneward/service/shot"
)

// sessionView is the data of a session's page.
type sessionView struct {
	*roster
	Session *record.Session
	Lanes   []sessionLane
	Shots   []shotRow
	Columns []shotColumn
	After   bool        // the table does not begin with the first shot
	Next    string      // the address of the shots that follow, empty on the last page
	Astray  *record.Day // the day of a shot that lies far from the session's
	Upload  *form       // nil for users who may not
	Result  *uploadView
}

// May reports whether the visitor may change the session.
func (view sessionView) May() bool {
	return view.Coach() ||
		view.Own.Athlete != nil && view.Session.AthleteID != nil && *view.Own.Athlete == *view.Session.AthleteID
}

// LogColumns are the columns that a log may have.
func (sessionView) LogColumns() []shot.Column { return shot.Columns() }

type sessionLane struct {
	advice.SessionLane
	Picture template.HTML
}

func sessionPage(v *visit) error { return v.showSession(http.StatusOK, nil, nil) }

// showSession shows the session of the address, with what became of a log when one was sent.
func (v *visit) showSession(status int, upload *form, result *uploadView) error {
	own, id, err := v.squadAnd("session")
	if err != nil {
		return err
	}
	found, err := v.site.svc.Get(v.Context(), v.me.ID, own.ID, record.KindSession, id)
	if err != nil {
		return err
	}
	r, err := v.roster(own, record.KindAthlete, record.KindPattern, record.KindDrill)
	if err != nil {
		return err
	}
	view := sessionView{roster: r, Session: found.(*record.Session), Upload: upload, Result: result}
	if view.Lanes, err = v.sessionLanes(own.ID, view.Session); err != nil {
		return err
	}
	if err := v.fillShots(&view); err != nil {
		return err
	}
	if view.Upload == nil && r.CanLog() {
		view.Upload = uploadForm(r, view.Session)
	}
	return v.show(status, "session", frame{Title: view.Session.Name, Squad: r.Squad, Crumbs: v.crumbs(r), Page: view})
}

func (v *visit) sessionLanes(squad uuid.UUID, session *record.Session) ([]sessionLane, error) {
	found, err := v.site.svc.SessionLanes(v.Context(), v.me.ID, squad, session.ID)
	if err != nil {
		return nil, err
	}
	lanes := make([]sessionLane, len(found))
	for i, one := range found {
		one.Lane.WidthPx = laneManyPx
		scene, err := one.Lane.Scene()
		drawn, err := pictureOf(scene, err, one.Athlete.Name+": breakpoints in "+session.Name)
		if err != nil {
			return nil, err
		}
		lanes[i] = sessionLane{one, drawn}
	}
	return lanes, nil
}

func sessionForm(r *roster) *form {
	patterns := []option{{"", "Unknown"}}
	for _, p := range r.Patterns {
		patterns = append(patterns, option{p.ID.String(), p.Name})
	}
	var athletes []option
	if r.Own.Role == record.RoleCoach {
		athletes = append(athletes, option{"", "The whole squad"})
	}
	for _, a := range r.Athletes {
		athletes = append(athletes, option{a.ID.String(), a.Name})
	}
	return &form{
		Action: r.Address() + "/sessions/new",
		Submit: "Add session",
		Hidden: map[string]string{"id": newID()},
		Inputs: []*input{
			{
				Name:         "name",
				Label:        "Name",
				Hint:         "For example: Tuesday practice.",
				Required:     true,
				Max:          "200",
				Autocomplete: "off",
			},
			{Name: "date", Label: "Date", Type: "date", Required: true, Value: r.Today},
			{
				Name:     "kind",
				Label:    "Kind",
				Required: true,
				Options:  []option{{"practice", "Practice"}, {"block", "Block of games"}},
			},
			{Name: "athlete_id", Label: "Whose session is it?", Options: athletes},
			{Name: "pattern_id", Label: "Pattern", Options: patterns},
			{Name: "centre", Label: "Centre", Max: "200", Autocomplete: "off"},
			{
				Name:         "lanes",
				Label:        "Lanes",
				Hint:         "Numbers separated by spaces, for example 11 12.",
				Mode:         "numeric",
				Max:          "100",
				Autocomplete: "off",
			},
		},
	}
}

func newSessionPage(v *visit) error {
	r, err := v.asLogger(record.KindAthlete, record.KindPattern)
	if err != nil {
		return err
	}
	return v.showNewSession(r, http.StatusOK, sessionForm(r))
}

func (v *visit) showNewSession(r *roster, status int, f *form) error {
	return v.show(status, "newsession", frame{Title: "Add a session", Squad: r.Squad, Crumbs: v.crumbs(r), Page: f})
}

func newSession(v *visit) error {
	r, err := v.asLogger(record.KindAthlete, record.KindPattern)
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	f := sessionForm(r)
	f.read(v.PostForm)
	record := &record.Session{AthleteID: f.id("athlete_id")}
	f.takeSession(record)
	if id, err := uuid.Parse(v.PostFormValue("id")); err == nil {
		f.Hidden["id"], record.ID = id.String(), id
	}
	show := func(status int, f *form) error { return v.showNewSession(r, status, f) }
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	made, _, err := v.site.svc.Create(v.Context(), v.me.ID, r.Own.ID, record)
	if err != nil {
		return v.retry(f, err, show)
	}
	return v.goTo(r.Address() + "/sessions/" + made.Key().String())
}

// takeSession reads a session's form into the record.
func (f *form) takeSession(s *record.Session) {
	s.Form, s.Name, s.Centre = f.value("kind"), f.value("name"), f.value("centre")
	s.PatternID, s.Lanes = f.id("pattern_id"), nil
	if held := f.day("date"); held != nil {
		s.Date = *held
	}
	separator := func(r rune) bool { return r == ' ' || r == ',' || r == '-' }
	for _, text := range strings.FieldsFunc(f.value("lanes"), separator) {
		n, err := strconv.ParseInt(text, 10, 32)
		if err != nil {
			f.blame("lanes", strconv.Quote(text)+" is not a lane; separate numbers with spaces")
			break
		}
		s.Lanes = append(s.Lanes, int32(n))
	}
}
