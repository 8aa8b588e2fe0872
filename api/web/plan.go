package web

import (
	"fmt"
	"html/template"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"laneward/service/advice"
	"laneward/service/line"
	"laneward/service/motion"
	"laneward/service/picture"
	"laneward/service/record"
)

// planForm asks for whom, on what and with what a line is planned. It is sent as a query, so that a
// plan has an address to share.
func planForm(r *roster, balls []ballChoice) *form {
	pocket, friction := line.DefaultPocket(), motion.NominalFriction()
	unless := func(name, label string, usual, low, high float64) *input {
		return &input{
			Name:   name,
			Label:  label,
			Hint:   "Default: " + plain(usual) + ".",
			Type:   "number",
			Step:   "any",
			Min:    plain(low),
			Max:    plain(high),
			Folded: true,
		}
	}
	return &form{
		Action: r.Address() + "/plan", Submit: "Plan the lines",
		Inputs: []*input{
			{Name: "athlete", Label: "Athlete", Required: true, Options: athleteOptions(r)},
			{Name: "pattern", Label: "Pattern", Required: true, Options: patternOptions(r)},
			{Name: "ball", Label: "Ball", Options: ballOptions(balls)},
			unless("board_low", "Outermost board", pocket.BoardLow, 1, 39),
			unless("board_high", "Innermost board", pocket.BoardHigh, 1, 39),
			unless("angle_low", "Smallest entry angle, degrees", pocket.AngleLowDeg, 0, 45),
			unless("angle_high", "Largest entry angle, degrees", pocket.AngleHighDeg, 0, 45),
			unless("mu_dry", "Friction on dry boards", friction.MuDry, 0, 2),
			unless("mu_oil", "Friction in deep oil", friction.MuOil, 0, 2),
			unless("q0", "Film that removes most of the friction, oil units", friction.Q0, 0, 1000),
			unless("share_thick", "Share of the friction that feels thick oil", friction.ShareThick, 0, 1),
			unless("q_thick", "Film that removes most of that share, oil units", friction.QThick, 0, 1000),
			{
				Name:   "slip_mps",
				Label:  "Slip speed over which friction falls, m/s",
				Hint:   "Default: " + friction.SlipMPS.String() + ". Write none for the same friction at any slip.",
				Folded: true,
			},
			{Name: "session", Label: "Worn by shots from", Options: sessionOptions(r), Folded: true},
			{
				Name:   "shots",
				Label:  "How many shots",
				Type:   "number",
				Step:   "1",
				Min:    "1",
				Max:    strconv.Itoa(advice.MaxWornShots),
				Folded: true,
				Hint: "With a session: its first shots, all if left empty. Without one: this many of the " +
					"athlete’s shots along the best line, none if left empty.",
			},
		},
	}
}

// ballChoice is a ball and the name of whose it is.
type ballChoice struct {
	*record.Ball
	Athlete string
}

// balls are the balls in use that the visitor may see, by athlete and name.
func (v *visit) balls(r *roster) ([]ballChoice, error) {
	found, err := all[*record.Ball](v.Context(), v, r.Own.ID, record.KindBall)
	if err != nil {
		return nil, err
	}
	var list []ballChoice
	for _, b := range found {
		if !b.Retired {
			list = append(list, ballChoice{b, r.Athlete(&b.AthleteID)})
		}
	}
	slices.SortFunc(list, func(a, b ballChoice) int {
		if byAthlete := strings.Compare(a.Athlete, b.Athlete); byAthlete != 0 {
			return byAthlete
		}
		return strings.Compare(a.Name, b.Name)
	})
	return list, nil
}

func athleteOptions(r *roster) []option {
	var list []option
	for _, a := range r.Athletes {
		list = append(list, option{a.ID.String(), a.Name})
	}
	return list
}

// patternOptions are the patterns of which more than the length is known: only those can be played.
func patternOptions(r *roster) []option {
	var list []option
	for _, p := range r.Patterns {
		if laid(p) {
			list = append(list, option{p.ID.String(), p.Name})
		}
	}
	return list
}

func laid(p *record.Pattern) bool { return len(p.Loads) > 0 || len(p.Film) > 0 }

func ballOptions(balls []ballChoice) []option {
	list := []option{{"", "A typical ball"}}
	for _, b := range balls {
		list = append(list, option{b.ID.String(), b.Athlete + ": " + b.Name})
	}
	return list
}

