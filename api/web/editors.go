package web

import (
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/oil"
	"laneward/service/record"
)

func openSession(v *visit, r *roster, rec record.Record) (*editor, error) {
	was := *rec.(*record.Session)
	f := sessionForm(r)
	f.drop("athlete_id") // whose session it is stays: devices hold it
	numbers := make([]string, len(was.Lanes))
	for i, n := range was.Lanes {
		numbers[i] = strconv.Itoa(int(n))
	}
	f.fill(
		"name", was.Name,
		"date", was.Date.String(),
		"kind", was.Form,
		"pattern_id", idOf(was.PatternID),
		"centre", was.Centre,
		"lanes", strings.Join(numbers, " "),
	)
	return &editor{
		Name: was.Name, page: r.Address() + "/sessions/" + was.ID.String(), up: r.Address(), form: f,
		Loses: "Its shots are deleted too.",
		take: func(f *form) taken {
			is := was
			f.takeSession(&is)
			return taken{form: f, record: &is}
		},
		remove: func(base service.Version) error {
			return v.site.svc.DeleteSession(v.Context(), v.me.ID, r.Own.ID, was.ID, base, true)
		},
	}, nil
}

// openAssignment changes the days of an assignment, and takes a drill back from an athlete.
func openAssignment(v *visit, r *roster, rec record.Record) (*editor, error) {
	was := *rec.(*record.Assignment)
	found, err := v.site.svc.Get(v.Context(), v.me.ID, r.Own.ID, record.KindDrill, was.DrillID)
	if err != nil {
		return nil, err
	}
	due := ""
	if was.DueOn != nil {
		due = was.DueOn.String()
	}
	f := &form{Inputs: dayInputs(was.AssignedOn.String(), due)}
	page := drillAddress(r, was.DrillID)
	return &editor{
		Name: found.(*record.Drill).Name + " for " + r.Athlete(&was.AthleteID), page: page, up: page, form: f,
		Loses: "Unassigns the drill. The athlete’s shots stay.",
		take: func(f *form) taken {
			is := was
			if from := f.day("assigned_on"); from != nil {
				is.AssignedOn = *from
			}
			is.DueOn = f.day("due_on")
			return taken{form: f, record: &is}
		},
	}, nil
}

// drop removes an input from a form.
func (f *form) drop(name string) {
	for i, in := range f.Inputs {
		if in.Name == name {
			f.Inputs = append(f.Inputs[:i], f.Inputs[i+1:]...)
			return
		}
	}
}

func openDrill(v *visit, r *roster, rec record.Record) (*editor, error) {
	was := *rec.(*record.Drill)
	f := newDrillForm(r)
	f.drop("assigned_on")
	f.drop("due_on")
	written := strings.Join(was.Sentences, "\n")
	f.fill(
		"sentences", written,
		"name", was.Name,
		"reps", strconv.Itoa(int(was.Reps)),
		"pass_share", inPercent(was.PassShare),
		"pattern_id", idOf(was.PatternID),
		"note", was.Note,
	)
	return &editor{
		Name: was.Name, page: drillAddress(r, was.ID), up: r.Address(), form: f,
		Loses: "A drill can be deleted only when it isn’t assigned and no shot refers to it.",
		take: func(f *form) taken {
			is := was
			is.Sentences = nil // written for the reader
			if sent := strings.ReplaceAll(f.value("sentences"), "\r\n", "\n"); sent != written {
				f.takeSentences(v, r, &is)
			}
			is.Name, is.Reps, is.Note = f.value("name"), f.whole("reps"), f.value("note")
			is.PatternID = f.id("pattern_id")
			if percent := f.number("pass_share"); percent != nil {
				is.PassShare = *percent / 100
			}
			return taken{form: f, record: &is}
		},
	}, nil
}

// takeSentences reads a drill's sentences into its rules.
func (f *form) takeSentences(v *visit, r *roster, d *record.Drill) {
	rules, read, err := v.read(r.Own.ID, f.value("sentences"))
	if err != nil {
		f.blame("sentences", service.AsError(err).Detail)
		return
	}
	for _, line := range read.Lines {
		f.blameUnread(line)
	}
	d.Rules = rules
}

func (f *form) blameUnread(line lineRead) {
	if line.Fault != "" {
		f.blame("sentences", line.Fault)
	}
}

func openPattern(_ *visit, r *roster, rec record.Record) (*editor, error) {
	was := *rec.(*record.Pattern)
	f := patternForm(r, len(was.Loads)+1)
	f.fill("name", was.Name, "note", was.Note)
	if was.LengthFt != (oil.Table{Loads: was.Loads}).LengthFt() { // otherwise it follows from the table
		f.fill("length_ft", plain(was.LengthFt))
	}
	f.fillLoads(was.Loads)
	loses := "A pattern can be deleted only when no session and no drill uses it."
	if len(was.Film) > 0 {
		loses += " Its film was given as a map, which stays unchanged."
	}
	return &editor{
		Name: was.Name, page: patternAddress(r, was.ID), up: r.Address(), form: f, Loses: loses,
		take: func(f *form) taken {
			is := was
			f = f.takeCSV()
			pointers := f.takePattern(&is)
			return taken{form: f, record: &is, pointers: pointers}
		},
	}, nil
}

// openMember changes a member's role, and takes the member out of the squad instead of deleting
// anything.
func openMember(v *visit, r *roster, rec record.Record) (*editor, error) {
	was := *rec.(*record.Member)
	f := &form{
		Inputs: []*input{
			{
				Name:     "whom",
				Label:    "In this squad, " + was.Name + " is",
				Required: true,
				Options:  inviteForm(r).Inputs[0].Options[1:],
			},
		},
	}
	f.fill("whom", string(was.Role))
	if was.AthleteID != nil {
		f.fill("whom", was.AthleteID.String())
	}
	after, reset := r.Address()+"/people", r.Address()+"/members/"+was.ID.String()+"/reset-code"
	if was.UserID == v.me.ID {
		after, reset = "/squads", "" // a user who is no longer a coach has no page of people
	}
	return &editor{
		Name: was.Name, page: after, up: after, form: f, Reset: reset,
		Loses: "They lose access to this squad. Their sign-in and everything they logged stay.",
		take:  func(f *form) taken { return taken{form: f} },
		store: func(f *form, base service.Version, _ record.Record) error {
			role, athlete := f.whom()
			_, err := v.site.svc.SetRole(v.Context(), v.me.ID, r.Own.ID, was.ID, base, role, athlete)
			return err
		},
		remove: func(base service.Version) error {
			return v.site.svc.RemoveMember(v.Context(), v.me.ID, r.Own.ID, was.ID, base)
		},
	}, nil
}

// whom is the chosen role, and the athlete that goes with it.
func (f *form) whom() (record.Role, *uuid.UUID) {
	if role := record.Role(f.value("whom")); role == record.RoleAnalyst || role == record.RoleCoach {
		return role, nil
	}
	return record.RoleAthlete, f.id("whom")
}

// takePattern reads a pattern's form into the record, and returns which inputs the service's
// pointers mean.
func (f *form) takePattern(p *record.Pattern) (pointers []string) {
	table := f.loads()
	p.Name, p.Note, p.Loads = f.value("name"), f.value("note"), table.loads
	p.LengthFt = oil.Table{Loads: table.loads}.LengthFt()
	if length := f.number("length_ft"); length != nil {
		p.LengthFt = *length
	} else if f.value("length_ft") == "" && len(table.loads) == 0 {
		f.blame("length_ft", "is required without a load table")
	}
	return table.pointers
}
