package record

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// CheckJSON refuses what encoding/json reads without a word and in another way than it was meant:
// bytes that are not UTF-8 and halves of a surrogate pair, which become U+FFFD; a field that comes
// twice, of which the last stays; and a field's name in other letters than the contract's, which
// are all lower case. JSON that cannot be read at all is left to the decoder to refuse.
func CheckJSON(data []byte) []Fault {
	if !utf8.Valid(data) {
		return []Fault{{Code: "format", Detail: "is not UTF-8: save or send the text as UTF-8"}}
	}
	var objects [][]string // the names so far of each open object; nil for an array
	name := false          // whether the next string is a name
	for i := 0; i < len(data); i++ {
		switch data[i] {
		case '{':
			objects, name = append(objects, make([]string, 0, 8)), true
		case '[':
			objects, name = append(objects, nil), false
		case '}', ']':
			objects, name = objects[:max(0, len(objects)-1)], false
		case ',':
			name = len(objects) > 0 && objects[len(objects)-1] != nil
		case '"':
			end, escaped := stringEnd(data[i:])
			text := data[i : i+end]
			i += end - 1
			if escaped && halfSurrogate(text) {
				return []Fault{{Code: "format", Detail: `holds half a character, such as \ud800 alone: send the whole pair`}}
			}
			if !name {
				continue
			}
			fault := addName(&objects[len(objects)-1], text)
			if fault != nil {
				return []Fault{*fault}
			}
			name = false
		}
	}
	return nil
}

// stringEnd returns the length of the string that data begins with, its quotes included, and
// whether it has escapes.
func stringEnd(data []byte) (end int, escaped bool) {
	for i := 1; i < len(data); i++ {
		switch data[i] {
		case '\\':
			escaped = true
			i++
		case '"':
			return i + 1, escaped
		}
	}
	return len(data), escaped
}

// addName adds a name to those of its object.
func addName(names *[]string, text []byte) *Fault {
	name := strings.Trim(string(text), `"`)
	if strings.Contains(name, `\`) && json.Unmarshal(text, &name) != nil {
		return nil // the decoder says what is wrong
	}
	for _, r := range name {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' {
			return &Fault{
				Pointer: "/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(name), Code: "properties",
				Detail: "is not a field here: fields are written in lower case, for example speed_mph",
			}
		}
	}
	if len(*names) >= maxNames {
		return &Fault{Code: "properties", Detail: fmt.Sprintf("has more than %d fields in one object: leave out what the contract does not have", maxNames)}
	}
	if slices.Contains(*names, name) {
		return &Fault{Pointer: "/" + name, Code: "properties", Detail: "is given twice: give it once"}
	}
	*names = append(*names, name)
	return nil
}

// maxNames is more fields than any object of the contract has.
const maxNames = 200

// halfSurrogate reports whether a string's escapes hold one half of a surrogate pair without the
// other.
func halfSurrogate(text []byte) bool {
	for i := 0; i+1 < len(text); i++ {
		if text[i] != '\\' {
			continue
		}
		if i++; text[i] != 'u' {
			continue
		}
		switch unit := codeUnit(text[i-1:]); {
		case unit >= 0xdc00 && unit < 0xe000:
			return true
		case unit >= 0xd800 && unit < 0xdc00:
			low := codeUnit(text[min(len(text), i+5):])
			if low < 0xdc00 || low >= 0xe000 {
				return true
			}
			i += 6 // the second half
		}
	}
	return false
}

// codeUnit is the UTF-16 code unit of the escape \uXXXX that text begins with, -1 for none.
func codeUnit(text []byte) int {
	if len(text) < 6 || text[0] != '\\' || text[1] != 'u' {
		return -1
	}
	unit := 0
	for _, digit := range text[2:6] {
		value := strings.IndexByte("0123456789abcdef", digit|0x20)
		if value < 0 {
			return -1
		}
		unit = unit<<4 | value
	}
	return unit
}
