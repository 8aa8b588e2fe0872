package web

import (
	"net/http"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/lane"
	"laneward/service/record"
)

// athleteView is the data of an athlete's page.
type athleteView struct {
	*roster
	Subject  *record.Athlete
	Balls    []*record.Ball
	Sessions []*record.Session
	Add      *form // a ball; nil for users who may not
	Erase    *form // likewise
	Devices  []service.DeviceSync
}

// athleteForms are the forms of an athlete's page that were sent and have something to fix.
type athleteForms struct{ ball, erase *form }

// May reports whether the visitor may change what is the athlete's.
func (view athleteView) May() bool {
	return view.Coach() || view.Own.Athlete != nil && *view.Own.Athlete == view.Subject.ID
}

func athletePage(v *visit) error { return v.showAthlete(http.StatusOK, athleteForms{}) }

// showAthlete shows the athlete of the address.
func (v *visit) showAthlete(status int, sent athleteForms) error {
	own, id, err := v.squadAnd("athlete")
	if err != nil {
		return err
	}
	found, err := v.site.svc.Get(v.Context(), v.me.ID, own.ID, record.KindAthlete, id)
	if err != nil {
		return err
	}
	r, err := v.roster(own, record.KindPattern, record.KindSession)
	if err != nil {
		return err
	}
	view := athleteView{roster: r, Subject: found.(*record.Athlete), Add: sent.ball, Erase: sent.erase}
	balls, err := all[*record.Ball](v.Context(), v, own.ID, record.KindBall)
	if err != nil {
		return err
	}
	for _, b := range balls {
		if b.AthleteID == id {
			view.Balls = append(view.Balls, b)
		}
	}
	for _, s := range r.Sessions {
		if s.AthleteID != nil && *s.AthleteID == id {
			view.Sessions = append(view.Sessions, s)
		}
	}
	if view.Devices, _, err = v.site.svc.DeviceSyncs(v.Context(), v.me.ID, own.ID, &id); err != nil {
		return err
	}
	if view.Add == nil && view.May() {
		view.Add = ballForm(r, id)
	}
	if view.Erase == nil && view.Coach() {
		view.Erase = eraseForm(r, view.Subject)
	}
	return v.show(status, "athlete", frame{Title: view.Subject.Name, Squad: r.Squad, Crumbs: v.crumbs(r), Page: view})
}

func athleteAddress(r *roster, id uuid.UUID) string { return r.Address() + "/athletes/" + id.String() }

// ballForm asks for a ball of an athlete.
func ballForm(r *roster, athlete uuid.UUID) *form {
	return &form{
		Action: athleteAddress(r, athlete) + "/balls", Submit: "Add ball", Hidden: map[string]string{"id": newID()},
		Inputs: []*input{
			{Name: "name", Label: "Name", Required: true, Max: "200", Autocomplete: "off"},
			{
				Name:         "weight_lb",
				Label:        "Weight in lb",
				Required:     true,
				Mode:         "decimal",
				Max:          "10",
				Autocomplete: "off",
				Value:        "15",
			},
			{
				Name:         "rg_in",
				Label:        "Radius of gyration in inches",
				Hint:         "For example 2.5. Leave empty if unknown.",
				Mode:         "decimal",
				Max:          "10",
				Autocomplete: "off",
			},
			{Name: "differential_in", Label: "Differential in inches", Mode: "decimal", Max: "10", Autocomplete: "off"},
			{Name: "surface_grit", Label: "Surface in grit", Mode: "numeric", Max: "10", Autocomplete: "off"},
			{Name: "cover", Label: "Cover", Options: []option{
				{
					"",
					"Unknown",
				},
				{"plastic", "plastic"},
				{"urethane", "urethane"},
				{"solid", "reactive, solid"},
				{"hybrid", "reactive, hybrid"},
				{"pearl", "reactive, pearl"},
			}},
		},
	}
}

// takeBall reads a ball's form into the record.
func (f *form) takeBall(b *record.Ball) {
	b.Name, b.RGIn, b.DifferentialIn = f.value("name"), f.number("rg_in"), f.number("differential_in")
	if weight := f.number("weight_lb"); weight != nil {
		b.WeightLB = *weight
	}
	b.SurfaceGrit, b.Cover = nil, nil
	if grit := f.whole("surface_grit"); f.value("surface_grit") != "" {
		b.SurfaceGrit = &grit
	}
	if cover := f.value("cover"); cover != "" {
		b.Cover = &cover
	}
}

