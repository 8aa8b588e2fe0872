package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// unnatural are turns of phrase that no native speaker of the trade would use, with what to write.
var unnatural = []struct {
	pattern *regexp.Regexp
	instead string
}{
	{regexp.MustCompile(`(?i)\bis no (longer|more|other|need|match)\b|\bthere is no\b`), ""}, // these are fine
	{regexp.MustCompile(`[\w"”] is no [a-z]`), `"is not a"`},
	{regexp.MustCompile(`\bthe own\b`), `"their own"`},
	{regexp.MustCompile(`\btells (whether|that)\b`), `"reports whether", "shows that"`},
	{regexp.MustCompile(`\bif you like\b`), `"optional"`},
	{regexp.MustCompile(`\b(needs? mending|to mend)\b`), `"fix"`},
}

// unnaturalIn returns what to write instead of a phrase of the text, or "".
func unnaturalIn(text string) string {
	text = unnatural[0].pattern.ReplaceAllString(strings.Join(strings.Fields(text), " "), "")
	for _, one := range unnatural[1:] {
		if one.pattern.MatchString(text) {
			return one.instead
		}
	}
	return ""
}

// TestWording reads everything that users can be shown: Go's strings, templates, the logger's
// scripts and the contract.
func TestWording(t *testing.T) {
	t.Parallel()
	read := 0
	err := filepath.WalkDir("../..", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			if entry != nil && (entry.Name() == "testdata" || entry.Name() == "node_modules" || entry.Name() == ".git") {
				return filepath.SkipDir
			}
			return err
		}
		texts, err := shown(path)
		for place, text := range texts {
			if instead := unnaturalIn(text); instead != "" {
				t.Errorf("%s: %q: write %s", place, text, instead)
			}
		}
		read += len(texts)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if read < 3000 {
		t.Errorf("only %d texts were read", read)
	}
}

// shown are a file's texts by their places. Comments and tests are nobody's to read.
func shown(path string) (map[string]string, error) {
	switch {
	case strings.HasSuffix(path, "_test.go"), strings.HasSuffix(path, ".gen.go"):
		return nil, nil //nolint:nilnil // nothing is shown
	case strings.HasSuffix(path, ".go"):
		return stringsOf(path)
	case strings.HasSuffix(path, ".html"), strings.HasSuffix(path, ".js"), strings.HasSuffix(path, "laneward.yaml"):
		data, err := os.ReadFile(path)
		texts := make(map[string]string)
		for i, line := range strings.Split(string(data), "\n") {
			if !strings.HasPrefix(strings.TrimSpace(line), "//") {
				texts[path+":"+strconv.Itoa(i+1)] = line
			}
		}
		return texts, err
	}
	return nil, nil //nolint:nilnil // nothing is shown
}

func stringsOf(path string) (map[string]string, error) {
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, path, nil, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	texts := make(map[string]string)
	ast.Inspect(file, func(node ast.Node) bool {
		if literal, ok := node.(*ast.BasicLit); ok && literal.Kind == token.STRING {
			if text, err := strconv.Unquote(literal.Value); err == nil {
				texts[files.Position(literal.Pos()).String()] = text
			}
		}
		return true
	})
	return texts, nil
}

func TestUnnatural(t *testing.T) {
	t.Parallel()
	for text, refused := range map[string]bool{
		`"x" is no kind of record`:           true,
		"there is no pin 11":                 false,
		"%q is no whole number":              true,
		"it is no longer there":              false,
		"an athlete keeps the own records":   true,
		"tells whether the rule was kept":    true,
		"the exit code tells that it failed": true,
		"a note, if you like":                true,
		"2 rows need mending":                true,
		"how to mend it":                     true,
		"how to fix it":                      false,
	} {
		if got := unnaturalIn(text) != ""; got != refused {
			t.Errorf("%q: refused is %v", text, got)
		}
	}
}
