package web

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"laneward/api/web/dates"
	"laneward/service/advice"
	"laneward/service/drill"
	"laneward/service/oil"
	"laneward/service/picture"
	"laneward/service/record"
	"laneward/service/trend"
)

// wordFunctions is how templates write what they are given.
func wordFunctions() template.FuncMap {
	return template.FuncMap{
		"percent":      percent,
		"interval":     interval,
		"points":       points,
		"pointsRange":  pointsRange,
		"margin":       margin,
		"count":        count,
		"decimal":      decimal,
		"verdictClass": verdictClass,
		"evidence":     evidence,
		"misses":       misses,
		"sentence":     sentence,
		"bar":          barX,
		"lanes":        lanes,
		"role":         roleWord,
		"gauge":        gaugeX,
		"onBoards":     onBoards,
		"share":        shareOf,
		"trueShare":    trueShareOf,
		"against":      againstOf,
		"capital":      capital,
		"plain":        plain,
		"launch":       launch,
		"gutters":      gutters,
		"outOfBounds":  outOfBounds,
		"hitWords":     func() []hitWord { return hitWords },
		"ratio":        advice.RatioText,
		"thresholds":   thresholds,
		"side":         side,
		"join":         func(words []string) string { return strings.Join(words, " and ") },
		"measure":      measureName,
		"direction":    directionName,
		"add":          func(a, b int) int { return a + b },
		"divide":       func(a, b float64) float64 { return a / b },
		"actionWord":   actionWord,
		"actor":        actor,
		"subject":      subject,
		"pair":         func(a, b any) pair { return pair{a, b} },
	}
}

// percent writes a share without decimals: no log of shots is more precise.
func percent(share float64) string { return fmt.Sprintf("%d %%", int(math.Round(100*share))) }

// interval writes an interval of a share.
func interval(i trend.Interval) string {
	return fmt.Sprintf("%d to %d %%", int(math.Round(100*i.Low)), int(math.Round(100*i.High)))
}

// points writes a difference of shares in percentage points, with its sign.
func points(difference float64) string {
	rounded := int(math.Round(100 * difference))
	switch {
	case rounded > 0:
		return "+" + strconv.Itoa(rounded)
	case rounded < 0:
		return "−" + strconv.Itoa(-rounded)
	}
	return "0"
}

func pointsRange(i trend.Interval) string { return points(i.Low) + " to " + points(i.High) }

// margin says on which side of a rule's edge the shots lie on average.
func margin(mean float64, unit string) string {
	amount := strconv.FormatFloat(math.Abs(math.Round(mean*10)/10), 'f', -1, 64)
	switch {
	case amount == "0":
		return "on the edge"
	case mean > 0:
		return amount + " " + unit + " to spare"
	}
	return amount + " " + unit + " short"
}

