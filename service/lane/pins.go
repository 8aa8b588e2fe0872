package lane

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/bits"
	"regexp"
	"strconv"
	"strings"
)

// PinSet is a set of standing pins: bit n-1 is pin n. In the zero value no pin is standing.
type PinSet uint16

// FullRack is all ten pins.
const FullRack PinSet = 1<<10 - 1

// Pins builds a set from pin numbers 1 to 10. The error names every number outside them or named
// twice.
func Pins(numbers ...int) (PinSet, error) {
	var set PinSet
	var wrong []string
	for _, n := range numbers {
		switch {
		case n < 1 || n > 10:
			wrong = append(wrong, fmt.Sprintf("there is no pin %d: pins are numbered 1 to 10", n))
		case set.Has(n):
			wrong = append(wrong, fmt.Sprintf("pin %d is named twice", n))
		default:
			set |= 1 << (n - 1)
		}
	}
	if wrong != nil {
		return 0, errors.New(strings.Join(wrong, "; "))
	}
	return set, nil
}

// Has reports whether pin n is standing.
func (p PinSet) Has(n int) bool { return n >= 1 && n <= 10 && p&(1<<(n-1)) != 0 }

// Count returns how many pins are standing.
func (p PinSet) Count() int { return bits.OnesCount16(uint16(p)) }

// Strike reports whether no pin is standing.
func (p PinSet) Strike() bool { return p == 0 }

// Numbers returns the standing pins in ascending order, never nil.
func (p PinSet) Numbers() []int {
	numbers := make([]int, 0, p.Count())
	for n := 1; n <= 10; n++ {
		if p.Has(n) {
			numbers = append(numbers, n)
		}
	}
	return numbers
}

// String writes the set as the pin numbers joined by hyphens, "7-10", or "strike" for the empty
// set.
func (p PinSet) String() string {
	if p.Strike() {
		return "strike"
	}
	parts := make([]string, 0, p.Count())
	for _, n := range p.Numbers() {
		parts = append(parts, strconv.Itoa(n))
	}
	return strings.Join(parts, "-")
}

// pinWords are the sets that have a word of their own, in any case.
var pinWords = map[string]PinSet{"strike": 0, "x": 0, "none": 0, "all": FullRack}

var (
	// betweenPins is a hyphen with or without spaces, or spaces alone.
	betweenPins = regexp.MustCompile(`\s*-\s*|\s+`)
	// dateOfPins matches what spreadsheets make of 7-10: 10-Jul, 07.Okt, Oct-7, 7/10/2026.
	dateOfPins = regexp.MustCompile(`^\d{1,4}[-. ]\pL{3,}|^\pL{3,}[-. ]\d|^\d{1,4}[./]\d`)
)

// ParsePins reads the standing pins as a person writes them: numbers joined by hyphens or spaces
// (7-10, 7 10), strike, x or none when no pin is standing, all for a full rack. It reads what
// [PinSet.String] writes. The error says everything that is wrong with the text.
func ParsePins(text string) (PinSet, error) {
	text = strings.TrimSpace(text)
	if set, known := pinWords[strings.ToLower(text)]; known {
		return set, nil
	}
	switch {
	case dateOfPins.MatchString(text):
		return 0, fmt.Errorf("%s looks like a date that a spreadsheet made of the pins: write the pins with blanks, "+
			"such as 7 10, or format the column as text", shown(text))
	case text == "0":
		return 0, errors.New(`"0" does not name the pins that stand: write strike when none does`)
	}
	var numbers []int
	for _, part := range betweenPins.Split(text, -1) {
		n, err := strconv.Atoi(part)
		if err != nil {
			return 0, fmt.Errorf("%s is not a list of pins: write the pins that stand, such as 7-10, or strike",
				shown(text))
		}
		numbers = append(numbers, n)
	}
	return Pins(numbers...)
}

// shown is a text as a sentence quotes it, cut to what can be read at a glance.
func shown(text string) string {
	const most = 40
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:most]) + "…"
	}
	return strconv.Quote(text)
}

// Mirror returns the leave as a player of the other side sees it: 7 and 10, 4 and 6, 2 and 3, 8 and
// 9 change places.
func (p PinSet) Mirror() PinSet {
	mirror := [11]int{0, 1, 3, 2, 6, 5, 4, 10, 9, 8, 7}
	var set PinSet
	for n := 1; n <= 10; n++ {
		if p.Has(n) {
			set |= 1 << (mirror[n] - 1)
		}
	}
	return set
}

// MarshalJSON writes the pin numbers as an array; a strike is [].
func (p PinSet) MarshalJSON() ([]byte, error) { return json.Marshal(p.Numbers()) }

// UnmarshalJSON reads an array of pin numbers.
func (p *PinSet) UnmarshalJSON(data []byte) error {
	var numbers []int
	if err := json.Unmarshal(data, &numbers); err != nil {
		return fmt.Errorf("standing pins are an array of pin numbers: %w", err)
	}
	set, err := Pins(numbers...)
	if err != nil {
		return err
	}
	*p = set
	return nil
}

// PinPosition returns where pin n's spot lies: board counted from the right gutter, and feet from
// the foul line. It panics when n is not 1 to 10. Source: pins on a 12 in equilateral triangle,
// head pin at board 20, 60 ft.
func PinPosition(n int) (x, ft float64) {
	if n < 1 || n > 10 {
		panic(fmt.Sprintf("lane: there is no pin %d", n))
	}
	row, place := 0, n-1
	for place > row {
		place -= row + 1
		row++
	}
	pitchIn := PinSpacingIn * math.Sqrt(3) / 2
	rightIn := (float64(place) - float64(row)/2) * PinSpacingIn
	return CentreBoard - rightIn/BoardWidthIn, LengthFt + float64(row)*pitchIn/12
}
