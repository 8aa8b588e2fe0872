package web

import (
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/picture"
)

// againstPrefix begins the names of the inputs that say in what the second side differs.
const againstPrefix = "against_"

// freshFilm is the choice of a fresh film for the second side, where the first has a worn one.
const freshFilm = "fresh"

// compareForm asks for a plan, and in what another one differs from it.
func compareForm(r *roster, balls []ballChoice) *form {
	f := planForm(r, balls)
	f.Action, f.Submit = r.Address()+"/compare", "Compare"
	same := func(label string, options []option) []option { return append([]option{{"", label}}, options...) }
	films := append([]option{{freshFilm, "The fresh film"}}, sessionOptions(r)[1:]...)
	f.Inputs = append(
		f.Inputs,
		&input{
			Name:    againstPrefix + "athlete",
			Label:   "Other athlete",
			Options: same("The same athlete", athleteOptions(r)),
		},
		&input{
			Name:    againstPrefix + "pattern",
			Label:   "Other pattern",
			Options: same("The same pattern", patternOptions(r)),
		},
		&input{
			Name:    againstPrefix + "ball",
			Label:   "Other ball",
			Options: same("The same ball", ballOptions(balls)[1:]),
		},
		&input{
			Name:    againstPrefix + "session",
			Label:   "Other wear: shots from",
			Options: same("The same film", films),
			Folded:  true,
		},
		&input{
			Name:   againstPrefix + "shots",
			Label:  "How many of those shots",
			Type:   "number",
			Step:   "1",
			Min:    "1",
			Max:    strconv.Itoa(advice.MaxWornShots),
			Hint:   "Without a session: this many of the athlete’s shots along the best line.",
			Folded: true,
		},
	)
	return f
}

// lineAgainst is in what the form's second side differs.
func (f *form) lineAgainst() advice.Against {
	against := advice.Against{
		Athlete: f.id(
			againstPrefix + "athlete",
		),
		Ball:    f.id(againstPrefix + "ball"),
		Pattern: f.id(againstPrefix + "pattern"),
	}
	shots := int(f.whole(againstPrefix + "shots"))
	if f.value(againstPrefix+"session") == freshFilm {
		against.Fresh = true
		if shots != 0 {
			f.blame(againstPrefix+"shots", "do not apply to a fresh film; leave this empty")
		}
		return against
	}
	if session := f.id(againstPrefix + "session"); session != nil || shots != 0 {
		against.Worn = &advice.WornBy{Session: session, Shots: shots}
	}
	return against
}

// asksAgainst reports whether a query comes from the comparison's form; blank reports that it names
// nothing that differs.
func asksAgainst(sent url.Values) (asks, blank bool) {
	blank = true
	for name := range sent {
		if strings.HasPrefix(name, againstPrefix) {
			asks = true
			blank = blank && strings.TrimSpace(sent.Get(name)) == ""
		}
	}
	return asks, blank
}

// compareView is the data of the comparison's page.
type compareView struct {
	question
	Form         *form
	More         bool
	Comparison   *advice.Comparison // nil before anything was asked
	Narrow, Wide template.HTML      // the same two lanes, below and beside each other
	Rows         []compareRow
	Notes        compareNotes
	Plans        []crumb // each side's own plan
}

// compareRow is one line of the differences: what it is at either side, and how to get from the
// first to the second.
type compareRow struct{ Name, A, B, Move string }

// compareNotes are the assumptions of both sides, and those of only one of them.
type compareNotes struct{ Both, A, B []string }

func comparePage(v *visit) error {
	r, balls, err := v.rosterAndBalls()
	if err != nil {
		return err
	}
	f := compareForm(r, balls)
	sent := v.URL.Query()
	show := func(status int, f *form) error {
		return v.showCompare(status, compareView{question: question{roster: r}, Form: f})
	}
	asks, blank := asksAgainst(sent)
	if !asks || !sent.Has("athlete") || !sent.Has("pattern") {
		f.prefill(sent)
		return show(http.StatusOK, f)
	}
	f.read(sent)
	query, against := f.lineQuery(), f.lineAgainst()
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	if short := filled(sent); len(short) < len(sent) && !blank {
		return v.goTo(f.Action + "?" + short.Encode())
	}
	comparison, err := v.site.svc.CompareLines(v.Context(), v.me.ID, r.Own.ID, query, against, nil)
	if err != nil {
		return v.retry(f, err, show, append([]string{"against", ""}, plannerFields...)...)
	}
	view := compareView{
		question:   question{r, sent.Encode()},
		Form:       f,
		Comparison: comparison,
		Rows:       compareRows(comparison),
		Notes: compareNotesOf(
			comparison.A.Subject.Assumptions,
			comparison.B.Subject.Assumptions,
		),
		Plans: plansOf(r, sent),
	}
	if view.Narrow, err = drawComparison(comparison, lanePx); err != nil {
		return err
	}
	if view.Wide, err = drawComparison(comparison, 2*lanePx); err != nil {
		return err
	}
	return v.showCompare(http.StatusOK, view)
}

// plansOf are the addresses of both sides' own plans.
func plansOf(r *roster, sent url.Values) []crumb {
	a, b := url.Values{}, url.Values{}
	for name := range sent {
		if !strings.HasPrefix(name, againstPrefix) {
			a.Set(name, sent.Get(name))
			b.Set(name, sent.Get(name))
		}
	}
	if sent.Get(againstPrefix+"session") != "" || sent.Get(againstPrefix+"shots") != "" {
		b.Del("session") // the second side's wear takes the place of the first's as a whole
		b.Del("shots")
	}
	for name := range sent {
		if own, ok := strings.CutPrefix(name, againstPrefix); ok && sent.Get(name) != freshFilm {
			b.Set(own, sent.Get(name))
		}
	}
	return []crumb{
		{"All lines of A", r.Address() + "/plan?" + a.Encode()},
		{"All lines of B", r.Address() + "/plan?" + b.Encode()},
	}
}

