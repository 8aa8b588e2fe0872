// Package tenpin holds what the game itself says, whoever plays it: which leaves are splits and
// which a washout, how hard they are to convert, and what a ball that arrives at the pins is worth.
//
// Pin numbers are the rack's own, 1 to 10. What depends on the hand (groups of leaves, chances of
// leaves) is stated for a right-hander; [lane.PinSet.Mirror] turns a left-hander's leave into the
// one that a right-hander would have left.
package tenpin

import (
	"math/bits"

	"laneward/service/lane"
)

// neighbours are the pins that stand 12 in from each pin, and tandems the pins that stand straight
// behind one another, so that a ball which takes the front one takes both: 1-5, 2-8, 3-9.
var (
	neighbours = [11]lane.PinSet{
		1: pins(2, 3), 2: pins(1, 3, 4, 5), 3: pins(1, 2, 5, 6), 4: pins(2, 5, 7, 8), 5: pins(2, 3, 4, 6, 8, 9),
		6: pins(3, 5, 9, 10), 7: pins(4, 8), 8: pins(4, 5, 7, 9), 9: pins(5, 6, 8, 10), 10: pins(6, 9),
	}
	tandems = [11]lane.PinSet{1: pins(5), 2: pins(8), 3: pins(9), 5: pins(1), 8: pins(2), 9: pins(3)}
	// sideBySide are the neighbours of one row, each with the pin immediately in front of both.
	sideBySide = []struct{ pair, front lane.PinSet }{
		{pins(2, 3), pins(1)},
		{pins(4, 5), pins(2)},
		{pins(5, 6), pins(3)},
		{pins(7, 8), pins(4)},
		{pins(8, 9), pins(5)},
		{pins(9, 10), pins(6)},
	}
)

func pins(numbers ...int) lane.PinSet {
	var set lane.PinSet
	for _, n := range numbers {
		set |= 1 << (n - 1)
	}
	return set
}

// Split reports whether the pins left by a first ball are a split: the head pin is down, and a pin
// is down between standing ones (7-9, 3-10) or immediately in front of two (5-6). Source: rule book
// of the United States federation, 2h, from memory. Pins one behind the other (2-8, 3-9) have none
// down between them.
func Split(leave lane.PinSet) bool {
	if leave.Strike() || leave.Has(1) {
		return false
	}
	for _, s := range sideBySide {
		if leave&s.pair == s.pair && leave&s.front == 0 {
			return true
		}
	}
	return parted(leave)
}

// Washout reports whether the head pin is standing with a group of pins apart from it, such as
// 1-2-10: trade usage (playterms.com, and memory), not a rule. It is not a split.
func Washout(leave lane.PinSet) bool { return leave.Has(1) && parted(leave) }

// parted reports whether the standing pins are in groups with a gap between them.
func parted(leave lane.PinSet) bool {
	reached := leave & -leave // the first pin
	for {
		next := reached
		for left := reached; left != 0; left &= left - 1 {
			n := bits.TrailingZeros16(uint16(left)) + 1
			next |= (neighbours[n] | tandems[n]) & leave
		}
		if next == reached {
			return reached != leave
		}
		reached = next
	}
}

// Name writes a leave as a player says it: "strike", "10 pin", "7-10 split", "1-2-10 washout",
// "full rack", otherwise the numbers.
func Name(leave lane.PinSet) string {
	switch {
	case leave == lane.FullRack:
		return "full rack"
	case leave.Count() == 1:
		return leave.String() + " pin"
	case Split(leave):
		return leave.String() + " split"
	case Washout(leave):
		return leave.String() + " washout"
	}
	return leave.String()
}

// Group is one of seven kinds of leaves, by what each says about the hit that left it.
type Group string

// The groups, for a right-hander; every leave is in exactly one. Common practice, no source.
const (
	// GroupCorner is a single 7, 8 or 10: a good hit that did not carry.
	GroupCorner Group = "corner"
	// GroupLight has the head pin down and no split; the 2 or the 5 stands and neither 3 nor 6: 5,
	// 2-8, 2-4-5-8.
	GroupLight Group = "light"
	// GroupHigh has the head pin down and no split; 2 and 5 are down: 4, 9, 6-10, 3-6-10.
	GroupHigh Group = "high"
	// GroupSplit is a split by the rule book.
	GroupSplit Group = "split"
	// GroupHeadOutside has the head pin and the 2 standing and the 3 down: the ball passed outside.
	GroupHeadOutside Group = "head_outside"
	// GroupHeadInside has the head pin and the 3 standing and the 2 down: the ball passed inside.
	GroupHeadInside Group = "head_inside"
	// GroupOther is the full rack and everything else.
	GroupOther Group = "other"
)

// Groups are all groups in the order in which tables show them.
func Groups() []Group {
	return []Group{
		GroupCorner,
		GroupLight,
		GroupHigh,
		GroupSplit,
		GroupHeadOutside,
		GroupHeadInside,
		GroupOther,
	}
}

// GroupOf returns the group of a right-hander's leave; ok is false for a strike, which leaves
// nothing.
func GroupOf(leave lane.PinSet) (group Group, ok bool) {
	two, three := leave.Has(2), leave.Has(3)
	switch {
	case leave.Strike():
		return "", false
	case leave == pins(7) || leave == pins(8) || leave == pins(10):
		return GroupCorner, true
	case Split(leave):
		return GroupSplit, true
	case leave.Has(1) && two && !three:
		return GroupHeadOutside, true
	case leave.Has(1) && three && !two:
		return GroupHeadInside, true
	case leave.Has(1):
		return GroupOther, true
	case (two || leave.Has(5)) && !three && !leave.Has(6):
		return GroupLight, true
	case !two && !leave.Has(5):
		return GroupHigh, true
	}
	return GroupOther, true
}
