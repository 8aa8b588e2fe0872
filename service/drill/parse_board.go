package drill

import (
	"math"
	"regexp"
	"slices"
	"strings"
)

const ordinal = `(first|second|third|fourth|fifth|sixth|seventh|1st|2nd|3rd|4th|5th|6th|7th|center|middle)`

var (
	placeRE = regexp.MustCompile(`(?: ?\b(?:at|by|on|over|through|across|in)\b)? ?\b(?:the )?` +
		`(breakpoint|arrows|lay-?down(?: board| point)?|foul line|head pin|entry|pins)\b`)
	atFtRE   = regexp.MustCompile(`(?: ?\bat\b|^) ?(?:the )?(\d{1,3}(?:\.\d{1,9})?) ft\b(?: mark\b)?`)
	pastFtRE = regexp.MustCompile(
		` ?\b(?:all the way |everywhere |anywhere )?(?:past|beyond|after) (?:the )?(?:(\d{1,3}(?:\.\d{1,9})?) ft\b(?: mark\b)?|(arrows)\b)`,
	)
	fromFtRE = regexp.MustCompile(
		` ?\b(?:all the way )?from (\d{1,3}(?:\.\d{1,9})?) ft (?:on|onwards?|to the (?:head )?pins?)\b`,
	)

	arrowRE    = regexp.MustCompile(`\b(?:the )?` + ordinal + ` arrow\b`)
	betweenTwo = regexp.MustCompile(
		`\bbetween (?:the )?` + ordinal + `(?: arrow)? and (?:the )?` + ordinal + ` arrows?\b`,
	)
	targetRE = regexp.MustCompile(`^(?:the )?target(?: is| at| on|:)? (?:board )?` + num + `$`)

	boardInsideRE = regexp.MustCompile(`^` + verb + `(?:(?:at|on|over|from|to|across) )?` + boardNum +
		` (?:or|and) (?:further |farther |more |deeper )?(?:inside|in|deeper)(?: of (?:it|that))?$`)
	boardOutsideRE = regexp.MustCompile(`^` + verb + `(?:(?:at|on|over|from|to|across) )?` + boardNum +
		` (?:or|and) (?:further |farther |more )?(?:outside|out)(?: of (?:it|that))?$`)
	atOrInsideRE = regexp.MustCompile(`^` + verb + `(?:at|on) or (inside|outside)(?: of)? ` + boardNum + `$`)
	boardLeastRE = regexp.MustCompile(
		`^` + verb + `(?:at )?(?:(?:at least|no less than) board ` + num + `|board ` + num + ` (?:or|and) (?:more|higher|up|above))$`,
	)
	boardMostRE = regexp.MustCompile(
		`^` + verb + `(?:at )?(?:(?:at most|no more than) board ` + num + `|board ` + num + ` (?:or|and) (?:less|lower|down|below))$`,
	)
	boardBetweenRE = regexp.MustCompile(`^` + verb + `(?:(between|from|in|on|over|at|inside|within) )?(boards? )?` +
		num + ` ?(and|to|through|-) ?(?:boards? )?` + num + `$`)
	boardExactRE  = regexp.MustCompile(`^(` + verb + `(?:(?:at|on|over|to|across) )?(?:boards? )?)` + num + `$`)
	boardWithinRE = regexp.MustCompile(
		`^` + verb + `within ` + num + `(?: boards?)? (?:of|from) (?:boards? )?` + num + `$`,
	)
	boardAboutRE = regexp.MustCompile(
		`^` + verb + `(?:(?:at|on|over|across) )?(?:boards? )?` + num + ` ?(?:boards? )?\+- ?` + num + `(?: boards?)?$`,
	)
	notBeyondRE = regexp.MustCompile(
		`^(?:please )?(?:do not|don't|dont|never|not|no(?: balls?| shots?)?)(?: (?:let|keep|play|get|go|throw|be|roll|miss))?` +
			`(?: (?:the ball|your ball|it))?(?: (?:get|go|play|be))? ?(?:further |farther )?(inside|outside)(?: of| than| past)? ` + boardNum + `$`,
	)
	staysBeyondRE = regexp.MustCompile(
		`^` + verb + `no (?:further |farther )(inside|outside|in|out) (?:of|than|past) ` + boardNum + `$`,
	)
)