func drawComparison(c *advice.Comparison, widthPx int) (template.HTML, error) {
	scene, err := c.Picture(widthPx)
	return svg(scene), err
}

func (v *visit) showCompare(status int, view compareView) error {
	view.More = view.Form.asksMore()
	return v.show(
		status,
		"compare",
		frame{Title: "Compare lines", Squad: view.Squad, Crumbs: v.crumbs(view.roster), Page: view},
	)
}

// comparePicture draws a comparison to save.
func comparePicture(v *visit) (picture.Scene, error) {
	own, err := v.squad()
	if err != nil {
		return picture.Scene{}, err
	}
	f := compareForm(&roster{Own: own}, nil).unchosen()
	f.read(v.URL.Query())
	query, against := f.lineQuery(), f.lineAgainst()
	if err := f.asError(); err != nil {
		return picture.Scene{}, err
	}
	comparison, err := v.site.svc.CompareLines(v.Context(), v.me.ID, own.ID, query, against, nil)
	if err != nil {
		return picture.Scene{}, err
	}
	return comparison.Picture(2 * lanePx)
}

func compareRows(c *advice.Comparison) []compareRow {
	none := advice.PlannedLine{}
	a, b := none, none
	hasA, hasB := len(c.A.Lines) > 0, len(c.B.Lines) > 0
	if hasA {
		a = c.A.Lines[0]
	}
	if hasB {
		b = c.B.Lines[0]
	}
	row := func(name string, move string, write func(l advice.PlannedLine) string) compareRow {
		row := compareRow{Name: name}
		if hasA {
			row.A = write(a)
		}
		if hasB {
			row.B = write(b)
		}
		if hasA && hasB {
			row.Move = move
		}
		return row
	}
	one := func(value float64) string { return fmt.Sprintf("%.1f", value) }
	var move struct{ feet, target, angle, breakpoint, pins string }
	if m := c.Move; m != nil {
		move.feet, move.target = moved(m.FeetBoards, "board"), moved(m.TargetBoards, "board")
		move.angle, move.pins = turned(m.LaunchAngleDeg), fmt.Sprintf("%+.1f", m.Pins)
	}
	if a.Breakpoint != nil && b.Breakpoint != nil {
		move.breakpoint = moved(b.Breakpoint.Board-a.Breakpoint.Board, "board")
	}
	return []compareRow{
		row("Feet", move.feet, func(l advice.PlannedLine) string { return one(l.FeetBoard) }),
		row("Target", move.target, func(l advice.PlannedLine) string { return one(l.TargetBoard) }),
		row("Launch angle", move.angle, func(l advice.PlannedLine) string { return launch(l.LaunchAngleDeg) }),
		row(
			"Breakpoint",
			move.breakpoint,
			func(l advice.PlannedLine) string {
				if l.Breakpoint == nil {
					return "none: moves inside all the way"
				}
				return fmt.Sprintf("%.1f at %.0f ft", l.Breakpoint.Board, l.Breakpoint.Ft)
			},
		),
		row("Entry", "", func(l advice.PlannedLine) string {
			return fmt.Sprintf("%.1f at %.1f°", l.Path.PinBoard, l.Path.EntryAngleDeg)
		}),
		row("Pins a frame", move.pins, func(l advice.PlannedLine) string {
			return fmt.Sprintf("%.1f ± %.1f", l.Pins, l.StandardError)
		}),
		row("Shots in the pocket", "", func(l advice.PlannedLine) string { return percent(l.PocketShare) }),
		row("Head pin left", "", func(l advice.PlannedLine) string { return percent(l.HeadPinShare) }),
		row("Splits", "", func(l advice.PlannedLine) string { return percent(l.SplitShare) }),
		row("Gutter balls", "", func(l advice.PlannedLine) string { return percent(l.GutterShare) }),
		row("Room outside, boards", "", func(l advice.PlannedLine) string { return plain(l.RoomOutsideBoards) }),
		row("Room inside, boards", "", func(l advice.PlannedLine) string { return plain(l.RoomInsideBoards) }),
	}
}

// moved says how far and which way something moves; inside is the larger board.
func moved(boards float64, unit string) string {
	amount := fmt.Sprintf("%.1f", max(boards, -boards))
	if amount == "0.0" {
		return "the same"
	}
	if amount != "1.0" {
		unit += "s"
	}
	if boards < 0 {
		return amount + " " + unit + " outside"
	}
	return amount + " " + unit + " inside"
}

func turned(angleDeg float64) string {
	amount := fmt.Sprintf("%.1f°", max(angleDeg, -angleDeg))
	switch {
	case amount == "0.0°":
		return "the same"
	case angleDeg > 0:
		return amount + " more outward"
	}
	return amount + " less outward"
}

func compareNotesOf(a, b []string) compareNotes {
	var notes compareNotes
	for _, note := range a {
		if slices.Contains(b, note) {
			notes.Both = append(notes.Both, note)
		} else {
			notes.A = append(notes.A, note)
		}
	}
	for _, note := range b {
		if !slices.Contains(a, note) {
			notes.B = append(notes.B, note)
		}
	}
	return notes
}

// side names one side of a comparison by everything that defines it.
func side(s advice.Subject) string {
	name := s.Athlete.Name + " on " + s.Pattern.Name
	if s.Wear != nil {
		name += " after " + count(s.Wear.Passes, "shot")
	}
	if s.Ball.ID != nil && *s.Ball.ID != uuid.Nil {
		name += " with " + s.Ball.Name
	}
	return name
}
