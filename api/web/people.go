package web

import (
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

// peopleView is the data of the page of the squad's people.
type peopleView struct {
	*roster
	Add, Invite, Rename *form
	Invitation          *service.Invitation // made just now; its code is shown once
	Reset               *resetView          // made just now; its code is shown once
	Waiting             []service.Invitation
	Members             []*record.Member
}

func athleteForm(r *roster) *form {
	f := &form{
		Action: r.Address() + "/athletes",
		Submit: "Add athlete",
		Hidden: map[string]string{"id": newID()},
		Inputs: []*input{
			{Name: "name", Label: "Name", Required: true, Max: "200", Autocomplete: "off"},
			{
				Name:     "side",
				Label:    "Bowls with",
				Required: true,
				Options:  []option{{"right", "the right hand"}, {"left", "the left hand"}},
			},
			{
				Name:         "speed_mph",
				Label:        "Typical speed in mph",
				Hint:         "At launch. Leave empty if unknown.",
				Mode:         "decimal",
				Max:          "10",
				Autocomplete: "off",
			},
			{Name: "rev_rate_rpm", Label: "Typical rev rate in rpm", Mode: "decimal", Max: "10", Autocomplete: "off"},
			{Name: "rotation_deg", Label: "Axis rotation in degrees", Mode: "decimal", Max: "10", Autocomplete: "off"},
			{Name: "tilt_deg", Label: "Axis tilt in degrees", Mode: "decimal", Max: "10", Autocomplete: "off"},
			{
				Name:         "slide_offset",
				Label:        "Slide offset in boards",
				Hint:         "From the laydown to the slide foot, for example 6.",
				Mode:         "decimal",
				Max:          "10",
				Autocomplete: "off",
			},
			{Name: "born_on", Label: "Date of birth", Type: "date"},
			{Name: "note", Label: "Note", Type: "area", Max: "4000"},
		},
	}
	if r.Coach() { // an athlete's own account does not consent for a guardian
		f.Inputs = slices.Insert(
			f.Inputs,
			len(f.Inputs)-1,
			&input{Name: "guardian_name", Label: "Guardian of a minor", Max: "200", Autocomplete: "off"},
			&input{
				Name:  "guardian_consent",
				Label: "Guardian’s consent given on",
				Hint:  "Consent to keep and share the athlete’s data. Follow your local law on minors’ data.",
				Type:  "date",
			},
		)
	}
	return f
}

// inviteForm asks whom a code is for. An athlete's code is for one athlete of the squad.
func inviteForm(r *roster) *form {
	whom := make([]option, 0, len(r.Athletes)+3)
	whom = append(whom, option{"", "Choose"})
	for _, a := range r.Athletes {
		whom = append(whom, option{a.ID.String(), "the athlete " + a.Name})
	}
	whom = append(
		whom,
		option{string(record.RoleAnalyst), "an analyst, who reads everything"},
		option{string(record.RoleCoach), "a coach, who runs the squad"},
	)
	return &form{
		Action: r.Address() + "/invitations", Submit: "Create code",
		Inputs: []*input{{Name: "whom", Label: "Code for", Required: true, Options: whom}},
	}
}

func peoplePage(v *visit) error {
	r, err := v.asCoach(record.KindAthlete)
	if err != nil {
		return err
	}
	return v.showPeople(http.StatusOK, peopleView{roster: r})
}

func (v *visit) showPeople(status int, view peopleView) error {
	if view.Add == nil {
		view.Add = athleteForm(view.roster)
	}
	if view.Invite == nil {
		view.Invite = inviteForm(view.roster)
	}
	if view.Rename == nil {
		view.Rename = renameForm(view.roster)
	}
	var err error
	if view.Waiting, err = v.openInvitations(view.Own.ID); err != nil {
		return err
	}
	if view.Members, err = all[*record.Member](v.Context(), v, view.Own.ID, record.KindMember); err != nil {
		return err
	}
	slices.SortFunc(view.Members, func(a, b *record.Member) int { return strings.Compare(a.Name, b.Name) })
	return v.show(
		status,
		"people",
		frame{Title: "People", Squad: view.Squad, Crumbs: v.crumbs(view.roster), Page: view},
	)
}

// openInvitations are those whose codes can still be used.
func (v *visit) openInvitations(squad uuid.UUID) (open []service.Invitation, err error) {
	const page = 1000
	for after, more := uuid.Nil, true; more; more = after != uuid.Nil {
		var list []service.Invitation
		if list, after, err = v.site.svc.Invitations(v.Context(), v.me.ID, squad, after, page); err != nil {
			return nil, err
		}
		open = append(open, slices.DeleteFunc(list, func(one service.Invitation) bool { return !one.Open })...)
	}
	return open, nil
}

// renameForm asks for the squad's name.
func renameForm(r *roster) *form {
	return &form{
		Action: r.Address() + "/name",
		Submit: "Rename the squad",
		Hidden: map[string]string{"version": service.VersionOf(r.Squad).String()},
		Inputs: []*input{
			{
				Name:         "squad_name",
				Label:        "Squad name",
				Required:     true,
				Max:          "200",
				Autocomplete: "off",
				Value:        r.Squad.Name,
			},
			{
				Name:         "time_zone",
				Label:        "Time zone",
				Hint:         "By its IANA name, such as Europe/Berlin; UTC when blank.",
				Max:          "200",
				Autocomplete: "off",
				Value:        r.Squad.TimeZone,
			},
		},
	}
}

func renameSquad(v *visit) error {
	r, err := v.asCoach(record.KindAthlete)
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	base, err := v.version()
	if err != nil {
		return err
	}
	f := renameForm(r)
	f.read(v.PostForm)
	show := func(status int, f *form) error { return v.showPeople(status, peopleView{roster: r, Rename: f}) }
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	named := *r.Squad
	named.Name = f.value("squad_name")
	if v.PostForm.Has("time_zone") {
		named.TimeZone = f.value("time_zone")
	}
	_, err = v.site.svc.Replace(v.Context(), v.me.ID, r.Own.ID, r.Own.ID, base, service.Schema, &named)
	if err != nil {
		return v.retry(f, err, show, "name", "squad_name")
	}
	return v.goTo(r.Address() + "/people")
}

func withdrawInvitation(v *visit) error {
	r, err := v.asCoach()
	if err != nil {
		return err
	}
	id, err := v.id("invitation")
	if err != nil {
		return err
	}
	if err := v.site.svc.Withdraw(v.Context(), v.me.ID, r.Own.ID, id); err != nil {
		return err
	}
	return v.goTo(r.Address() + "/people#waiting")
}

func addAthlete(v *visit) error {
	r, err := v.asCoach(record.KindAthlete)
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	f := athleteForm(r)
	f.read(v.PostForm)
	show := func(status int, f *form) error { return v.showPeople(status, peopleView{roster: r, Add: f}) }
	record := &record.Athlete{}
	f.takeAthlete(record)
	if id, err := uuid.Parse(v.PostFormValue("id")); err == nil {
		f.Hidden["id"], record.ID = id.String(), id
	}
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	if _, _, err := v.site.svc.Create(v.Context(), v.me.ID, r.Own.ID, record); err != nil {
		return v.retry(f, err, show)
	}
	return v.goTo(r.Address() + "/people")
}

// invite creates a code and shows it: it cannot be shown again.
func invite(v *visit) error {
	r, err := v.asCoach(record.KindAthlete)
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	f := inviteForm(r)
	f.read(v.PostForm)
	show := func(status int, f *form) error { return v.showPeople(status, peopleView{roster: r, Invite: f}) }
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	role, athlete := f.whom()
	made, err := v.site.svc.Invite(v.Context(), v.me.ID, r.Own.ID, role, athlete)
	if err != nil {
		return v.retry(f, err, show)
	}
	return v.showPeople(http.StatusOK, peopleView{roster: r, Invitation: &made})
}