// count writes a number of things; noun is the word for one.
func count(n int, noun string) string {
	switch {
	case n == 1:
		return "1 " + noun
	case strings.HasSuffix(noun, "s"):
		noun += "e"
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// dateFunctions is how templates write days and moments in a reader's form.
func dateFunctions(form dates.Form) template.FuncMap {
	const toTheMinute = "15:04 MST"
	return template.FuncMap{
		"day":     func(d *record.Day) template.HTML { return form.HTML(form.Day(d.Time), d.String()) },
		"date":    func(d record.Day) template.HTML { return form.HTML(form.Day(d.Time), d.String()) },
		"weekday": func(d record.Day) template.HTML { return form.HTML(form.Weekday(d.Time), d.String()) },
		"moment": func(t time.Time) template.HTML {
			return form.HTML(form.Day(t)+", "+t.Format(toTheMinute), t.Format(time.RFC3339))
		},
	}
}

// decimal writes a measured value with the decimals it has, two at most; what was not measured is
// an empty cell.
func decimal(value *float64) string {
	if value == nil {
		return ""
	}
	return strconv.FormatFloat(math.Round(*value*100)/100, 'f', -1, 64)
}

func sentence(text string) string {
	if text == "" || strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

func lanes(numbers []int32) string {
	words := make([]string, len(numbers))
	for i, n := range numbers {
		words[i] = strconv.Itoa(int(n))
	}
	return strings.Join(words, " and ")
}

func roleWord(role record.Role) string {
	switch role {
	case record.RoleCoach:
		return "You are a coach of this squad"
	case record.RoleAthlete:
		return "You are an athlete of this squad"
	}
	return "You are an analyst of this squad"
}

func verdictClass(v drill.DrillVerdict) string {
	switch v {
	case drill.Met:
		return "met"
	case drill.NotMet:
		return "not-met"
	}
	return "open"
}

// onBoards reports whether a drill asks for a board, so that a shot can miss outside or inside and
// the lane has a corridor.
func onBoards(d *record.Drill) bool {
	return slices.ContainsFunc(d.Rules, func(r drill.Rule) bool { return r.Measure == drill.Board })
}

// misses says on which side the broken shots went.
func misses(a drill.Adherence) string {
	var parts []string
	if a.OutsideMisses > 0 {
		parts = append(parts, strconv.Itoa(a.OutsideMisses)+" missed outside")
	}
	if a.InsideMisses > 0 {
		parts = append(parts, strconv.Itoa(a.InsideMisses)+" missed inside")
	}
	if a.GutterBalls > 0 {
		parts = append(parts, strconv.Itoa(a.GutterBalls)+" in the gutter")
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, ", ") + ". "
}

// evidence says when the verdict was reached, or how far it is.
func evidence(a drill.Adherence) string {
	e := a.Evidence
	if a.Verdict != drill.TooFewShots {
		return fmt.Sprintf("The result was clear after %s.", count(e.DecidedAt, "shot"))
	}
	var parts []string
	if e.KeptToMet != nil {
		parts = append(parts, count(*e.KeptToMet, "more good shot")+" and it is met")
	}
	if e.BrokenToNotMet != nil {
		parts = append(parts, count(*e.BrokenToNotMet, "more miss")+" and it is not")
	}
	return strings.Join(parts, "; ") + "."
}

// barX places a share on a bar 100 wide.
func barX(share float64) string { return strconv.FormatFloat(math.Round(1000*share)/10, 'f', -1, 64) }

// gaugeX places a test's progress, -1 to 1, on a rail 100 wide.
func gaugeX(progress float64) string { return barX((progress + 1) / 2) }

// launch says which way a line is sent.
func launch(angleDeg float64) string {
	amount := fmt.Sprintf("%.1f°", math.Abs(angleDeg))
	switch {
	case amount == "0.0°":
		return "straight"
	case angleDeg > 0:
		return amount + " outward"
	}
	return amount + " inward"
}

// gutters says how many of the shots are lost; nothing when none are.
func gutters(share float64) string {
	switch {
	case share == 0:
		return ""
	case share < 0.005:
		return "under 1 % end in a gutter"
	}
	return percent(share) + " end in a gutter"
}

// outOfBounds says from where a ball does not come back, by the outermost board from which one
// does.
func outOfBounds(board float64) string {
	switch {
	case board == 0:
		return "By the model, no shot comes back from past 30 ft."
	case board < 1:
		return "By the model nothing is out of bounds: even a shot along the gutter can come back."
	}
	return fmt.Sprintf(
		"Out of bounds: by the model, past 30 ft no shot comes back from outside board %.1f.",
		board,
	)
}

// directionName is which way the machine lays a load, as pattern sheets call it.
func directionName(d oil.Direction) string {
	if d == oil.Back {
		return "reverse"
	}
	return "forward"
}

// measureName is a measure of the scatter in words, with its unit.
func measureName(name string) string {
	if words, ok := map[string]string{
		"arrows_boards": "At the arrows, boards", "launch_angle_deg": "Launch angle, degrees", "speed_mph": "Speed, mph", "rev_rate_rpm": "Rev rate, rpm",
		"arrows_angle_correlation": "Correlation of the first two",
	}[name]; ok {
		return words
	}
	return name
}

// pair passes a template two values: the page's subject, and one part of it.
type pair struct{ A, B any }

// shareBar is a share on a bar: its interval, and the pass mark, 0 for none. Share is nil when
// nothing was judged.
type shareBar struct {
	Share           *float64
	Low, High, Pass float64
}

func shareOf(p drill.Proportion, pass float64) shareBar {
	return shareBar{p.Share, p.Interval.Low, p.Interval.High, pass}
}

func trueShareOf(s drill.TrueShare, pass float64) shareBar {
	return shareBar{s.Share, s.Interval.Low, s.Interval.High, pass}
}

// comparison is how often shots that kept the drill did something, against those that broke it.
type comparison struct {
	Title, What string
	Rows        []comparisonRow
	Words       string
}

type comparisonRow struct {
	Name, Class string
	drill.Proportion
}

func againstOf(title, what, verb string, c drill.Comparison) comparison {
	rows := []comparisonRow{{"Did as asked", "kept", c.First}, {"Did not", "broken", c.Second}}
	return comparison{Title: title, What: what, Rows: rows, Words: comparisonWords(verb, c)}
}

func comparisonWords(verb string, c drill.Comparison) string {
	if c.Difference == nil {
		return "Nothing to compare yet."
	}
	numbers := fmt.Sprintf(" (%s points, 95 %% interval %s)", points(*c.Difference), pointsRange(c.Interval))
	switch c.Sign() {
	case 1:
		return "Shots that did as asked " + verb + " more often" + numbers + "."
	case -1:
		return "Shots that did as asked " + verb + " less often" + numbers + ": check the line."
	}
	return "Too close to call" + numbers + "."
}

func capital(text string) string {
	if text == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + text[size:]
}

// svg is a picture to embed in a page.
func svg(scene picture.Scene) template.HTML {
	return template.HTML(scene.SVG()) //nolint:gosec // the picture escapes every text it is given
}

// pictureOf is a picture with a title, or the reason why there is none.
func pictureOf(scene picture.Scene, err error, title string) (template.HTML, error) {
	if err != nil {
		return "", err
	}
	scene.Title = title
	return svg(scene), nil
}