// arrowBoards are the boards of the arrows, first to seventh, counted from the athlete's own side;
// the key is how their ordinals begin. Source: seven arrows on boards 5, 10, ... 35 (lane
// specification, read in relays of it).
var arrowBoards = []struct{ word, digit, board string }{
	{"first", "1st", "5"},
	{"second", "2nd", "10"},
	{"third", "3rd", "15"},
	{"fourth", "4th", "20"},
	{"fifth", "5th", "25"},
	{"sixth", "6th", "30"},
	{"seventh", "7th", "35"},
	{"center", "middle", "20"},
}

func arrowBoard(ordinal string) string {
	i := slices.IndexFunc(arrowBoards, func(a struct{ word, digit, board string }) bool {
		return a.word == ordinal || a.digit == ordinal
	})
	return arrowBoards[i].board
}

// place is where a sentence looks at the ball's board.
type place struct {
	at           Place
	atFt, pastFt *float64
	named        bool // not assumed
}

// takePlace removes the one place from a sentence; without one it is fallback, and with two or more
// ok is false.
func takePlace(text string, fallback Place) (rest string, p place, ok bool) {
	if m := betweenTwo.FindStringSubmatch(text); m != nil {
		text = strings.Replace(
			text,
			m[0],
			"between boards "+arrowBoard(m[1])+" and "+arrowBoard(m[2])+" at the arrows",
			1,
		)
	}
	if m := targetRE.FindStringSubmatch(text); m != nil {
		text = "board " + m[1] + " at the arrows"
	}
	if m := arrowRE.FindAllStringSubmatch(text, 2); len(m) == 1 {
		text = strings.Replace(text, m[0][0], "board "+arrowBoard(m[0][1]), 1) + " at the arrows"
	}
	found := 0
	rest = text
	take := func(re *regexp.Regexp, set func(match []string)) {
		for _, m := range re.FindAllStringSubmatchIndex(rest, 2) {
			found++
			if found > 1 {
				return
			}
			match := make([]string, len(m)/2)
			for i := range match {
				if m[2*i] >= 0 {
					match[i] = rest[m[2*i]:m[2*i+1]]
				}
			}
			set(match)
			rest = strings.TrimSpace(strings.TrimRight(rest[:m[0]], " ,") + " " + strings.TrimLeft(rest[m[1]:], " ,:"))
		}
	}
	past := func(match []string) {
		if p.pastFt = value("15"); match[1] != "" {
			p.pastFt = value(match[1])
		}
	}
	take(pastFtRE, past)
	take(fromFtRE, past)
	take(atFtRE, func(match []string) { p.atFt = value(match[1]) })
	take(placeRE, func(match []string) { p.at = placeNamed(match[1]) })
	switch found {
	case 0:
		p.at = fallback
	case 1:
		p.named = true
	default:
		return "", place{}, false
	}
	return rest, p, true
}

func placeNamed(name string) Place {
	switch {
	case strings.HasPrefix(name, "break"):
		return Breakpoint
	case name == "arrows":
		return Arrows
	case strings.HasPrefix(name, "lay"), name == "foul line":
		return Laydown
	}
	return Entry
}

// readBoard reads a rule on the ball's board.
func readBoard(text string) (Rule, bool) {
	rest, p, ok := takePlace(text, Breakpoint)
	if !ok {
		return Rule{}, false
	}
	r := Rule{Measure: Board, At: p.at, AtFt: p.atFt, PastFt: p.pastFt}
	return r, r.readSide(rest) || r.readStrips(rest, p.named)
}

