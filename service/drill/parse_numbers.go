package drill

import (
	"regexp"
	"strings"
)

// never begins a sentence that forbids what follows.
const never = `^(?:please )?(?:do not|don't|dont|never|no)(?: (?:let|throw|bowl|roll|go|keep|be|get))?` +
	`(?: (?:the ball|your ball|it|the speed|your speed|your ball speed|speed|ball speed|rev rate|the rev rate|your rev rate|revs))?` +
	`(?: (?:get|go|fall|drop|be|rise))? `

var (
	subjectRE = regexp.MustCompile(
		`^(?:(?:please|just|always|try to|now) )*(?:(?:keep|hold|have|throw|play|get|change|raise|lower) )?` +
			`(?:(?:the|your|ball) )*` +
			`(launch angle|entry angle|(?:axis )?rotation|(?:axis )?tilt|speed|ball speed|rev[ -]?rate|revs|board)(?: (?:is|be|stays))*(?: |$)`,
	)

	betweenRE = regexp.MustCompile(
		`^(?:at )?(?:between |from )?` + num + unit + ` ?(?:and|to|through|-) ?` + num + unit + `$`,
	)
	atLeastRE = regexp.MustCompile(
		`^(?:at )?(?:at least|no slower than|no less than|not less than|not below|above|over|more than|faster than|from|minimum|min) ` +
			num + unit + `$`,
	)
	atMostRE = regexp.MustCompile(
		`^(?:at )?(?:at most|no faster than|no more than|not more than|not above|below|under|less than|slower than|up to|maximum|max) ` +
			num + unit + `$`,
	)
	orMoreRE = regexp.MustCompile(
		`^(?:at )?` + num + unit + ` (?:or|and) (?:more|above|over|faster|higher|up|quicker)$`,
	)
	orLessRE = regexp.MustCompile(`^(?:at )?` + num + unit + ` (?:or|and) (?:less|below|under|slower|lower|down)$`)
	ballAtRE = regexp.MustCompile(`^` + verb)

	withinOfRE  = regexp.MustCompile(`^(?:stay )?within ` + num + unit + ` (?:of|from) ` + num + unit + `$`)
	plusMinusRE = regexp.MustCompile(`^(?:at )?` + num + unit + ` ?\+- ?` + num + unit + `$`)
	negativeRE  = regexp.MustCompile(`^(?:please )?(?:do not|don't|dont|never|no)\b`)
	notBelowRE  = regexp.MustCompile(never + `(?:slower than|below|under|less than) ` + num + unit + `$`)
	notAboveRE  = regexp.MustCompile(never + `(?:faster than|above|over|more than) ` + num + unit + `$`)
	paceRE      = regexp.MustCompile(`\b(?:slower|faster|quicker|speed)\b`)
	revsRE      = regexp.MustCompile(`\brev(?: rate|s)\b`)
)

// measureNamed is the measure of this name in a sentence, "" for none.
func measureNamed(name string) Measure {
	switch {
	case name == "board":
		return Board
	case name == "launch angle":
		return LaunchAngle
	case name == "entry angle":
		return EntryAngle
	case strings.HasSuffix(name, "speed"):
		return Speed
	case strings.HasSuffix(name, "rotation"):
		return Rotation
	case strings.HasSuffix(name, "tilt"):
		return Tilt
	case strings.HasPrefix(name, "rev"):
		return RevRate
	}
	return ""
}

// unitMeasure is the measure that a unit alone implies.
func unitMeasure(unit string) Measure {
	switch unit {
	case "mph":
		return Speed
	case "rpm":
		return RevRate
	}
	return ""
}

// unitFits reports whether a unit as it was written, "" for none, is that of the measure.
func unitFits(unit string, m Measure) bool {
	q, _ := m.quantity()
	switch unit {
	case "", q.unit, strings.TrimSuffix(q.unit, "s"):
		return true
	case "deg":
		return q.unit == "degrees"
	}
	return false
}

// readQuantity reads a rule on a measure other than a board: the measure is named, or implied by
// its unit.
func readQuantity(text string) (Rule, bool) {
	var measure Measure
	rest := text
	if m := subjectRE.FindStringSubmatch(text); m != nil {
		measure, rest = measureNamed(m[1]), text[len(m[0]):]
	} else if !negativeRE.MatchString(text) {
		rest = text[len(ballAtRE.FindString(text)):]
	}
	low, high, units, ok := readBounds(rest)
	if !ok || measure == Board {
		return Rule{}, false
	}
	if measure == "" && paceRE.MatchString(rest) {
		measure = Speed
	} else if measure == "" && revsRE.MatchString(rest) {
		measure = RevRate
	}
	for _, unit := range units {
		if measure == "" {
			measure = unitMeasure(unit)
		}
	}
	unitless := true
	for _, unit := range units {
		if measure == "" || !unitFits(unit, measure) {
			return Rule{}, false
		}
		unitless = unitless && unit == ""
	}
	if unitless && measure == Speed && (unlikelyMPH(low) || unlikelyMPH(high)) {
		return Rule{}, false
	}
	return Rule{Measure: measure, Min: low, Max: high}, measure != ""
}

