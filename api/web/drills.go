package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/drill"
	"laneward/service/picture"
	"laneward/service/record"
)

// drillPageView is the data of the drill's page.
type drillPageView struct {
	*roster
	Drill       *record.Drill
	Scores      []scoreView
	Assign      *form                // nil for users who may not, or when no athlete is left to assign it to
	Assignments map[uuid.UUID]string // ids by athlete
}

func drillPage(v *visit) error { return v.showDrill(http.StatusOK, nil) }

// showDrill shows the drill of the address; assigning is the form when it was sent and has
// something to fix.
func (v *visit) showDrill(status int, assigning *form) error {
	own, id, err := v.squadAnd("drill")
	if err != nil {
		return err
	}
	r, err := v.roster(own, record.KindAthlete, record.KindPattern)
	if err != nil {
		return err
	}
	rec, found, err := v.site.svc.DrillLanes(v.Context(), v.me.ID, own.ID, service.DrillQuery{Drill: id})
	if err != nil {
		return err
	}
	view := drillPageView{roster: r, Drill: rec, Assign: assigning, Assignments: make(map[uuid.UUID]string)}
	assignments, err := all[*record.Assignment](v.Context(), v, own.ID, record.KindAssignment)
	if err != nil {
		return err
	}
	for _, a := range assignments {
		if a.DrillID == id {
			view.Assignments[a.AthleteID] = a.ID.String()
		}
	}
	for _, one := range found {
		if one.Adherence.Shots == 0 && !one.Assigned {
			continue // an athlete is looking at a drill that is not assigned to them
		}
		score := scoreView{Score: one.Score}
		one.Lane.WidthPx = lanePx
		if score.Lane, err = laneOf(one, rec.Name); err != nil {
			return err
		}
		score.Address = drillAddress(r, id) + "/athletes/" + one.Athlete.ID.String()
		view.Scores = append(view.Scores, score)
	}
	if view.Assign == nil && r.Coach() {
		view.Assign = assignForm(r, rec, found)
	}
	return v.show(status, "drill", frame{Title: rec.Name, Squad: r.Squad, Crumbs: v.crumbs(r), Page: view})
}

// drillLane draws the lane of the athlete of the address.
func drillLane(v *visit) (picture.Scene, error) {
	own, drill, err := v.squadAnd("drill")
	if err != nil {
		return picture.Scene{}, err
	}
	athlete, err := v.id("athlete")
	if err != nil {
		return picture.Scene{}, err
	}
	return v.site.svc.DrillPicture(
		v.Context(),
		v.me.ID,
		own.ID,
		service.DrillQuery{Drill: drill, Athlete: &athlete},
		lanePx,
	)
}

// newDrillView is the data of the page for a new drill.
type newDrillView struct {
	*roster
	Form     *form
	Reading  reading
	Athletes []athleteChoice
	Examples []string
}

type athleteChoice struct {
	*record.Athlete
	Chosen bool
}

// reading is what the coach's sentences were read as.
type reading struct {
	Lines []lineRead
	Read  string // the sentences written back, one a line: sent along, to know that the coach has seen what is stored
	Ready bool   // every line was read
}

// lineRead is one sentence written back, or why it could not be read.
type lineRead struct{ Written, Fault string }

func newDrillForm(r *roster) *form {
	patterns := []option{{"", "Any"}}
	for _, p := range r.Patterns {
		patterns = append(patterns, option{p.ID.String(), p.Name})
	}
	return &form{
		Action: r.Address() + "/drills/new",
		Submit: "Assign the drill",
		Hidden: map[string]string{"id": newID()},
		Inputs: []*input{
			{
				Name:     "sentences",
				Label:    "What should every shot do?",
				Type:     "area",
				Required: true,
				Max:      "4000",
				Hint:     "One sentence per line, for example: keep the ball at board 10 or inside.",
			},
			{Name: "name", Label: "Name of the drill", Required: true, Max: "200", Autocomplete: "off"},
			{
				Name:     "reps",
				Label:    "Shots",
				Hint:     "How many each athlete should throw.",
				Type:     "number",
				Required: true,
				Value:    "30",
				Min:      "1",
				Max:      "10000",
				Step:     "1",
			},
			{
				Name:     "pass_share",
				Label:    "Pass mark in %",
				Hint:     "The share of shots that should do as asked.",
				Type:     "number",
				Required: true,
				Value:    "80",
				Min:      "1",
				Max:      "100",
				Step:     "1",
			},
			{Name: "pattern_id", Label: "Pattern", Options: patterns},
			{
				Name:     "assigned_on",
				Label:    "From",
				Hint:     "Sessions from this day on count.",
				Type:     "date",
				Required: true,
				Value:    r.Today,
			},
			{Name: "due_on", Label: "Due", Hint: "Leave empty for no end date.", Type: "date"},
			{Name: "note", Label: "Note to the athletes", Type: "area", Max: "4000"},
		},
	}
}

func newDrillPage(v *visit) error {
	r, err := v.asCoach(record.KindAthlete, record.KindPattern)
	if err != nil {
		return err
	}
	return v.showNewDrill(r, http.StatusOK, newDrillForm(r), reading{}, nil)
}

func (v *visit) showNewDrill(r *roster, status int, f *form, read reading, chosen []string) error {
	view := newDrillView{roster: r, Form: f, Reading: read, Examples: drill.Examples()}
	for _, a := range r.Athletes {
		view.Athletes = append(view.Athletes, athleteChoice{a, slices.Contains(chosen, a.ID.String())})
	}
	return v.show(status, "newdrill", frame{Title: "Assign a drill", Squad: r.Squad, Crumbs: v.crumbs(r), Page: view})
}

