package web

import (
	"net/http"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

// auditView is a page of a squad's audit log.
type auditView struct {
	*roster
	Entries []service.AuditEntry
	Next    uuid.UUID // zero on the last page
}

// auditPageSize is how many lines of the log are on a page.
const auditPageSize = 100

func auditPage(v *visit) error {
	r, err := v.asCoach()
	if err != nil {
		return err
	}
	before := uuid.Nil
	if text := v.FormValue("before"); text != "" {
		if before, err = uuid.Parse(text); err != nil {
			return errNoPage
		}
	}
	view := auditView{roster: r}
	view.Entries, view.Next, err = v.site.svc.Audit(v.Context(), v.me.ID, r.Own.ID, before, auditPageSize)
	if err != nil {
		return err
	}
	trail := v.crumbs(r, crumb{"People", r.Address() + "/people"})
	return v.show(http.StatusOK, "audit", frame{Title: "Audit log", Squad: r.Squad, Crumbs: trail, Page: view})
}

// actionWords say what was done to the one who is named before them.
var actionWords = map[service.Action]string{
	service.ActionJoined:         "joined the squad",
	service.ActionRoleChanged:    "was given another role",
	service.ActionRemoved:        "was removed from the squad",
	service.ActionExported:       "had their data exported",
	service.ActionErased:         "was erased with all their data",
	service.ActionResetCode:      "was given a code to set a new password",
	service.ActionPasswordReset:  "set a new password",
	service.ActionAccountDeleted: "deleted their account",
}

// actionWord is an action in words.
func actionWord(action service.Action) string {
	if words, ok := actionWords[action]; ok {
		return words
	}
	return string(action)
}

// actor names who did something: whoever runs the server, a member, or someone who left.
func actor(entry service.AuditEntry) string {
	switch {
	case entry.By == uuid.Nil:
		return "whoever runs this server"
	case entry.ByName == "":
		return "someone no longer in the squad"
	}
	return entry.ByName
}

// subject names whom something was done to.
func subject(entry service.AuditEntry) string {
	switch {
	case entry.SubjectName != "":
		return entry.SubjectName
	case entry.Action == service.ActionErased:
		return "An athlete"
	}
	return "Someone no longer in the squad"
}

// makeResetCode makes a code for a member and shows it: it cannot be shown again.
func makeResetCode(v *visit) error {
	r, err := v.asCoach(record.KindAthlete)
	if err != nil {
		return err
	}
	id, err := v.id("member")
	if err != nil {
		return err
	}
	found, err := v.site.svc.Get(v.Context(), v.me.ID, r.Own.ID, record.KindMember, id)
	if err != nil {
		return err
	}
	made, err := v.site.svc.MakeResetCode(v.Context(), v.me.ID, r.Own.ID, id)
	if err != nil {
		return err
	}
	view := peopleView{roster: r, Reset: &resetView{made, found.(*record.Member).Name}}
	return v.showPeople(http.StatusOK, view)
}

// resetView is a code that was made just now, and for whom.
type resetView struct {
	service.ResetCode
	Name string
}
