package drill

import (
	"regexp"
	"slices"
	"strings"
)

var (
	placeRE = regexp.MustCompile(`(?: ?\b(?:at|by|on|over|past|through|across|in)\b)? ?\b(?:the )?` +
		`(?:(break ?point|arrows|lay-?down(?: board| point)?|foul line|head ?pin|entry|pins)\b|` +
		`(\d{1,3}(?:\.\d{1,9})?) ?(?:ft\b|feet\b|foot\b|'))(?: mark\b)?`)
	arrowRE = regexp.MustCompile(
		`\b(?:the )?(first|second|third|fourth|fifth|sixth|seventh|1st|2nd|3rd|4th|5th|6th|7th) arrow\b`,
	)

	boardInsideRE = regexp.MustCompile(`^` + verb + `(?:(?:at|on|over|from|to|across) )?` + boardNum +
		` (?:or|and) (?:further |farther |more |deeper )?(?:inside|in|deeper)(?: of (?:it|that))?$`)
	boardOutsideRE = regexp.MustCompile(`^` + verb + `(?:(?:at|on|over|from|to|across) )?` + boardNum +
		` (?:or|and) (?:further |farther |more )?(?:outside|out)(?: of (?:it|that))?$`)
	atOrInsideRE   = regexp.MustCompile(`^` + verb + `(?:at|on) or (inside|outside)(?: of)? ` + boardNum + `$`)
	boardBetweenRE = regexp.MustCompile(`^` + verb + `(?:(?:between|from|in|on|over|at|inside|within) )?(?:boards? )?` +
		num + ` ?(?:and|to|through|-) ?` + boardNum + `$`)
	boardExactRE = regexp.MustCompile(`^(` + verb + `(?:(?:at|on|over|to|across) )?(?:boards? )?)` + num + `$`)
	notBeyondRE  = regexp.MustCompile(
		`^(?:please )?(?:do not|don't|dont|never|not|no)(?: (?:let|keep|play|get|go|throw|be|roll|leave|miss))?` +
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
}

// takePlace takes the one place out of a sentence; without one it is fallback, and with two or more
// ok is false.
func takePlace(text string, fallback Place) (rest string, at Place, atFt *float64, ok bool) {
	arrows := arrowRE.FindAllStringSubmatchIndex(text, 2)
	found := placeRE.FindAllStringSubmatchIndex(text, 2)
	switch {
	case len(arrows)+len(found) > 1:
		return "", "", nil, false
	case len(arrows) == 1:
		ordinal := text[arrows[0][2]:arrows[0][3]]
		i := slices.IndexFunc(arrowBoards, func(a struct{ word, digit, board string }) bool {
			return a.word == ordinal || a.digit == ordinal
		})
		return text[:arrows[0][0]] + "board " + arrowBoards[i].board + text[arrows[0][1]:], Arrows, nil, true
	case len(found) == 0:
		return text, fallback, nil, true
	}
	match := found[0]
	rest = strings.TrimSpace(strings.TrimSpace(text[:match[0]]) + " " + strings.TrimLeft(text[match[1]:], " ,"))
	if match[4] >= 0 {
		return rest, "", value(text[match[4]:match[5]]), true
	}
	return rest, placeNamed(text[match[2]:match[3]]), nil, true
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
	rest, at, atFt, ok := takePlace(text, Breakpoint)
	if !ok {
		return Rule{}, false
	}
	r := Rule{Measure: Board, At: at, AtFt: atFt}
	if m := boardInsideRE.FindStringSubmatch(rest); m != nil {
		r.Min = value(m[1])
		return r, true
	}
	if m := boardOutsideRE.FindStringSubmatch(rest); m != nil {
		r.Max = value(m[1])
		return r, true
	}
	if m := atOrInsideRE.FindStringSubmatch(rest); m != nil {
		r.boundToward(m[1] == "inside", value(m[2]))
		return r, true
	}
	if m := boardBetweenRE.FindStringSubmatch(rest); m != nil {
		r.Min, r.Max = ordered(value(m[1]), value(m[2]))
		return r, true
	}
	for _, re := range []*regexp.Regexp{notBeyondRE, staysBeyondRE} {
		if m := re.FindStringSubmatch(rest); m != nil {
			r.boundToward(strings.HasPrefix(m[1], "out"), value(m[2])) // not outside 10 is 10 or inside
			return r, true
		}
	}
	// A bare number says nothing of a board.
	if m := boardExactRE.FindStringSubmatch(rest); m != nil && m[1] != "" {
		r.Min, r.Max = value(m[2]), value(m[2])
		return r, true
	}
	return Rule{}, false
}

func (r *Rule) boundToward(inside bool, bound *float64) {
	if inside {
		r.Min = bound
	} else {
		r.Max = bound
	}
}
