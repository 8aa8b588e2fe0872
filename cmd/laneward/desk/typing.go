package desk

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

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

// shotKeys are the words before an equals sign, each with what may be typed for it; shotNumbers are
// those of them that hold one number.
var shotKeys, shotNumbers = func() (keys map[string]string, numbers map[string]shot.Measure) {
	keys = map[string]string{"leave": "leave", "left": "leave", "ball": "ball", "gutter": "gutter", "note": "note"}
	numbers = make(map[string]shot.Measure)
	for _, m := range shot.Measures() {
		for _, word := range m.Typed {
			keys[word] = m.Typed[0]
			numbers[m.Typed[0]] = m
		}
	}
	return keys, numbers
}()

// notMeasured is written for a value that was not measured, or removes one.
const notMeasured = "-"

// parseShot reads a line such as "15.5 11 9@42 17 10" or "bp=9@42 speed=17.2 ball=Blue": laydown,
// arrows, breakpoint at a distance, entry and the pins left, in that order, and anything by its
// name. A breakpoint with its distance, a strike and several pins are recognised anywhere in the
// line.
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

// shotWords splits a line at spaces, but not within quotation marks. A note goes on to the end of
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
	return "", fmt.Errorf("%q is not something a shot has; use one of %s", name, strings.Join(names, ", "))
}

// isStrike reports whether a word means that no pin is left standing.
func isStrike(word string) bool {
	set, err := lane.ParsePins(word)
	return err == nil && set.Strike()
}

func settingsFor(name, value string) (shotChange, error) {
	switch name {
	case "leave":
		return leaveSetting(value)
	case "gutter":
		side, err := lane.ParseSide(strings.ToLower(value))
		if value != notMeasured && err != nil {
			return nil, err
		}
		return shotChange{{set: func(s *shot.Shot) { s.Gutter = side }}}, nil
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
	m := shotNumbers[name]
	if value == notMeasured {
		return shotChange{{set: func(s *shot.Shot) { m.Set(s, nil) }}}, nil
	}
	number, err := strconv.ParseFloat(strings.Replace(value, ",", ".", 1), 64)
	if err != nil || strings.Trim(value, "+-0123456789.,") != "" { // nor the names and notations that programs know
		return nil, fmt.Errorf(
			"%q is not a number for the %s: type 10 or 10.5, or - when it was not seen",
			value,
			name,
		)
	}
	if err := m.Fits(number); err != nil {
		return nil, fmt.Errorf("the %s: %w", name, err)
	}
	return shotChange{{set: func(s *shot.Shot) { m.Set(s, &number) }}}, nil
}

func leaveSetting(value string) (shotChange, error) {
	if value == notMeasured {
		return shotChange{{set: func(s *shot.Shot) { s.Standing = nil }}}, nil
	}
	standing, err := lane.ParsePins(value)
	if err != nil {
		return nil, fmt.Errorf("the pins left: %w", err)
	}
	return shotChange{{set: func(s *shot.Shot) { s.Standing = &standing }}}, nil
}

// shotLine sums up what was recorded of a shot, in the order it is typed.
func shotLine(s *shot.Shot, ballName string) string {
	parts := s.Said()
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