func sessionOptions(r *roster) []option {
	list := []option{{"", "No session: fresh film"}}
	for _, s := range r.Sessions {
		label := r.Dates.Day(s.Date.Time) + ": " + s.Name
		if name := r.Athlete(s.AthleteID); name != "" {
			label += ", " + name
		}
		list = append(list, option{s.ID.String(), label})
	}
	return list
}

// lineQuery is the planner's query of a form.
func (f *form) lineQuery() advice.Query {
	var query advice.Query
	if athlete, pattern := f.id("athlete"), f.id("pattern"); athlete != nil && pattern != nil {
		query.Athlete, query.Pattern = *athlete, *pattern
	}
	query.Ball = f.id("ball")
	set := func(name string, field *float64) bool {
		value := f.number(name)
		if value != nil {
			*field = *value
		}
		return value != nil
	}
	either := func(given ...bool) bool { return slices.Contains(given, true) }
	pocket := line.DefaultPocket()
	if either(
		set("board_low", &pocket.BoardLow),
		set("board_high", &pocket.BoardHigh),
		set("angle_low", &pocket.AngleLowDeg),
		set("angle_high", &pocket.AngleHighDeg),
	) {
		pocket.Name = fmt.Sprintf(
			"pocket: board %g to %g, %g to %g deg",
			pocket.BoardLow,
			pocket.BoardHigh,
			pocket.AngleLowDeg,
			pocket.AngleHighDeg,
		)
		query.Pocket = &pocket
	}
	friction := motion.NominalFriction()
	if either(
		set("mu_dry", &friction.MuDry),
		set("mu_oil", &friction.MuOil),
		set("q0", &friction.Q0),
		set("share_thick", &friction.ShareThick),
		set("q_thick", &friction.QThick),
		f.slip(&friction.SlipMPS),
	) {
		query.Friction = &friction
	}
	if session, shots := f.id("session"), f.whole("shots"); session != nil || shots != 0 {
		query.Worn = &advice.WornBy{Session: session, Shots: int(shots)}
	}
	return query
}

// slip reads the optional slip speed.
func (f *form) slip(field *motion.SlipScale) bool {
	text := f.value("slip_mps")
	if text == "" {
		return false
	}
	if err := field.UnmarshalText([]byte(text)); err != nil {
		f.blame("slip_mps", err.Error())
	}
	return true
}

// prefill takes the values of inputs from an address, such as a link from an athlete; a value that
// is not a choice is ignored.
func (f *form) prefill(sent url.Values) {
	for _, in := range f.Inputs {
		if value := sent.Get(in.Name); value != "" && (len(in.Options) == 0 || in.offered(value)) {
			in.Value = value
		}
	}
}

// asksMore reports whether one of the inputs that are folded away is filled in, or has something to
// fix.
func (f *form) asksMore() bool {
	return slices.ContainsFunc(
		f.Inputs,
		func(in *input) bool { return in.Folded && (in.Value != "" || in.Fault != "") },
	)
}

// filled is a query without what was left empty, in its shortest form.
func filled(sent url.Values) url.Values {
	kept := maps.Clone(sent)
	maps.DeleteFunc(
		kept,
		func(_ string, values []string) bool { return len(values) == 0 || strings.TrimSpace(values[0]) == "" },
	)
	return kept
}

// rosterAndBalls reads the squad of the address and the balls in use.
func (v *visit) rosterAndBalls() (*roster, []ballChoice, error) {
	own, err := v.squad()
	if err != nil {
		return nil, nil, err
	}
	r, err := v.roster(own, record.KindAthlete, record.KindPattern, record.KindSession)
	if err != nil {
		return nil, nil, err
	}
	balls, err := v.balls(r)
	return r, balls, err
}

// plannerFields name the inputs that the planner's faults mean.
var plannerFields = []string{
	"subject/worn", "shots", "subject/worn/shots", "shots",
	"subject/pocket/board_low", "board_low", "subject/pocket/board_high", "board_high",
	"subject/pocket/angle_low_deg", "angle_low", "subject/pocket/angle_high_deg", "angle_high",
	"subject/friction/mu_dry", "mu_dry", "subject/friction/mu_oil", "mu_oil", "subject/friction/q0", "q0",
	"subject/friction/share_thick", "share_thick", "subject/friction/q_thick", "q_thick",
	"subject/friction/slip_mps", "slip_mps",
	"subject/athlete_id", "athlete", "subject/ball_id", "ball",
}

// question is the planner's query of an address.
type question struct {
	*roster
	Query string
}

// With is the address of another page with the same question.
func (q question) With(path string) string { return q.Address() + path + "?" + q.Query }

