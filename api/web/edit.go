package web

import (
	"fmt"
	"net/http"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/record"
)

// editable is a kind of record with a page to change and delete it.
type editable struct {
	kind  record.Kind
	param string // of the address
	own   bool   // an athlete may change their own
	open  func(v *visit, r *roster, record record.Record) (*editor, error)
}

// editables are the kinds by where their records are, below the squad's address.
func editables() map[string]editable {
	return map[string]editable{
		"athletes/{athlete}":       {record.KindAthlete, "athlete", true, openAthlete},
		"assignments/{assignment}": {record.KindAssignment, "assignment", false, openAssignment},
		"balls/{ball}":             {record.KindBall, "ball", true, openBall},
		"drills/{drill}":           {record.KindDrill, "drill", false, openDrill},
		"members/{member}":         {record.KindMember, "member", false, openMember},
		"patterns/{pattern}":       {record.KindPattern, "pattern", false, openPattern},
		"sessions/{session}":       {record.KindSession, "session", true, openSession},
	}
}

// editor is a record in its form.
type editor struct {
	Name  string // the record's
	Loses string // what deleting it means
	Reset string // where a member who cannot sign in is given a code; "" for none
	page  string // where it is shown
	up    string // where to go when it is gone
	form  *form
	// take reads the form into a copy of the record, and says which inputs the service's pointers
	// mean.
	take func(f *form) taken
	// store and remove work at the revision that the form was opened with.
	store  func(f *form, base service.Version, record record.Record) error
	remove func(base service.Version) error // nil when it cannot be deleted here
}

// taken is what a form was read as. The form may have been laid out again on the way.
type taken struct {
	form     *form
	record   record.Record
	pointers []string // pointer and input in turn, where they differ
}

// editView is the data of the page to change a record.
type editView struct {
	*roster
	*editor
	Form   *form
	Delete *form // nil when it cannot be deleted here
}

// Loads are the rows of a pattern's load table.
func (view editView) Loads() [][]*input { return view.Form.loadRows() }

// edited reads the record of the address and opens it, for users who may change it.
func (e editable) edited(v *visit) (*roster, *editor, error) {
	r, err := v.as(func(own service.OwnSquad) bool {
		return own.Role == record.RoleCoach || e.own && own.Role == record.RoleAthlete
	}, "only coaches of this squad can do this: ask one", record.KindAthlete, record.KindPattern)
	if err != nil {
		return nil, nil, err
	}
	id, err := v.id(e.param)
	if err != nil {
		return nil, nil, err
	}
	rec, err := v.site.svc.Get(v.Context(), v.me.ID, r.Own.ID, e.kind, id)
	if err != nil {
		return nil, nil, err
	}
	opened, err := e.open(v, r, rec)
	if err != nil {
		return nil, nil, err
	}
	opened.form.Submit = "Save"
	opened.form.Action = v.addressOf(e, r, id) + "/edit"
	opened.form.Hidden = map[string]string{"version": service.VersionOf(rec).String()}
	if opened.store == nil {
		opened.store = func(_ *form, base service.Version, record record.Record) error {
			_, err := v.site.svc.Replace(v.Context(), v.me.ID, r.Own.ID, id, base, service.Schema, record)
			return err
		}
	}
	if opened.remove == nil {
		opened.remove = func(base service.Version) error {
			return v.site.svc.Delete(v.Context(), v.me.ID, r.Own.ID, e.kind, id, base)
		}
	}
	return r, opened, nil
}

func (v *visit) addressOf(e editable, r *roster, id uuid.UUID) string {
	return r.Address() + "/" + string(e.kind) + "s/" + id.String()
}

func (e editable) show(v *visit) error {
	r, opened, err := e.edited(v)
	if err != nil {
		return err
	}
	return v.showEdit(http.StatusOK, r, opened, opened.form, nil)
}

