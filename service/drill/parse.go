package drill

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// MaxSentence is the longest sentence that is read, in bytes.
const MaxSentence = 10_000

// Reading is what a sentence was read as.
type Reading struct {
	Rules []Rule // one, or two for a sentence that names two places
	// Reps and PassShare are how many shots the sentence asks for, and the share of them that
	// should be kept; 0 where it does not say.
	Reps      int
	PassShare float64
}

// Sentences writes the rules back, in their order.
func (r Reading) Sentences(names BallNames) []string {
	written := make([]string, len(r.Rules))
	for i, rule := range r.Rules {
		written[i] = rule.Sentence(names)
	}
	return written
}

// SentenceError is a sentence that could not be read as a rule: why, if that is known, and
// a few like it that can be read.
type SentenceError struct {
	Sentence string
	Hint     string // "" when nothing particular is wrong
	Examples []string
}

// Error says what is wrong and shows how a rule is written.
func (e *SentenceError) Error() string { return e.Reason() + " Try: " + strings.Join(e.Examples, "; ") }

// Reason says what is wrong, without the examples.
func (e *SentenceError) Reason() string {
	sentence := e.Sentence
	if len(sentence) > 200 {
		sentence = strings.ToValidUTF8(sentence[:200], "") + "…"
	}
	message := fmt.Sprintf("%q isn't a rule I know", sentence)
	if e.Hint != "" {
		message += ": " + e.Hint
	}
	if strings.HasSuffix(message, "?") {
		return message
	}
	return message + "."
}

// Read reads one sentence as rules: all that [Rule.Sentence] writes, and common ways of saying the
// same, without regard to case, spacing and a full stop, with or without a lead-in such as "Play
// inside:". What can be meant in two ways is refused, with both. Where a sentence says "10 or
// inside" or "boards 8 to 12" and names no place, the breakpoint is meant, and for a move of boards
// the foul line. A sentence that sets the board at two places, or at the breakpoint and how far
// down the lane that lies, is read as two rules. Speeds in km/h and distances in metres are turned
// into mph and feet, to two decimals. Balls are looked up in names, or given by id.
//
// The error is a [*SentenceError], or a [Faults] when the sentence was understood but its rule is
// not valid.
func Read(sentence string, names BallNames) (Reading, error) {
	if len(sentence) > MaxSentence {
		return Reading{}, unreadable(
			sentence,
			fmt.Sprintf("a rule is one sentence, of at most %d characters", MaxSentence),
		)
	}
	written := strings.TrimRight(strings.Join(strings.Fields(sentence), " "), " .!;,")
	text := plain(written)
	reading, why := readPlain(text)
	if why == "" {
		return reading, reading.check()
	}
	if list := ballSentenceRE.FindStringSubmatch(written); list != nil {
		balls, err := parseBalls(list[1], names)
		if err == nil {
			reading := Reading{Rules: []Rule{{Measure: Ball, Balls: balls}}}
			return reading, reading.check()
		}
		if why == noReason {
			why = err.Error()
		}
	}
	return Reading{}, unreadable(sentence, strings.TrimPrefix(why, noReason))
}

func (r Reading) check() error {
	for _, rule := range r.Rules {
		if err := rule.Validate(); err != nil {
			return err
		}
	}
	if len(r.Rules) == 2 && r.Rules[1].clashes(r.Rules[0]) {
		return Faults{{Detail: "no shot can keep both: change one of the two boards"}}
	}
	return nil
}

// noReason is the reason of a sentence that matched nothing, with nothing particular wrong.
const noReason = "\x00"

// readPlain reads every kind of sentence but the one on balls, whose names need their own case. why
// is "" when it was read.
func readPlain(text string) (reading Reading, why string) {
	rest, reading, err := takeQuota(text)
	if err != "" {
		return reading, err
	}
	if rest != text {
		rules, why := readRules(rest)
		reading.Rules = rules
		if why == "" {
			return reading, ""
		}
	}
	rules, why := readRules(text)
	return Reading{Rules: rules}, why
}

func readRules(text string) (rules []Rule, why string) {
	leaning := ""
	if lead := leadInRE.FindStringSubmatch(text); lead != nil {
		leaning, text = lead[1], text[len(lead[0]):]
	}
	text, why = metric(text)
	if why != "" {
		return nil, why
	}
	if why := ambiguous(text); why != "" {
		return nil, why
	}
	for _, read := range []func(string) ([]Rule, bool){
		one(readSplit), one(readLeave), one(readPocket), one(readMove), one(readDistance),
		one(readQuantity), one(readBoard), readTwo,
	} {
		rules, ok := read(text)
		if !ok {
			continue
		}
		if contradicts(leaning, rules[0]) {
			return nil, "it first says " + leaning + " and then sets a bound on the other side only"
		}
		return rules, ""
	}
	if why := hint(text); why != "" {
		return nil, why
	}
	return nil, noReason
}

