package web

import (
	"net/http"
	"slices"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

// assignForm gives a drill to one more athlete; nil when all athletes have it.
func assignForm(r *roster, record *record.Drill, found []service.LaneScore) *form {
	var free []option
	for _, a := range r.Athletes {
		has := slices.ContainsFunc(
			found,
			func(one service.LaneScore) bool { return one.Assigned && one.Athlete.ID == a.ID },
		)
		if !has {
			free = append(free, option{a.ID.String(), a.Name})
		}
	}
	if len(free) == 0 {
		return nil
	}
	return &form{
		Action: drillAddress(r, record.ID) + "/assignments",
		Submit: "Assign",
		Inputs: append(
			[]*input{{Name: "athlete_id", Label: "Athlete", Options: free, Required: true}},
			dayInputs(r.Today, "")...),
	}
}

// dayInputs ask from when to when an assignment holds.
func dayInputs(from, due string) []*input {
	return []*input{
		{
			Name:     "assigned_on",
			Label:    "From",
			Hint:     "Sessions from this day on count.",
			Type:     "date",
			Required: true,
			Value:    from,
		},
		{Name: "due_on", Label: "Due", Hint: "Leave empty for no end date.", Type: "date", Value: due},
	}
}

func assignDrill(v *visit) error {
	r, err := v.asCoach(record.KindAthlete)
	if err != nil {
		return err
	}
	id, err := v.id("drill")
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	rec, found, err := v.site.svc.DrillLanes(v.Context(), v.me.ID, r.Own.ID, service.DrillQuery{Drill: id})
	if err != nil {
		return err
	}
	f := assignForm(r, rec, found)
	if f == nil { // sent twice, or another user was faster
		return v.goTo(drillAddress(r, id))
	}
	f.read(v.PostForm)
	athlete, from, due := f.id("athlete_id"), f.day("assigned_on"), f.day("due_on")
	if f.faulty() {
		return v.showDrill(http.StatusBadRequest, f)
	}
	query := service.AssignQuery{DrillID: id, Athletes: []uuid.UUID{*athlete}, AssignedOn: *from, DueOn: due}
	if _, err := v.site.svc.Assign(v.Context(), v.me.ID, r.Own.ID, query); err != nil {
		return v.retry(f, err, v.showDrill)
	}
	return v.goTo(drillAddress(r, id) + "#" + athlete.String())
}