// readSide sets the bound of a sentence that is open on one side.
func (r *Rule) readSide(rest string) bool {
	if m := boardInsideRE.FindStringSubmatch(rest); m != nil {
		r.Min = value(m[1])
		return true
	}
	if m := boardOutsideRE.FindStringSubmatch(rest); m != nil {
		r.Max = value(m[1])
		return true
	}
	if m := boardLeastRE.FindStringSubmatch(rest); m != nil {
		r.Min = value(m[1] + m[2])
		return true
	}
	if m := boardMostRE.FindStringSubmatch(rest); m != nil {
		r.Max = value(m[1] + m[2])
		return true
	}
	if m := atOrInsideRE.FindStringSubmatch(rest); m != nil {
		r.boundToward(m[1] == "inside", value(m[2]))
		return true
	}
	for _, re := range []*regexp.Regexp{notBeyondRE, staysBeyondRE} {
		if m := re.FindStringSubmatch(rest); m != nil {
			r.boundToward(strings.HasPrefix(m[1], "out"), value(m[2])) // not outside 10 is 10 or inside
			return true
		}
	}
	return false
}

// readStrips sets the bounds of a sentence that names the boards between which the ball is to be,
// or the one: at a place that is named, or as boards. Numbers that could be feet or degrees there,
// and "12 to 8", which may go from one place to another, are ambiguous.
func (r *Rule) readStrips(rest string, named bool) bool {
	asBoards := strings.Contains(rest, "board")
	if m := boardBetweenRE.FindStringSubmatch(rest); m != nil {
		first, second := value(m[3]), value(m[5])
		goesOn := m[4] == "to" && (m[1] != "between" && m[1] != "from") && *first > *second
		if goesOn || !asBoards && (!named || r.unlikely(*first) || r.unlikely(*second)) {
			return false
		}
		r.Min, r.Max = ordered(first, second)
		return true
	}
	if !named {
		return false
	}
	for _, re := range []*regexp.Regexp{boardWithinRE, boardAboutRE} {
		m := re.FindStringSubmatch(rest)
		if m == nil {
			continue
		}
		off, middle := value(m[1]), value(m[2])
		if re == boardAboutRE {
			off, middle = middle, off
		}
		r.Min, r.Max = about(middle, off)
		return asBoards || !r.unlikely(*middle)
	}
	if m := boardExactRE.FindStringSubmatch(rest); m != nil && (asBoards || !r.unlikely(*value(m[2]))) {
		r.Min, r.Max = value(m[2]), value(m[2])
		return *r.Min == math.Trunc(*r.Min) // a decimal is a point, and no shot is that exact
	}
	return false
}

// unlikely reports whether a number at the rule's place may be meant as something else: at the
// breakpoint as feet, at the head pin as degrees.
func (r *Rule) unlikely(number float64) bool {
	switch r.At {
	case Breakpoint:
		return number > 25
	case Entry:
		return number < 13
	}
	return false
}

func (r *Rule) boundToward(inside bool, bound *float64) {
	if inside {
		r.Min = bound
	} else {
		r.Max = bound
	}
}

var (
	twoPlacesRE = regexp.MustCompile(`,? (?:and then|and|then|out to|over to|to)(?: the)? |, ?`)
	rangeRE     = regexp.MustCompile(`\d (?:to|and|through) $`)
	digitRE     = regexp.MustCompile(`^\d`)
	distanceRE  = regexp.MustCompile(
		`^(.*\bbreakpoint\b.*?),? (?:at|between|from|and at|and between) ` + num + `(?: ft)? ?(?:and|to|-) ?` + num + ` ft$`,
	)
)

