package desk

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/service/lane"
	"laneward/service/shot"
)

// shotChange is what one line of typing says of a shot: the fields it gives, in order.
type shotChange []shotSetting

type shotSetting struct {
	set func(*shot.Shot)
	// ball is a ball's name that is to be looked up, "" for any other setting; clearing it has set
	// alone.
	ball string
}

// The four places of a shot in the order they are typed, after which come the pins.
var typedPlaces = []string{"laydown", "arrows", "breakpoint", "entry", "leave"}

// shotKeys are the words before an equals sign, each with what may be typed for it.
var shotKeys = map[string]string{
	"laydown":    "laydown",
	"ld":         "laydown",
	"arrows":     "arrows",
	"ar":         "arrows",
	"breakpoint": "breakpoint",
	"bp":         "breakpoint",
	"at":         "at",
	"entry":      "entry",
	"en":         "entry",
	"leave":      "leave",
	"left":       "leave",
	"angle":      "angle",
	"launch":     "launch",
	"speed":      "speed",
	"mph":        "speed",
	"revs":       "revs",
	"rpm":        "revs",
	"rotation":   "rotation",
	"tilt":       "tilt",
	"ball":       "ball",
	"note":       "note",
}

// shotNumbers are the fields that hold one number.
var shotNumbers = map[string]func(*shot.Shot) **float64{
	"laydown":    func(s *shot.Shot) **float64 { return &s.LaydownBoard },
	"arrows":     func(s *shot.Shot) **float64 { return &s.ArrowsBoard },
	"breakpoint": func(s *shot.Shot) **float64 { return &s.BreakpointBoard },
	"at":         func(s *shot.Shot) **float64 { return &s.BreakpointFt },
	"entry":      func(s *shot.Shot) **float64 { return &s.EntryBoard },
	"angle":      func(s *shot.Shot) **float64 { return &s.EntryAngleDeg },
	"launch":     func(s *shot.Shot) **float64 { return &s.LaunchAngleDeg },
	"speed":      func(s *shot.Shot) **float64 { return &s.SpeedMPH },
	"revs":       func(s *shot.Shot) **float64 { return &s.RevRateRPM },
	"rotation":   func(s *shot.Shot) **float64 { return &s.RotationDeg },
	"tilt":       func(s *shot.Shot) **float64 { return &s.TiltDeg },
}

// notMeasured stands for a value that was not measured, or takes one away.
const notMeasured = "-"

// parseShot reads a line such as "15.5 11 9@42 17 10" or "bp=9@42 speed=17.2 ball=Blue": laydown,
// arrows, breakpoint at a distance, entry and the pins left, in that order, and anything by its
// name. A breakpoint with its distance, a strike and several pins are known wherever they stand.
func parseShot(line string) (shotChange, error) {
	words, note, noted, err := shotWords(line)
	if err != nil {
		return nil, err
	}
	var change shotChange
	place := 0
	given := make(map[string]bool)
	for _, word := range words {
		name, value, named := strings.Cut(word, "=")
		if !named {
			value = word
			if name, place, err = placeOfWord(word, place); err != nil {
				return nil, err
			}
		} else if name, err = shotKey(name); err != nil {
			return nil, err
		}
		if given[name] {
			return nil, fmt.Errorf("the %s is given twice", name)
		}
		given[name] = true
		settings, err := settingsFor(name, value)
		if err != nil {
			return nil, err
		}
		change = append(change, settings...)
	}
	if noted {
		change = append(change, shotSetting{set: func(s *shot.Shot) { s.Note = note }})
	}
	return change, nil
}

// shotWords parts a line at blanks, but not within quotation marks. A note goes on to the end of
// the line.
func shotWords(line string) (words []string, note string, noted bool, err error) {
	rest := strings.TrimSpace(line)
	for rest != "" {
		if text, found := strings.CutPrefix(rest, "note="); found {
			if note = strings.Trim(strings.TrimSpace(text), `"`); note == notMeasured {
				note = ""
			}
			return words, note, true, nil
		}
		end, quoted := 0, false
		for end < len(rest) && (quoted || !strings.ContainsRune(" \t", rune(rest[end]))) {
			quoted = quoted != (rest[end] == '"')
			end++
		}
		if quoted {
			return nil, "", false, fmt.Errorf("a quotation mark is missing: %s", rest)
		}
		words = append(words, strings.ReplaceAll(rest[:end], `"`, ""))
		rest = strings.TrimLeft(rest[end:], " \t")
	}
	return words, "", false, nil
}