// planView is the data of the planner's page.
type planView struct {
	question
	Form  *form
	More  bool         // what is folded away is in use
	Plan  *advice.Plan // nil before anything was asked
	Lane  template.HTML
	Lines []lineView
}

// Order says in a few words how the lines are ranked.
func (v planView) Order() string {
	equal := 0
	for _, line := range v.Lines {
		if line.Equal {
			equal++
		}
	}
	switch {
	case equal > 0 && equal == len(v.Lines):
		return "all equal"
	case equal > 0:
		return fmt.Sprintf("the first %d equal", equal)
	case v.Plan.Ties != "":
		return "the first the closest to how they play"
	}
	return "best first"
}

// planPage asks for an athlete and a pattern, and ranks the lines once both are known.
func planPage(v *visit) error {
	r, balls, err := v.rosterAndBalls()
	if err != nil {
		return err
	}
	f := planForm(r, balls)
	sent := v.URL.Query()
	show := func(status int, f *form) error {
		return v.showPlan(status, planView{question: question{roster: r}, Form: f})
	}
	if !sent.Has("athlete") || !sent.Has("pattern") {
		f.prefill(sent)
		return show(http.StatusOK, f)
	}
	f.read(sent)
	query := f.lineQuery()
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	if short := filled(sent); len(short) < len(sent) {
		return v.goTo(f.Action + "?" + short.Encode())
	}
	plan, err := v.site.svc.PlanLines(v.Context(), v.me.ID, r.Own.ID, query, nil)
	if err != nil {
		return v.retry(f, err, show, plannerFields...)
	}
	view := planView{question: question{r, sent.Encode()}, Form: f, Plan: plan}
	scene, err := plan.Picture(lanePx)
	if err != nil {
		return err
	}
	view.Lane = svg(scene)
	for i, one := range plan.Lines {
		view.Lines = append(view.Lines, lineView{
			PlannedLine: one,
			Letter:      advice.LineLetter(i, len(plan.Lines)),
			Strip:       stripOf(one.Misses),
			Address:     lineAddress(r, sent, one.Aim),
			Coach:       r.Coach(),
		})
	}
	return v.showPlan(http.StatusOK, view)
}

func (v *visit) showPlan(status int, view planView) error {
	view.More = view.Form.asksMore()
	return v.show(
		status,
		"plan",
		frame{Title: "Plan a line", Squad: view.Squad, Crumbs: v.crumbs(view.roster), Page: view},
	)
}

// query is the planner's query of an address; it fails as a whole, for an address that no form
// shows.
func (v *visit) query() (*roster, advice.Query, error) {
	own, err := v.squad()
	if err != nil {
		return nil, advice.Query{}, err
	}
	r, err := v.roster(own)
	if err != nil {
		return nil, advice.Query{}, err
	}
	f := planForm(r, nil).unchosen()
	f.read(v.URL.Query())
	query := f.lineQuery()
	return r, query, f.asError()
}

// unchosen is the form without its choices, which need not be read when they are not shown: the
// planner itself knows the ids.
func (f *form) unchosen() *form {
	for _, in := range f.Inputs {
		in.Options = nil
	}
	return f
}

func planPicture(v *visit) (picture.Scene, error) {
	r, query, err := v.query()
	if err != nil {
		return picture.Scene{}, err
	}
	plan, err := v.site.svc.PlanLines(v.Context(), v.me.ID, r.Own.ID, query, nil)
	if err != nil {
		return picture.Scene{}, err
	}
	return plan.Picture(lanePx)
}

// planDraws is how many scattered shots score an aim of a miss map: as many as in a plan, so that
// both mark the same lines.
const planDraws = 64

// missMapPicture draws what every aim is worth. It has an address of its own, so that the page does
// not wait for it.
func missMapPicture(v *visit) (picture.Scene, error) {
	r, query, err := v.query()
	if err != nil {
		return picture.Scene{}, err
	}
	query.Draws = planDraws
	missMap, err := v.site.svc.MapMisses(v.Context(), v.me.ID, r.Own.ID, query, advice.GridQuery{}, nil)
	if err != nil {
		return picture.Scene{}, err
	}
	return missMap.Picture(lanePx)
}

// lineAddress is the page of one line of a plan.
func lineAddress(r *roster, sent url.Values, aim line.Aim) string {
	query := maps.Clone(sent)
	query.Set("laydown", plain(aim.LaydownBoard))
	query.Set("angle", plain(aim.LaunchAngleDeg))
	return r.Address() + "/plan/line?" + query.Encode()
}