// unlikelyMPH reports whether a speed without a unit may be meant in km/h: 21 mph is as rare as 21
// km/h is slow.
func unlikelyMPH(speed *float64) bool { return speed != nil && (*speed < 10 || *speed > 21) }

// readBounds reads the bounds of a number with the units they were written in.
func readBounds(text string) (low, high *float64, units []string, ok bool) {
	if m := betweenRE.FindStringSubmatch(text); m != nil {
		low, high = ordered(value(m[1]), value(m[3]))
		return low, high, []string{m[2], m[4]}, true
	}
	if m := withinOfRE.FindStringSubmatch(text); m != nil {
		low, high = about(value(m[3]), value(m[1]))
		return low, high, []string{m[2], m[4]}, true
	}
	if m := plusMinusRE.FindStringSubmatch(text); m != nil {
		low, high = about(value(m[1]), value(m[3]))
		return low, high, []string{m[2], m[4]}, true
	}
	for _, re := range []*regexp.Regexp{atLeastRE, orMoreRE, notBelowRE} {
		if m := re.FindStringSubmatch(text); m != nil {
			return value(m[1]), nil, []string{m[2]}, true
		}
	}
	for _, re := range []*regexp.Regexp{atMostRE, orLessRE, notAboveRE} {
		if m := re.FindStringSubmatch(text); m != nil {
			return nil, value(m[1]), []string{m[2]}, true
		}
	}
	return nil, nil, nil, false
}

const direction = `(inside|outside|in|out|up|down|more|less)`

var (
	moveVerbRE  = regexp.MustCompile(`^(?:please )?(?:move|change)(?: (?:the ball|it|over))? `)
	moveExactRE = regexp.MustCompile(`^` + num + unit + ` (?:further )?` + direction + `$`)
	moveBoundRE = regexp.MustCompile(
		`^(at least|no more than|at most|up to) ` + num + unit + ` (?:further )?` + direction + `$`,
	)
	moveSameRE = regexp.MustCompile(
		`^(?:between ` + num + ` and|(?:from )?` + num + ` (?:to|or|-)) ` + num + unit + ` (?:further )?` + direction + `$`,
	)
	moveBothRE = regexp.MustCompile(
		`^(?:between |from )?` + num + unit + ` ` + direction + ` (?:and|to) ` + num + unit + ` ` + direction + `$`,
	)
	upOrDownRE = regexp.MustCompile(`\b(?:up|down|more|less)$`) // not a direction on the boards
	withinRE   = regexp.MustCompile(`^(?:stay )?within ` + num + unit + `$`)
)

// readMove reads a change against the shot before: the sentence says so, or begins with move or
// change.
func readMove(text string) (Rule, bool) {
	against := againstRE.FindStringIndex(text)
	verb := moveVerbRE.FindString(text)
	if against == nil && verb == "" {
		return Rule{}, false
	}
	if against != nil {
		text = text[:against[0]] + text[against[1]:]
	}
	r := Rule{Measure: Move, Of: Board}
	if m := subjectRE.FindStringSubmatch(text); m != nil {
		r.Of, text = measureNamed(m[1]), text[len(m[0]):]
	} else {
		text = strings.TrimPrefix(text, verb)
	}
	text = strings.TrimPrefix(text, "by ")
	if r.Of == Board {
		rest, p, ok := takePlace(text, Laydown)
		if !ok || p.pastFt != nil || strings.HasPrefix(verb, "change") {
			return Rule{}, false
		}
		text, r.At, r.AtFt = strings.TrimPrefix(rest, "by "), p.at, p.atFt
		if upOrDownRE.MatchString(text) {
			return Rule{}, false
		}
	}
	return r, r.readChange(text)
}

// readChange sets the bounds of a move; false when the text is not a change of its measure.
func (r *Rule) readChange(text string) bool {
	var written []string
	if m := withinRE.FindStringSubmatch(text); m != nil {
		r.Min, r.Max = negative(value(m[1])), value(m[1])
		written = m[2:3]
	} else if m := moveExactRE.FindStringSubmatch(text); m != nil {
		change := signed(m[1], m[3])
		r.Min, r.Max = change, change
		written = m[2:3]
	} else if m := moveBoundRE.FindStringSubmatch(text); m != nil {
		change := signed(m[2], m[4])
		upward := !isDownward(m[4])
		if m[1] == "at least" == upward {
			r.Min = change
		} else {
			r.Max = change
		}
		written = m[3:4]
	} else if m := moveSameRE.FindStringSubmatch(text); m != nil {
		r.Min, r.Max = ordered(signed(m[1]+m[2], m[5]), signed(m[3], m[5]))
		written = m[4:5]
	} else if m := moveBothRE.FindStringSubmatch(text); m != nil {
		r.Min, r.Max = ordered(signed(m[1], m[3]), signed(m[4], m[6]))
		written = []string{m[2], m[5]}
	} else {
		return false
	}
	for _, unit := range written {
		if !unitFits(unit, r.Of) {
			return false
		}
	}
	return true
}

func isDownward(direction string) bool {
	switch direction {
	case "outside", "out", "down", "less":
		return true
	}
	return false
}

func signed(amount, direction string) *float64 {
	if isDownward(direction) {
		return negative(value(amount))
	}
	return value(amount)
}
