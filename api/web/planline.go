package web

import (
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/advice"
	"laneward/service/lane"
	"laneward/service/line"
	"laneward/service/picture"
)

// lineView is one line as the pages show it.
type lineView struct {
	advice.PlannedLine
	Letter  string // as in the picture
	Strip   missStrip
	Address string // the line's own page
	Coach   bool   // may assign its drill
}

// missStrip is what misses of 1 to 5 boards do, side by side as they are seen from the foul line:
// the line itself in the middle.
type missStrip struct {
	Words    string // all of it, for users who cannot see it
	Segments []missSegment
}

// missSegment is a run of misses that end alike, in px.
type missSegment struct {
	X, Width float64
	Class    string // in: the pocket; near: the head pin; off: neither
	Word     string
	Upright  bool // the word is written upward: it does not fit otherwise
}

// Middle is where the segment's word is written.
func (s missSegment) Middle() float64 { return s.X + s.Width/2 }

// The strip's measures in px: a board's width, and about how wide a letter is.
const (
	missPx       = 32.0
	missLetterPx = 6.6
	missesAside  = 5
)

// hitWord says what a shot did, in a word for a strip, and what the word means.
type hitWord struct {
	hit         line.Hit
	class       string // of [missSegment]
	Word, Means string
}

var hitWords = []hitWord{
	{line.HitPocket, "in", "pocket", "still reaches the pocket"},
	{line.HitLight, "near", "light", "hits the head pin outside the pocket"},
	{line.HitHigh, "near", "high", "hits the head pin too full"},
	{line.HitFlat, "near", "flat", "reaches the pocket’s boards at too small an angle"},
	{line.HitSteep, "near", "steep", "reaches the pocket’s boards at too large an angle"},
	{line.HitCrossover, "off", "crosses", "hits the other side of the head pin"},
	{line.HitOutside, "off", "wide", "does not come back as far as the head pin"},
	{line.HitInside, "off", "past", "goes past the head pin on the far side"},
	{line.HitGutter, "off", "gutter", "ends in the gutter"},
	{line.HitShort, "off", "stops", "stops on the lane"},
}

func wordOf(hit line.Hit) hitWord {
	at := slices.IndexFunc(hitWords, func(w hitWord) bool { return w.hit == hit })
	if at < 0 {
		return hitWord{hit, "off", string(hit), hit.Words()}
	}
	return hitWords[at]
}

func stripOf(misses []line.Miss) missStrip {
	var strip missStrip
	var words []string
	for _, toward := range []lane.Side{lane.Left, lane.Right} {
		var runs []string
		from, last := 0, line.Miss{}
		flush := func() {
			if from == 0 {
				return
			}
			boards := fmt.Sprint(from)
			if last.Boards > from {
				boards = fmt.Sprintf("%d to %d", from, last.Boards)
			}
			runs = append(runs, boards+" "+last.Hit.Words())
			strip.Segments = append(strip.Segments, segmentOf(toward, from, last))
		}
		for _, miss := range misses {
			if miss.Toward != string(toward) {
				continue
			}
			if from == 0 || miss.Hit != last.Hit {
				flush()
				from = miss.Boards
			}
			last = miss
		}
		flush()
		words = append(words, fmt.Sprintf("Boards missed %s: %s.", toward, strings.Join(runs, ", ")))
	}
	strip.Words = strings.Join(words, " ")
	return strip
}

func segmentOf(toward lane.Side, from int, last line.Miss) missSegment {
	word := wordOf(last.Hit)
	s := missSegment{Width: missPx * float64(last.Boards-from+1), Class: word.class, Word: word.Word}
	s.X = missPx * float64(missesAside+from)
	if toward == lane.Left {
		s.X = missPx * float64(missesAside-last.Boards)
	}
	s.Upright = missLetterPx*float64(len(s.Word))+6 > s.Width
	return s
}

// lineAim reads the line of an address.
func lineAim(sent url.Values) (line.Aim, error) {
	f := &form{Inputs: []*input{{Name: "laydown", Required: true}, {Name: "angle", Required: true}}}
	f.read(sent)
	laydown, angle := f.number("laydown"), f.number("angle")
	if f.faulty() {
		return line.Aim{}, &service.Error{
			Code:   service.Invalid,
			Detail: "the line's address is incomplete: open it from the plan again",
		}
	}
	return line.Aim{LaydownBoard: *laydown, LaunchAngleDeg: *angle}, nil
}