func one(read func(string) (Rule, bool)) func(string) ([]Rule, bool) {
	return func(text string) ([]Rule, bool) {
		rule, ok := read(text)
		return []Rule{rule}, ok
	}
}

// contradicts reports whether a lead-in that says inside comes before a rule on the outside only,
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
	return &SentenceError{Sentence: sentence, Hint: hint, Examples: nearest(plain(sentence[:min(len(sentence), 200)]))}
}

// The parts sentences are made of.
const (
	num  = `([-+]?\d{1,6}(?:\.\d{1,9})?)`
	verb = `(?:(?:please|just|always|only|try to|now) )*(?:(?:keep|play|stay|hold|put|roll|throw|get|hit|bowl|cross|be|send) )?` +
		`(?:(?:the ball|your ball|ball|it|the shot|your shot|every ball|every shot|each shot|each ball) )?`
	boardNum = `(?:boards? )?` + num
	unit     = `(?: ?(mph|rpm|degrees?|deg|boards?|ft))?`
)

var (
	leadInRE = regexp.MustCompile(`^(?:please )?(?:play|stay|keep it|get|go)(?: (?:further|deeper|more|well))? ` +
		`(inside|outside|in|out|deep)(?: today| now| this game| this block)? ?[,:;-] ?`)
	ballSentenceRE = regexp.MustCompile(
		`(?i)^(?:please )?(?:use|throw|roll|play|bowl)(?: only)?(?: with)?(?: one of)?` +
			`(?: the)? balls?(?: only)? (.+)$`,
	)
	// againstRE finds what a change is measured against.
	againstRE = regexp.MustCompile(
		` (?:from|of|against|than|compared to|compared with) (?:the )?(?:shot before|(?:previous|last|prior) (?:shot|ball|one))`,
	)
)

// The ways of saying how many shots should be kept, at either end of a sentence.
var (
	quotaEndRE = regexp.MustCompile(
		`[,;]? ?(?:(?:on|in|for) )?(?:at least )?(\d{1,4}) (?:out )?of (?:the |every |your )?(\d{1,4})` +
			`(?: shots?| balls?| times| throws)?$`,
	)
	quotaStartRE = regexp.MustCompile(
		`^(?:(?:keep|get|put|throw|roll) )?(?:at least )?(\d{1,4}) (?:out )?of (?:the |every |your )?(\d{1,4})` +
			`(?: shots?| balls?| times| throws)? `,
	)
	shareEndRE = regexp.MustCompile(`[,;]? ?(?:(?:on|in|for) )?(?:at least )?(\d{1,3}) ?(?:%|percent|per cent)` +
		`(?: of (?:the |your )?(?:time|shots|balls))?$`)
	shotsEndRE = regexp.MustCompile(`(?:[,;] ?| for | over )(?:for )?(\d{1,4}) (?:shots|balls|throws)$`)
)

// takeQuota splits off how many shots a sentence asks for; rest is the sentence itself when it does
// not say.
func takeQuota(text string) (rest string, r Reading, why string) {
	rest = text
	share, kept := "", ""
	for range 2 {
		if m := quotaEndRE.FindStringSubmatchIndex(rest); m != nil {
			kept, share = rest[m[2]:m[3]], rest[m[4]:m[5]]
			rest = rest[:m[0]]
		} else if m := quotaStartRE.FindStringSubmatchIndex(rest); m != nil {
			kept, share = rest[m[2]:m[3]], rest[m[4]:m[5]]
			rest = rest[m[1]:]
		} else if m := shareEndRE.FindStringSubmatchIndex(rest); m != nil {
			r.PassShare = *value(rest[m[2]:m[3]]) / 100
			rest = rest[:m[0]]
		} else if m := shotsEndRE.FindStringSubmatchIndex(rest); m != nil {
			r.Reps = int(*value(rest[m[2]:m[3]]))
			rest = rest[:m[0]]
		}
	}
	if kept != "" {
		of := *value(share)
		r.Reps, r.PassShare = int(of), *value(kept)/of
	}
	asked := Drill{Rules: make([]Rule, 1), Reps: max(1, r.Reps), PassShare: r.PassShare}
	if r.PassShare == 0 {
		asked.PassShare = 1
	}
	if rest != text && (asked.Reps > MaxReps || asked.PassShare < MinPassShare || !(asked.PassShare <= 1)) {
		return text, Reading{}, fmt.Sprintf(
			"ask for 1 to %d shots, and for %v %% to 100 %% of them",
			MaxReps,
			100*MinPassShare,
		)
	}
	return rest, r, ""
}

// value reads what num matched.
func value(text string) *float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil { // num matches only numbers
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

// about returns the bounds that lie so far either side of a number.
func about(middle, off *float64) (low, high *float64) {
	a, b := decimals(*middle-*off, MaxDecimals), decimals(*middle+*off, MaxDecimals)
	return ordered(&a, &b)
}

func negative(v *float64) *float64 {
	n := 0 - *v
	return &n
}
