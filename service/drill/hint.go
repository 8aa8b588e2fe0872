package drill

import (
	"fmt"
	"regexp"
	"strings"
)

// Sentences that are refused because they are ambiguous, and their two meanings.
var (
	bareRE = regexp.MustCompile(
		`^(?:please )?(?:(?:throw|bowl|hold|keep|play|roll|stay|hit|cross|use) )?(?:it |the ball )?(?:at |on |over |around )?` + num + `$`,
	)
	exactRE = regexp.MustCompile(`\bboard ` + num + `$`)
	toRE    = regexp.MustCompile(
		`^(?:(?:throw|bowl|hold|keep|play|roll|stay|leave|go|put|send) )?(?:it |the ball )?(?:from )?` + num + ` ?(?:to|through|-|and|out to) ?` + num + `$`,
	)
	exactPointRE = regexp.MustCompile(`(?:\bboard|\bon|\bat|\bover) \d+\.\d+(?: at the .*)?$|\bat the [a-z ]+:? \d+\.\d+$`)
	exactFtRE    = regexp.MustCompile(`\bbreakpoint\b.*\b` + num + ` ft$`)
	betweenN     = regexp.MustCompile(`\bbetween ` + num + ` and ` + num + `$`)
	avoidRE      = regexp.MustCompile(`^(?:avoid|no|never|not)(?: the| board| at| on)? (\d+(?:-\d+)*)$`)
	bothPinsRE   = regexp.MustCompile(
		`^(?:please )?(?:do not|don't|dont|never|avoid|leave no)(?: leave| leaving)? (?:the |a )?(\d{1,2})(?: pin)? and (?:the |a )?(\d{1,2})(?: pin)?$`,
	)
	leaveWant = regexp.MustCompile(`^(?:please )?leave (?:the |a )?\d`)
	bpRE      = regexp.MustCompile(
		`\bbreakpoint (?:is |be )?(?:at |between |from |around )?` + num + `(?: ?(?:and|to|-) ?` + num + `)?$|\b\d+ (?:and|to|-) \d+ at the breakpoint$`,
	)
	entryRE = regexp.MustCompile(
		`\bentry (?:is |be )?(?:at |between |from )?` + num + `(?: ?(?:and|to|-) ?` + num + `)?$`,
	)
	speedRE = regexp.MustCompile(
		`(?:\bspeed\b.* |\b(?:faster|slower) than )` + num + `(?: or (?:more|less|above|below))?$`,
	)
	exactNum = regexp.MustCompile(
		`^(?:(?:please|keep|hold|throw|have) )*(?:it |the ball |the |your )?(?:(?:ball )?speed |rev rate |revs |axis |rotation |tilt |launch angle |entry angle )*(?:at |of )?` + num + ` ?(mph|rpm|degrees)?$`,
	)
	changeRE = regexp.MustCompile(
		`^(?:please )?(?:move|change)(?: it| over)? ` + num + `(?: boards?)? (?:up|down|more|less)$`,
	)

	insideOfRE = regexp.MustCompile(
		`\b(inside|outside|in|out|deeper|wider)(?: of| than)? (?:boards? )?(\d+(?:\.\d+)?)\b`,
	)
	decimalCommaRE = regexp.MustCompile(`\d,\d`)
	sideRE         = regexp.MustCompile(`\b(?:left|right)\b`)
	feetRE         = regexp.MustCompile(`\b(?:slide|feet|stand|foot)\b`)
	throughFtRE    = regexp.MustCompile(`\b(?:through|until|till|up to|by|before|from) \d+(?:\.\d+)? ft\b`)
	secondOfArrows = regexp.MustCompile(`\barrow \d`)
)

// ambiguous says in which ways a sentence can be meant, before it is read; "" when there is only
// one.
func ambiguous(text string) string {
	switch {
	case bothPinsRE.MatchString(text):
		m := bothPinsRE.FindStringSubmatch(text)
		return fmt.Sprintf(
			`is it either pin, "do not leave the %s or the %s", or the two together, "do not leave the %s-%s"?`,
			m[1],
			m[2],
			m[1],
			m[2],
		)
	case throughFtRE.MatchString(text) && !fromFtRE.MatchString(text) && !strings.Contains(text, "breakpoint"):
		return `say whether it holds at that distance, "at 40 ft", or from there to the pins, "past 40 ft"`
	}
	return ""
}