// study computes the line of the address.
func (v *visit) study() (*roster, advice.Query, *advice.Study, error) {
	r, query, err := v.query()
	if err != nil {
		return nil, query, nil, err
	}
	aim, err := lineAim(v.URL.Query())
	if err != nil {
		return nil, query, nil, err
	}
	study, err := v.site.svc.StudyLine(v.Context(), v.me.ID, r.Own.ID, query, aim)
	return r, query, study, err
}

func linePicture(v *visit) (picture.Scene, error) {
	_, _, study, err := v.study()
	if err != nil {
		return picture.Scene{}, err
	}
	return study.Picture(lanePx)
}

// linePageView is the data of the page of one line.
type linePageView struct {
	question
	Study  *advice.Study
	Line   lineView
	Lane   template.HTML
	Assign *form // nil for users who may not, or when the line itself misses
}

func linePage(v *visit) error { return v.showLine(http.StatusOK, nil) }

// showLine shows the line of the address; assigning is the form when it was sent and has something
// to fix.
func (v *visit) showLine(status int, assigning *form) error {
	r, _, study, err := v.study()
	if err != nil {
		return err
	}
	view := linePageView{question: question{r, v.URL.RawQuery}, Study: study, Assign: assigning}
	view.Line = lineView{
		PlannedLine: advice.PlannedLine{Line: study.Line, Drill: study.Drill},
		Strip:       stripOf(study.Misses),
	}
	scene, err := study.Picture(lanePx)
	if err != nil {
		return err
	}
	view.Lane = svg(scene)
	if view.Assign == nil && study.Drill != nil && r.Coach() {
		view.Assign = lineDrillForm(r, v.URL.RawQuery, study.Drill)
	}
	back := v.URL.Query()
	back.Del("laydown")
	back.Del("angle")
	trail := v.crumbs(r, crumb{"Plan a line", r.Address() + "/plan?" + back.Encode()})
	return v.show(status, "planline", frame{Title: "One line", Squad: r.Squad, Crumbs: trail, Page: view})
}

// lineDrillForm assigns the drill that keeps an athlete on a line.
func lineDrillForm(r *roster, query string, suggested *advice.SuggestedDrill) *form {
	return &form{
		Action: r.Address() + "/plan/line?" + query,
		Submit: "Assign the drill",
		Hidden: map[string]string{"id": newID()},
		Inputs: append([]*input{
			{
				Name:         "name",
				Label:        "Name of the drill",
				Required:     true,
				Max:          "200",
				Autocomplete: "off",
				Value:        suggested.Name,
			},
			{
				Name:     "reps",
				Label:    "Shots",
				Type:     "number",
				Required: true,
				Value:    fmt.Sprint(suggested.Reps),
				Min:      "1",
				Max:      "10000",
				Step:     "1",
			},
			{
				Name:     "pass_share",
				Label:    "Pass mark in %",
				Type:     "number",
				Required: true,
				Value:    inPercent(suggested.PassShare),
				Min:      "1",
				Max:      "100",
				Step:     "1",
			},
		}, dayInputs(r.Today, "")...),
	}
}

// assignLine stores the line's drill and assigns it to the athlete it was planned for.
func assignLine(v *visit) error {
	if _, err := v.asCoach(); err != nil {
		return err
	}
	r, query, study, err := v.study()
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	if study.Drill == nil {
		return &service.Error{Code: service.Conflict, Detail: "this line has no drill: plan another one"}
	}
	f := lineDrillForm(r, v.URL.RawQuery, study.Drill)
	f.read(v.PostForm)
	asked := service.LineAssignment{
		Aim:        study.Aim,
		Name:       f.value("name"),
		Reps:       f.whole("reps"),
		AssignedOn: f.day("assigned_on"),
		DueOn:      f.day("due_on"),
	}
	if percent := f.number("pass_share"); percent != nil {
		asked.PassShare = *percent / 100
	}
	if id, err := uuid.Parse(v.PostFormValue("id")); err == nil {
		f.Hidden["id"], asked.ID = id.String(), &id
	}
	if f.faulty() {
		return v.showLine(http.StatusBadRequest, f)
	}
	record, assignment, _, err := v.site.svc.AssignLine(v.Context(), v.me.ID, r.Own.ID, query, asked)
	if err != nil {
		return v.retry(f, err, v.showLine)
	}
	return v.goTo(drillAddress(r, record.ID) + "#" + assignment.AthleteID.String())
}
