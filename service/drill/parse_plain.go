package drill

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// plain is a sentence in lower case with one way to write each sign, number and unit.
func plain(written string) string {
	text := strings.NewReplacer("–", "-", "—", "-", "−", "-", "’", "'", "°", " degrees", "±", " +- ", "+/-", " +- ", "½", ".5").
		Replace(strings.ToLower(written))
	text = numberWords(text)
	for _, r := range spellings {
		text = r.re.ReplaceAllString(text, r.with)
	}
	return strings.Join(strings.Fields(text), " ")
}

type spelling struct {
	re   *regexp.Regexp
	with string
}

// spellings normalise the ways of writing one thing.
var spellings = []spelling{
	{regexp.MustCompile(`\b(?:plus or minus|plus/minus|plus-minus|give or take)\b`), "+-"},
	{regexp.MustCompile(`\b(?:miles (?:per|an) hour|mi/h|mp/h)`), "mph"},
	{regexp.MustCompile(`\b(?:kilomet(?:er|re)s? (?:per|an) hour|km/h|kmph|kph|km an hour)`), "kmh"},
	{regexp.MustCompile(`(\d)(?:kmh)\b`), "$1 kmh"},
	{regexp.MustCompile(`(\d)(?:mph)\b`), "$1 mph"},
	{regexp.MustCompile(`(\d) ?(?:met(?:er|re)s?|m)\b`), "$1 m"},
	{regexp.MustCompile(`(\d) ?(?:feet|foot|ft)\b\.?`), "$1 ft"},
	{regexp.MustCompile(`(\d)'( |$|,)`), "$1 ft$2"},
	{regexp.MustCompile(`\brevolutions (?:per|a) minute\b`), "rpm"},
	{regexp.MustCompile(`\bthe (\d+(?:\.\d+)?) board\b`), "board $1"},
	{regexp.MustCompile(`\bcentre\b`), "center"},
	{regexp.MustCompile(`\bbreak(?:-| )point\b`), "breakpoint"},
	{regexp.MustCompile(`\bhead(?:-| )?pin\b`), "head pin"},
}

var small = []string{
	"zero",
	"one",
	"two",
	"three",
	"four",
	"five",
	"six",
	"seven",
	"eight",
	"nine",
	"ten",
	"eleven",
	"twelve",
	"thirteen",
	"fourteen",
	"fifteen",
	"sixteen",
	"seventeen",
	"eighteen",
	"nineteen",
}

var tens = []string{"twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}

var (
	wordRE = regexp.MustCompile(`[a-z]+|\d+(?:\.\d+)?|[^a-z\d]+`)
	// onlyNumber is what a "one" has to be next to to be a number.
	afterOne = regexp.MustCompile(
		`^ (?:boards?|mph|miles?|km|kmh|kph|kilomet|degrees?|deg|rpm|ft|foot|feet|met(?:er|re)|and a half|hundred)\b`,
	)
	beforeOne   = regexp.MustCompile(`(?:boards?|\+-|take|minus|by|pin) $`)
	halfRE      = regexp.MustCompile(`\b(\d+) and (?:a|one) half\b|\b(\d+)\.5 ?half\b`)
	halfAloneRE = regexp.MustCompile(`\bhalf(?: (?:a|an|one))?\b`)
)

// numberWords writes numbers in words, up to 999, as digits.
func numberWords(text string) string {
	parts := wordRE.FindAllString(text, -1)
	var b strings.Builder
	for i := 0; i < len(parts); {
		number, used := numberAt(parts[i:])
		if used == 1 && parts[i] == "one" &&
			!afterOne.MatchString(strings.Join(parts[i+1:], "")) && !beforeOne.MatchString(b.String()) {
			used = 0
		}
		if used == 0 {
			b.WriteString(parts[i])
			i++
			continue
		}
		b.WriteString(strconv.Itoa(number))
		i += used
	}
	text = halfRE.ReplaceAllString(b.String(), "$1.5")
	return halfAloneRE.ReplaceAllString(text, "0.5")
}

// numberAt reads a number in words at the beginning of the parts; used is how many it takes, 0 for
// none.
func numberAt(parts []string) (number, used int) {
	below := func(at int) (int, int) {
		if at >= len(parts) {
			return 0, 0
		}
		for i, word := range tens {
			if parts[at] != word {
				continue
			}
			if at+2 < len(parts) && (parts[at+1] == "-" || parts[at+1] == " ") {
				for digit := 1; digit <= 9; digit++ {
					if parts[at+2] == small[digit] {
						return 20 + 10*i + digit, 3
					}
				}
			}
			return 20 + 10*i, 1
		}
		for i, word := range small {
			if parts[at] == word {
				return i, 1
			}
		}
		return 0, 0
	}
	number, used = below(0)
	if used != 1 || number < 1 || number > 9 || len(parts) < 3 || parts[1] != " " || parts[2] != "hundred" {
		return number, used
	}
	number, used = 100*number, 3
	at := used + 1
	if at+1 < len(parts) && parts[at] == "and" {
		at += 2
	}
	if rest, more := below(at); more > 0 {
		return number + rest, at + more
	}
	return number, used
}

// What a km/h and a metre are in mph and feet (exact: a mile is 1609.344 m, a foot 0.3048 m).
const (
	mphPerKmh = 1 / 1.609344
	ftPerM    = 1 / 0.3048
)

var (
	numberRE = regexp.MustCompile(`\d+(?:\.\d+)?`)
	metresRE = regexp.MustCompile(
		`(?:(\d+(?:\.\d+)?)( (?:to|and|-|\+-) |-))?(\d+(?:\.\d+)?) m\b(?: (of) (\d+(?:\.\d+)?)(?: m\b)?)?`,
	)
)

// metric turns km/h into mph, all numbers of a sentence on speed being speeds, and metres into
// feet.
func metric(text string) (changed, why string) {
	if strings.Contains(text, "kmh") {
		if strings.Contains(text, "mph") {
			return text, "it is in mph and km/h: write one of the two"
		}
		text = numberRE.ReplaceAllStringFunc(text, func(n string) string { return converted(n, mphPerKmh) })
		text = strings.ReplaceAll(text, "kmh", "mph")
	}
	return metresRE.ReplaceAllStringFunc(text, func(all string) string {
		m := metresRE.FindStringSubmatch(all)
		out := ""
		if m[1] != "" {
			out = converted(m[1], ftPerM) + m[2]
		}
		out += converted(m[3], ftPerM) + " ft"
		if m[4] != "" {
			out += " of " + converted(m[5], ftPerM) + " ft"
		}
		return out
	}), ""
}

func converted(text string, factor float64) string {
	return number(decimals(*value(text)*factor, 2))
}

// decimals rounds to so many decimals.
func decimals(value float64, places int) float64 {
	scale := math.Pow10(places)
	return math.Round(value*scale) / scale
}
