package drill

import (
	"regexp"
	"slices"
	"strings"

	"laneward/service/lane"
)

var (
	// Numbers after the first of these cannot be boards; after the second they have to be called
	// pins.
	leaveRE = regexp.MustCompile(
		`^(?:please )?(?:(?:do not|don't|dont|never) leave|avoid leaving|leave no|(avoid|no)) (.+)$`,
	)

	leaveJoinRE  = regexp.MustCompile(`,? (or|nor|and) |(,) ?`)
	leaveItemRE  = regexp.MustCompile(`^(?:(?:the|a|an|any) )?(\d{1,2}(?: ?- ?\d{1,2})*)([ -]pins?)?( splits?)?$`)
	leftHandedRE = regexp.MustCompile(`^(.+) \(left-handed: (.+)\)$`)

	splitRE = regexp.MustCompile(
		`^(?:please )?(?:(?:do not|don't|dont|never) leave(?: a| any)?|leave no|avoid(?: leaving)?(?: a| any| all)?|no) splits?$`,
	)
)

// readSplit reads that no split is to be left.
func readSplit(text string) (Rule, bool) { return Rule{Measure: Split}, splitRE.MatchString(text) }

// readLeave reads the leaves that are not wanted, a right-hander's; a left-hander's may come after
// them, and have to be their mirror image.
func readLeave(text string) (Rule, bool) {
	m := leaveRE.FindStringSubmatch(text)
	if m == nil {
		return Rule{}, false
	}
	list, other := m[2], ""
	if sides := leftHandedRE.FindStringSubmatch(list); sides != nil {
		list, other = sides[1], sides[2]
	}
	leaves, ok := readPins(list, m[1] != "")
	if !ok {
		return Rule{}, false
	}
	r := Rule{Measure: Leave, Leaves: leaves}
	if other == "" {
		return r, true
	}
	mirrored, ok := readPins(other, false)
	return r, ok && slices.Equal(mirrored, r.Mirror().Leaves)
}

// readPins reads a list of leaves. Two single pins joined by "and" may be one leave or two, and are
// not read; with sure, each has to be called a pin or a split.
func readPins(list string, sure bool) (leaves []lane.PinSet, ok bool) {
	singles := 0
	for _, item := range leaveJoinRE.Split(list, -1) {
		match := leaveItemRE.FindStringSubmatch(item)
		if match == nil || sure && match[2]+match[3] == "" {
			return nil, false
		}
		leave, err := lane.ParsePins(match[1])
		if err != nil {
			return nil, false
		}
		if leave.Count() == 1 {
			singles++
			if match[3] != "" { // one pin is not a split
				return nil, false
			}
		}
		leaves = append(leaves, leave)
	}
	joined := false
	for _, join := range leaveJoinRE.FindAllStringSubmatch(list, -1) {
		joined = joined || strings.Contains(join[0], "and")
	}
	return leaves, !joined || singles < 2
}