// hint says what may be wrong with a sentence that matched nothing, "" when nothing particular is.
// It never offers a reading on the other side of the one that was written.
func hint(text string) string {
	switch {
	case text == "":
		return "it is empty"
	case strings.Contains(text, `"`) || strings.Contains(text, "“"):
		return ""
	case strings.Count(text, "keep ") > 1:
		return "it seems to hold more than one rule: write one sentence for each"
	case decimalCommaRE.MatchString(text):
		return "write decimals with a point, such as 10.5"
	case sideRE.MatchString(text):
		return "left and right depend on the hand: write inside or outside"
	case bareRE.MatchString(text):
		n := bareRE.FindStringSubmatch(text)[1]
		return fmt.Sprintf(`is it a board, "board %s at the arrows", or a speed, "at least %s mph"?`, n, n)
	case leaveWant.MatchString(text):
		return `a rule names what should not be left, such as "do not leave the 7-10"; for boards write "between boards 7 and 10 at the breakpoint"`
	case avoidRE.MatchString(text):
		n := avoidRE.FindStringSubmatch(text)[1]
		return fmt.Sprintf(
			`is it a pin, "do not leave the %s", or a board? Of a board say on which side of it the ball should stay`,
			n,
		)
	case exactFtRE.MatchString(text):
		return `no ball breaks at exactly that distance: write "breakpoint between 43 and 46 ft"`
	case bpRE.MatchString(text):
		return `are these boards, "between boards 8 and 10 at the breakpoint", or feet, "breakpoint between 43 and 46 ft"?`
	case entryRE.MatchString(text):
		return `is it an angle, "entry angle between 4 and 6 degrees", or boards, "between boards 17 and 18 at the head pin"?`
	case toRE.MatchString(text):
		m := toRE.FindStringSubmatch(text)
		return fmt.Sprintf(
			`is it from one place to another, "%s at the arrows to %s at the breakpoint", or between two boards at one place, `+
				`"between boards %s and %s at the arrows"?`,
			m[1],
			m[2],
			m[1],
			m[2],
		)
	case changeRE.MatchString(text):
		return `say what changes and which way: "move 2 boards inside", or "change the speed by at least 1 mph up"`
	case exactNum.MatchString(text):
		return `no shot is that exact: say how far off it may be, such as "17 mph plus or minus 0.5" or "between 16.5 and 17.5 mph"`
	case speedRE.MatchString(text):
		return "say mph or km/h behind the number"
	}
	return boardHint(text)
}

// negationRE finds words that negate a sentence: a hint would offer its opposite.
var negationRE = regexp.MustCompile(
	`\b(?:not|don't|dont|never|no|nothing|nowhere|avoid|away|off|without|miss|except)\b`,
)

func boardHint(text string) string {
	switch {
	case negationRE.MatchString(text):
		return ""
	case insideOfRE.MatchString(text):
		m := insideOfRE.FindStringSubmatch(text)
		side, step := "inside", 1.0
		if strings.HasPrefix(m[1], "out") || m[1] == "wider" {
			side, step = "outside", -1
		}
		return fmt.Sprintf(
			`does board %s itself count? Write "at board %s or %s", or "at board %s or %s" to leave it out`,
			m[2],
			m[2],
			side,
			number(*value(m[2])+step),
			side,
		)
	case feetRE.MatchString(text):
		return `where the feet are is not recorded: write where the ball is laid down, such as "board 20 at the foul line"`
	case secondOfArrows.MatchString(text):
		return `write "the third arrow", or "board 15 at the arrows"`
	case exactRE.MatchString(text):
		n := exactRE.FindStringSubmatch(text)[1]
		return fmt.Sprintf(`say where: "board %s at the arrows" or "board %s at the breakpoint"`, n, n)
	case exactPointRE.MatchString(text):
		return `no ball is that exact: write the board, such as "board 17 at the head pin", or "between boards 17 and 18 at the head pin"`
	case betweenN.MatchString(text):
		return `say of what: "between boards 8 and 12 at the arrows", or "between 16 and 18 mph"`
	case len(placeRE.FindAllString(text, 2)) > 1:
		return "it names two places: write one sentence for each"
	case strings.Contains(text, "spare"):
		return "a rule looks at the first ball: name the leaves to avoid, or splits"
	}
	return ""
}