// placeOfWord finds which place a word without a name is for, and the place that comes next.
func placeOfWord(word string, place int) (name string, next int, err error) {
	switch {
	case strings.Contains(word, "@"):
		return "breakpoint", max(place, 3), nil
	case isStrike(word), strings.Contains(strings.Trim(word, "-"), "-"):
		return "leave", len(typedPlaces), nil
	case place >= len(typedPlaces):
		return "", place, fmt.Errorf(
			"%s is one too many: a line has laydown, arrows, breakpoint@ft, entry and the pins left; type anything else by its name, such as speed=17",
			word,
		)
	}
	return typedPlaces[place], place + 1, nil
}

func shotKey(name string) (string, error) {
	key, known := shotKeys[strings.ToLower(name)]
	if known {
		return key, nil
	}
	names := make([]string, 0, len(shotKeys))
	for _, full := range shotKeys {
		if !slices.Contains(names, full) {
			names = append(names, full)
		}
	}
	slices.Sort(names)
	return "", fmt.Errorf("%q is nothing a shot has: there is %s", name, strings.Join(names, ", "))
}

func isStrike(word string) bool {
	return strings.EqualFold(word, "x") || strings.EqualFold(word, "strike")
}

func settingsFor(name, value string) (shotChange, error) {
	switch name {
	case "leave":
		return leaveSetting(value)
	case "ball":
		switch value {
		case notMeasured:
			return shotChange{{set: func(s *shot.Shot) { s.BallID = nil }}}, nil
		case "":
			return nil, errors.New("say which ball, or ball=- for none")
		}
		return shotChange{{ball: value}}, nil
	case "breakpoint":
		board, ft, both := strings.Cut(value, "@")
		settings, err := numberSetting("breakpoint", board)
		if err != nil || !both && board != notMeasured {
			return settings, err
		}
		if board == notMeasured && !both {
			ft = notMeasured // without a board the distance says nothing
		}
		distance, err := numberSetting("at", strings.TrimSuffix(ft, "ft"))
		return append(settings, distance...), err
	}
	return numberSetting(name, value)
}

// numberSetting reads a number, with a decimal point or comma.
func numberSetting(name, value string) (shotChange, error) {
	field := shotNumbers[name]
	if value == notMeasured {
		return shotChange{{set: func(s *shot.Shot) { *field(s) = nil }}}, nil
	}
	number, err := strconv.ParseFloat(strings.Replace(value, ",", ".", 1), 64)
	if err != nil || strings.Trim(value, "+-0123456789.,") != "" { // nor the names and notations that programs know
		return nil, fmt.Errorf(
			"%q is no number for the %s: type it as 10 or 10.5, or - when it was not seen",
			value,
			name,
		)
	}
	return shotChange{{set: func(s *shot.Shot) { *field(s) = &number }}}, nil
}

func leaveSetting(value string) (shotChange, error) {
	if value == notMeasured {
		return shotChange{{set: func(s *shot.Shot) { s.Standing = nil }}}, nil
	}
	standing := lane.PinSet(0)
	if !isStrike(value) {
		var err error
		if standing, err = lane.ParsePins(value); err != nil {
			return nil, fmt.Errorf("the pins left: %w", err)
		}
	}
	return shotChange{{set: func(s *shot.Shot) { s.Standing = &standing }}}, nil
}

// shotLine sums up what was recorded of a shot, in the order it is typed.
func shotLine(s *shot.Shot, ballName string) string {
	var parts []string
	add := func(value *float64, before, after string) {
		if value != nil {
			parts = append(parts, strings.TrimSpace(before+" "+terminal.Number(value)+after))
		}
	}
	add(s.LaydownBoard, "laydown", "")
	add(s.ArrowsBoard, "arrows", "")
	switch {
	case s.BreakpointBoard != nil && s.BreakpointFt != nil:
		parts = append(parts, fmt.Sprintf("breakpoint %s at %s ft", terminal.Number(s.BreakpointBoard), terminal.Number(s.BreakpointFt)))
	default:
		add(s.BreakpointBoard, "breakpoint", "")
		add(s.BreakpointFt, "breakpoint at", " ft")
	}
	add(s.EntryBoard, "entry", "")
	add(s.EntryAngleDeg, "entry angle", " deg")
	add(s.LaunchAngleDeg, "launch angle", " deg")
	add(s.SpeedMPH, "", " mph")
	add(s.RevRateRPM, "", " rpm")
	add(s.RotationDeg, "rotation", " deg")
	add(s.TiltDeg, "tilt", " deg")
	if s.Standing != nil {
		if s.Standing.Strike() {
			parts = append(parts, "strike")
		} else {
			parts = append(parts, "left "+s.Standing.String())
		}
	}
	if ballName != "" {
		parts = append(parts, ballName)
	}
	if s.Note != "" {
		parts = append(parts, `"`+s.Note+`"`)
	}
	if parts == nil {
		return "nothing recorded"
	}
	return strings.Join(parts, ", ")
}
