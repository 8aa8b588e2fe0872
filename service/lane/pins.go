package lane

import (
	"encoding/json"
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// PinSet is a set of standing pins: bit n-1 is pin n. The zero value is no pin standing.
type PinSet uint16

// FullRack is all ten pins.
const FullRack PinSet = 1<<10 - 1

// Pins builds a set from pin numbers 1 to 10; a number outside them or named twice is an error.
func Pins(numbers ...int) (PinSet, error) {
	var set PinSet
	for _, n := range numbers {
		if n < 1 || n > 10 {
			return 0, fmt.Errorf("there is no pin %d: pins are numbered 1 to 10", n)
		}
		bit := PinSet(1) << (n - 1)
		if set&bit != 0 {
			return 0, fmt.Errorf("pin %d is named twice", n)
		}
		set |= bit
	}
	return set, nil
}

// Has reports whether pin n stands.
func (p PinSet) Has(n int) bool { return n >= 1 && n <= 10 && p&(1<<(n-1)) != 0 }

// Count returns how many pins stand.
func (p PinSet) Count() int { return bits.OnesCount16(uint16(p)) }

// Strike reports whether no pin stands.
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

// ParsePins reads what [PinSet.String] writes.
func ParsePins(text string) (PinSet, error) {
	if strings.EqualFold(strings.TrimSpace(text), "strike") {
		return 0, nil
	}
	var numbers []int
	for part := range strings.SplitSeq(text, "-") {
		n, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil {
			return 0, fmt.Errorf(
				"%q is not a list of pins: join the standing pins with hyphens, such as 7-10, or write strike",
				text,
			)
		}
		numbers = append(numbers, n)
	}
	return Pins(numbers...)
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