// maxSentences is how many sentences are read at once: more than any shot can be asked to keep.
const maxSentences = 20

// read reads a form's sentences, one a line, and writes them back.
func (v *visit) read(squad uuid.UUID, text string) ([]drill.Rule, reading, error) {
	var rules []drill.Rule
	var result reading
	var written []string
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		if len(result.Lines) == maxSentences {
			result.Lines = append(
				result.Lines,
				lineRead{
					Fault: fmt.Sprintf(
						"A drill takes up to %d sentences; remove some.",
						maxSentences,
					),
				},
			)
			break
		}
		read, sentences, err := v.site.svc.ReadSentence(v.Context(), v.me.ID, squad, line)
		switch {
		case err == nil:
			rules, written = append(rules, read.Rules...), append(written, sentences...)
			result.Lines = append(result.Lines, lineRead{Written: strings.Join(sentences, "; ") + quotaWords(read)})
		case service.AsError(err).Code == service.Invalid:
			result.Lines = append(result.Lines, lineRead{Fault: service.AsError(err).Detail})
		default:
			return nil, reading{}, err
		}
	}
	result.Read = strings.Join(written, "\n")
	result.Ready = len(rules) > 0 && !slices.ContainsFunc(result.Lines, func(l lineRead) bool { return l.Fault != "" })
	return rules, result, nil
}

// quotaWords says how many shots a sentence asks for itself: the form's own fields decide.
func quotaWords(read drill.Reading) string {
	switch {
	case read.Reps > 0 && read.PassShare > 0:
		return fmt.Sprintf(" (it asks for %d shots at %s: enter both below)", read.Reps, percent(read.PassShare))
	case read.Reps > 0:
		return fmt.Sprintf(" (it asks for %d shots: enter that below)", read.Reps)
	case read.PassShare > 0:
		return fmt.Sprintf(" (it asks for %s: enter that below)", percent(read.PassShare))
	}
	return ""
}

// readingPart answers the script that checks a sentence while it is typed, with the part of the
// page that shows the reading.
func readingPart(v *visit) error {
	own, err := v.squad()
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	_, read, err := v.read(own.ID, v.PostFormValue("sentences"))
	if err != nil {
		return err
	}
	return v.write(http.StatusOK, "newdrill", "reading", read)
}

// newDrill stores a drill and assigns it, once the coach has seen what the sentences are read as;
// before that it shows them. The ids come with the form, so that sending it again continues where
// it stopped.
func newDrill(v *visit) error {
	r, err := v.asCoach(record.KindAthlete, record.KindPattern)
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	f := newDrillForm(r)
	f.read(v.PostForm)
	if id, err := uuid.Parse(v.PostFormValue("id")); err == nil {
		f.Hidden["id"] = id.String()
	}
	chosen := v.PostForm["athlete_id"]
	rules, read, err := v.read(r.Own.ID, f.value("sentences"))
	if err != nil {
		return err
	}
	again := func(status int, f *form) error { return v.showNewDrill(r, status, f, read, chosen) }
	seen := strings.ReplaceAll(v.PostFormValue("read"), "\r\n", "\n") == read.Read
	if v.PostFormValue("step") == "read" || read.Ready && !seen {
		for _, in := range f.Inputs {
			in.Fault = "" // it is not stored yet
		}
		return again(http.StatusOK, f)
	}
	query := assignmentOf(f, rules, chosen)
	if !read.Ready && f.value("sentences") != "" {
		f.blame("sentences", "Some sentences weren’t understood; see below")
	}
	if f.faulty() {
		return again(http.StatusBadRequest, f)
	}
	if _, err := v.site.svc.Assign(v.Context(), v.me.ID, r.Own.ID, query); err != nil {
		return v.retry(f, err, again, drillPointers...)
	}
	return v.goTo(drillAddress(r, query.DrillID))
}

// drillPointers map the service's pointers to the inputs of a new drill.
var drillPointers = []string{
	"drill/name", "name", "drill/reps", "reps", "drill/pass_share", "pass_share",
	"drill/pattern_id", "pattern_id", "drill/note", "note",
}

func drillOf(f *form, rules []drill.Rule) *record.Drill {
	made := &record.Drill{
		Head:      record.Head{ID: uuid.MustParse(f.Hidden["id"])},
		Name:      f.value("name"),
		Rules:     rules,
		Reps:      f.whole("reps"),
		PatternID: f.id("pattern_id"),
		Note:      f.value("note"),
	}
	if percent := f.number("pass_share"); percent != nil {
		made.PassShare = *percent / 100
	}
	return made
}

// assignmentOf is what the form asks for: the drill stored, and the chosen athletes given it.
func assignmentOf(f *form, rules []drill.Rule, chosen []string) service.AssignQuery {
	made := drillOf(f, rules)
	query := service.AssignQuery{DrillID: made.ID, Drill: made, DueOn: f.day("due_on")}
	if from := f.day("assigned_on"); from != nil {
		query.AssignedOn = *from
	}
	if len(chosen) == 0 {
		f.blame("athletes", "Choose at least one athlete.")
	}
	for _, text := range chosen {
		athlete, err := uuid.Parse(text)
		if err != nil {
			f.blame("athletes", "One of the athletes is not one of the choices; choose again.")
		}
		query.Athletes = append(query.Athletes, athlete)
	}
	return query
}
