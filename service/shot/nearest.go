package shot

import (
	"strings"
	"unicode"
)

// didYouMean names the known name that is most like an unknown one, or all of them when none is.
func didYouMean(name string, known []string) string {
	if best := nearest(name, known); best != "" {
		return "did you mean " + best + "?"
	}
	return "the known ones are " + strings.Join(known, ", ")
}

// nearest returns the known name with the least edits to name, if they are few, or one that holds
// name or is held by it; "" when there is none. Case, spaces and punctuation do not count.
func nearest(name string, known []string) string {
	const longest = 40 // longer than any known name: not worth comparing
	name = strings.Join(
		strings.FieldsFunc(
			strings.ToLower(name),
			func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) },
		),
		"_",
	)
	if name == "" || len(name) > longest {
		return ""
	}
	best, fewest := "", max(2, len(name)/3)+1
	for _, candidate := range known {
		if n := edits(name, candidate); n < fewest {
			best, fewest = candidate, n
		}
	}
	for _, candidate := range known {
		if best == "" && len(name) >= 3 && (strings.Contains(candidate, name) || strings.Contains(name, candidate)) {
			best = candidate
		}
	}
	return best
}

// edits is the Levenshtein distance in bytes: the least number of bytes to insert, delete or
// replace.
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			diagonal, row[j+1] = row[j+1], min(row[j+1]+1, row[j]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}