// showEdit shows a record's form, and the button to delete it with what was wrong with deleting it.
func (v *visit) showEdit(status int, r *roster, opened *editor, f, deleting *form) error {
	if deleting == nil {
		deleting = deleteForm(opened)
	}
	view := editView{roster: r, editor: opened, Form: f, Delete: deleting}
	trail := v.crumbs(r, crumb{opened.Name, opened.page})
	return v.show(status, "edit", frame{Title: "Edit " + opened.Name, Squad: r.Squad, Crumbs: trail, Page: view})
}

// deleteForm is the button that deletes a record.
func deleteForm(opened *editor) *form {
	address := opened.form.Action
	return &form{
		Action: address[:len(address)-len("/edit")] + "/delete", Submit: "Delete " + opened.Name,
		Hidden: map[string]string{"version": opened.form.Hidden["version"]},
	}
}

// version is the one that a form was opened at.
func (v *visit) version() (service.Version, error) {
	base, ok := service.ParseVersion(v.PostFormValue("version"))
	if !ok {
		return base, &service.Error{
			Code:   service.Invalid,
			Detail: "the form does not say which version it changes: open it again from the record’s page",
		}
	}
	return base, nil
}

// sent reads the record of the address, and the version that a form about it was opened at.
func (e editable) sent(v *visit) (r *roster, opened *editor, base service.Version, err error) {
	if err = v.form(); err != nil {
		return nil, nil, base, err
	}
	if r, opened, err = e.edited(v); err == nil {
		base, err = v.version()
	}
	return r, opened, base, err
}

func (e editable) save(v *visit) error {
	r, opened, base, err := e.sent(v)
	if err != nil {
		return err
	}
	now := opened.form
	f := now.blank(v)
	f.Hidden = map[string]string{"version": base.String()}
	f.read(v.PostForm)
	show := func(status int, f *form) error { return v.showEdit(status, r, opened, f, nil) }
	if v.PostFormValue("step") == "row" {
		return show(http.StatusOK, f.longer())
	}
	took := opened.take(f)
	if took.form.faulty() {
		return show(http.StatusBadRequest, took.form)
	}
	err = opened.store(took.form, base, took.record)
	if err == nil {
		return v.goTo(opened.page)
	}
	if service.AsError(err).Code == service.Stale {
		took.form.meets(now)
	}
	return v.retry(took.form, err, show, took.pointers...)
}

// blank is a form like this one, with as many rows of a load table as were sent.
func (f *form) blank(v *visit) *form {
	fresh := *f
	fresh.Inputs = make([]*input, len(f.Inputs))
	for i, in := range f.Inputs {
		own := *in
		fresh.Inputs[i] = &own
	}
	if len(f.loadRows()) > 0 {
		return fresh.withLoads(loadsSent(v.PostForm))
	}
	return &fresh
}

// meets returns what another user has stored since the form was opened, wherever it is not what was
// sent, and takes over the version: a user who sends the form again has seen it.
func (f *form) meets(now *form) {
	f.Hidden = now.Hidden
	f.Fault = "Someone changed this after you opened it, so nothing was saved. Where your form " +
		"differs, the stored value is shown: choose, then save again"
	for _, in := range f.Inputs {
		stored := now.value(in.Name)
		switch {
		case stored == in.Value:
		case stored == "":
			in.Fault = "is now stored as empty"
		default:
			in.Fault = fmt.Sprintf("is now stored as “%s”", in.shown(stored))
		}
	}
}

// shown is a value as a person reads it: by the label of its choice.
func (in *input) shown(value string) string {
	for _, o := range in.Options {
		if o.Value == value {
			return o.Label
		}
	}
	return value
}

func (e editable) delete(v *visit) error {
	r, opened, base, err := e.sent(v)
	if err != nil {
		return err
	}
	if err := opened.remove(base); err != nil {
		return v.retry(
			deleteForm(opened),
			err,
			func(status int, f *form) error { return v.showEdit(status, r, opened, opened.form, f) },
		)
	}
	return v.goTo(opened.up)
}
