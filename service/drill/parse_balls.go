package drill

import (
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"
)

var (
	ballArticleRE = regexp.MustCompile(`^(?i:the )?(?i:balls? )?`)
	ballJoinRE    = regexp.MustCompile(`^(?i:, ?or | or | and |, ?)`)
	ballBareEndRE = regexp.MustCompile(`(?i), ?| or | and |$`)
)

// parseBalls reads a list of balls, each a name in quotation marks, a bare name or an id, joined by
// commas and "or".
func parseBalls(list string, names BallNames) ([]uuid.UUID, error) {
	owners := names.owners()
	var balls []uuid.UUID
	for {
		list = list[len(ballArticleRE.FindString(list)):]
		name, rest, err := firstName(list)
		if err != nil {
			return nil, err
		}
		ball, err := findBall(name, owners)
		if err != nil {
			return nil, err
		}
		balls = append(balls, ball)
		if rest == "" {
			return balls, nil
		}
		join := ballJoinRE.FindString(rest)
		if join == "" {
			return nil, fmt.Errorf("after the ball %q comes a comma, \"or\", or nothing", name)
		}
		list = rest[len(join):]
	}
}

// firstName takes the first name off a list of balls.
func firstName(list string) (name, rest string, err error) {
	if first, size := utf8.DecodeRuneInString(list); isQuote(first) {
		end := strings.IndexFunc(list[size:], isQuote)
		if end < 0 {
			return "", "", fmt.Errorf("a quotation mark is not closed")
		}
		_, closing := utf8.DecodeRuneInString(list[size+end:])
		return list[size : size+end], list[size+end+closing:], nil
	}
	end := ballBareEndRE.FindStringIndex(list)[0]
	return list[:end], list[end:], nil
}

// findBall looks a ball up; an id goes before a name, whatever balls are called.
func findBall(name string, owners map[string][]uuid.UUID) (uuid.UUID, error) {
	if ball, ok := asID(name); ok {
		return ball, nil
	}
	switch found := owners[foldName(name)]; len(found) {
	case 0:
		return uuid.UUID{}, fmt.Errorf(
			"there is no ball %q: write the name of a ball in quotation marks, or its id",
			name,
		)
	case 1:
		return found[0], nil
	default:
		return uuid.UUID{}, fmt.Errorf("%d balls are named %q: give the id of the one you mean", len(found), name)
	}
}

// asID reads an id in the standard form of a UUID, and in none of its other forms.
func asID(text string) (uuid.UUID, bool) {
	const length = 36
	ball, err := uuid.Parse(text)
	return ball, err == nil && len(text) == length
}
