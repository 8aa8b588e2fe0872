package shot

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
)

// The functions of this file walk over JSON that encoding/json has found valid, without copying it.
// encoding/json itself would take the last of two equal keys, keys in any case, and only the first
// wrong value of a row.

// eachMember calls visit with each key, unescaped, and value of an object.
func eachMember(object []byte, visit func(key, value []byte)) {
	i := skipSpace(object, 1)
	for object[i] != '}' {
		end := valueEnd(object, i)
		key := object[i+1 : end-1]
		if bytes.IndexByte(key, '\\') >= 0 {
			key = []byte(unescaped(object[i:end]))
		}
		i = skipSpace(object, skipSpace(object, end)+1) // past the colon
		end = valueEnd(object, i)
		visit(key, object[i:end])
		i = skipComma(object, end)
	}
}

// eachElement calls visit with each element of an array.
func eachElement(array []byte, visit func(value []byte)) {
	i := skipSpace(array, 1)
	for array[i] != ']' {
		end := valueEnd(array, i)
		visit(array[i:end])
		i = skipComma(array, end)
	}
}

func skipSpace(data []byte, i int) int {
	for data[i] == ' ' || data[i] == '\t' || data[i] == '\n' || data[i] == '\r' {
		i++
	}
	return i
}

func skipComma(data []byte, i int) int {
	if i = skipSpace(data, i); data[i] == ',' {
		return skipSpace(data, i+1)
	}
	return i
}

// valueEnd returns the index after the value that begins at i.
func valueEnd(data []byte, i int) int {
	switch data[i] {
	case '"':
		return stringEnd(data, i)
	case '{', '[':
		depth := 0
		for ; ; i++ {
			switch data[i] {
			case '"':
				i = stringEnd(data, i) - 1
			case '{', '[':
				depth++
			case '}', ']':
				if depth--; depth == 0 {
					return i + 1
				}
			}
		}
	}
	for ; i < len(data); i++ {
		switch data[i] {
		case ',', '}', ']', ' ', '\t', '\n', '\r':
			return i
		}
	}
	return i
}

func stringEnd(data []byte, i int) int {
	for i++; data[i] != '"'; i++ {
		if data[i] == '\\' {
			i++
		}
	}
	return i + 1
}

func unescaped(value []byte) string {
	var text string
	if err := json.Unmarshal(value, &text); err != nil {
		panic(fmt.Sprintf("shot: a valid JSON string does not decode: %v", err))
	}
	return text
}

// jsonText returns the text of a JSON string.
func jsonText(value []byte) (string, error) {
	if value[0] != '"' {
		return "", wrongKind(value, "text in quotes")
	}
	if bytes.IndexByte(value, '\\') >= 0 {
		return unescaped(value), nil
	}
	return string(value[1 : len(value)-1]), nil
}

// jsonNumber returns the value of a JSON number.
func jsonNumber(value []byte) (float64, error) {
	if !isNumber(value) {
		return 0, wrongKind(value, "a number without quotes, or leave the key out when it was not measured")
	}
	v, err := strconv.ParseFloat(string(value), 64)
	if err != nil {
		return 0, fmt.Errorf("%s is too large a number", quoted(string(value)))
	}
	return v, nil
}

func isNumber(value []byte) bool { return value[0] == '-' || (value[0] >= '0' && value[0] <= '9') }

// kindOf names the kind of a JSON value.
func kindOf(value []byte) string {
	switch value[0] {
	case '{':
		return "an object"
	case '[':
		return "an array"
	case '"':
		return "text"
	case 't', 'f':
		return "true or false"
	case 'n':
		return "null"
	}
	return "a number"
}

func wrongKind(value []byte, want string) error {
	return errors.New("the value is " + kindOf(value) + ": write " + want)
}