// readTwo reads a sentence on two places, each with its board, or on the breakpoint's board and how
// far down the lane it lies.
func readTwo(text string) ([]Rule, bool) {
	if m := distanceRE.FindStringSubmatch(text); m != nil {
		board, ok := readBoard(m[1])
		low, high := ordered(value(m[2]), value(m[3]))
		return []Rule{board, {Measure: BreakpointDistance, Min: low, Max: high}}, ok && board.At == Breakpoint
	}
	for _, at := range twoPlacesRE.FindAllStringIndex(text, -1) {
		if rangeRE.MatchString(text[:at[1]]) && digitRE.MatchString(text[at[1]:]) {
			continue // "12 to 14" is one range
		}
		first, ok := readAtPlace(text[:at[0]])
		if !ok {
			continue
		}
		if second, ok := readAtPlace(text[at[1]:]); ok && !sameSpot(first, second) {
			return []Rule{first, second}, true
		}
	}
	return nil, false
}

// readAtPlace reads a rule on a board whose place is named.
func readAtPlace(text string) (Rule, bool) {
	if _, p, ok := takePlace(text, Breakpoint); !ok || !p.named {
		return Rule{}, false
	}
	return readBoard(text)
}

func sameSpot(a, b Rule) bool {
	return a.At == b.At && sameNumber(a.AtFt, b.AtFt) && sameNumber(a.PastFt, b.PastFt)
}

var (
	farSubjectRE = regexp.MustCompile(
		`^(?:(?:please|always|try to) )?(?:(?:keep|get|have|put|hold) )?(?:the |your )?breakpoint (?:is |be )?`,
	)
	farMoreRE = regexp.MustCompile(
		`^(?:at )?(?:(?:past|beyond|after|at least|no (?:sooner|earlier|shorter) than|not before) ` + num + ` ft|` +
			num + ` ft or (?:more|later|beyond|further|farther))$`,
	)
	farLessRE = regexp.MustCompile(`^(?:at )?(?:(?:before|at most|no (?:later|further|farther) than) ` + num + ` ft|` +
		num + ` ft or (?:less|sooner|earlier))$`)
	farBetweenRE = regexp.MustCompile(
		`^(?:at |in )?(?:between |from )?` + num + `(?: ft)? ?(?:and|to|-) ?` + num + ` ft$`,
	)
	farWithinRE = regexp.MustCompile(`^within ` + num + `(?: ft)? of ` + num + ` ft$`)
	farAboutRE  = regexp.MustCompile(`^(?:at )?` + num + `(?: ft)? ?\+- ?` + num + `(?: ft)?$`)
)

// readDistance reads a rule on how far down the lane the breakpoint lies. Everything is in feet,
// and says so.
func readDistance(text string) (Rule, bool) {
	subject := farSubjectRE.FindString(text)
	rest := text[len(subject):]
	if subject == "" || !strings.Contains(rest, " ft") {
		return Rule{}, false
	}
	r := Rule{Measure: BreakpointDistance}
	if m := farMoreRE.FindStringSubmatch(rest); m != nil {
		r.Min = value(m[1] + m[2])
		return r, true
	}
	if m := farLessRE.FindStringSubmatch(rest); m != nil {
		r.Max = value(m[1] + m[2])
		return r, true
	}
	if m := farBetweenRE.FindStringSubmatch(rest); m != nil {
		r.Min, r.Max = ordered(value(m[1]), value(m[2]))
		return r, true
	}
	if m := farWithinRE.FindStringSubmatch(rest); m != nil {
		r.Min, r.Max = about(value(m[2]), value(m[1]))
		return r, true
	}
	if m := farAboutRE.FindStringSubmatch(rest); m != nil {
		r.Min, r.Max = about(value(m[1]), value(m[2]))
		return r, true
	}
	return r, false
}

var pocketRE = regexp.MustCompile(
	`^(?:please )?(?:(?:hit|find|reach|get to|get it (?:in|into|to)|keep it in|keep the ball in|be in|put it in) )(?:the )?pocket$`,
)

// readPocket reads the pocket, boards 17 and 18 at the head pin.
func readPocket(text string) (Rule, bool) {
	low, high := math.Ceil(PocketLowBoard), math.Floor(PocketHighBoard)
	return Rule{Measure: Board, At: Entry, Min: &low, Max: &high}, pocketRE.MatchString(text)
}