func addBall(v *visit) error {
	r, err := v.asLogger()
	if err != nil {
		return err
	}
	athlete, err := v.id("athlete")
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	f := ballForm(r, athlete)
	f.read(v.PostForm)
	record := &record.Ball{AthleteID: athlete}
	f.takeBall(record)
	if id, err := uuid.Parse(v.PostFormValue("id")); err == nil {
		f.Hidden["id"], record.ID = id.String(), id
	}
	show := func(status int, f *form) error { return v.showAthlete(status, athleteForms{ball: f}) }
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	if _, _, err := v.site.svc.Create(v.Context(), v.me.ID, r.Own.ID, record); err != nil {
		return v.retry(f, err, show)
	}
	return v.goTo(athleteAddress(r, athlete) + "#balls")
}

// fill writes values into a form's inputs, given as name and value in turn.
func (f *form) fill(fields ...string) {
	for i := 0; i+1 < len(fields); i += 2 {
		f.input(fields[i]).Value = fields[i+1]
	}
}

func openAthlete(_ *visit, r *roster, rec record.Record) (*editor, error) {
	was := *rec.(*record.Athlete)
	f := athleteForm(r)
	if r.Coach() {
		f.fill("guardian_consent", dayText(was.GuardianConsent))
		if was.GuardianName != nil {
			f.fill("guardian_name", *was.GuardianName)
		}
	}
	f.fill("born_on", dayText(was.BornOn), "note", was.Note)
	f.fill(
		"name", was.Name,
		"side", string(was.Side),
		"speed_mph", known(was.SpeedMPH),
		"rev_rate_rpm", known(was.RevRateRPM),
		"rotation_deg", known(was.RotationDeg),
		"tilt_deg", known(was.TiltDeg),
		"slide_offset", known(was.SlideOffset),
	)
	return &editor{
		Name: was.Name, page: athleteAddress(r, was.ID), up: r.Address(), form: f,
		Loses: "An athlete can be deleted only when they have no balls, sessions, drills or shots.",
		take: func(f *form) taken {
			is := was
			f.takeAthlete(&is)
			return taken{form: f, record: &is}
		},
	}, nil
}

// takeAthlete reads an athlete's form into the record.
func (f *form) takeAthlete(a *record.Athlete) {
	a.Name, a.Side, a.Note = f.value("name"), lane.Side(f.value("side")), f.value("note")
	a.SpeedMPH, a.RevRateRPM = f.number("speed_mph"), f.number("rev_rate_rpm")
	a.RotationDeg, a.TiltDeg, a.SlideOffset = f.number("rotation_deg"), f.number("tilt_deg"), f.number("slide_offset")
	a.BornOn = f.day("born_on")
	if f.input("guardian_consent") == nil {
		return
	}
	a.GuardianConsent, a.GuardianName = f.day("guardian_consent"), nil
	if guardian := f.value("guardian_name"); guardian != "" {
		a.GuardianName = &guardian
	}
}

func openBall(_ *visit, r *roster, rec record.Record) (*editor, error) {
	was := *rec.(*record.Ball)
	f := ballForm(r, was.AthleteID)
	f.Inputs = append(
		f.Inputs,
		&input{
			Name:     "retired",
			Label:    "In use",
			Required: true,
			Options:  []option{{"no", "yes"}, {"yes", "no longer"}},
		},
	)
	grit, cover, retired := "", "", "no"
	if was.SurfaceGrit != nil {
		value := float64(*was.SurfaceGrit)
		grit = known(&value)
	}
	if was.Cover != nil {
		cover = *was.Cover
	}
	if was.Retired {
		retired = "yes"
	}
	f.fill(
		"name", was.Name,
		"weight_lb", plain(was.WeightLB),
		"rg_in", known(was.RGIn),
		"differential_in", known(was.DifferentialIn),
		"surface_grit", grit,
		"cover", cover,
		"retired", retired,
	)
	page := athleteAddress(r, was.AthleteID)
	return &editor{
		Name:  was.Name,
		page:  page,
		up:    page,
		form:  f,
		Loses: "A ball can be deleted only when no shot refers to it; otherwise set it to no longer in use above.",
		take: func(f *form) taken {
			is := was
			f.takeBall(&is)
			is.Retired = f.value("retired") == "yes"
			return taken{form: f, record: &is}
		},
	}, nil
}
