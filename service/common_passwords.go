package service

import (
	"bytes"
	"compress/gzip"
	_ "embed" // the list
	"io"
	"strings"
	"sync"

	"laneward/service/record"
)

// The 3,000 commonest passwords of 12 characters and more. The file names its source and its
// licence.
//
//go:embed common_passwords.txt.gz
var commonPasswordsFile []byte

// bowlersPasswords are what a guesser who knows the sport tries first; common practice, no source.
var bowlersPasswords = []string{
	"bowlingbowling", "strikestrike", "tenpinbowling", "ilovebowling", "bowlingball1", "perfectgame300", "welcomewelcome",
	"laneward1234", "lanewardlaneward",
}

// commonPasswords are refused although they are long enough: any guesser begins with them.
var commonPasswords = sync.OnceValue(func() map[string]bool {
	unpacked, err := gzip.NewReader(bytes.NewReader(commonPasswordsFile))
	if err != nil {
		panic(err) // the file is part of the program
	}
	text, err := io.ReadAll(unpacked)
	if err != nil {
		panic(err)
	}
	list := make(map[string]bool)
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "# ") {
			list[line] = true
		}
	}
	for _, password := range bowlersPasswords {
		list[password] = true
	}
	return list
})

// passwordFault says why a password of allowed length is refused; "" when it is not.
func passwordFault(password, email string) string {
	lower := strings.ToLower(password)
	switch {
	case password == "":
		return "is empty: take several unrelated words"
	case commonPasswords()[lower], strings.Count(lower, lower[:1]) == len(lower):
		return "is among the first anyone would guess: take several unrelated words"
	case strings.Contains(lower, email):
		return "holds your address: take several unrelated words"
	}
	return ""
}

// passwordError is the failure of a password that was sent at a place of the body.
func passwordError(pointer, code, detail string) *Error {
	failure := InvalidError([]record.Fault{{Pointer: pointer, Code: code, Detail: detail}})
	failure.Detail = "the password " + detail
	return failure
}
