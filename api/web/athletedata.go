package web

import (
	"io"
	"net/http"

	"laneward/service/record"
)

// exportAthlete sends everything the squad holds of an athlete.
func exportAthlete(v *visit) error {
	own, id, err := v.squadAnd("athlete")
	if err != nil {
		return err
	}
	begun := false
	err = v.site.svc.Export(v.Context(), v.me.ID, own.ID, id, func() (io.Writer, error) {
		begun = true
		v.w.Header().Set("Content-Type", "application/zip")
		v.w.Header().Set("Content-Disposition", `attachment; filename="athlete.zip"`)
		return v.w, nil
	})
	if err != nil && begun {
		panic(http.ErrAbortHandler) // the status is sent; only breaking off can signal the failure
	}
	return err
}

// eraseForm asks for an athlete's name, to confirm that all of their data is to be erased.
func eraseForm(r *roster, subject *record.Athlete) *form {
	return &form{
		Action: athleteAddress(r, subject.ID) + "/erase",
		Submit: "Erase for good",
		Inputs: []*input{
			{Name: "confirm", Label: "The athlete’s full name", Required: true, Max: "200", Autocomplete: "off"},
		},
	}
}

func eraseAthlete(v *visit) error {
	r, err := v.asCoach()
	if err != nil {
		return err
	}
	id, err := v.id("athlete")
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	f := eraseForm(r, &record.Athlete{Head: record.Head{ID: id}})
	f.read(v.PostForm)
	show := func(status int, f *form) error { return v.showAthlete(status, athleteForms{erase: f}) }
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	if _, err := v.site.svc.Erase(v.Context(), v.me.ID, r.Own.ID, id, f.value("confirm")); err != nil {
		return v.retry(f, err, show)
	}
	return v.goTo(r.Address() + "/people")
}
