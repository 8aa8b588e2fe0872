package drill

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// MaxSentence is the longest sentence that is read, in bytes.
const MaxSentence = 10_000

// SentenceError is a sentence that could not be read as a rule: why, if that can be told, and
// sentences that can be read.
type SentenceError struct {
	Sentence string
	Hint     string // "" when nothing particular is wrong
	Examples []string
}

// Error says what is wrong and shows how a rule is written.
func (e *SentenceError) Error() string {
	sentence := e.Sentence
	if len(sentence) > 200 {
		sentence = strings.ToValidUTF8(sentence[:200], "") + "…"
	}
	message := fmt.Sprintf("cannot read %q as a rule", sentence)
	if e.Hint != "" {
		message += ": " + e.Hint
	}
	return message + ". Sentences that can be read: " + strings.Join(e.Examples, "; ")
}

// Parse reads one sentence as a rule: all that [Rule.Sentence] writes, and common ways of saying
// the same, without regard to case, spacing and a full stop, with or without a lead-in such as
// "Play inside:". Where a sentence names no place, a board is meant at the breakpoint, and a move
// of boards at the foul line. Balls are looked up in names, or given by id.
//
// The error is a [*SentenceError], or a [Faults] when the sentence was understood but its rule is
// not valid.
func Parse(sentence string, names BallNames) (Rule, error) {
	if len(sentence) > MaxSentence {
		return Rule{}, unreadable(
			sentence,
			fmt.Sprintf("a rule is one sentence, of at most %d characters", MaxSentence),
		)
	}
	written := strings.TrimRight(strings.Join(strings.Fields(sentence), " "), " .!;,")
	text := plain(written)
	rule, err := parsePlain(text, sentence)
	if err == nil {
		return checked(rule)
	}
	if list := ballSentenceRE.FindStringSubmatch(written); list != nil {
		balls, ballErr := parseBalls(list[1], names)
		if ballErr == nil {
			return checked(Rule{Measure: Ball, Balls: balls})
		}
		return Rule{}, unreadable(sentence, ballErr.Error())
	}
	return Rule{}, err
}

func checked(r Rule) (Rule, error) {
	if err := r.Validate(); err != nil {
		return Rule{}, err
	}
	return r, nil
}

// plain is a sentence in lower case with one way to write each sign.
func plain(written string) string {
	return strings.NewReplacer("–", "-", "—", "-", "−", "-", "’", "'", "°", " degrees").
		Replace(strings.ToLower(written))
}

// parsePlain reads every kind of sentence but the one on balls, whose names need their own case.
func parsePlain(text, sentence string) (Rule, error) {
	leaning := ""
	if lead := leadInRE.FindStringSubmatch(text); lead != nil {
		leaning, text = lead[1], text[len(lead[0]):]
	}
	for _, read := range []func(string) (Rule, bool){readLeave, readMove, readQuantity, readBoard} {
		rule, ok := read(text)
		if !ok {
			continue
		}
		if contradicts(leaning, rule) {
			return Rule{}, unreadable(
				sentence,
				"it first says "+leaning+" and then sets a bound on the other side only",
			)
		}
		return rule, nil
	}
	return Rule{}, unreadable(sentence, hint(text))
}

// contradicts reports whether a lead-in that says inside stands before a rule on the outside only,
// or the other way about.
func contradicts(leaning string, r Rule) bool {
	if r.Measure != Board {
		return false
	}
	switch leaning {
	case "inside", "in", "deep":
		return r.Min == nil
	case "outside", "out":
		return r.Max == nil
	}
	return false
}

func unreadable(sentence, hint string) error {
	return &SentenceError{Sentence: sentence, Hint: hint, Examples: Examples()}
}

// hint tells what may be wrong with a sentence that matched nothing.
func hint(text string) string {
	switch {
	case text == "":
		return "it is empty"
	case strings.Contains(text, `"`) || strings.Contains(text, "“"):
		return ""
	case insideOfRE.MatchString(text):
		return "it does not tell whether that board itself counts: write \"at board 10 or inside\", or \"at board 11 or inside\" to leave 10 out"
	case decimalCommaRE.MatchString(text):
		return "write decimals with a point, such as 10.5"
	case sideRE.MatchString(text):
		return "left and right depend on the hand: write inside or outside"
	case len(placeRE.FindAllString(text, 2)) > 1:
		return "it names two places: write one rule for each"
	case strings.Count(text, "keep ") > 1:
		return "it seems to hold more than one rule: write one sentence for each"
	}
	return ""
}

// The parts sentences are made of.
const (
	num  = `([-+]?\d{1,6}(?:\.\d{1,9})?)`
	verb = `(?:(?:please|just|always|only|try to|now) )*(?:(?:keep|play|stay|hold|put|roll|throw|get|hit|bowl|leave|cross) )?` +
		`(?:(?:the ball|your ball|it|the shot|your shot) )?`
	boardNum = `(?:boards? )?` + num
	unit     = `(?: ?(mph|rpm|degrees?|deg|boards?))?`
)

var (
	leadInRE = regexp.MustCompile(`^(?:please )?(?:play|stay|keep it|get|go)(?: (?:further|deeper|more|well))? ` +
		`(inside|outside|in|out|deep)(?: today| now| this game| this block)? ?[,:;-] ?`)
	ballSentenceRE = regexp.MustCompile(
		`(?i)^(?:please )?(?:use|throw|roll|play|bowl)(?: only)?(?: with)?(?: one of)?` +
			`(?: the)? balls?(?: only)? (.+)$`,
	)
	insideOfRE     = regexp.MustCompile(`\b(?:inside|outside)(?: of)? (?:boards? )?\d`)
	decimalCommaRE = regexp.MustCompile(`\d,\d`)
	sideRE         = regexp.MustCompile(`\b(?:left|right)\b`)
	// againstRE finds what a change is measured against.
	againstRE = regexp.MustCompile(
		` (?:from|of|against|than|compared to|compared with) (?:the )?(?:shot before|(?:previous|last|prior) (?:shot|ball|one))`,
	)
)

// value reads what num matched.
func value(text string) *float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil { // num matches nothing that is no number
		panic("drill: " + err.Error())
	}
	if v == 0 {
		v = 0 // a minus before a zero means nothing
	}
	return &v
}

// ordered returns two bounds with the lesser first.
func ordered(a, b *float64) (low, high *float64) {
	if *a > *b {
		return b, a
	}
	return a, b
}

func negative(v *float64) *float64 {
	n := 0 - *v
	return &n
}
